"""Scores made by hypothesis: every construct the reader knows that music21 knows too, with a list of what is in them."""

from dataclasses import dataclass, field
from fractions import Fraction

from hypothesis import strategies as st

from . import page as p

F = Fraction
# Cells of one quarter: (length, dots, tuplet) each; what a construct is called in the table stands before them.
CELLS = {
    "quarters": [("q", 0, None)],
    "eighths": [("e", 0, None)] * 2,
    "sixteenths": [("s", 0, None)] * 4,
    "dots": [("e", 1, None), ("s", 0, None)],
    "double dots": [("e", 2, None), ("t", 0, None)],
    "32nds": [("t", 0, None)] * 4 + [("e", 0, None)],
    "triplets": [("e", 0, (3, 2))] * 3,
    "uneven triplets": [("q", 0, (3, 2)), ("e", 0, (3, 2))],
    "sextuplets": [("s", 0, (6, 4))] * 6,
    "quintuplets": [("s", 0, (5, 4))] * 5,
    "septuplets": [("s", 0, (7, 4))] * 7,
    "nested tuplets": [("e", 0, (3, 2))] * 2 + [("s", 0, (9, 4))] * 3,
}
METERS = [("4", "4"), ("3", "4"), ("2", "4"), ("5", "4"), ("6", "8"), ("9", "8"), ("7", "8"), ("3+2", "8"), ("2", "2")]
EIGHTH_CELL = [("e", 0, None)]
TEMPI = ["60", "92", "116", "120", "132.5", "177.77"]
PLACES = ["G5", "E5", "C5", "A4", "F4"]


@dataclass
class Made:
    """A score, and the constructs in it."""

    xml: bytes = field(default=b"", repr=False)
    has: set[str] = field(default_factory=set)


def meter_length(meter: tuple[str, str]) -> F:
    return F(4 * sum(int(n) for n in meter[0].split("+")), int(meter[1]))


@st.composite
def scores(draw, form: str) -> Made:
    """A score of six to nine bars whose repeats have the given form."""
    made = Made()
    bars = draw(st.integers(6, 9))
    meter = draw(st.sampled_from(METERS))
    pickup = draw(st.sampled_from([F(0), F(0), F(1), F(1, 2)]))
    out = []
    if pickup:
        made.has.add("pickup bar")
        body = _voice(draw, made, pickup, None)
        out.append(
            p.bar(0, p.first(p.tempo("120", sound="120"), beats=meter[0], beat_type=meter[1]), body, implicit=True)
        )
    for number in range(1, bars + 1):
        head = ""
        if number == 1 and not pickup:
            head = p.first(p.tempo("116", sound="116"), beats=meter[0], beat_type=meter[1])
        elif number > 1 and draw(st.integers(0, 3)) == 0:
            changed = draw(st.sampled_from(METERS))
            if changed != meter:
                meter = changed
                made.has.add("meter change")
                head = p.attributes(p.time(*meter))
        if "+" in meter[0]:
            made.has.add("composite meter")
        left, right = FORMS[form](number, bars)
        tempo = draw(_tempo_change(made)) if number > 1 else ""
        out.append(p.bar(number, left, head, tempo, _bar(draw, made, meter_length(meter)), right))
    made.has.add(form)
    made.xml = p.page(*out, name="Drumline")
    return made


@st.composite
def _tempo_change(draw, made: Made) -> str:
    kind = draw(st.integers(0, 5))
    value = draw(st.sampled_from(TEMPI))
    if kind == 0:
        made.has.add("metronome mark alone")
        return p.tempo(value)
    if kind == 1:
        made.has.add("metronome mark with dotted beat")
        return p.tempo("80", dots=1, sound="120")
    if kind == 2:
        made.has.add("sound tempo alone")
        return f'<sound tempo="{value}"/>'
    return ""


def _bar(draw, made: Made, length: F) -> str:
    layout = draw(st.integers(0, 5))
    if layout == 0:
        made.has.add("two voices, backup")
        other = F(draw(st.integers(1, max(1, int(length)))))
        second = p.forward(length - other) if other < length else ""
        if second:
            made.has.add("forward")
        return (
            _voice(draw, made, length, None)
            + p.backup(length)
            + second
            + _voice(draw, made, min(other, length), None, voice=2)
        )
    if layout == 1:
        made.has.add("whole-bar rest")
        return p.bar_rest_of(length)
    inside = draw(st.sampled_from(TEMPI)) if draw(st.integers(0, 3)) == 0 else None
    return _voice(draw, made, length, inside)


