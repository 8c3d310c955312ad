"""MusicXML written by hand in a few words, for tests of the reader.

`note("q")` is a struck quarter on the third space; `bar(1, ...)` a measure; `page(bar, bar)` a whole score with one part.
Divisions are 5040 a quarter unless a bar says otherwise.
"""

from fractions import Fraction

DIVISIONS = (
    5040  # holds 32nds with dots, triplets in triplets, fives and sevens; under the 16383 of the standard's text
)
TYPES = {
    "w": ("whole", 4),
    "h": ("half", 2),
    "q": ("quarter", 1),
    "e": ("eighth", Fraction(1, 2)),
    "s": ("16th", Fraction(1, 4)),
    "t": ("32nd", Fraction(1, 8)),
}


def note(
    length: str = "q",
    place: str = "C5",
    *,
    tuplet: tuple[int, int] | None = None,
    dots: int = 0,
    grace: bool = False,
    chord: bool = False,
    voice: int = 1,
    staff: int | None = None,
    tie: str = "",
    notations: str = "",
    articulations: str = "",
    technical: str = "",
    tremolo: tuple[int, str] | None = None,
    lyric: str = "",
    head: str = "",
    instrument: str = "",
    pitched: bool = False,
    cue: bool = False,
    stem: str = "",
    attrs: str = "",
    duration: int | None = None,
) -> str:
    """One <note>; tie is any of "start", "stop", "stop start"; tremolo is (slashes, type)."""
    name, quarters = TYPES[length]
    exact = Fraction(quarters) * (2 - Fraction(1, 2**dots))
    if tuplet:
        exact *= Fraction(tuplet[1], tuplet[0])
    units = duration if duration is not None else int(exact * DIVISIONS)
    step, octave = place[0], place[1:]
    sound = (
        f"<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        if pitched
        else f"<unpitched><display-step>{step}</display-step><display-octave>{octave}</display-octave></unpitched>"
    )
    ties = "".join(f'<tie type="{kind}"/>' for kind in tie.split())
    marks = notations + "".join(f'<tied type="{kind}"/>' for kind in tie.split())
    if tremolo:
        marks += f'<ornaments><tremolo type="{tremolo[1]}">{tremolo[0]}</tremolo></ornaments>'
    if technical:
        marks += f"<technical>{technical}</technical>"
    if articulations:
        marks += "<articulations>" + "".join(f"<{name_}/>" for name_ in articulations.split()) + "</articulations>"
    size = ' size="cue"' if cue else ""
    return "".join(
        (
            f"<note{attrs}>",
            "<grace/>" if grace else "<cue/>" if cue else "",
            "<chord/>" if chord else "",
            sound,
            "" if grace else f"<duration>{units}</duration>",
            ties,
            f'<instrument id="{instrument}"/>' if instrument else "",
            f"<voice>{voice}</voice><type{size}>{name}</type>",
            "<dot/>" * dots,
            f"<time-modification><actual-notes>{tuplet[0]}</actual-notes><normal-notes>{tuplet[1]}</normal-notes></time-modification>"
            if tuplet
            else "",
            f"<stem>{stem}</stem>" if stem else "",
            head if head.startswith("<") else f"<notehead>{head}</notehead>" if head else "",
            f"<staff>{staff}</staff>" if staff else "",
            f"<notations>{marks}</notations>" if marks else "",
            f"<lyric><text>{lyric}</text></lyric>" if lyric else "",
            "</note>",
        )
    )


def rest(length: str = "q", voice: int = 1, dots: int = 0, tuplet: tuple[int, int] | None = None) -> str:
    made = note(length, voice=voice, dots=dots, tuplet=tuplet)
    start, end = made.index("<unpitched>"), made.index("</unpitched>") + len("</unpitched>")
    return made[:start] + "<rest/>" + made[end:]


