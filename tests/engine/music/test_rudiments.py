"""The forty rudiments in standard order, worked bars recognised, hybrids without a number.

Order and names: Percussive Arts Society, International Drum Rudiments (as listed in full by a public library's
documentation). Counts a family: 15 rolls (3 single, 2 multiple-bounce, 10 double), 4 diddles, 11 flams, 10 drags.
Stickings: from memory of the trade.
"""

from collections import Counter

import pytest

from submissions.engine.music.rudiments import HYBRIDS, RUDIMENTS, suggest
from submissions.engine.music.score import read_part

from . import page as p

STANDARD_ORDER = """Single Stroke Roll, Single Stroke Four, Single Stroke Seven, Multiple Bounce Roll, Triple Stroke Roll,
Double Stroke Open Roll, Five Stroke Roll, Six Stroke Roll, Seven Stroke Roll, Nine Stroke Roll, Ten Stroke Roll, Eleven Stroke Roll,
Thirteen Stroke Roll, Fifteen Stroke Roll, Seventeen Stroke Roll, Single Paradiddle, Double Paradiddle, Triple Paradiddle,
Single Paradiddle-Diddle, Flam, Flam Accent, Flam Tap, Flamacue, Flam Paradiddle, Single Flammed Mill, Flam Paradiddle-Diddle,
Pataflafla, Swiss Army Triplet, Inverted Flam Tap, Flam Drag, Drag, Single Drag Tap, Double Drag Tap, Lesson 25, Single Dragadiddle,
Drag Paradiddle #1, Drag Paradiddle #2, Single Ratamacue, Double Ratamacue, Triple Ratamacue"""
TRIPLET = (3, 2)


def hand(length: str, letter: str, graces: int = 0, accent: bool = False, **more) -> str:
    before = p.note("s", grace=True) * graces
    return before + p.note(length, lyric=letter, articulations="accent" if accent else "", **more)


def played(*notes: str, beats: str = "4", beat_type: str = "4"):
    return suggest(read_part(p.page(p.bar(1, p.first(p.tempo("110"), beats=beats, beat_type=beat_type), *notes))))


def names(suggestions) -> dict[str, int]:
    return {suggestion.rudiment.name: suggestion.times for suggestion in suggestions}


class TestTheForty:
    def test_stand_in_the_standards_order(self):
        assert [rudiment.name for rudiment in RUDIMENTS] == [
            " ".join(name.split()) for name in STANDARD_ORDER.split(",")
        ]
        assert [rudiment.number for rudiment in RUDIMENTS] == list(range(1, 41))

    def test_are_fifteen_four_eleven_and_ten(self):
        assert Counter(rudiment.family for rudiment in RUDIMENTS) == {
            "rolls": 15,
            "diddles": 4,
            "flams": 11,
            "drags": 10,
        }

    def test_counted_rolls_have_the_length_their_name_says(self):
        words = {
            "Five": 5,
            "Six": 6,
            "Seven": 7,
            "Nine": 9,
            "Ten": 10,
            "Eleven": 11,
            "Thirteen": 13,
            "Fifteen": 15,
            "Seventeen": 17,
        }
        counted = {rudiment.name.split()[0]: rudiment.strokes for rudiment in RUDIMENTS if rudiment.strokes}
        assert counted == words

    def test_no_hybrid_has_a_number(self):
        assert {"Herta", "Cheese", "Eggbeater"} <= {hybrid.name for hybrid in HYBRIDS}
        assert all(hybrid.number is None for hybrid in HYBRIDS)


