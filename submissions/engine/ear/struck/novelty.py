"""How much every moment of a take differs from the one before it, band by band.

Conventions: levels in dB; a frame is one step of HOP_S, frame k is centred on k * HOP_S of file time.

The positive difference of a log-filtered spectrogram (after Boeck & Widmer, "Maximum filter vibrato suppression for
onset detection", DAFx 2013) says THAT something was struck, to a few milliseconds. Two departures, both measured on
takes with known truth: no maximum filter (drums have no vibrato, and it blinds the picker to a stroke inside a roll),
and each band counts by the square root of its degrees of freedom (in a room the tail of the last stroke flickers; a
wide band flickers less, so its rise is better evidence).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

Array = NDArray[np.float64]
Frames = NDArray[np.float32]

WINDOW_S = 512 / 48_000  # 10.7 ms: shorter than a grace's lead, long enough for a bass drum's attack
HOP_S = 0.0025  # a quarter of the window
BANDS_A_OCTAVE = 12  # the finer the bands, the less one band's chance flicker counts; never finer than a bin
LOW_HZ, HIGH_HZ = 70.0, 16_000.0
LAG_FRAMES = 2  # compares windows that overlap by half, as Boeck & Widmer do
COLOUR_HZ = (70.0, 150.0, 300.0, 600.0, 1_200.0, 2_500.0, 5_000.0, 10_000.0, 16_000.0)  # octaves, for the colour
FLOOR_UNDER_PEAK_DB = 70.0  # chosen: deeper than any phone's usable range
PICK_S = 0.0125  # an onset is the largest novelty within this distance: under the shortest grace we resolve
MEAN_BEFORE_S, MEAN_AFTER_S = 0.10, 0.05  # neighbourhood of the adaptive threshold
MEAN_TOP_DB = 3.0  # a clear stroke does not raise the threshold for the tap beside it
# Forty damped crashes in fifty seconds sound in one frame of fifty, ten short ones in one of three hundred: the loud
# quantile must lie above that. The second one is for takes in which the first tells of no stroke at all.
LOUD_SHARES, QUIET_SHARE = (0.995, 0.999), 0.1
# Noise alone ranges over 12 to 17 dB between these quantiles (chi-square with the band's two or more degrees of freedom).
NOISE_RANGE_DB, WORTH_DB = 20.0, 8.0
THRESHOLD_DB = 2.0  # mean rise over all bands; tuned on seeds under 10 000
CHUNK = 512  # frames transformed at a time: keeps a ten-minute take within a few megabytes
MASK_SHARE = 0.25  # a click is taken out to about -10 dB where a phone's gain moves or a coder smears it
HOLES_SHARE = 0.02  # a band that sounds for less of the time says nothing of its noise
RARE_UNDER_DB = 14.0  # such a band counts where it comes 6 dB over the least power that tells anything
TINY = 1e-20  # keeps logarithms of silence finite


@dataclass(frozen=True)
class Novelty:
    """How much every moment differs from the one before it; frame k is centred on k * HOP_S."""

    rise_db: Array  # (frames,) mean positive rise over the bands
    level_db: Array  # (frames,) level of the whole frame, dB re full scale
    colour_db: Frames  # (frames, octaves) level of each octave of COLOUR_HZ
    power: Frames  # (frames, bands) power of each band
    floor: Frames  # (bands,) power under which a band tells nothing
    share: Frames  # (bands,) what each band counts


def measure_novelty(mono: NDArray[np.floating], rate: int) -> Novelty:
    """The spectral difference of mono, every HOP_S; frames are placed to the nearest sample."""
    count = int(len(mono) / (HOP_S * rate))
    weights, freedom, octaves = _filterbank(round(WINDOW_S * rate), rate)
    share = np.sqrt(freedom) / np.sqrt(freedom).sum()
    if count < 4:
        nothing = np.zeros((0, len(weights)), np.float32)
        return Novelty(np.zeros(0), np.zeros(0), np.zeros((0, octaves.shape[1]), np.float32), nothing, share, share)
    power = _band_power(mono, rate, np.arange(count), weights)
    quiet = _quantile(power[::4], QUIET_SHARE)
    least = power.max() * np.float32(10 ** (-FLOOR_UNDER_PEAK_DB / 10)) + np.float32(TINY)
    quiet = _without_holes(power, quiet, least)
    floor = np.maximum(quiet, least)
    level = 10 * np.log10(power + floor)
    rise = np.zeros_like(level)
    rise[LAG_FRAMES:] = np.maximum(level[LAG_FRAMES:] - level[:-LAG_FRAMES], 0)
    share = _weighed(share, _worth(power, quiet))
    return Novelty((rise @ share).astype(np.float64), *_levels(power, floor, octaves), power, floor, share)


def _weighed(share: Frames, worth: Frames) -> Frames:
    """share by worth, at a scale at which chance flickers as much as over all bands (few bands average less of it)."""
    kept = share * worth
    flicker = float(np.sqrt(np.sum(np.square(kept))))
    return (kept * (float(np.sqrt(np.sum(np.square(share)))) / max(flicker, TINY))).astype(np.float32)


def _worth(power: Frames, quiet: Frames) -> Frames:
    """What each band tells in this take, 0 to 1, shape (bands,): nothing where no stroke stands out of the noise.

    A bass drum in an ordinary room rises in a few low bands only; the mean over all bands would drown it.
    """
    worth: Frames = np.zeros(power.shape[1], np.float32)
    for share in LOUD_SHARES:
        range_db = 10 * np.log10((_quantile(power[::2], share) + TINY) / (quiet + TINY))
        worth = np.clip((range_db - NOISE_RANGE_DB) / WORTH_DB, 0.0, 1.0).astype(np.float32)
        if worth.any():
            break
    return worth


def _without_holes(power: Frames, quiet: Frames, least: np.float32) -> Frames:
    """quiet with the bands that a coder leaves out now and then told from the frames in which they sound.

    What comes and goes with a coder's budget ranges over 70 dB, and rises as strokes do, though no stroke is in it.
    """
    out = quiet.copy()
    for band in np.flatnonzero(quiet < least):
        sounding = power[::4, band]
        sounding = sounding[sounding > least]
        if len(sounding) > HOLES_SHARE * len(power[::4]):
            out[band] = np.partition(sounding, len(sounding) // 10)[len(sounding) // 10]
        else:
            out[band] = least * np.float32(10 ** (-RARE_UNDER_DB / 10))
    return out


def _quantile(power: Frames, share: float) -> Frames:
    """What `share` of the frames lie under, band by band, shape (bands,): a quarter of the time numpy's own takes."""
    columns = np.ascontiguousarray(power.T)
    at = round(share * (columns.shape[1] - 1))
    out: Frames = np.partition(columns, at, axis=1)[:, at]
    return out


