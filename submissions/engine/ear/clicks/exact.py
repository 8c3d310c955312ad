"""When exactly the click arrives, once it is known about where: the mean of its beats, unfolded, first arrival.

Conventions: as in `ours`. The sound's answer to a click (room, headphones, phone) is estimated from all beats at
once by least squares over frequency; beats covered by a stroke weigh little. Its first peak is the direct sound.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from ...music.click import CLICK_PEAK, CLICK_S, ClickBeat, ClickLayout, click_wave
from ..baseband import SILENT_POWER, Band, Spectrum, take_band
from .ours import ClickSum

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

BAND_HZ = (1_000.0, 4_200.0)  # the sweeps with what their 1 ms attack adds
BEFORE_S = 0.012
AFTER_S = 0.012
LOOK_BACK_S = 0.100  # a room's late sound adds up as well as the direct sound does
CLEAN = 4  # beats that share in the answer at least, however much cleaner than the others they are
TURNS = 4  # of weighing beats by what is left of them after the mean
FIRST_SHARE = 0.5  # of the strongest arrival
OVERSAMPLING = 16
STEPS = 32  # near the root of the points of a spectrum
UNCLEAR = 0.3  # noise over the first arrival: past it, made clicks in muted takes were 4 to 23 ms off
UNCLEAR_SD_S = 8e-3
PATH_SD_S = 0.125e-3  # what headphones, a phone's filters and the first reflections add; measured on made takes


@dataclass(frozen=True)
class ClickArrival:
    zero_s: float
    ratio: float
    sd_s: float
    peak: float  # of the down click, in the sound's own units


def refine_click(
    spectrum: Spectrum, layout: ClickLayout, found: ClickSum, look_back_s: float = LOOK_BACK_S
) -> ClickArrival:
    """The click's first arrival near `found`, at most look_back_s before it, to a part of a sample."""
    ratio = found.ratio
    zero, sd, peak = found.zero_s, 1e-3, 0.0
    band = take_band(spectrum, *BAND_HZ)
    for look_back in (look_back_s, 0.004):
        response, noise, points_s, peak = _response(band, layout, zero, ratio, look_back)
        at, top = _first(np.abs(response), noise)
        zero += at * points_s - look_back - BEFORE_S
        sd = float(np.hypot(PATH_SD_S, 0.35e-3 * noise / (top + 1e-20))) if noise < UNCLEAR * top else UNCLEAR_SD_S
    return ClickArrival(zero, ratio, sd, peak)


def _response(
    band: Band, layout: ClickLayout, zero_s: float, ratio: float, look_back_s: float
) -> tuple[Complex, float, float, float]:
    """(dense response from look_back_s + BEFORE_S before zero on, its noise, seconds a point, down click's peak)."""
    points = fft.next_fast_len(round((look_back_s + BEFORE_S + AFTER_S + CLICK_S) * band.rate))
    slow_hz = np.arange(points) * (band.rate / points)
    hz = band.low_hz + slow_hz
    starts = np.array([zero_s + ratio * beat.at_s - look_back_s - BEFORE_S for beat in layout.beats])
    first = np.floor(starts * band.rate).astype(np.int64)
    inside = np.flatnonzero((first >= 0) & (first + points < len(band.samples)))
    rows = np.array([band.samples[k : k + points] for k in first[inside]], np.complex128)
    energy = np.sum(np.abs(rows) ** 2, axis=1)
    sounding = energy > SILENT_POWER * energy.max()
    rows, energy, inside = rows[sounding], energy[sounding], inside[sounding]
    beats = [layout.beats[i] for i in inside]
    turned = np.outer(starts[inside] - first[inside] / band.rate, slow_hz) + band.low_hz * starts[inside][:, None]
    heard = fft.fft(rows, axis=1) * np.exp(2j * np.pi * turned)
    waves = {kind: _wave_at(kind, hz) * CLICK_PEAK[kind] for kind in {beat.kind for beat in beats} | {"down"}}
    sent = np.array([beat.sign * waves[beat.kind] for beat in beats])
    # At first no beat counts for much more than the usual one: what is muted, and has no click, would explain all by none.
    weights = 1.0 / (energy + 0.1 * float(np.median(energy)) + 1e-20)
    answer = np.zeros(points, np.complex128)
    sent_power, likeness = np.abs(sent) ** 2, np.conj(sent) * heard
    for _ in range(TURNS):
        power = weights @ sent_power
        answer = (weights @ likeness) / (power + 0.02 * power.max())
        left = np.sum(np.abs(heard - sent * answer) ** 2, axis=1)
        weights = 1.0 / (left + float(np.sort(left)[min(CLEAN, len(left)) - 1]) + 1e-30)
    inside_hz = (hz > BAND_HZ[0]) & (hz < BAND_HZ[1])
    taper = np.zeros(points)
    taper[inside_hz] = np.hanning(int(inside_hz.sum()))
    dense = np.zeros(points * OVERSAMPLING, np.complex128)
    dense[:points] = answer * taper
    response: Complex = fft.ifft(dense)[: round((look_back_s + BEFORE_S + AFTER_S) * band.rate) * OVERSAMPLING]
    quiet = np.abs(response[: round(0.8 * (BEFORE_S) * band.rate) * OVERSAMPLING])
    noise = float(np.sqrt(np.mean(quiet**2)))
    return response, noise, 1 / (band.rate * OVERSAMPLING), _peak(heard, beats, answer, waves, left)


