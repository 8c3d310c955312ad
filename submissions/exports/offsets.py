"""Where zero lies in every pick: a table that any editor can use by hand, as rows for CSV and JSON."""

from typing import Any

from .cut import CutSheet
from .labels import label

COLUMNS = (
    "segment",
    "place_in_order",
    "chair",
    "part",
    "credit",
    "file",
    "record_s",
    "record_label",
    "zero_in_file_s",
    "zero_in_picture_s",
    "nudge_ms",
    "source_start_s",
    "clock_ratio",
    "zero_from",
    "zero_sd_s",
    "bias_ms",
    "spread_ms",
)


def rows(sheet: CutSheet) -> list[dict[str, Any]]:
    """One row a pick, in running order, chairs as they stand."""
    out = []
    order = {chair: n for n, chair in enumerate(sheet.chairs)}
    for place, (segment, start) in enumerate(zip(sheet.segments, sheet.starts_s(), strict=True), 1):
        for pick in sorted(segment.picks, key=lambda p: order.get(p.chair, len(order))):
            values = (
                segment.name,
                place,
                pick.chair,
                pick.part,
                pick.credit,
                pick.file,
                round(start, 6),
                label(start, sheet.rate),
                round(pick.zero_s, 6),
                round(pick.zero_s + pick.picture_offset_s, 6),
                round(pick.nudge_ms, 3),
                round(pick.source_start_s(), 6),
                round(pick.clock_ratio, 9),
                pick.zero_from,
                pick.zero_sd_s,
                pick.bias_ms,
                pick.spread_ms,
            )
            out.append(dict(zip(COLUMNS, values, strict=True)))
    return out
