"""The way through the piece: played order of the printed bars, by hand and against verovio's own expansion."""

import json

import pytest
import verovio

from submissions.engine.errors import ScoreError
from submissions.engine.music.score import read_part

from . import page as p

FINE, DC = p.words("Fine", 'fine="yes"'), p.words("D.C. al Fine", 'dacapo="yes"')
SEGNO, DS = p.sign("segno", 'segno="s"'), p.words("D.S. al Coda", 'dalsegno="s"')
TO_CODA, CODA = p.words("To Coda", 'tocoda="c"'), p.sign("coda", 'coda="c"')
BACK, ON = p.repeat("backward"), p.repeat("forward")

# What stands left and right in each bar (a letter each), and the order the bars are played in.
WAYS = {
    "straight": ([("", "")] * 3, "ABC"),
    "repeat to the start": ([("", ""), ("", BACK), ("", "")], "ABABC"),
    "repeat from a sign": ([("", ""), (ON, ""), ("", BACK)], "ABCBC"),
    "four times": ([(ON, p.repeat("backward", 4)), ("", "")], "AAAAB"),
    "two repeats": ([(ON, BACK), (ON, BACK)], "AABB"),
    "two repeats, one sign": ([("", BACK), ("", BACK)], "AABB"),
    "signs on the far side of the barline": ([("", '<barline location="right"><repeat direction="forward"/></barline>'), ("", ""), ('<barline location="left"><repeat direction="backward"/></barline>', "")], "ABBC"),
    "signs that name no side": ([("", ""), ('<barline><repeat direction="forward"/></barline>', '<barline><repeat direction="backward"/></barline>')], "ABB"),
    "endings": ([("", ""), (p.ending("1", "start"), p.ending("1", "stop", True)), (p.ending("2", "start"), p.ending("2", "discontinue")), ("", "")], "ABACD"),
    "second ending leads back too": ([("", ""), (p.ending("1", "start"), p.ending("1", "stop", True)), (p.ending("2", "start"), p.ending("2", "stop", True)), ("", "")], "ABACD"),
    "shared ending": ([("", ""), (p.ending("1, 2", "start"), p.ending("1, 2", "stop", True)), (p.ending("3", "start"), p.ending("3", "stop")), ("", "")], "ABABACD"),
    "an ending for several times": ([("", ""), (p.ending("1-3", "start"), p.ending("1-3", "stop", True)), (p.ending("4", "start"), p.ending("4", "stop"))], "ABABABAC"),
    "a lone first ending": ([("", ""), (p.ending("1", "start"), p.ending("1", "stop", True)), ("", "")], "ABAC"),
    "long endings": ([("", ""), (p.ending("1", "start"), ""), ("", p.ending("1", "stop", True)), (p.ending("2", "start"), ""), ("", p.ending("2", "stop"))], "ABCADE"),
    "endings twice": ([("", ""), (p.ending("1", "start"), p.ending("1", "stop", True)), (p.ending("2", "start"), p.ending("2", "stop")), (ON, ""), (p.ending("1", "start"), p.ending("1", "stop", True)), (p.ending("2", "start"), p.ending("2", "stop"))], "ABACDEDF"),
    "da capo": ([("", ""), ("", p.words("D.C.", 'dacapo="yes"'))], "ABAB"),
    "da capo al fine": ([("", FINE), ("", ""), ("", DC)], "ABCA"),
    "repeats are not taken on the way back": ([(ON, BACK), ("", FINE), ("", DC)], "AABCAB"),
    "the last ending on the way back": ([("", ""), (p.ending("1", "start"), p.ending("1", "stop", True)), (p.ending("2", "start"), p.ending("2", "stop") + FINE), ("", DC)], "ABACDAC"),
    "dal segno al coda": ([("", ""), (SEGNO, ""), ("", TO_CODA), ("", DS), (CODA, "")], "ABCDBCE"),
    "a repeat in the coda is taken": ([(SEGNO, TO_CODA), ("", DS), (CODA + ON, BACK)], "ABACC"),
    "a repeat after the jump is taken": ([(SEGNO, ""), ("", p.words("D.S.", 'dalsegno="s"')), (ON, BACK)], "ABABCC"),
    "a repeat before the jump is done first": ([(SEGNO, ""), (ON, BACK + p.words("D.S.", 'dalsegno="s"')), ("", "")], "ABBABC"),
    "two jumps, each once": ([(SEGNO, ""), ("", p.words("D.S.", 'dalsegno="s"')), ("", DC), ("", "")], "ABABCABCD"),
    "words without sounds": ([("", ""), (p.sign("segno"), ""), ("", p.words("To Coda")), ("", p.words("D.S. al Coda")), (p.sign("coda"), "")], "ABCDBCE"),
    "two coda signs without words": ([("", ""), (p.sign("segno"), ""), ("", p.sign("coda")), ("", p.words("D.S. al Coda")), (p.sign("coda"), "")], "ABCDBCE"),
    "d.c. in words": ([("", p.words("Fine")), ("", p.words("D.C. al Fine"))], "ABA"),
    "fine without a jump": ([("", FINE), ("", "")], "AB"),
    "repeats after a jump where asked": ([(ON, '<barline location="right"><repeat direction="backward" after-jump="yes"/></barline>'), ("", p.words("D.C.", 'dacapo="yes"'))], "AABAAB"),
}  # fmt: skip
# What verovio's own expansion reads the same way (it takes no account of words without sounds or of after-jump).
VEROVIO_AGREES = (
    "straight",
    "repeat to the start",
    "repeat from a sign",
    "two repeats",
    "endings",
    "da capo al fine",
    "dal segno al coda",
)


