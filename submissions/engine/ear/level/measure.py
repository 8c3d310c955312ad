"""How loud, how clean: loudness, peaks, clipping, noise, hum, wind, talk, dead channels.

Conventions: samples have shape (n, channels), full scale 1.0; levels in dB relative to full scale.
"""

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt, spectrogram

from ...facts import LevelFacts, Samples, Sound
from ..struck.novelty import Novelty
from .cut import cut_strokes
from .loudness import FLOOR_DB, integrated_lufs, true_peak_db
from .pumping import pumping_db
from .talk import talk_over

Array = NDArray[np.float64]
FRAME_S = 0.020  # shorter than a sixteenth at any marching tempo, longer than a period of hum
SILENT_PEAK_DB = -60.0  # chosen: a phone's own noise lies about there, a stroke never does
SILENT_RMS_DB = -75.0
FEW_STROKES = 6  # a sparse part from far away has a mean power under that of a quiet room, but it has strokes
NOISE_SHARE = 0.05  # the quietest twentieth of the take is taken for its noise
DEAD_UNDER_DB = 45.0  # a second microphone lies a few dB from the first
WIND_HZ = 80.0  # under the lowest bass drum of the line
HUM_RATE = 1000  # Hz: holds three overtones
HUM_COARSE_RATE = 6000  # means of so many a second first: what they fold onto the lines is 30 dB down
HUM_QUANTILE = 0.1  # of the half-seconds of a take: those in which least was played
HUM_LINE, HUM_LEAST_LINES = 3.0, 2  # times what is around it; a drum's ring makes one line, mains make several
HUM_OVER_DB = 8.0  # strokes in strict time make lines of their own, 3 dB high at most
WIND_OVER_DB, WIND_SHARE = -45.0, 0.7  # chosen: a rumble that is heard, and is most of what is heard


def measure_level(
    sound: Sound,
    heard_s: tuple[float, ...],
    click_under_drums_db: float | None = None,
    novelty: Novelty | None = None,
    playing_s: tuple[float, float] | None = None,
) -> LevelFacts:
    """Everything about the level of a take; heard_s are the drum strokes, file time.

    Without the novelty of the sound nothing is said of automatic gain, without begin and end of the playing nothing of
    talk over it.
    """
    samples, rate = np.asfortranarray(sound.samples), sound.rate  # every channel in one piece: all is read by channels
    peak_db = _db(float(max(samples.max(), -samples.min()))) if samples.size else FLOOR_DB
    power = _channel_power(samples)
    rms_db = _db(float(power.mean()) ** 0.5) if samples.size else FLOOR_DB
    if peak_db < SILENT_PEAK_DB or (rms_db < SILENT_RMS_DB and len(heard_s) < FEW_STROKES):
        return LevelFacts(peak_db=peak_db, true_peak_db=peak_db, silent=True)
    loudest = samples[:, int(np.argmax(power))]
    tops, cut = cut_strokes(loudest, rate, heard_s)
    quiet = quiet_frames(loudest, rate)
    noise_db = _db(float(np.sqrt(np.mean(np.square(quiet, dtype=np.float64))))) if quiet.size else FLOOR_DB
    talk_s, talk_at_s = talk_over(loudest, rate, playing_s) if playing_s is not None else (0.0, None)
    return LevelFacts(
        lufs=integrated_lufs(samples, rate),
        peak_db=peak_db,
        true_peak_db=true_peak_db(samples, rate),
        clipped_share=float(cut.which.mean()) if len(tops) else 0.0,
        clipped_at_s=tuple(float(at) for at, is_cut in zip(heard_s, cut.which, strict=True) if is_cut)[:20],
        clipped_sure=cut.sure,
        noise_db=noise_db,
        strokes_over_noise_db=_db(float(np.median(tops))) - noise_db if len(tops) else 0.0,
        hum_db=hum_level_db(loudest, rate),
        dead_channel=_one_is_dead(power),
        pumping_db=pumping_db(novelty, heard_s) if novelty is not None else 0.0,
        click_under_drums_db=click_under_drums_db,
        wind=_is_windy(quiet, rate),
        talk_s=talk_s,
        talk_at_s=talk_at_s,
    )


