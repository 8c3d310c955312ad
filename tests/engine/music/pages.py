"""Small MusicXML for the tests of sheets: one staff, written note by note."""

from xml.sax.saxutils import escape

HEAD = (
    "<attributes><divisions>{divisions}</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    "<clef><sign>percussion</sign></clef></attributes>"
)
TEMPO = (
    '<direction placement="above"><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{0}</per-minute>'
    '</metronome></direction-type><sound tempo="{0}"/></direction>'
)


def note(
    kind="quarter",
    duration=4,
    place="C5",
    *,
    grace=False,
    rest=False,
    accent=False,
    tremolo=None,
    head="",
    hand="",
    chord=False,
):
    signs = "<articulations><accent/></articulations>" if accent else ""
    if tremolo is not None:
        signs += (
            f'<ornaments><tremolo type="{"unmeasured" if tremolo == 0 else "single"}">{tremolo}</tremolo></ornaments>'
        )
    what = (
        "<rest/>"
        if rest
        else (
            f"<unpitched><display-step>{place[0]}</display-step><display-octave>{place[1]}</display-octave></unpitched>"
        )
    )
    return (
        f"<note>{'<grace/>' if grace else ''}{'<chord/>' if chord else ''}{what}"
        f"{'' if grace else f'<duration>{duration}</duration>'}<voice>1</voice><type>{kind}</type>"
        f"{'' if rest else '<stem>up</stem>'}{f'<notehead>{head}</notehead>' if head else ''}"
        f"{f'<notations>{signs}</notations>' if signs else ''}{f'<lyric><text>{hand}</text></lyric>' if hand else ''}</note>"
    )  # fmt: skip


def score(*bars, name="Snare", title="Test", tempo=120, divisions=4) -> bytes:
    """A one-part score; each bar is a string of notes, the first gets clef, meter and tempo."""
    first = HEAD.format(divisions=divisions) + TEMPO.format(tempo)
    measures = "".join(
        f'<measure number="{n}">{first if n == 1 else ""}{bar}</measure>' for n, bar in enumerate(bars, 1)
    )
    return (
        f'<score-partwise version="4.0"><work><work-title>{escape(title)}</work-title></work><part-list>'
        f'<score-part id="P1"><part-name>{escape(name)}</part-name></score-part></part-list>'
        f'<part id="P1">{measures}</part></score-partwise>'
    ).encode()
