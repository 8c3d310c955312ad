"""Cells of drum notation written as MusicXML 4.0.

A cell is a string of notes: length (h q e s t, "." dotted, 3 triplet, 6 sextuplet), then in any order
"-" rest, "/n" slashes, "z" buzz, ":" and drums ("U" all), ">" accent, "f" flam, "d" drag, "." after them staccato,
R or L sticking. Example: "s>fR" is an accented right-hand flam on a sixteenth.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from xml.sax.saxutils import escape

DIVISIONS = 48  # holds 32nds, triplets and sextuplets
LENGTHS = {"h": ("half", 96), "q": ("quarter", 48), "e": ("eighth", 24), "s": ("16th", 12), "t": ("32nd", 6)}
FLAGS = {"half": 0, "quarter": 0, "eighth": 1, "16th": 2, "32nd": 3}
TUPLETS = {"3": (3, 2), "6": (6, 4)}
TOKEN = re.compile(r"([hqest])(\.(?![\s]|$))?([36])?(.*)")


@dataclass(frozen=True)
class Voice:
    """One part: its names, its cells, and where each drum stands on the staff."""

    part_id: str
    name: str
    key: str
    short: str
    cells: dict[str, str]
    places: dict[int, str]


@dataclass(frozen=True, slots=True)
class Note:
    kind: str
    units: int
    dotted: bool
    tuplet: str
    rest: bool
    drums: tuple[int, ...]
    marks: str
    slashes: int
    hand: str

    @property
    def flags(self) -> int:
        return FLAGS[self.kind]


def read_cell(cell: str, drums: tuple[int, ...]) -> list[Note]:
    """The notes of one cell."""
    return [_note(token, drums) for token in cell.split()]


def _note(token: str, drums: tuple[int, ...]) -> Note:
    match = TOKEN.fullmatch(token)
    if match is None:
        raise ValueError(f"no note: {token}")
    length, dot, tuplet, rest = match.groups()
    kind, units = LENGTHS[length]
    exact = Fraction(units) * (Fraction(3, 2) if dot else 1)
    if tuplet:
        exact *= Fraction(TUPLETS[tuplet][1], TUPLETS[tuplet][0])
    struck = re.search(r":([1-6]+|U)", rest)
    slashes = re.search(r"/(\d)", rest)
    marks = re.sub(r":([1-6]+|U)|/\d", "", rest)
    chosen = (
        drums[:1] if struck is None else drums if struck.group(1) == "U" else tuple(int(d) for d in struck.group(1))
    )
    hand = next((letter for letter in "RL" if letter in marks), "")
    return Note(
        kind,
        int(exact),
        bool(dot),
        tuplet or "",
        "-" in marks,
        chosen,
        marks,
        int(slashes.group(1)) if slashes else 0,
        hand,
    )


def write_score(title: str, tempo: int, voices: tuple[Voice, ...], words: dict[str, str]) -> str:
    """A score-partwise document; words[voice.key] spells each part's bars."""
    listed = "".join(
        f'<score-part id="{v.part_id}"><part-name>{escape(v.name)}</part-name><part-abbreviation>{escape(v.short)}</part-abbreviation></score-part>'
        for v in voices
    )
    parts = "".join(_part(voice, tempo if n == 0 else None, words[voice.key]) for n, voice in enumerate(voices))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f"<work><work-title>{escape(title)}</work-title></work>"
        '<identification><creator type="composer">the makers of Tapoff</creator></identification>'
        f"<part-list>{listed}</part-list>{parts}</score-partwise>\n"
    )


def _part(voice: Voice, tempo: int | None, words: str) -> str:
    bars = [word.split() for word in words.split("/")]
    drums = tuple(sorted(voice.places))
    out, meter = [], 0
    for number, cells in enumerate(bars, start=1):
        head = ""
        if number == 1 or len(cells) != meter:
            head = _attributes(len(cells), number == 1)
        meter = len(cells)
        if number == 1 and tempo is not None:
            head += _tempo(tempo)
        beats = [read_cell(voice.cells[cell], drums) for cell in cells]
        wrong = [cell for cell, beat in zip(cells, beats, strict=True) if sum(note.units for note in beat) != DIVISIONS]
        if wrong:
            raise ValueError(f"{voice.name}: cells {wrong} do not last a beat")
        notes = "".join(_beat(voice, beat) for beat in beats)
        out.append(f'<measure number="{number}">{head}{notes}</measure>\n')
    return f'<part id="{voice.part_id}">{"".join(out)}</part>'


