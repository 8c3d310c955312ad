"""What the picture shows: black, dark, covered, blurred, letterboxed, frozen, still, shaking.

From sparse key frames (longer side 320 pixels, gray 0..255), packet sizes and the motion windows; no full decode.
Conventions: spans in file time, seconds; shares 0..1; shifts in parts of the picture's longer side.
"""

import itertools

import numpy as np
from numpy.typing import NDArray

from ..facts import PictureFacts, Span
from ..media import Frame, RawTake

Gray = NDArray[np.uint8]

BLACK_LUMA = 9.0  # chosen: video black is 0 here (full range); noise and compression lift it by some steps
BAR_LUMA = 20.0  # bars burnt in and encoded again ring a little at their edge
DARK_LUMA = 45.0  # chosen: hands and sticks cannot be told from the drum below it
DARK_BRIGHT_LUMA = 110.0  # a stage with a lit player is dark in the mean and still shows the player
# Of the mean: from patch to patch a finger or a pocket over the lens changes little, however its glow runs over the
# picture. Measured on rehearsal pictures: 0.05 when covered, 0.15 and more for a player far off at a plain wall, 0.19 and
# more out of focus.
PLAIN_STEP, PLAIN_PART = 0.09, 98  # and the percentile of all steps: grain and a speck of dust may step further
BAR_SHARE = 0.06  # of the side: thinner black borders are cropping, not letterboxing
SAME_LUMA = 6.0  # in blocks of PATCH pixels: compression moves a standing picture by less, a hand moves some block more
# Windows are decoded without the loop filter, so a standing picture drifts there: by 12 at most, measured at 216 lines.
DRIFT_LUMA = 15.0
PATCH = 8
FROZEN_S = 1.0  # chosen: shorter stops are hiccups that the eye forgives
STILL_SHARE = 0.9
TINY_BYTES, TINY_PER_PIXEL = 40.0, 0.0001  # a packet that says "as before": header plus one flag a block
SHAKING_S, SHAKING_SHIFT = 0.15, 0.012  # chosen: within so long the picture moves by 23 pixels of 1920, time and again
SHAKING_SHARE = 0.4
UNDONE = 0.8  # of the difference may be left when the shift is taken back


def measure_picture(raw: RawTake) -> PictureFacts:
    """Facts of the picture; defaults where there is no picture."""
    if not raw.sparse:
        return PictureFacts()
    grays = [frame.gray for frame in raw.sparse]
    means = np.array([gray.mean() for gray in grays])
    black = np.array([_black(gray) for gray in grays])
    seen = [gray for gray, dead in zip(grays, black, strict=True) if not dead]
    frozen = frozen_spans(raw)
    dark = bool(seen) and float(np.mean([_dark(gray) for gray in seen])) > 0.5
    return PictureFacts(
        black_share=float(black.mean()),
        mean_luma=float(means.mean()),
        dark=dark,
        covered=bool(seen) and float(np.mean([_plain(gray) for gray in seen])) > 0.5,
        frozen=frozen,
        still=_still(raw, frozen),
        sharpness=float(np.median([sharpness(gray) for gray in seen])) if seen else None,
        letterboxed=bool(seen) and not dark and _letterboxed(seen),
        shaking=is_shaking(raw.windows),
    )


def _black(gray: Gray) -> bool:
    return bool(np.percentile(_patches(gray), 98) < BLACK_LUMA)


def _dark(gray: Gray) -> bool:
    return bool(gray.mean() < DARK_LUMA and np.percentile(gray, 95) < DARK_BRIGHT_LUMA)


def _plain(gray: Gray) -> bool:
    patches = _patches(gray)
    steps = np.concatenate([np.abs(np.diff(patches, axis=axis)).ravel() for axis in (0, 1)])
    return bool(len(steps)) and bool(np.percentile(steps, PLAIN_PART) < PLAIN_STEP * (patches.mean() + 2.0))


def shows_nothing(gray: Gray) -> bool:
    """Whether a frame is black or one plain patch."""
    return _black(gray) or _plain(gray)


