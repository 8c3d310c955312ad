"""What the engine and the actions say, in the reader's language: the one place where their English meets another one.

They speak English with figures in it and know no Django. Each of their sentences stands here once more as a template
with a name where a figure or a word goes ("%(n)s strokes"). `in_words` finds the template a sentence was made from,
looks up its translation, and puts the figures back in, written as the reader writes numbers. Some places hold a
sentence or a word of ours again (NESTED); these are translated too. `tests/views/test_sentences.py` reads the engine's
source and fails when a sentence there has no template, or a template no German.

A new sentence: its template in the file of its room, then the translation (see "Texts" in the handbook).
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils.formats import get_format
from django.utils.translation import get_language, gettext

from ..engine.music.cautions import ON_SHEET
from . import files, refusals, scores, sheets, takes
from .by_code import WORDS

# Places that hold words of ours; every other place holds figures, names, or words of a file.
NESTED = frozenset(
    (
        *("says", "instead", "slashes", "beams", "strokes", "figures", "level", "where"),
        *("way", "which", "read", "reason", "bars", "unit"),
    )
)
# What some places hold is narrower than any text, so that no template takes the words of another one for a count.
HOLDS = {"n": "[0-9]+", "counts": "[^:;]+?"} | dict.fromkeys(("bar", "count", "from", "to"), r"[^\s:]+")
FIGURE = re.compile(r"-?\d+(?:\.\d+)?%?")
PLACE = re.compile(r"%\((\w+)\)s")
LIST = re.compile(r"(, | and )")


@dataclass(frozen=True)
class Template:
    """One sentence with places, and the pattern that finds what was put into them."""

    text: str
    pattern: re.Pattern[str]

    @property
    def weight(self) -> int:
        """Letters of its own: the template with the most of them is the one a sentence was made from."""
        return len(PLACE.sub("", self.text))


def _template(text: str) -> Template:
    pieces = PLACE.split(text)  # letters, name, letters, name ... letters
    pattern = ""
    for n, piece in enumerate(pieces):
        if n % 2 == 0:
            pattern += re.escape(piece.replace("%%", "%"))
        else:
            pattern += f"(?P<{piece}>{HOLDS.get(piece, '.+?')})"
    return Template(text, re.compile(pattern, re.DOTALL))


EVERY = (
    *takes.SENTENCES,
    *scores.SENTENCES,
    *sheets.SENTENCES,
    *files.SENTENCES,
    *refusals.SENTENCES,
    *(text.replace("%", "%%") for text in ON_SHEET),
)
WHOLE = {text.replace("%%", "%"): text for text in EVERY if not PLACE.search(text)}
TEMPLATES = sorted((_template(text) for text in EVERY if PLACE.search(text)), key=lambda t: t.weight, reverse=True)


@lru_cache(maxsize=4096)
def _found(said: str) -> tuple[str, tuple[tuple[str, str], ...]] | None:
    """The template a sentence was made from, and what stands in its places; None where none fits."""
    if said in WHOLE:
        return WHOLE[said], ()
    for template in TEMPLATES:
        match = template.pattern.fullmatch(said)
        if match and all(is_known(value) for name, value in match.groupdict().items() if name in NESTED):
            return template.text, tuple(match.groupdict().items())
    return None


def is_known(said: str) -> bool:
    """Whether a sentence, a word or a list of them has a template, so that it can be said in another language."""
    if FIGURE.fullmatch(said) or _found(said) is not None:
        return True
    pieces = LIST.split(said)
    return len(pieces) > 1 and all(is_known(piece) for piece in pieces[::2])


def in_words(said: str) -> str:
    """The sentence in the reader's language; unchanged where that is English, or where it is none of ours."""
    said = str(said)
    if not said or (get_language() or "en").startswith("en"):
        return said
    found = _found(said)
    if found is None:
        return _list(said) if is_known(said) else said
    text, values = found
    return gettext(text) % {name: _value(name, value) for name, value in values}


def finding_in_words(finding: dict[str, Any]) -> dict[str, Any]:
    """A stored finding with its sentences in the reader's language, in general words where its own are not known."""
    says, do = finding["says"], finding["do"]
    if (get_language() or "en").startswith("en"):
        return finding
    general = WORDS.get(finding["code"])
    if general is not None and not (is_known(says) and is_known(do)):
        return finding | {"says": str(general[0]), "do": str(general[1])}
    return finding | {"says": in_words(says), "do": in_words(do)}


def _value(name: str, value: str) -> str:
    if FIGURE.fullmatch(value):
        return _figure(value)
    if name in NESTED or all(FIGURE.fullmatch(piece) for piece in LIST.split(value)[::2]):
        return in_words(value)
    return value


def _figure(value: str) -> str:
    """A number as the reader writes it."""
    written = value.replace(".", get_format("DECIMAL_SEPARATOR"))
    return written.replace("%", " %") if (get_language() or "").startswith("de") else written


def _list(said: str) -> str:
    pieces = LIST.split(said)
    if len(pieces) == 1:
        return _figure(said)
    return "".join(
        (gettext(" and ") if piece == " and " else piece) if n % 2 else in_words(piece)
        for n, piece in enumerate(pieces)
    )


__all__ = ["EVERY", "WORDS", "finding_in_words", "in_words", "is_known"]
