"""The forty standard rudiments, and which of them a part seems to use. A suggestion: the organizer confirms it.

Names and order: Percussive Arts Society, International Drum Rudiments. Stickings from memory of the trade, right hand
leading; capitals are notes, small letters graces before them, two capitals together are one note played as a diddle,
">" an accent that belongs to the figure. Hybrids go by their trade names and have no number (from memory).
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from .figures import Figure, figures_of
from .written import Part

FAMILIES = ("rolls", "diddles", "flams", "drags")
TOKEN = re.compile(r"([rl]*)([RL]+)(>?)")
WIDEST_GAP = Fraction(1)  # quarters: notes further apart are no longer one figure


@dataclass(frozen=True, slots=True)
class Rudiment:
    """number 1 to 40 in standard order, None for a hybrid; sticking is "" where the figure is told by its length alone."""

    number: int | None
    name: str
    family: str
    sticking: str = ""
    strokes: int = 0  # of a roll of counted length, its release included


ROLLS = tuple(
    Rudiment(number, name, "rolls", sticking, strokes)
    for number, name, sticking, strokes in (
        (1, "Single Stroke Roll", "", 0),
        (2, "Single Stroke Four", "R L R L", 0),
        (3, "Single Stroke Seven", "R L R L R L R", 0),
        (4, "Multiple Bounce Roll", "", 0),
        (5, "Triple Stroke Roll", "R R R L L L", 0),
        (6, "Double Stroke Open Roll", "", 0),
        (7, "Five Stroke Roll", "", 5),
        (8, "Six Stroke Roll", "", 6),
        (9, "Seven Stroke Roll", "", 7),
        (10, "Nine Stroke Roll", "", 9),
        (11, "Ten Stroke Roll", "", 10),
        (12, "Eleven Stroke Roll", "", 11),
        (13, "Thirteen Stroke Roll", "", 13),
        (14, "Fifteen Stroke Roll", "", 15),
        (15, "Seventeen Stroke Roll", "", 17),
    )
)
DIDDLES = tuple(
    Rudiment(number, name, "diddles", sticking)
    for number, name, sticking in (
        (16, "Single Paradiddle", "R L R R"),
        (17, "Double Paradiddle", "R L R L R R"),
        (18, "Triple Paradiddle", "R L R L R L R R"),
        (19, "Single Paradiddle-Diddle", "R L R R L L"),
    )
)
FLAMS = tuple(
    Rudiment(number, name, "flams", sticking)
    for number, name, sticking in (
        (20, "Flam", "lR"),
        (21, "Flam Accent", "lR L R"),
        (22, "Flam Tap", "lR R"),
        (23, "Flamacue", "lR L> R L lR"),
        (24, "Flam Paradiddle", "lR L R R"),
        (25, "Single Flammed Mill", "lR R L R"),
        (26, "Flam Paradiddle-Diddle", "lR L R R L L"),
        (27, "Pataflafla", "lR L R rL"),
        (28, "Swiss Army Triplet", "lR R L"),
        (29, "Inverted Flam Tap", "lR L rL R"),
        (30, "Flam Drag", "lR LL R"),
    )
)
DRAGS = tuple(
    Rudiment(number, name, "drags", sticking)
    for number, name, sticking in (
        (31, "Drag", "llR"),
        (32, "Single Drag Tap", "llR L>"),
        (33, "Double Drag Tap", "llR llR L>"),
        (34, "Lesson 25", "llR L R>"),
        (35, "Single Dragadiddle", "RR L R R"),
        (36, "Drag Paradiddle #1", "R llR L R R"),
        (37, "Drag Paradiddle #2", "R llR llR L R R"),
        (38, "Single Ratamacue", "llR L R L>"),
        (39, "Double Ratamacue", "llR llR L R L>"),
        (40, "Triple Ratamacue", "llR llR llR L R L>"),
    )
)
RUDIMENTS = ROLLS + DIDDLES + FLAMS + DRAGS
HYBRIDS = (
    Rudiment(None, "Herta", "hybrids", "R L R L"),
    Rudiment(None, "Cheese", "hybrids", "lRR"),
    Rudiment(None, "Eggbeater", "hybrids", "R R R L L"),
    Rudiment(None, "Flam five", "hybrids", "", 5),
    Rudiment(None, "Four-stroke ruff", "hybrids", "lrlR"),
)
# Rhythm that a figure needs besides its sticking: gaps to the next notes as multiples of the first.
GAPS: dict[str, tuple[Fraction, ...]] = {
    "Single Stroke Four": (Fraction(1), Fraction(1), Fraction(1)),
    "Single Stroke Seven": (Fraction(1),) * 6,
    "Herta": (Fraction(1), Fraction(1), Fraction(2)),
    "Eggbeater": (Fraction(1),) * 4,
}
EVEN = {"diddles", "flams"}  # families whose notes are evenly spaced in the standard's notation
LONG_AFTER = {"Single Stroke Four", "Single Stroke Seven"}  # the last note is at least twice as long
FAST = {
    "Herta": Fraction(1, 6),
    "Single Stroke Four": Fraction(1, 6),
    "Single Stroke Seven": Fraction(1, 6),
    "Pataflafla": Fraction(1, 4),
}  # first gap at most
BY_RHYTHM = {"Herta", "Single Stroke Four", "Single Stroke Seven", "Flam Accent", "Flamacue", "Pataflafla"}
MULTIPLE_BOUNCE, DOUBLE_STROKE, SIX_STROKE, TEN_STROKE, FLAM_FIVE = ROLLS[3], ROLLS[5], ROLLS[7], ROLLS[10], HYBRIDS[3]
SIX_STROKE_GAP = Fraction(1, 2)  # its first accent stands at most an eighth before the doubles
SINGLE_ROLL_NOTES, SINGLE_ROLL_GAP = 8, Fraction(1, 4)  # eight sixteenths or finer in one hand after the other


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A rudiment a part seems to use: how often, in which printed bars, and whether the page's sticking says so."""

    rudiment: Rudiment
    times: int
    bars: tuple[int, ...]
    sure: bool
    why: str