def quiet_frames(mono: Samples, rate: int) -> Samples:
    """The quietest frames, shape (frames, samples); digital silence (a track that starts late) is left out.

    Quiet is judged without what swings slower than a frame, so that a rumble does not choose its own zero crossings.
    """
    size = round(FRAME_S * rate)
    frames = mono[: len(mono) // size * size].reshape(-1, size)
    power = _above_wind(frames)
    alive = power > 1e-12
    if not alive.any():
        return frames[:0]
    kept: Samples = frames[alive & (power <= np.quantile(power[alive], NOISE_SHARE))]
    return kept


def _above_wind(frames: Samples) -> Array:
    """Mean power of each frame about its own straight line: what swings slower than a frame is left out."""
    size = frames.shape[1]
    ramp = np.arange(size, dtype=np.float32) - np.float32((size - 1) / 2)
    slope = frames @ ramp / np.float32(ramp @ ramp)
    power: Array = (
        np.einsum("ij,ij->i", frames, frames) / size - frames.mean(axis=1) ** 2 - slope**2 * (ramp @ ramp) / size
    )
    return power


def hum_level_db(mono: Samples, rate: int) -> float:
    """Level of mains hum at 50 or 60 Hz and its first overtones; the floor where it does not stand out as lines."""
    step = max(1, rate // HUM_COARSE_RATE)
    coarse = mono[: len(mono) // step * step].reshape(-1, step) @ np.full(step, 1 / step, np.float32)
    low = soxr.resample(coarse, rate / step, HUM_RATE, quality="LQ")
    if len(low) < 2 * HUM_RATE:
        return FLOOR_DB
    # Of half-second spectra the quiet ones: a steady line stays in all of them, a drum's ring in those with drums.
    hz, _, spectra = spectrogram(low, HUM_RATE, "hann", HUM_RATE // 2, HUM_RATE // 4, detrend="constant")
    power = np.quantile(spectra, HUM_QUANTILE, axis=1)
    best = FLOOR_DB
    for mains in (50.0, 60.0):
        lines = [float(power[np.abs(hz - mains * k) < 3].sum()) for k in (1, 2, 3)]
        around = [float(np.median(power[(hz > mains * k - 24) & (hz < mains * k + 24)])) for k in (1, 2, 3)]
        standing = sum(line > HUM_LINE * floor for line, floor in zip(lines, around, strict=True))
        over_db = 10 * np.log10((sum(lines) + 1e-20) / (3 * sum(around) + 1e-20))
        if standing >= HUM_LEAST_LINES and over_db > HUM_OVER_DB:
            best = max(best, 10 * float(np.log10(sum(lines) * (hz[1] - hz[0]) + 1e-12)))
    return best


def _is_windy(quiet: Samples, rate: int) -> bool:
    """Whether what sounds between the strokes is loud and nearly all of it under the lowest drum."""
    if not quiet.size:
        return False
    low = sosfilt(butter(2, WIND_HZ, "lowpass", fs=rate, output="sos"), quiet, axis=1)
    total, under = float(np.mean(np.square(quiet, dtype=np.float64))), float(np.mean(low**2))
    return _db(total**0.5) > WIND_OVER_DB and under > WIND_SHARE * total


def _channel_power(samples: Samples) -> Array:
    """Mean square of each channel."""
    return np.array([float(one @ one) / max(1, len(one)) for one in samples.T])


def _one_is_dead(power: Array) -> bool:
    return len(power) > 1 and bool(power.min() < power.max() * 10 ** (-DEAD_UNDER_DB / 10))


def _db(amplitude: float) -> float:
    return 20 * float(np.log10(max(amplitude, 1e-6)))