class TestWorkedBars:
    """Bars written by hand from the rudiments' own notation."""

    def test_a_bar_of_paradiddles(self):
        notes = [hand("s", letter, accent=n % 4 == 0) for n, letter in enumerate("RLRRLRLL" * 2)]
        assert names(played(*notes)) == {"Single Paradiddle": 4}

    def test_a_bar_of_five_stroke_rolls(self):
        one = p.note("e", tremolo=(2, "single")) + p.note("e", articulations="accent")
        assert names(played(one * 4)) == {"Five Stroke Roll": 4}

    def test_a_bar_of_flam_taps(self):
        notes = [hand("e", letter, graces=(n + 1) % 2) for n, letter in enumerate("RRLLRRLL")]
        assert names(played(*notes)) == {"Flam Tap": 4}

    def test_a_bar_of_flam_accents(self):
        notes = [hand("e", letter, graces=int(n % 3 == 0), accent=n % 3 == 0) for n, letter in enumerate("RLRLRL" * 2)]
        assert names(played(*notes, beats="12", beat_type="8")) == {"Flam Accent": 4}

    def test_a_bar_of_single_ratamacues(self):
        def one(letters: str) -> str:
            three = [hand("e", letters[k], graces=2 if k == 0 else 0, tuplet=TRIPLET) for k in range(3)]
            return "".join(three) + hand("q", letters[3], accent=True)

        assert names(played(one("RLRL"), one("LRLR"))) == {"Single Ratamacue": 2}

    def test_swiss_army_triplets_are_no_flam_accents(self):
        notes = [hand("e", letter, graces=int(n % 3 == 0), tuplet=TRIPLET) for n, letter in enumerate("RRL" * 4)]
        assert names(played(*notes)) == {"Swiss Army Triplet": 4}

    def test_a_paradiddle_diddle_is_no_paradiddle(self):
        notes = [hand("s", letter, tuplet=(6, 4)) for letter in "RLRRLL" * 4]
        assert names(played(*notes)) == {"Single Paradiddle-Diddle": 4}

    def test_pataflaflas(self):
        notes = [hand("s", letter, graces=int(n % 4 in (0, 3))) for n, letter in enumerate("RLRL" * 4)]
        assert names(played(*notes)) == {"Pataflafla": 4}

    def test_a_buzz_is_a_multiple_bounce_roll(self):
        assert names(played(p.note("h", tremolo=(0, "unmeasured")), p.rest("h"))) == {"Multiple Bounce Roll": 1}

    def test_a_nine_stroke_roll_over_a_quarter(self):
        assert names(played(p.note("q", tremolo=(3, "single")), p.note("q"), p.rest("h"))) == {"Nine Stroke Roll": 1}

    def test_plain_quarters_are_nothing(self):
        assert played(p.note("q") * 4) == ()


class TestHybrids:
    def test_a_herta_gets_no_number(self):
        one = hand("t", "R") + hand("t", "L") + hand("s", "R") + hand("s", "L") + p.rest("e")
        found = played(one * 4)
        assert names(found) == {"Herta": 4}
        assert found[0].rudiment.number is None
        assert found[0].rudiment.family == "hybrids"

    def test_a_flam_on_a_diddle_is_a_cheese(self):
        cheese = p.note("s", grace=True) + p.note("e", tremolo=(2, "single"))
        found = names(
            played(
                p.note("s", grace=True) + p.note("s", tremolo=(1, "single")),
                p.rest("s"),
                p.rest("e"),
                p.rest("h"),
                p.rest("q"),
            )
        )
        assert found == {"Cheese": 1}
        assert "Flam five" in names(played(cheese, p.note("e"), p.rest("q"), p.rest("h")))

    def test_three_fast_graces_are_a_ruff(self):
        assert names(played(hand("q", "R", graces=3), p.rest("q"), p.rest("h"))) == {"Four-stroke ruff": 1}


class TestDoubt:
    def test_without_sticking_no_paradiddle_is_claimed(self):
        assert "Single Paradiddle" not in names(
            played(p.note("s", articulations="accent") + p.note("s") * 3, p.rest("q"), p.rest("h"))
        )

    def test_a_figure_told_by_rhythm_alone_says_so(self):
        notes = [p.note("s", grace=True) * (n % 3 == 0) + p.note("e", tuplet=TRIPLET) for n in range(6)]
        found = played(*notes, p.rest("h"))
        assert names(found) == {"Flam Accent": 2}
        assert not found[0].sure
        assert "no sticking" in found[0].why

    @pytest.mark.parametrize("letters", ["RLRR", "LRLL"])
    def test_either_hand_may_lead(self, letters):
        notes = [hand("s", letter) for letter in letters]
        assert names(played(*notes, p.rest("q"), p.rest("h"))) == {"Single Paradiddle": 1}
