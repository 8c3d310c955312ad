"""Files that others wrote: the MusicXML examples music21 carries, a good hundred and forty, each a construct or a case.

They are no drum music, but bars, voices, chords, tuplets, ties, repeats and odd encodings are the same. What both readers
make of them is compared; where they part, the reason stands here.
"""

import warnings
from fractions import Fraction
from pathlib import Path

import pytest

from submissions.engine.music.score import read_score

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21
    from music21 import converter, stream

FOLDER = Path(music21.__file__).parent / "musicxml"
FILES = sorted(
    path for path in FOLDER.rglob("*") if path.suffix in (".xml", ".mxl", ".musicxml") and path.stat().st_size < 60_000
)
APART = {
    "testTab": "its notes have no duration; we say so, music21 takes the type",
    "61f-Lyrics-GracedNotes": "a grace before a tied note: a drummer strikes it again",
    "33i-Ties-NotEnded": "a tie from nowhere: we strike the note and say so",
    "21f-Chord-ElementInBetween": "music21 takes the second note of a chord after a direction for a new one",
    "33a-Spanners": "the second note of a two-note tremolo is part of its roll, no stroke of its own",
    "testMxl": "a trill tied into a note is a roll whose release is struck",
    "45d-Repeats-Nested-Alternatives": "music21 refuses to expand it",
    "45f-Repeats-InvalidEndings": "music21 refuses to expand it",
    "45g-Repeats-NotEnded": "music21 refuses to expand it",
    "71e-TabStaves": "music21 reads fewer parts than are listed",
    "41f-StaffGroups-Overlapping": "music21 gives all parts one name",
    "41d-StaffGroups-Nested": "music21 gives all parts one name",
    "41h-TooManyParts": "music21 gives all parts one name",
    "41i-PartNameDisplay-Override": "music21 gives all parts one name",
}


def their_onsets(path: Path) -> list[set[Fraction]]:
    """Places of struck notes, part by part, staves of a part together, repeats expanded."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        groups: dict[str, set[Fraction]] = {}
        for part in converter.parse(path, forceSource=True).parts:
            onsets = groups.setdefault(str(part.id).split("-Staff")[0], set())
            for bar in part.expandRepeats().getElementsByClass(stream.Measure):
                for home in list(bar.voices) or [bar]:
                    offset = Fraction(bar.offset) + (Fraction(home.offset) if home is not bar else 0)
                    onsets |= {offset + Fraction(found.offset) for found in home.notes if is_struck(found)}
        return list(groups.values())


def is_struck(found) -> bool:
    if (
        found.duration.isGrace
        or "ChordSymbol" in found.classes
        or found.style.hideObjectOnPrint
        or found.style.noteSize == "cue"
    ):
        return False
    members = list(found.notes) if found.isChord else [found]
    return not all(one.tie is not None and one.tie.type in ("stop", "continue") for one in members)


def own_onsets(part) -> set[Fraction]:
    start = min(bar.at_q for bar in part.bars)
    return {s.at_q - start for s in part.strokes if s.kind in ("stroke", "buzz")}


class TestFilesOfOthers:
    def test_there_are_enough(self):
        assert len(FILES) > 120

    @pytest.mark.parametrize("path", [path for path in FILES if path.stem not in APART], ids=lambda path: path.stem)
    def test_are_read_alike(self, path):
        ours, theirs = [own_onsets(part) for part in read_score(path).parts], their_onsets(path)
        assert len(ours) == len(theirs)
        for mine, other in zip(ours, theirs, strict=True):
            assert sorted(round(float(at), 2) for at in mine) == sorted(round(float(at), 2) for at in other)

    @pytest.mark.parametrize("path", [path for path in FILES if path.stem in APART], ids=lambda path: path.stem)
    def test_that_part_the_readers_are_read_all_the_same(self, path):
        score = read_score(path)
        assert all(part.bars for part in score.parts)
