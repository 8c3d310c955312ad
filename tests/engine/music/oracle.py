"""Stroke times by music21, an outside library for musical scores, from the same MusicXML.

Only what music21 reads is taken from it: places of notes, ties, cues, graces, tremolo marks, repeats, tempo marks. The
arithmetic of a measured roll (marks plus beams) and the 28 ms of a grace are added here, written anew.
"""

import warnings
from fractions import Fraction
from math import ceil

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from music21 import converter, expressions, note, stream

BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4}


def oracle_strokes(xml: bytes, part_index: int = 0) -> dict[str, list[float]]:
    """Sorted seconds from the first full bar's downbeat, by kind: stroke, diddle, buzz, grace."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parts = converter.parse(xml.decode(), format="musicxml").parts
        clock = _Clock(parts[0].expandRepeats())  # tempo marks stand in the first part
        return _strokes(parts[part_index].expandRepeats(), clock)


def _strokes(part: "stream.Part", clock: "_Clock") -> dict[str, list[float]]:
    bars = list(part.getElementsByClass(stream.Measure))
    zero = clock.seconds(Fraction(bars[0].highestTime) if bars[0].paddingLeft else Fraction(0))
    out: dict[str, set[float]] = {"stroke": set(), "diddle": set(), "buzz": set(), "grace": set()}
    for bar in bars:
        for home in list(bar.voices) or [bar]:
            graces = 0
            for found in home.notes:
                at = Fraction(bar.offset) + Fraction(home.offset if home is not bar else 0) + Fraction(found.offset)
                if found.duration.isGrace:
                    graces += 1
                    continue
                if _is_cue(found) or (found.tie is not None and found.tie.type in ("stop", "continue")):
                    graces = 0
                    continue
                here = clock.seconds(at) - zero
                for back in range(graces):
                    out["grace"].add(round(float(here) - 0.028 * (back + 1), 9))
                graces = 0
                for kind, when in _hits(found, at):
                    out[kind].add(round(float(clock.seconds(when) - zero), 9))
    out["diddle"] -= out["stroke"]
    out["buzz"] -= out["stroke"] | out["diddle"]
    return {kind: sorted(times) for kind, times in out.items()}


def _is_cue(found) -> bool:
    """music21 keeps the small size of a cue note, not that it is one."""
    return found.style.noteSize == "cue" if found.hasStyleInformation else False


def _hits(found, at: Fraction) -> list[tuple[str, Fraction]]:
    """The strokes of one note or chord."""
    rolls = [mark for mark in found.expressions if isinstance(mark, expressions.Tremolo)]
    if not rolls:
        return [("stroke", at)]
    if found.lyric == "z":  # music21 does not keep that a tremolo is unmeasured; the tests print a z as well
        return [("buzz", at)]
    length = Fraction(found.duration.quarterLength)
    nominal = Fraction(note.Note(type=found.duration.type).quarterLength) * (2 - Fraction(1, 2**found.duration.dots))
    unit = Fraction(1, 2 ** (BEAMS.get(found.duration.type, 0) + rolls[0].numberOfMarks))
    strokes, step = ceil(nominal / unit), unit * length / nominal
    return [("diddle" if k else "stroke", at + k * step) for k in range(strokes)]


class _Clock:
    """Seconds by music21's tempo marks."""

    def __init__(self, part: "stream.Part") -> None:
        self.spans = [
            (Fraction(start), Fraction(end), Fraction(str(mark.getQuarterBPM())))
            for start, end, mark in part.metronomeMarkBoundaries()
        ]

    def seconds(self, at: Fraction) -> Fraction:
        total = Fraction(0)
        for n, (start, end, tempo) in enumerate(self.spans):
            last = n == len(self.spans) - 1
            if at <= start:
                break
            total += ((at if last else min(at, end)) - start) * 60 / tempo
        return total