def renew(old: Novelty, mono: NDArray[np.floating], taken: NDArray[np.floating], rate: int) -> Novelty:
    """The novelty after `taken`, shape (n,), was taken out of the sound and mono was left.

    A rise counts only as far as it stands over MASK_SHARE of what was taken, since no removal is perfect.
    """
    weights, _, octaves = _filterbank(round(WINDOW_S * rate), rate)
    frames, mask = _mask(taken, rate, len(old.rise_db), weights)
    power, rise, level, colour = old.power.copy(), old.rise_db.copy(), old.level_db.copy(), old.colour_db.copy()
    power[frames] = _band_power(mono, rate, frames, weights)
    now, before = power[frames] + old.floor, power[np.maximum(frames - LAG_FRAMES, 0)] + old.floor
    rise[frames] = np.maximum(10 * np.log10((now + mask) / (before + mask)), 0) @ old.share
    level[frames], colour[frames] = _levels(power[frames], old.floor, octaves)
    return Novelty(rise, level, colour, power, old.floor, old.share)


def _levels(power: Frames, floor: Frames, octaves: Frames) -> tuple[Array, Frames]:
    """Level of whole frames and of their octaves, dB."""
    whole = 10 * np.log10(power.sum(axis=1, dtype=np.float64) + TINY)
    return whole, 10 * np.log10((power + floor) @ octaves + TINY)