@dataclass(frozen=True, slots=True)
class _Token:
    graces: int
    hands: str
    accent: bool


def _tokens(sticking: str) -> tuple[_Token, ...]:
    found = (TOKEN.fullmatch(word) for word in sticking.split())
    return tuple(_Token(len(m.group(1)), m.group(2), bool(m.group(3))) for m in found if m)


# Longest first, so that a paradiddle-diddle is not taken for a paradiddle; what needs a rhythm before what needs none.
PATTERNS = sorted(
    ((rudiment, _tokens(rudiment.sticking)) for rudiment in (*RUDIMENTS, *HYBRIDS) if rudiment.sticking),
    key=lambda pair: (-len(pair[1]), pair[0].name not in GAPS, pair[0].number or 0),
)


def suggest(part: Part) -> tuple[Suggestion, ...]:
    """The rudiments this part seems to use, in standard order, hybrids last; every note counts for one figure only."""
    figures = figures_of(part)
    found: dict[Rudiment, list[tuple[int, bool]]] = {}
    n = 0
    while n < len(figures):
        rudiment, used, sure = _best(figures, n)
        if rudiment is not None:
            found.setdefault(rudiment, []).append((figures[n].bar, sure))
        n += used
    order = {rudiment: k for k, rudiment in enumerate((*RUDIMENTS, *HYBRIDS))}
    return tuple(
        _suggestion(rudiment, found[rudiment]) for rudiment in sorted(found, key=lambda rudiment: order[rudiment])
    )


def _suggestion(rudiment: Rudiment, places: list[tuple[int, bool]]) -> Suggestion:
    sure = all(known for _, known in places)
    why = "by notes, graces and sticking" if sure else "by the rhythm alone: the page gives no sticking for it"
    return Suggestion(rudiment, len(places), tuple(sorted({bar for bar, _ in places})), sure, why)


def _best(figures: list[Figure], n: int) -> tuple[Rudiment | None, int, bool]:
    """The figure that begins at the n-th note, how many notes it takes, and whether its sticking is on the page."""
    roll = _roll(figures, n)
    if roll is not None:
        return roll
    for rudiment, tokens in PATTERNS:
        if len(tokens) > 1 or tokens[0].graces or len(tokens[0].hands) > 1:
            known = _matches(rudiment, tokens, figures, n)
            if known is not None:
                return rudiment, len(tokens), known
    singles = _singles(figures, n)
    if singles >= SINGLE_ROLL_NOTES:
        return ROLLS[0], singles, all(figure.hand for figure in figures[n : n + singles])
    return None, 1, True


def _matches(rudiment: Rudiment, tokens: tuple[_Token, ...], figures: list[Figure], n: int) -> bool | None:
    """None: no match; True: matched with its sticking; False: matched by rhythm, the page has no sticking."""
    notes = figures[n : n + len(tokens)]
    if len(notes) < len(tokens) or any(gap > WIDEST_GAP for gap in _gaps(notes)):
        return None
    for token, note in zip(tokens, notes, strict=True):
        if token.graces != note.graces or len(token.hands) != note.strokes or (token.accent and not note.accent):
            return None
    if not _in_rhythm(rudiment, notes):
        return None
    if len(tokens) == 1:
        return True
    hands = [note.hand for note in notes]
    if any(hand is None for hand in hands):
        drags = rudiment.family == "drags" and any(token.accent for token in tokens)
        return False if (rudiment.name in BY_RHYTHM or drags) and not _contradicts(tokens, hands) else None
    return None if _contradicts(tokens, hands) else True