def _voice(draw, made: Made, length: F, inside: str | None, voice: int = 1) -> str:
    """Cells up to length; a tempo change before one of them where inside gives a tempo."""
    out, at, tie = [], F(0), None
    change_at = draw(st.integers(1, max(1, int(length) - 1))) if inside else None
    while at < length:
        if change_at is not None and at >= change_at:
            out.append(p.tempo(inside or "120", sound=inside))
            made.has.add("tempo change inside a bar")
            change_at = None
        if length - at < 1:
            cell, name = EIGHTH_CELL, "eighths"
        else:
            name = draw(st.sampled_from(sorted(CELLS)))
            cell = CELLS[name]
        made.has.add(name)
        for length_name, dots, tuplet in cell:
            text, tie = _one(draw, made, length_name, dots, tuplet, voice, tie)
            out.append(text)
        at += sum((F(p.TYPES[n][1]) * (2 - F(1, 2**d)) * (F(t[1], t[0]) if t else 1) for n, d, t in cell), F(0))
    if tie is not None:
        out[-1] = out[-1].replace('<tie type="start"/>', "").replace('<tied type="start"/>', "")
    return "".join(out)


def _one(draw, made: Made, length: str, dots: int, tuplet, voice: int, tie: str | None) -> tuple[str, str | None]:
    """A note, rest, chord, flam, drag or roll; tie is the place a tie comes from."""
    if tie is not None:
        return p.note(length, tie, dots=dots, tuplet=tuplet, voice=voice, tie="stop"), None
    kind = draw(
        st.sampled_from(
            ["plain"] * 6 + ["rest", "chord", "flam", "drag", "tie", "roll", "buzz", "cue", "accent", "rim", "sticking"]
        )
    )
    place = draw(st.sampled_from(PLACES))
    given = {"dots": dots, "tuplet": tuplet, "voice": voice}
    made.has.add({"plain": "plain notes", "rest": "rests", "cue": "cue notes left out"}.get(kind, kind))
    if kind == "rest":
        return p.rest(length, **given), None
    if kind == "chord":
        other = PLACES[(PLACES.index(place) + 1) % 5]
        return p.note(length, place, **given) + p.note(length, other, chord=True, **given), None
    if kind == "flam":
        return p.note("e", place, grace=True, voice=voice) + p.note(length, place, **given), None
    if kind == "drag":
        return p.note("s", place, grace=True, voice=voice) * 2 + p.note(length, place, **given), None
    if kind == "tie":
        return p.note(length, place, tie="start", **given), place
    if kind == "roll":
        return p.note(length, place, tremolo=(draw(st.integers(1, 2)), "single"), **given), None
    if kind == "buzz":
        return p.note(length, place, tremolo=(0, "unmeasured"), lyric="z", **given), None
    if kind == "cue":
        return p.note(length, place, cue=True, **given), None
    if kind == "accent":
        return p.note(length, place, articulations="accent", **given), None
    if kind == "rim":
        return p.note(length, place, head="x", **given), None
    if kind == "sticking":
        return p.note(length, place, lyric="R", **given), None
    return p.note(length, place, **given), None


def _plain(number: int, bars: int) -> tuple[str, str]:
    return "", ""


def _repeated(number: int, bars: int) -> tuple[str, str]:
    return (p.repeat("forward") if number == 2 else ""), (p.repeat("backward") if number == 4 else "")


def _three_times(number: int, bars: int) -> tuple[str, str]:
    return (p.repeat("forward") if number == 3 else ""), (p.repeat("backward", 3) if number == 4 else "")


def _endings(number: int, bars: int) -> tuple[str, str]:
    left = {2: p.repeat("forward"), 4: p.ending("1", "start"), 5: p.ending("2", "start")}
    right = {4: p.ending("1", "stop", back=True), 5: p.ending("2", "stop")}
    return left.get(number, ""), right.get(number, "")


def _shared_ending(number: int, bars: int) -> tuple[str, str]:
    left = {2: p.repeat("forward"), 3: p.ending("1,2", "start"), 4: p.ending("3", "start")}
    right = {3: p.ending("1,2", "stop", back=True), 4: p.ending("3", "stop")}
    return left.get(number, ""), right.get(number, "")


def _da_capo_al_fine(number: int, bars: int) -> tuple[str, str]:
    right = {2: p.words("Fine", 'fine="yes"'), bars: p.words("D.C. al Fine", 'dacapo="yes"')}
    return "", right.get(number, "")


def _dal_segno_al_coda(number: int, bars: int) -> tuple[str, str]:
    left = {2: p.sign("segno", 'segno="segno"'), bars: p.sign("coda", 'coda="coda"')}
    right = {3: p.sign("coda", 'tocoda="coda"'), bars - 1: p.words("D.S. al Coda", 'dalsegno="segno"')}
    return left.get(number, ""), right.get(number, "")


FORMS = {
    "straight through": _plain,
    "repeat": _repeated,
    "repeat three times": _three_times,
    "endings 1 and 2": _endings,
    "ending 1,2 and 3": _shared_ending,
    "D.C. al Fine": _da_capo_al_fine,
    "D.S. al Coda": _dal_segno_al_coda,
}

ALSO = (
    "pickup bar, meter change, composite meter, metronome mark alone, metronome mark with dotted beat, sound tempo alone, tempo change inside a bar, "
    "forward, whole-bar rest, plain notes, rests, chord, flam, drag, tie, roll, buzz, cue notes left out, accent, rim, sticking"
)
EVERY = {*FORMS, *CELLS, *ALSO.split(", "), "two voices, backup"}
