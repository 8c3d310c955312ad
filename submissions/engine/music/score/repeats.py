"""Signs that stand for notes: repeated bars and beats are filled with what they repeat; slashes are said to be free."""

from dataclasses import replace
from fractions import Fraction

from .notes import HIDDEN, NO_PAUSE
from .raw import RawBar, RawNote, Stretch

SLASHES = "rhythm slashes leave the strokes free; strokes there are missing"


def fill_in(bars: list[RawBar]) -> None:
    """Fill every bar of a part in printed order; a bar that carries notes of its own keeps them."""
    for index, bar in enumerate(bars):
        _tell_fermatas(bar, last=index + 1 == len(bars) or bar.signs.fine)
        _stick(bar)
        _share_in_chords(bar)
        _clear_slashes(bar)
        if bar.repeat_of and not any(not note.rest for note in bar.notes):
            _repeat_bar(bars, index)
        for stretch in bar.beat_repeats:
            _repeat_beats(bars, index, stretch)


def _within(note: RawNote, stretch: Stretch) -> bool:
    return stretch.start <= note.at and (stretch.end is None or note.at < stretch.end)


def _tell_fermatas(bar: RawBar, last: bool) -> None:
    """A fermata stops the time, which is not followed; over the last stroke of the piece or at Fine it changes nothing."""
    held = [note.at for note in bar.notes if "fermata" in note.marks]
    harmless = last and not any(note.at > min(held, default=note.at) and not note.rest for note in bar.notes)
    if (held or bar.held) and not harmless:
        bar.unread.append(("fermata", f"a fermata is not read; {NO_PAUSE}"))


def _share_in_chords(bar: RawBar) -> None:
    """A roll, an accent or a sticking belongs to the whole chord, and programs write it at one of its notes only."""
    groups: list[list[int]] = []
    for n, note in enumerate(bar.notes):
        leader = bar.notes[groups[-1][0]] if groups else None
        joins = (
            note.chord
            and leader is not None
            and (leader.at, leader.voice, leader.grace) == (note.at, note.voice, note.grace)
        )
        if joins:
            groups[-1].append(n)
        else:
            groups.append([n])
    for group in groups:
        if len(group) > 1:
            _share(bar.notes, group)


def _share(notes: list[RawNote], group: list[int]) -> None:
    chord = [notes[n] for n in group]
    tremolo = next((note.tremolo for note in chord if note.tremolo is not None), None)
    buzz = any(note.buzz for note in chord)
    accent = max(note.accent for note in chord)
    sticking = next((note.sticking for note in chord if note.sticking), "")
    for n in group:
        own = notes[n]
        notes[n] = replace(
            own, tremolo=own.tremolo or tremolo, buzz=buzz, accent=accent, sticking=own.sticking or sticking
        )


def _clear_slashes(bar: RawBar) -> None:
    """Leave out noteheads that only mark the beats; a slash head with a stem is a rhythm to be played."""
    kept: list[RawNote] = []
    for note in bar.notes:
        regions = [stretch for stretch in bar.slashes if _within(note, stretch)]
        marks_a_beat = note.head == "slash" and (note.stemless or any(not stretch.stems for stretch in regions))
        if not marks_a_beat:
            kept.append(note)
    if len(kept) < len(bar.notes) or any(not stretch.stems for stretch in bar.slashes):
        bar.unread.append(("slash", SLASHES))
    bar.notes = kept


def _stick(bar: RawBar) -> None:
    """Give sticking printed as text to the notes it stands at, one letter a note from there on."""
    for at, letters in bar.sticking:
        later = [n for n, note in enumerate(bar.notes) if note.at >= at and not (note.rest or note.grace or note.chord)]
        for n, letter in zip(sorted(later, key=lambda n: bar.notes[n].at), letters, strict=False):
            if not bar.notes[n].sticking:
                bar.notes[n] = replace(bar.notes[n], sticking=letter)


def _repeat_bar(bars: list[RawBar], index: int) -> None:
    source = index - bars[index].repeat_of
    if source < 0:
        bars[index].unread.append(("measure-repeat", "there is no bar to repeat; strokes there are missing"))
        return
    bars[index].notes = [replace(note, element=-1) for note in bars[source].notes]
    bars[index].warnings = [says for says in bars[index].warnings if says != HIDDEN]  # they were what is repeated
    bars[index].filled = max(bars[index].filled, bars[source].filled)


def _repeat_beats(bars: list[RawBar], index: int, stretch: Stretch) -> None:
    """Each beat of the stretch that has no note of its own repeats the beat before it, across a barline too."""
    bar = bars[index]
    beat = (bar.meter.beat_lengths or (Fraction(1),))[0]
    end = stretch.end if stretch.end is not None else (bar.meter.length or bar.filled)
    at = stretch.start
    while at < end:
        if not any(at <= note.at < at + beat and not note.rest for note in bar.notes):
            before = _beat_before(bars, index, at, beat)
            if not before:
                bar.unread.append(("beat-repeat", "there is no beat to repeat; strokes there are missing"))
            bar.notes = [note for note in bar.notes if not at <= note.at < at + beat]
            bar.notes += [replace(note, at=at + offset, element=-1) for offset, note in before]
        at += beat
    bar.notes.sort(key=lambda note: note.at)
    bar.filled = max(bar.filled, end)


def _beat_before(bars: list[RawBar], index: int, at: Fraction, beat: Fraction) -> list[tuple[Fraction, RawNote]]:
    if at >= beat:
        source, start = bars[index], at - beat
    elif index:
        source = bars[index - 1]
        start = (source.meter.length or source.filled) - beat
    else:
        return []
    return [(note.at - start, note) for note in source.notes if start <= note.at < start + beat and not note.rest]