def _mask(masker: NDArray[np.floating], rate: int, count: int, weights: Frames) -> tuple[NDArray[np.int64], Frames]:
    """The frames that the masker reaches, and MASK_SHARE of its highest power around each, (frames, bands)."""
    hop, reach = HOP_S * rate, 2 * LAG_FRAMES + 1
    sounding = np.zeros(count, bool)
    sounding[np.minimum(np.flatnonzero(masker) / hop, count - 1).astype(np.int64)] = True
    frames = np.flatnonzero(ndimage.maximum_filter1d(sounding.view(np.uint8), 2 * reach + 1))
    power = np.zeros((count, len(weights)), np.float32)
    power[frames] = _band_power(masker, rate, frames, weights)
    highest = power.copy()  # within reach // 2 frames; scipy's own filter takes ten times as long along this axis
    for away in range(1, reach // 2 + 1):
        np.maximum(highest[away:], power[:-away], out=highest[away:])
        np.maximum(highest[:-away], power[away:], out=highest[:-away])
    return frames, MASK_SHARE * highest[frames]


def _band_power(mono: NDArray[np.floating], rate: int, frames: NDArray[np.int64], weights: Frames) -> Frames:
    """Power of each band in the wanted frames, shape (frames, bands), re a full-scale sine."""
    size = round(WINDOW_S * rate)
    padded = np.concatenate([np.zeros(size // 2, np.float32), mono.astype(np.float32), np.zeros(size, np.float32)])
    starts = np.round(frames * HOP_S * rate).astype(np.int64)
    window = signal.get_window("hann", size).astype(np.float32)
    length = fft.next_fast_len(size, real=True)
    power = np.empty((len(frames), len(weights)), np.float32)
    views = np.lib.stride_tricks.sliding_window_view(padded, size)
    bins = 1 + int(np.flatnonzero(weights.any(axis=0))[-1])  # no band reaches the highest ones
    columns = np.ascontiguousarray(weights[:, :bins].T)
    for first in range(0, len(frames), CHUNK):
        spectra = fft.rfft(views[starts[first : first + CHUNK]] * window, length, axis=1)[:, :bins]
        power[first : first + CHUNK] = (spectra.real**2 + spectra.imag**2) @ columns
    return power / np.float32(np.sum(window) ** 2 / 4)


def pick(novelty: Novelty, threshold_db: float = THRESHOLD_DB) -> NDArray[np.int64]:
    """Frames at which something was struck: local maxima that stand out from their neighbourhood."""
    rise = novelty.rise_db
    if not len(rise):
        return np.zeros(0, np.int64)
    reach = round(PICK_S / HOP_S)
    top = ndimage.maximum_filter1d(rise, 2 * reach + 1, mode="constant")
    before, after = round(MEAN_BEFORE_S / HOP_S), round(MEAN_AFTER_S / HOP_S)
    width = before + after + 1
    mean = ndimage.uniform_filter1d(np.minimum(rise, MEAN_TOP_DB), width, origin=(before - after) // 2, mode="constant")
    frames = np.flatnonzero((rise >= top) & (rise > mean + threshold_db))
    if len(frames) > 1:  # two equal neighbours are one stroke
        frames = frames[np.concatenate([[True], np.diff(frames) > reach])]
    return frames


def _filterbank(size: int, rate: int) -> tuple[Frames, Frames, Frames]:
    """Triangles on a log axis (bands, bins), the bins each band is worth (bands,), octave sums (bands, octaves)."""
    hz = fft.rfftfreq(fft.next_fast_len(size, real=True), 1 / rate)
    top = min(HIGH_HZ, 0.45 * rate)
    points = [LOW_HZ]
    while points[-1] < top:
        points.append(max(points[-1] * 2 ** (1 / BANDS_A_OCTAVE), points[-1] + 1 / WINDOW_S))
    rows = [np.interp(hz, points[i : i + 3], [0, 1, 0], left=0, right=0) for i in range(len(points) - 2)]
    weights = np.array([row for row in rows if row.any()])
    freedom = weights.sum(axis=1) ** 2 / (weights**2).sum(axis=1)
    centres = weights @ hz / weights.sum(axis=1)
    place_of = np.searchsorted(np.array(COLOUR_HZ[1:-1]), centres)
    octaves = place_of[:, None] == np.arange(len(COLOUR_HZ) - 1)[None, :]
    return weights.astype(np.float32), freedom.astype(np.float32), octaves.astype(np.float32)
