"""Invented pages: parts of every instrument made from a seed, so that nothing is fitted to one cadence.

Conventions: see music/written.py. The music is made of bars drawn from a small stock and repeated the way cadences
repeat (A A B A), because repeating music is what deceives an alignment. Nothing here is taken from any real piece.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ..music.written import Bar, Beat, Part, Tempo, WrittenStroke

GRACE_S = 0.028  # where a grace is written before its stroke, by the convention of the written values
SHARES = {"snare": 0.72, "tenors": 0.62, "bass": 0.6, "cymbals": 0.1, "other": 0.6}  # of 16ths that are played
COUNTS = ("", "e", "&", "a")
SIX_COUNTS = ("", "ta", "la", "ta", "li", "ta")


@dataclass(frozen=True, slots=True)
class PageSpec:
    """What an invented part is asked to be."""

    instrument: str = "snare"  # "snare", "tenors", "bass", "cymbals"
    drum: str = "all"  # "1".."5" for one split bass drum; "all" of a bass line: the whole line on one drum
    bars: int = 16
    bpm: float = 112.0
    meter: tuple[int, int] = (4, 4)  # also (2, 4), (3, 4), (6, 8)
    ornaments: float = 1.0  # 0: plain strokes only
    share: float | None = None  # of the grid that is played; None: what is usual for the instrument


@dataclass(frozen=True, slots=True)
class _Note:
    at_q: Fraction
    drum: str
    accent: bool
    ornament: str = ""  # "", "flam", "diddle", "roll", "buzz"
    length_q: Fraction = Fraction(1, 4)


def invent_part(spec: PageSpec, seed: int) -> Part:
    """One part. Seeds under 10 000 for tuning, from 900 000 on for evaluation only."""
    rng = np.random.default_rng([seed, 417])
    beats, unit = spec.meter
    six = unit == 8
    bar_q = Fraction(4 * beats, unit)
    beat_q = Fraction(3, 2) if six else Fraction(1)
    quarter_s = 60.0 / (spec.bpm * float(beat_q))
    stock = [_bar(spec, bar_q, rng) for _ in range(max(2, spec.bars // 4))]
    strokes: list[WrittenStroke] = []
    bars: list[Bar] = []
    clicks: list[Beat] = []
    for n, notes in enumerate(_order(stock, spec.bars, rng)):
        at_q = bar_q * n
        bars.append(Bar(n + 1, at_q, bar_q, float(at_q) * quarter_s, float(bar_q) * quarter_s, beats, unit))
        for k in range(int(bar_q / beat_q)):
            q = at_q + k * beat_q
            clicks.append(Beat(q, float(q) * quarter_s, n + 1, n, k + 1, k == 0, beat_q))
        for note in notes:
            strokes += _strokes(note, at_q, n, quarter_s, beat_q)
    strokes = _own_drum(strokes, spec)
    end_q = bar_q * spec.bars
    order = {"grace": 0}
    strokes.sort(key=lambda s: (s.at_q, order.get(s.kind, 1)))
    tempo = Tempo(Fraction(0), Fraction(spec.bpm).limit_denominator(1000) * beat_q)
    name = spec.instrument.capitalize()
    return Part(
        "P1", name, spec.instrument, spec.drum, f"Invented {seed}",
        tuple(strokes), tuple(bars), tuple(clicks), (tempo,), end_q, float(end_q) * quarter_s,
    )  # fmt: skip


def _order(stock: list[list[_Note]], bars: int, rng: np.random.Generator) -> list[list[_Note]]:
    """Bars in running order: a two-bar idea, again, something else, the idea; the last bar ends on one."""
    out: list[list[_Note]] = []
    while len(out) < bars:
        a, b, c = (stock[int(rng.integers(len(stock)))] for _ in range(3))
        out += [a, b, a, c] if rng.random() < 0.6 else [a, a, b, c]
    out = out[:bars]
    out[-1] = [note for note in out[-1] if note.at_q == 0] or out[-1][:1]
    return out


def _bar(spec: PageSpec, bar_q: Fraction, rng: np.random.Generator) -> list[_Note]:
    """One bar of notes on the 16th grid."""
    share = spec.share if spec.share is not None else SHARES.get(spec.instrument, 0.6)
    slots = int(bar_q * 4)
    strength = [1.0 if k == 0 else 0.8 if k % 4 == 0 else 0.55 if k % 2 == 0 else 0.4 for k in range(slots)]
    wanted = max(1, round(share * slots))
    keys = [rng.random() ** (1.0 / s) for s in strength]
    chosen = sorted(sorted(range(slots), key=lambda k: -keys[k])[:wanted])
    notes = []
    for n, k in enumerate(chosen):
        gap = (chosen[n + 1] if n + 1 < len(chosen) else slots) - k
        ornament, length = _ornament(spec, gap, rng)
        notes.append(
            _Note(Fraction(k, 4), _drum(spec, rng), bool(rng.random() < 0.2 + 0.3 * (k % 4 == 0)), ornament, length)
        )
    if spec.instrument == "bass":
        notes += [
            _Note(note.at_q, f"bass-{d}", note.accent)
            for note in notes
            if note.accent and rng.random() < 0.4
            for d in range(1, 6)
        ]
        notes = list({(note.at_q, note.drum): note for note in notes}.values())
    return notes


def _ornament(spec: PageSpec, gap: int, rng: np.random.Generator) -> tuple[str, Fraction]:
    """What a note is dressed with, and how long it may last; gap in 16ths to the next note."""
    draw = rng.random() / max(spec.ornaments, 1e-9)
    if spec.instrument in ("bass", "cymbals"):
        return "", Fraction(1, 4)
    if draw < 0.1:
        return "flam", Fraction(1, 4)
    if draw < 0.2:
        return "diddle", Fraction(1, 4)
    if draw < 0.27 and gap >= 2:
        return "roll", Fraction(min(gap, 4), 4)
    if draw < 0.3 and gap >= 2 and spec.instrument == "snare":
        return "buzz", Fraction(min(gap, 4), 4)
    return "", Fraction(1, 4)


def _drum(spec: PageSpec, rng: np.random.Generator) -> str:
    if spec.instrument == "tenors":
        return f"tenor-{int(rng.integers(1, 5))}"
    if spec.instrument == "bass":
        return f"bass-{int(rng.integers(1, 6))}"
    if spec.instrument == "cymbals":
        return "cymbal"
    return "rim" if rng.random() < 0.04 else "snare"


def _strokes(note: _Note, bar_at_q: Fraction, bar: int, quarter_s: float, beat_q: Fraction) -> list[WrittenStroke]:
    """A note as written strokes, its grace and its roll spelled out."""
    level = 0.9 if note.accent else 0.62

    def stroke(offset_q: Fraction, kind: str, before_s: float = 0.0, length_q: Fraction = Fraction(0)) -> WrittenStroke:
        at_q = bar_at_q + note.at_q + offset_q
        return WrittenStroke(
            at_q, float(at_q) * quarter_s - before_s, bar + 1, bar, _count(note.at_q + offset_q, beat_q), kind,
            note.drum, note.accent and kind == "stroke", length_q, float(length_q) * quarter_s, None,
            0.45 if kind == "grace" else level, "rim" if note.drum == "rim" else "",
        )  # fmt: skip

    if note.ornament == "buzz":
        return [stroke(Fraction(0), "buzz", 0.0, note.length_q)]
    out = [stroke(Fraction(0), "grace", GRACE_S)] if note.ornament == "flam" else []
    out.append(stroke(Fraction(0), "stroke"))
    spread = {"diddle": Fraction(1, 4), "roll": note.length_q}.get(note.ornament, Fraction(0))
    out += [stroke(Fraction(k, 8), "diddle") for k in range(1, int(spread * 8))]
    return out


def _count(at_q: Fraction, beat_q: Fraction) -> str:
    beat = int(at_q / beat_q)
    rest = at_q - beat * beat_q
    names = COUNTS if beat_q == 1 else SIX_COUNTS
    return f"{beat + 1}{names[int(rest * 4) % len(names)]}"


def _own_drum(strokes: list[WrittenStroke], spec: PageSpec) -> list[WrittenStroke]:
    """A split bass player's own notes, or the line on one drum with notes together counted once."""
    if spec.instrument != "bass":
        return strokes
    if spec.drum != "all":
        return [s for s in strokes if s.drum == f"bass-{spec.drum}"]
    seen: dict[tuple[Fraction, str], WrittenStroke] = {}
    for s in strokes:
        seen.setdefault((s.at_q, s.kind), s)
    return [_on_bass(s) for s in seen.values()]


def _on_bass(s: WrittenStroke) -> WrittenStroke:
    return WrittenStroke(
        s.at_q, s.at_s, s.bar, s.played_bar, s.count, s.kind, "bass", s.accent, s.length_q, s.length_s, s.hand, s.level
    )