def bar_rest(quarters: int = 4) -> str:
    return f'<note><rest measure="yes"/><duration>{quarters * DIVISIONS}</duration><voice>1</voice></note>'


def bar_rest_of(length: Fraction) -> str:
    return f'<note><rest measure="yes"/><duration>{int(length * DIVISIONS)}</duration><voice>1</voice></note>'


def time(beats: str, beat_type: str) -> str:
    return f"<time><beats>{beats}</beats><beat-type>{beat_type}</beat-type></time>"


def attributes(*inside: str) -> str:
    return f"<attributes>{''.join(inside)}</attributes>"


def tempo(value: str, unit: str = "quarter", dots: int = 0, sound: str | None = None, offset: str = "") -> str:
    """A printed metronome mark, with a <sound> where one is given."""
    mark = f"<metronome><beat-unit>{unit}</beat-unit>{'<beat-unit-dot/>' * dots}<per-minute>{value}</per-minute></metronome>"
    heard = f'<sound tempo="{sound}"/>' if sound else ""
    return f"<direction><direction-type>{mark}</direction-type>{offset}{heard}</direction>"


def words(text: str, sound: str = "", extra: str = "") -> str:
    heard = f"<sound {sound}/>" if sound else ""
    spoken = f"<direction-type><words>{text}</words></direction-type>" if text else ""
    return f"<direction>{extra}{spoken}{heard}</direction>"


def sign(name: str, sound: str = "") -> str:
    return words("", sound, f"<direction-type><{name}/></direction-type>")


def dynamic(name: str) -> str:
    return f"<direction><direction-type><dynamics><{name}/></dynamics></direction-type></direction>"


def backup(quarters: Fraction | int) -> str:
    return f"<backup><duration>{int(Fraction(quarters) * DIVISIONS)}</duration></backup>"


def forward(quarters: Fraction | int) -> str:
    return f"<forward><duration>{int(Fraction(quarters) * DIVISIONS)}</duration></forward>"


def repeat(direction: str, times: int | None = None) -> str:
    side = "left" if direction == "forward" else "right"
    often = f' times="{times}"' if times else ""
    return f'<barline location="{side}"><repeat direction="{direction}"{often}/></barline>'


def ending(number: str, kind: str, back: bool = False) -> str:
    side = "left" if kind == "start" else "right"
    tail = '<repeat direction="backward"/>' if back else ""
    return f'<barline location="{side}"><ending number="{number}" type="{kind}"/>{tail}</barline>'


def bar(number: int | str, *inside: str, implicit: bool = False) -> str:
    hidden = ' implicit="yes"' if implicit else ""
    return f'<measure number="{number}"{hidden}>{"".join(inside)}</measure>'


def first(*inside: str, beats: str = "4", beat_type: str = "4") -> str:
    """What begins the first bar: divisions, meter and whatever else."""
    start = f"<divisions>{DIVISIONS}</divisions>", time(beats, beat_type)
    return attributes(*start, "<clef><sign>percussion</sign></clef>") + "".join(inside)


def part(*bars: str, part_id: str = "P1") -> str:
    return f'<part id="{part_id}">{"".join(bars)}</part>'


def listed(part_id: str, name: str, *instruments: tuple[str, str]) -> str:
    inside = "".join(
        f'<score-instrument id="{own}"><instrument-name>{called}</instrument-name></score-instrument>'
        for own, called in instruments
    )
    return f'<score-part id="{part_id}"><part-name>{name}</part-name>{inside}</score-part>'


def document(part_list: str, *parts: str, head: str = "", version: str = "4.0") -> bytes:
    return f'<?xml version="1.0" encoding="UTF-8"?><score-partwise version="{version}">{head}<part-list>{part_list}</part-list>{"".join(parts)}</score-partwise>'.encode()


def page(*bars: str, name: str = "Snare", instruments: tuple[tuple[str, str], ...] = ()) -> bytes:
    """A score with one part."""
    return document(listed("P1", name, *instruments), part(*bars))
