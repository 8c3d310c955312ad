"""Small readers of XML elements: text, exact numbers, yes and no. They never raise on odd content."""

import re
from fractions import Fraction
from xml.etree.ElementTree import Element

NUMBER = re.compile(
    r"[+-]?(\d{1,12}(\.\d{0,12})?|\.\d{1,12})", re.ASCII
)  # bounded: a number of a megabyte is no number

LONGEST = 500  # characters that are read of any text: names and words on a page are shorter


def text(element: Element | None, path: str = ".") -> str:
    """The stripped text at path under element, "" where there is none."""
    found = None if element is None else element.find(path)
    return "" if found is None or found.text is None else found.text[:LONGEST].strip()


def number(written: str | None) -> Fraction | None:
    """The exact value of a decimal, None where the text is not one."""
    match = NUMBER.fullmatch((written or "").strip())
    return Fraction(match.group(0)) if match else None


def whole(written: str | None) -> int | None:
    """The value of a whole number ("4" or "4.0"), None where the text is not one."""
    value = number(written)
    return int(value) if value is not None and value.denominator == 1 else None


def is_yes(element: Element, name: str) -> bool:
    return element.get(name, "").strip().lower() == "yes"


def is_no(element: Element, name: str) -> bool:
    return element.get(name, "").strip().lower() == "no"


def words_of(element: Element, path: str) -> str:
    """All texts at path joined by blanks and with runs of white space made one."""
    return " ".join(" ".join((found.text or "")[:LONGEST].split()) for found in element.iterfind(path)).strip()[
        :LONGEST
    ]


def numbers_in(written: str) -> frozenset[int]:
    """The whole numbers in a list such as "1,2", "1. 2." or "1-3" (ending numbers, time-only)."""
    numbers = {int(digits) for digits in re.findall(r"[0-9]{1,4}", written)}
    for low, high in re.findall(r"([0-9]{1,2})[.\s]*[-–][\s]*([0-9]{1,2})", written):
        numbers |= set(range(int(low), int(high) + 1))
    return frozenset(numbers)
