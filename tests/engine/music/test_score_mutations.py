"""Scores damaged at random: whatever is deleted, doubled, emptied or overwritten, the reader answers with a part or a sentence."""

import copy
import random
from xml.etree.ElementTree import Element, fromstring, tostring

import pytest

from submissions.engine.errors import ScoreError
from submissions.engine.music.score import read_score

from . import page as p

TEXTS = ("", "0", "-1", "99999999999", "0.0001", "x", "start", "1,2", "quarter", "C", "8")
ATTRIBUTES = ("type", "number", "implicit", "times", "direction", "id", "location", "tempo", "dynamics")


def original() -> bytes:
    """A little of everything."""
    sign = '<attributes><measure-style><measure-repeat type="start">1</measure-repeat></measure-style></attributes>'
    one = (
        p.note("e", grace=True) + p.note("q", tie="start", articulations="accent") + p.note("q", tie="stop", lyric="R")
    )
    two = (
        p.note("e", tuplet=(3, 2)) * 3
        + p.note("q", tremolo=(2, "single"))
        + p.note("q", "E5")
        + p.note("q", "E5", chord=True)
    )
    three = (
        p.note("h", tremolo=(0, "unmeasured"))
        + p.backup(2)
        + p.note("h", voice=2)
        + p.note("q", tuplet=(2, 1), tremolo=(2, "start"))
    )
    bars = (
        p.bar(0, p.first(p.tempo("116", sound="116")), p.note("q"), implicit=True),
        p.bar(1, p.repeat("forward"), p.sign("segno", 'segno="s"'), one, p.dynamic("p"), p.note("h")),
        p.bar(2, p.ending("1", "start"), two, p.rest("q"), p.ending("1", "stop", back=True)),
        p.bar(
            3,
            p.ending("2", "start"),
            three,
            p.note("q", tuplet=(2, 1), tremolo=(2, "stop")),
            p.note("q"),
            p.ending("2", "stop"),
        ),
        p.bar(4, p.attributes(p.time("6", "8")), p.words("To Coda", 'tocoda="c"'), p.note("q", dots=1) * 2),
        p.bar(5, sign, p.words("D.S.", 'dalsegno="s"'), p.bar_rest_of(p.Fraction(3))),
        p.bar(6, p.sign("coda", 'coda="c"'), p.note("h", dots=1)),
    )
    return p.page(*bars, name="Bass Drums", instruments=(("A", "Bass 1"), ("B", "Bass 2")))


def damage(root: Element, chance: random.Random) -> None:
    parents = [element for element in root.iter() if len(element)]
    parent = chance.choice(parents)
    n = chance.randrange(len(parent))
    kind = chance.randrange(6)
    if kind == 0:
        del parent[n]
    elif kind == 1:
        parent.insert(n, copy.deepcopy(parent[n]))
    elif kind == 2:
        parent[n].text = chance.choice(TEXTS)
    elif kind == 3:
        parent[n].set(chance.choice(ATTRIBUTES), chance.choice(TEXTS))
    elif kind == 4:
        parent.append(copy.deepcopy(chance.choice(parents)) if len(parents) < 400 else Element("note"))
    else:
        parent[n].tag = chance.choice(("note", "rest", "chord", "grace", "backup", "measure", "sound", "time"))


class TestDamage:
    @pytest.mark.parametrize("batch", range(6))
    def test_is_read_or_refused_with_a_sentence(self, batch):
        chance = random.Random(batch)
        read = refused = 0
        for _ in range(60):
            root = fromstring(original())
            for _ in range(chance.randint(1, 6)):
                damage(root, chance)
            try:
                score = read_score(tostring(root))
            except ScoreError as error:
                assert str(error).endswith(".")
                refused += 1
                continue
            read += 1
            for part in score.parts:
                assert all(a.at_q <= b.at_q for a, b in zip(part.strokes, part.strokes[1:], strict=False))
                assert all(0 <= s.played_bar < len(part.bars) for s in part.strokes)
        assert read > 30

    def test_the_undamaged_score_is_read(self):
        score = read_score(original())
        assert len(score.parts[0].strokes) > 30
        assert score.parts[0].unread == ()