def _patches(gray: Gray) -> NDArray[np.float64]:
    """Means of PATCH x PATCH pixels: grain averages out, things stay."""
    rows, columns = max(1, gray.shape[0] // PATCH), max(1, gray.shape[1] // PATCH)
    cut = gray[: rows * PATCH, : columns * PATCH].astype(np.float64)
    tall, wide = cut.shape[0] // rows, cut.shape[1] // columns
    return np.asarray(cut.reshape(rows, tall, columns, wide).mean(axis=(1, 3)))


def _alike(a: Gray, b: Gray, least: float) -> bool:
    """Whether two frames of one size show the same standing picture: no patch of a well lit one differs by least."""
    first, second = _patches(a), _patches(b)
    least *= min(1.0, max(0.15, float(first.mean()) / 60.0))  # in the dark everything moves by less
    return bool(np.abs(first - second).max() < least)


def sharpness(gray: Gray) -> float:
    """1 = as sharp as its size allows, 0 = nothing but blur: how much blurring once more would take away.

    After Crete, Dolmiere, Ladret and Nicolas, "The blur effect", SPIE 6492 (2007): neighbour differences of the picture
    and of a copy blurred over 9 pixels are compared; a picture that loses little had little to lose.
    """
    picture = gray.astype(np.float64)
    kept = []
    for axis in (0, 1):
        sharp = np.abs(np.diff(picture, axis=axis))
        blurred = np.abs(np.diff(_box(picture, axis), axis=axis))
        lost = np.maximum(sharp - blurred, 0.0).sum()
        kept.append(float(lost / sharp.sum()) if sharp.sum() > 0 else 0.0)
    return min(kept)


def _box(picture: NDArray[np.float64], axis: int, width: int = 9) -> NDArray[np.float64]:
    pad = [(0, 0), (0, 0)]
    pad[axis] = (width // 2 + 1, width // 2)
    total = np.cumsum(np.pad(picture, pad, mode="edge"), axis=axis)
    upper = np.take(total, range(width, total.shape[axis]), axis=axis)
    lower = np.take(total, range(total.shape[axis] - width), axis=axis)
    return np.asarray((upper - lower) / width)


def _letterboxed(grays: list[Gray]) -> bool:
    """Black bars at both ends of one direction in every frame, with a picture between them."""
    brightest = np.max(np.stack([g for g in grays if g.shape == grays[0].shape]), axis=0)
    for axis in (0, 1):
        lines = np.percentile(brightest, 95, axis=axis)
        lit = np.flatnonzero(lines >= BAR_LUMA)
        if len(lit) and min(lit[0], len(lines) - 1 - lit[-1]) >= BAR_SHARE * len(lines):
            return True
    return False


def frozen_spans(raw: RawTake) -> tuple[Span, ...]:
    """Stretches where the picture stands still: packets that say "as before", or no packets at all."""
    packets = raw.packets
    if len(packets) < 2:
        return ()
    at_s = packets["at_s"]
    tiny = _tiny(raw) | (packets["key"] > 0)
    if packets["key"].mean() > 0.9:  # every picture stands alone: the same picture has the same size
        size = packets["bytes"].astype(float)
        tiny = np.append(np.abs(np.diff(size)) < 1e-3 * size[1:], False)
    stands = [part for run in _runs(at_s, tiny) for part in _unchanged(raw, *run)]
    spans = [Span(raw.file_s(a), raw.file_s(b)) for a, b in stands]
    gaps = np.flatnonzero(np.diff(at_s) >= FROZEN_S)
    spans += [Span(raw.file_s(float(at_s[i])), raw.file_s(float(at_s[i + 1]))) for i in gaps]
    return tuple(sorted(spans, key=lambda span: span.start_s))


def _tiny(raw: RawTake) -> NDArray[np.bool_]:
    """Which packets say no more than "as before"."""
    pixels = (raw.container.width or 0) * (raw.container.height or 0)
    return np.asarray(raw.packets["bytes"] < TINY_BYTES + TINY_PER_PIXEL * pixels)


def _runs(at_s: NDArray[np.float64], tiny: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """(start, end) of runs of at least FROZEN_S in which all packets are tiny; a lone packet does not break one."""
    smooth = tiny | (np.append(tiny[1:], False) & np.append(False, tiny[:-1]))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], smooth.astype(np.int8), [0]])))
    runs = [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [(float(at_s[a]), float(at_s[b])) for a, b in runs if at_s[b] - at_s[a] >= FROZEN_S]


def _unchanged(raw: RawTake, start_s: float, end_s: float) -> list[tuple[float, float]]:
    """The parts of the stretch, of at least FROZEN_S, within which all decoded frames show one picture.

    At high rates packets are small in slow movement too, so a run of small packets may begin before the picture stops.
    """
    parts = [(start_s, end_s)]
    for group in (raw.sparse, *raw.windows):
        parts = [piece for part in parts for piece in _cut(group, *part)]
    return [(a, b) for a, b in parts if b - a >= FROZEN_S]


def _cut(group: tuple[Frame, ...], start_s: float, end_s: float) -> list[tuple[float, float]]:
    """The stretch cut wherever a frame of the group no longer shows what the piece began with."""
    inside = [frame for frame in group if start_s < frame.at_s < end_s]
    pieces, begin, shown = [], start_s, inside[0] if inside else None
    for before, frame in itertools.pairwise(inside):
        if shown is not None and not _alike(shown.gray, frame.gray, SAME_LUMA):
            pieces.append((begin, before.at_s))
            begin, shown = frame.at_s, frame
    return [*pieces, (begin, end_s)]


def _still(raw: RawTake, frozen: tuple[Span, ...]) -> bool:
    """One picture for the whole take."""
    if raw.container.frames <= 2:
        return True
    length = raw.container.picture_duration_s or 0.0
    stands = sum(span.end_s - span.start_s for span in frozen) >= STILL_SHARE * length
    # At high rates an encoder goes on sharpening a standing picture with every fourth packet; the others say "as before".
    between = _tiny(raw)[raw.packets["key"] == 0]
    stands = stands or bool(len(between) and between.mean() > 0.5)
    groups = ((raw.sparse, SAME_LUMA), *((window[::5], DRIFT_LUMA) for window in raw.windows))
    same = all(_alike(g[0].gray, frame.gray, least) for g, least in groups if g for frame in g[1:])
    return length > 2.0 and stands and same


def is_shaking(windows: tuple[tuple[Frame, ...], ...]) -> bool:
    """Whether the whole picture moves about (a hand-held or drum-mounted camera)."""
    moves = [move for window in windows for move in _moves(window)]
    return len(moves) >= 8 and float(np.mean(np.array(moves) > SHAKING_SHIFT)) > SHAKING_SHARE


def _moves(window: tuple[Frame, ...]) -> list[float]:
    """How far the whole picture moved within SHAKING_S, parts of the longer side, at up to 40 places of a window."""
    times = np.array([frame.at_s for frame in window])
    later = np.searchsorted(times, times + SHAKING_S)
    pairs = [(i, int(j)) for i, j in enumerate(later) if j < len(window)]
    chosen = pairs[:: max(1, len(pairs) // 40)]
    shifts = [
        _true_shift(window[i].gray, window[j].gray) for i, j in chosen if window[i].gray.shape == window[j].gray.shape
    ]
    return [float(np.hypot(*shift)) / max(window[0].gray.shape) for shift in shifts]


def _true_shift(before: Gray, after: Gray) -> tuple[float, float]:
    """The whole picture's shift where undoing it really brings the two frames together; else none."""
    shift = whole_shift(before, after)
    back = np.roll(after, (-round(shift[0]), -round(shift[1])), axis=(0, 1)).astype(np.int16)
    apart = np.abs(after.astype(np.int16) - before).mean()
    return shift if np.abs(back - before).mean() < UNDONE * apart else (0.0, 0.0)


def whole_shift(before: Gray, after: Gray) -> tuple[float, float]:
    """By how many pixels (down, right) most of the picture moved: phase correlation (Kuglin and Hines, 1975)."""
    taper = np.outer(np.hanning(before.shape[0]), np.hanning(before.shape[1]))
    a, b = (np.fft.rfft2((g.astype(np.float64) - g.mean()) * taper) for g in (before, after))
    cross = a.conj() * b
    surface = np.fft.irfft2(cross / (np.abs(cross) + 1e-9 * np.abs(cross).max() + 1e-12), s=before.shape)
    down, right = np.unravel_index(int(surface.argmax()), surface.shape)
    half = (before.shape[0] // 2, before.shape[1] // 2)
    return (
        _peak(surface[:, right], int(down), half[0], before.shape[0]),
        _peak(surface[down], int(right), half[1], before.shape[1]),
    )


def _peak(line: NDArray[np.float64], at: int, half: int, length: int) -> float:
    """Signed place of the peak, refined by the centre of mass of its neighbours."""
    around = np.array([line[(at - 1) % length], line[at], line[(at + 1) % length]]).clip(0.0)
    fine = float((around[2] - around[0]) / around.sum()) if around.sum() > 0 else 0.0
    return (at if at <= half else at - length) + fine