def _contradicts(tokens: tuple[_Token, ...], hands: list[str | None]) -> bool:
    """Whether the hands on the page fit neither the sticking nor its mirror image."""
    same = all(hand in (None, token.hands[0]) for token, hand in zip(tokens, hands, strict=True))
    mirrored = all(
        hand in (None, "L" if token.hands[0] == "R" else "R") for token, hand in zip(tokens, hands, strict=True)
    )
    return not (same or mirrored)


def _gaps(notes: list[Figure]) -> list[Fraction]:
    return [after.at_q - before.at_q for before, after in pairwise(notes)]


def _in_rhythm(rudiment: Rudiment, notes: list[Figure]) -> bool:
    gaps = _gaps(notes)
    if not gaps:
        return True
    if gaps[0] > FAST.get(rudiment.name, WIDEST_GAP):
        return False
    wanted = GAPS.get(rudiment.name)
    if wanted is not None and any(gap != gaps[0] * ratio for gap, ratio in zip(gaps, wanted, strict=True)):
        return False
    if rudiment.name in LONG_AFTER and notes[-1].gap_q is not None and notes[-1].gap_q < 2 * gaps[0]:
        return False
    if rudiment.name == "Pataflafla" and gaps[0].denominator % 3 == 0:
        return False  # four notes to the beat; in threes the same flams are flam accents
    if rudiment.name == "Flam Accent" and notes[0].hand is None:
        return (gaps[0] * 3).denominator == 1 or (gaps[0] * 2).denominator == 1  # triplets, or eighths of 6/8
    return rudiment.family not in EVEN or len(set(gaps)) == 1


def _roll(figures: list[Figure], n: int) -> tuple[Rudiment, int, bool] | None:
    """A measured roll over one note or several, with its release; or a buzz."""
    here = figures[n]
    if here.buzz:
        return MULTIPLE_BOUNCE, 1, True
    if here.strokes == 1 and here.accent and not here.graces and n + 1 < len(figures):
        strokes, end = _run(figures, n + 1)
        near = figures[n + 1].at_q - here.at_q <= SIX_STROKE_GAP
        six = strokes == 4 and near and _released(figures, end) and figures[end].accent
        return (SIX_STROKE, end + 1 - n, True) if six else None
    strokes, end = _run(figures, n)
    if strokes < 4:
        return None
    if not _released(figures, end):
        return DOUBLE_STROKE, end - n, True
    if strokes == 8 and _two_accents(figures, end):
        return TEN_STROKE, end + 2 - n, True
    if strokes == 4 and here.graces == 1:
        return FLAM_FIVE, end + 1 - n, True
    counted = next((rudiment for rudiment in ROLLS if rudiment.strokes == strokes + 1 and strokes % 2 == 0), None)
    return (counted, end + 1 - n, True) if counted is not None else (DOUBLE_STROKE, end - n, True)


def _run(figures: list[Figure], n: int) -> tuple[int, int]:
    """Strokes of the rolled notes that follow each other without a gap from n on, and the index after the last."""
    end, strokes = n, 0
    while end < len(figures) and figures[end].strokes > 1 and (end == n or figures[end - 1].end_q == figures[end].at_q):
        strokes += figures[end].strokes
        end += 1
    return strokes, end


def _released(figures: list[Figure], end: int) -> bool:
    """Whether a plain stroke follows right where the roll stops."""
    return (
        end < len(figures)
        and figures[end - 1].end_q == figures[end].at_q
        and figures[end].strokes == 1
        and not figures[end].buzz
    )


def _two_accents(figures: list[Figure], n: int) -> bool:
    return n + 1 < len(figures) and figures[n].accent and figures[n + 1].accent and figures[n + 1].strokes == 1


def _singles(figures: list[Figure], n: int) -> int:
    """How many plain notes from n on follow each other evenly and fast, hand after hand."""
    end = n + 1
    while end < len(figures):
        before, here = figures[end - 1], figures[end]
        gap = here.at_q - before.at_q
        even = gap <= SINGLE_ROLL_GAP and (end == n + 1 or gap == before.at_q - figures[end - 2].at_q)
        same_hand = here.hand is not None and here.hand == before.hand
        if not even or same_hand or here.graces or here.strokes > 1 or figures[n].graces or figures[n].strokes > 1:
            break
        end += 1
    return end - n
