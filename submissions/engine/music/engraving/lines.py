"""How many bars stand on a line.

Conventions: widths are in staff spaces unless they say mm; a bar's weight is the width it takes when nothing presses it.
"""

STAFF_MM = 6.6  # four spaces; engraving practice for parts is 6.5 to 7.5 mm, common practice, no source
PRINT_WIDTH_MM = 182.0  # fits A4 (210) and Letter (216) with the same margins' worth of paper
PHONE_SPACES = 62.0  # a 390 px screen then shows a staff of 24 px
TIGHTEST = {"print": 0.8, "phone": 0.9}  # of the natural width: verovio warns below 0.8; small screens need more air
CLEF_SPACES = 4.0  # at the start of every line
MOST_BARS_A_LINE = {"print": 6, "phone": 2}
USUAL_BARS_A_LINE = 4  # cadences breathe in fours
LONG_PART, LIGHT_SHARE = 32, 0.7  # parts of more bars than this, all of them light, take six bars a line
LAST_LINE = 0.5  # a short last line is the least of evils


def lines_of(weights: list[float], width: float, kind: str, pickup: bool) -> tuple[tuple[int, int], ...]:
    """Which measures stand on which line, as half-open ranges: whole fours where they fit, evenly fewer where dense.

    Of all ways that fit, the one whose lines differ least (by squares) from the usual number of bars; a pickup is not counted.
    """
    room = width / TIGHTEST[kind] - CLEF_SPACES
    usual, most = (USUAL_BARS_A_LINE, MOST_BARS_A_LINE[kind]) if kind == "print" else (MOST_BARS_A_LINE[kind],) * 2
    if kind == "print" and len(weights) > LONG_PART and max(weights) * most <= LIGHT_SHARE * room:
        usual = most
    best: list[tuple[float, int]] = [(0.0, 0)]  # at n: (cost of the first n measures, where their last line starts)
    for stop in range(1, len(weights) + 1):
        options = []
        for start in range(stop - 1, -1, -1):
            bars = stop - start - (1 if pickup and start == 0 else 0)
            if stop - start > 1 and (bars > most or sum(weights[start:stop]) > room):
                break
            last = stop == len(weights)
            options.append((best[start][0] + (usual - bars) ** 2 * (LAST_LINE if last else 1.0), start))
        best.append(min(options))
    lines: list[tuple[int, int]] = []
    stop = len(weights)
    while stop:
        start = best[stop][1]
        lines.insert(0, (start, stop))
        stop = start
    return tuple(lines)
