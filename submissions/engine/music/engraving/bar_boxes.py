"""Where each bar stands in an engraved picture, so that a page can show one bar of it."""

import re

ABOVE, BELOW = 1.6, 1.4  # of the staff's height: room for accents, sticking and words beside it
_MEASURE = re.compile(r'<g id="(bar-[\d-]+)" class="measure">')
_STAFF = re.compile(r'class="staff"[^>]*><path d="M(-?\d+) (-?\d+) L(-?\d+) \2"[^>]*/>')
_LINE = re.compile(r'<path d="M(-?\d+) (-?\d+) L(-?\d+) (-?\d+)"')
_SCALE = re.compile(r'class="definition-scale"[^>]*viewBox="0 0 ([\d.]+) ')
_OUTER = re.compile(r'<svg viewBox="0 0 ([\d.]+) ([\d.]+)"')
_MARGIN = re.compile(r'class="page-margin" transform="translate\((-?[\d.]+), (-?[\d.]+)\)"')


def size_of(svg: str) -> tuple[float, float]:
    """Width and height of the picture's viewBox; (0, 0) where it has none."""
    outer = _OUTER.search(svg)
    return (float(outer[1]), float(outer[2])) if outer is not None else (0.0, 0.0)


def bar_boxes(svg: str) -> dict[str, tuple[int, int, int, int]]:
    """{measure id: (x, y, width, height)} in units of the picture's own viewBox; bars without a staff are left out."""
    outer, inner, margin = _OUTER.search(svg), _SCALE.search(svg), _MARGIN.search(svg)
    if outer is None or inner is None:
        return {}
    scale = float(outer[1]) / float(inner[1])
    left, top = (float(margin[1]), float(margin[2])) if margin is not None else (0.0, 0.0)
    found = {}
    starts = list(_MEASURE.finditer(svg))
    for n, start in enumerate(starts):
        measure = svg[start.end() : starts[n + 1].start() if n + 1 < len(starts) else len(svg)]
        staff = _STAFF.search(measure)
        if staff is None:
            continue
        lines = _LINE.findall(measure, staff.start(), staff.end() + 600)[:5]
        height = max(int(line[1]) for line in lines) - int(staff[2])
        x, y = int(staff[1]) + left, int(staff[2]) + top - ABOVE * height
        width, tall = int(staff[3]) - int(staff[1]), height * (1 + ABOVE + BELOW)
        box = (max(0, int(x * scale)), max(0, int(y * scale)), int(width * scale) + 2, int(tall * scale) + 1)
        found[start[1]] = box
    return found