def score(bars) -> bytes:
    """Every bar has its own number of strokes, so that the order can be told from the strokes alone."""
    return p.page(
        *(
            p.bar(n, left if n > 1 else p.first() + left, _strokes(n), right)
            for n, (left, right) in enumerate(bars, start=1)
        )
    )


def _strokes(n: int) -> str:
    return p.note("s") * n + p.rest("s") * (16 - n)


def order(part) -> str:
    counted = [sum(s.played_bar == n for s in part.strokes) for n in range(len(part.bars))]
    assert counted == [bar.number for bar in part.bars]
    return "".join("?ABCDEFGH"[count] for count in counted)


class TestOrder:
    @pytest.mark.parametrize("name", WAYS)
    def test_by_hand(self, name):
        bars, expected = WAYS[name]
        part = read_part(score(bars))
        assert order(part) == expected
        assert part.unread == ()

    @pytest.mark.parametrize("name", VEROVIO_AGREES)
    def test_verovio_expands_the_same(self, name):
        bars, expected = WAYS[name]
        toolkit = verovio.toolkit()
        toolkit.setOptions({"expand": ""})
        assert toolkit.loadData(score(bars).decode())
        onsets = [event["tstamp"] for event in json.loads(json.dumps(toolkit.renderToTimemap())) if event.get("on")]
        counted = {bar: sum(bar * 2000 <= at < bar * 2000 + 1990 for at in onsets) for bar in range(len(expected))}
        assert "".join("?ABCDEFGH"[counted[n]] for n in range(len(expected))) == expected

    def test_strokes_of_a_second_time_know_their_bar(self):
        part = read_part(score(WAYS["repeat to the start"][0]))
        assert [(s.bar, s.played_bar) for s in part.strokes if s.count == "1"] == [
            (1, 0),
            (2, 1),
            (1, 2),
            (2, 3),
            (3, 4),
        ]

    def test_a_bar_that_is_never_reached_is_told(self):
        bars = [("", ""), (p.ending("2", "start"), p.ending("2", "stop")), ("", "")]
        part = read_part(score(bars))
        assert [(u.bar, u.element) for u in part.unread] == [(2, "repeat")]

    def test_a_million_times_is_refused(self):
        with pytest.raises(ScoreError, match="longer than 4000 bars"):
            read_part(score([(ON, p.repeat("backward", 999_999))]))
