"""Bars that only say "as before": measure repeats are filled with the notes they stand for."""

from dataclasses import replace

from .raw import RawBar


def fill_repeated_bars(bars: list[RawBar]) -> None:
    """Copy into each repeated bar the notes of the bar it repeats, unless it carries notes of its own."""
    for index, bar in enumerate(bars):
        if bar.slash:
            bar.unread.append(("slash", "rhythm slashes leave the strokes free; strokes there are missing"))
        if not bar.repeat_of or any(not note.rest for note in bar.notes):
            continue
        source = index - bar.repeat_of
        if source < 0:
            bar.unread.append(("measure-repeat", "there is no bar to repeat; strokes there are missing"))
            continue
        bar.notes = [replace(note) for note in bars[source].notes]
        bar.filled = max(bar.filled, bars[source].filled)
