"""Stroke times against music21 (an outside library for scores): seventy generated scores and the demo cadence, within a microsecond.

Where music21 is silent or wrong the expectation is written by hand in test_score_*.py instead: it plays cue notes (told
here by their size), forgets that a tremolo is unmeasured (told here by a printed z), fills no measure repeats,
moves a chord after a direction, and knows nothing of noteheads, drums or hidden notes.
"""

from collections import Counter

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from submissions.engine.music.score import read_part, read_score
from submissions.engine.rehearsal.cadence import cadence

from .generated import EVERY, FORMS, Made, scores
from .oracle import oracle_strokes

MICROSECOND = 1e-6
A_FORM = 10  # scores generated for each form of repeats
KINDS = ("stroke", "diddle", "buzz", "grace")


def own_times(part) -> dict[str, list[float]]:
    """Seconds by kind; where several kinds begin at once the first of stroke, diddle, buzz is kept, as the oracle does."""
    times = {kind: {round(s.at_s, 9) for s in part.strokes if s.kind == kind} for kind in KINDS}
    times["diddle"] -= times["stroke"]
    times["buzz"] -= times["stroke"] | times["diddle"]
    return {kind: sorted(found) for kind, found in times.items()}


def assert_same_times(part, xml: bytes, part_index: int = 0) -> int:
    """Assert that both readers agree on every time; the number of times compared."""
    ours, theirs = own_times(part), oracle_strokes(xml, part_index)
    for kind in KINDS:
        assert len(ours[kind]) == len(theirs[kind]), kind
        assert all(abs(a - b) < MICROSECOND for a, b in zip(ours[kind], theirs[kind], strict=True)), kind
    return sum(len(times) for times in ours.values())


class TestAgainstMusic21:
    def test_generated_scores_agree(self, capsys):
        seen: Counter[str] = Counter()
        compared: list[int] = []

        for number, form in enumerate(FORMS):

            @seed(number)
            @settings(
                max_examples=A_FORM,
                deadline=None,
                database=None,
                phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )
            @given(scores(form))
            def agree(made: Made) -> None:
                compared.append(assert_same_times(read_part(made.xml), made.xml))
                seen.update(made.has)

            agree()
        with capsys.disabled():
            print(
                f"\n{len(compared)} generated scores, {sum(compared)} stroke times agree with music21 within 1 microsecond"
            )
            print("\n".join(f"  {construct:36}in {count} scores" for construct, count in sorted(seen.items())))
        assert len(compared) >= 60
        assert min(seen[construct] for construct in EVERY) >= 5, "a construct was hardly generated"

    @pytest.mark.parametrize("segment", cadence(), ids=lambda segment: segment.name)
    def test_the_demo_cadence_agrees(self, segment):
        buzz = 'type="unmeasured">0</tremolo></ornaments></notations>'
        xml = segment.musicxml_text.replace(buzz, f"{buzz}<lyric><text>z</text></lyric>").encode()
        for index, part in enumerate(read_score(xml).parts):
            assert assert_same_times(part, xml, index) > 30
