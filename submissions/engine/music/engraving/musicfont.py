"""Note signs inside running text (tempo marks), drawn as paths: the music font is in no reader and no embedded font.

Conventions: coordinates are those of verovio's inner view box. Glyph outlines and advances come from the data folder
of the verovio wheel (the SMuFL font Leipzig, SIL Open Font License), 1000 units an em.
"""

import re
from functools import lru_cache
from html import escape, unescape
from pathlib import Path

import verovio

FONT = "Leipzig"
EM = 1000
LETTER = 0.5  # mean width of a digit or sign of a text font, in its size: only what follows a note sign is placed by it
GAP = 0.08  # of an em, after a note sign
LIFT = 0.08  # of an em: the head then clears the staff, which the engraver leaves room for by the text alone

_TEXT = re.compile(r'<text x="(-?\d+)" y="(-?\d+)"((?:[^>]*[^/>])?)>(.*?)</text>', re.DOTALL)
_LEAF = re.compile(
    r'<tspan(?P<font> font-family="[^"]*")? font-size="(?P<size>[\d.]+)px"[^>]*>(?P<words>[^<]*)</tspan>'
)


def signs_as_paths(svg: str) -> str:
    """The same SVG with every text that holds a note sign set as paths and plain text."""
    return _TEXT.sub(lambda match: _set(match) if FONT in match.group(4) else match.group(0), svg)


def _set(match: re.Match[str]) -> str:
    x, y, rest, inner = float(match.group(1)), match.group(2), match.group(3), match.group(4)
    out: list[str] = []
    for leaf in _LEAF.finditer(inner):
        size, words = float(leaf["size"]), unescape(leaf["words"])
        if FONT in (leaf["font"] or ""):
            for letter in words:
                path, advance = _glyph(f"{ord(letter):04X}")
                scale = size / EM
                if path:
                    out.append(
                        f'<g transform="translate({x:.0f},{float(y) - LIFT * size:.0f}) scale({scale:.3f},{scale:.3f})">{path}</g>'
                    )
                x += advance * scale + (GAP * size if path else 0)
        elif words.strip():
            x += LETTER * size * (len(words) - len(words.lstrip())) * 0.5
            out.append(
                f'<text x="{x:.0f}" y="{y}"{rest}><tspan font-size="{size:g}px">{escape(words.strip(), quote=False)}</tspan></text>'
            )
            x += LETTER * size * (len(words.strip()) + 0.5)
    return f"<g>{''.join(out)}</g>"


@lru_cache(maxsize=64)
def _glyph(code: str) -> tuple[str, float]:
    """(path element, advance) of one glyph; an unknown one is a gap, never a box."""
    data = Path(verovio.__file__).parent / "data"
    outline = data / FONT / f"{code}.xml"
    if not outline.is_file():
        return "", EM / 4
    path = re.search(r"<path[^>]*/>", outline.read_text())
    return (path.group(0) if path else ""), _advances(data / f"{FONT}.xml").get(code, EM / 4)


@lru_cache(maxsize=2)
def _advances(table: Path) -> dict[str, float]:
    found = re.finditer(r'<g c="([0-9A-F]+)"[^>]*?h-a-x="(-?[\d.]+)"', table.read_text())
    return {match.group(1): float(match.group(2)) for match in found}
