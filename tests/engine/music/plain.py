"""Parts built by hand, so that the click, the ladder and the MIDI file are tested without the reader of scores."""

from fractions import Fraction

from submissions.engine.music.written import Bar, Beat, Part, Tempo, WrittenStroke

F = Fraction
NONE = F(0)


def plain_part(
    meters=((4, 4),) * 4,
    tempo=116,
    later=(),
    pickup_q=NONE,
    strokes_at=(),
    instrument="snare",
    drum="snare",
) -> Part:
    """A part with one bar a meter, tempo in quarters a minute, later tempi as (at_q, quarters a minute)."""
    tempi = (Tempo(F(0), F(tempo)), *(Tempo(F(at), F(q)) for at, q in later))

    def seconds(at_q):
        at_s, here = F(0), tempi[0]
        if at_q <= 0:
            return at_q * 60 / here.quarters_per_minute
        for change in tempi[1:]:
            if change.at_q >= at_q:
                break
            at_s += (change.at_q - here.at_q) * 60 / here.quarters_per_minute
            here = change
        return at_s + (at_q - here.at_q) * 60 / here.quarters_per_minute

    bars, beats, at = [], [], F(0)
    if pickup_q:
        bars.append(Bar(0, -pickup_q, pickup_q, float(seconds(-pickup_q)), float(-seconds(-pickup_q)), *meters[0]))
    for number, (count, unit) in enumerate(meters, 1):
        length = F(4 * count, unit)
        played = len(bars)
        bars.append(Bar(number, at, length, float(seconds(at)), float(seconds(at + length) - seconds(at)), count, unit))
        beat = F(3, 2) if unit == 8 and count % 3 == 0 and count > 3 else F(4, unit)
        for k in range(int(length / beat)):
            place = at + k * beat
            beats.append(Beat(place, float(seconds(place)), number, played, k + 1, k == 0, beat))
        at += length
    strokes = tuple(_stroke(F(q), seconds, bars, drum) for q in strokes_at)
    return Part(
        "P1", "Part", instrument, "all", "Plain", strokes, tuple(bars), tuple(beats), tempi, at, float(seconds(at))
    )


def _stroke(at_q, seconds, bars, drum):
    played = max(n for n, bar in enumerate(bars) if bar.at_q <= at_q)
    return WrittenStroke(at_q, float(seconds(at_q)), bars[played].number, played, "1", "stroke", drum, length_q=F(1, 4))