def _peak(heard: Complex, beats: list[ClickBeat], answer: Complex, waves: dict[str, Complex], left: Array) -> float:
    """The peak of a down click as it arrives, by each kind's own beats; the clean ones count.

    The estimated answer is too small where little was sent; the beats, held against its shape, put that right.
    """
    points = len(answer)
    peaks, counts = [], []
    for kind in sorted({beat.kind for beat in beats}):
        mine = np.array([beat.kind == kind for beat in beats])
        signs = np.array([beat.sign for beat in beats])[mine]
        clean = 1.0 / (left[mine] + 0.1 * float(np.median(left[mine])) + 1e-30)
        shape = answer * waves[kind]
        mean = (clean * signs) @ heard[mine] / clean.sum()
        share = float(np.abs(np.vdot(shape, mean))) / (float(np.sum(np.abs(shape) ** 2)) + 1e-30)
        dense = np.zeros(points * OVERSAMPLING, np.complex128)
        dense[:points] = shape * share
        peaks.append(float(np.abs(fft.ifft(dense)).max()) * OVERSAMPLING * CLICK_PEAK["down"] / CLICK_PEAK[kind])
        counts.append(float(clean.sum() / clean.max()))
    return float(np.average(peaks, weights=counts))


def _wave_at(kind: str, hz: Array) -> Complex:
    """The spectrum of one click at evenly spaced frequencies hz, as an integral over seconds; sampled far above its band."""
    rate = 24_000
    wave = click_wave(kind, rate)
    t = np.arange(len(wave)) / rate
    # Evenly spaced frequencies: the product of two short series, summed over time by a matrix product.
    fast = np.exp(-2j * np.pi * np.outer(hz[:STEPS] - hz[0], t))
    slow = np.exp(-2j * np.pi * np.outer(hz[::STEPS], t)) * wave
    out: Complex = (slow @ fast.T).ravel()[: len(hz)]
    return out


def _first(envelope: Array, noise: float) -> tuple[float, float]:
    """(place, size) of the first peak that is not noise and not small against the strongest; place sub-sample."""
    inner = envelope[1:-1]
    limit = max(FIRST_SHARE * float(inner.max()), 4.0 * noise)
    tops = np.flatnonzero((inner >= envelope[:-2]) & (inner > envelope[2:]) & (inner >= limit)) + 1
    k = int(tops[0]) if len(tops) else 1 + int(np.argmax(inner))
    left, top, right = (float(v) for v in envelope[k - 1 : k + 2])
    bend = left - 2 * top + right
    return k + (0.5 * (left - right) / bend if bend < 0 else 0.0), top