def _attributes(beats: int, first: bool) -> str:
    start = f"<divisions>{DIVISIONS}</divisions><key><fifths>0</fifths></key>" if first else ""
    clef = "<clef><sign>percussion</sign><line>2</line></clef>" if first else ""
    return f"<attributes>{start}<time><beats>{beats}</beats><beat-type>4</beat-type></time>{clef}</attributes>"


def _tempo(tempo: int) -> str:
    mark = f"<metronome><beat-unit>quarter</beat-unit><per-minute>{tempo}</per-minute></metronome>"
    return f'<direction placement="above"><direction-type>{mark}</direction-type><sound tempo="{tempo}"/></direction>'


def _beat(voice: Voice, notes: list[Note]) -> str:
    beams = _beams(notes)
    return "".join(_written(voice, note, beams[n], n == 0, n == len(notes) - 1) for n, note in enumerate(notes))


def _beams(notes: list[Note]) -> list[list[str]]:
    """The beam elements of each note: neighbours of a beat are beamed; a rest between two ends no beam but the finer ones."""
    out: list[list[str]] = [[] for _ in notes]
    for level in (1, 2, 3):
        n = 0
        while n < len(notes):
            run = n
            while run < len(notes) and not notes[run].rest and notes[run].flags >= level:
                run += 1
            if run - n > 1:
                for k in range(n, run):
                    out[k].append("begin" if k == n else "end" if k == run - 1 else "continue")
            elif run - n == 1 and out[n][: level - 1] and len(out[n]) == level - 1:
                out[n].append("backward hook" if out[n][0] in ("end", "continue") else "forward hook")
            n = max(run, n + 1)
    return out


def _written(voice: Voice, note: Note, beams: list[str], first: bool, last: bool) -> str:
    if note.rest:
        return f"<note><rest/>{_length(note)}{_notations(note, first, last)}</note>"
    out = []
    if "f" in note.marks or "d" in note.marks:
        double = "d" in note.marks
        slash = "" if double else ' slash="yes"'
        grace = f"<note><grace{slash}/>{_place(voice, note.drums[0])}<voice>1</voice>"
        kind, beam = ("16th", '<beam number="1">{0}</beam><beam number="2">{0}</beam>') if double else ("eighth", "")
        for state in ("begin", "end") if double else ("",):
            out.append(f"{grace}<type>{kind}</type><stem>up</stem>{beam.format(state)}</note>")
    for n, drum in enumerate(note.drums):
        chord = "<chord/>" if n else ""
        beam_xml = "" if n else "".join(f'<beam number="{k}">{state}</beam>' for k, state in enumerate(beams, start=1))
        notations = _notations(note, first, last) if n == 0 else ""
        lyric = f"<lyric><text>{note.hand}</text></lyric>" if note.hand and n == 0 else ""
        out.append(
            f"<note>{chord}{_place(voice, drum)}{_length(note)}<stem>up</stem>{beam_xml}{notations}{lyric}</note>"
        )
    return "".join(out)


def _place(voice: Voice, drum: int) -> str:
    place = voice.places[drum]
    return f"<unpitched><display-step>{place[0]}</display-step><display-octave>{place[1]}</display-octave></unpitched>"


def _length(note: Note) -> str:
    tuplet = ""
    if note.tuplet:
        actual, normal = TUPLETS[note.tuplet]
        tuplet = f"<time-modification><actual-notes>{actual}</actual-notes><normal-notes>{normal}</normal-notes></time-modification>"
    dot = "<dot/>" if note.dotted else ""
    return f"<duration>{note.units}</duration><voice>1</voice><type>{note.kind}</type>{dot}{tuplet}"


def _notations(note: Note, first: bool, last: bool) -> str:
    out = []
    if note.tuplet and (first or last):
        out.append(f'<tuplet type="{"start" if first else "stop"}" bracket="yes"/>')
    if note.slashes:
        out.append(f'<ornaments><tremolo type="single">{note.slashes}</tremolo></ornaments>')
    if "z" in note.marks:
        out.append('<ornaments><tremolo type="unmeasured">0</tremolo></ornaments>')
    marks = ('<accent placement="above"/>' if ">" in note.marks else "") + ("<staccato/>" if "." in note.marks else "")
    if marks:
        out.append(f"<articulations>{marks}</articulations>")
    return f"<notations>{''.join(out)}</notations>" if out else ""
