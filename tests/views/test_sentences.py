"""Every sentence of the engine and of the actions has a template and a German one: read from their source, not listed."""

import ast
import re
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import translation

from submissions import sentences
from submissions.engine.music.score import read_score
from submissions.engine.music.sheet_words import words_of
from submissions.engine.rehearsal.cadence import cadence
from submissions.templatetags.words import place_words
from tests.views.test_words import catalogue

APP = settings.BASE_DIR / "submissions"
SPEAKING = (
    *sorted((APP / "engine/checks").glob("*.py")),
    *sorted((APP / "engine/music/score").glob("*.py")),
    *(APP / f"engine/music/{name}.py" for name in ("demand", "ladder", "engraving/engrave", "engraving/drawing", "engraving/one_part")),
    APP / "engine/door.py",
    APP / "engine/media/sentences.py",
    *sorted((APP / "actions").glob("*.py")),
    *(APP / f"{name}.py" for name in ("tasks", "queue", "deadlines", "bridge/music", "bridge/takes")),
    *sorted((APP / "exports").glob("*.py")),
)
# Strings of three words and more that nobody is told: patterns, SQL, log lines, a programmer's mistake, words of a name.
UNSAID = re.compile(
    r"[\\|]|\(\?|UPDATE|CASE WHEN|FOR UPDATE|%s|a call has no field|^guardian-of|class=\"staff\""
)
SAMPLE = "7"


def _strings(tree: ast.AST) -> Iterator[str]:
    """Every string of the source; one sample for each figure in it, and each word that a condition may put there."""
    left_out = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            for value in ast.walk(node):
                if value is not node and isinstance(value, ast.JoinedStr | ast.Constant):
                    left_out.add(value)
    for node in ast.walk(tree):
        if node in left_out:
            continue
        if isinstance(node, ast.JoinedStr):
            yield from map("".join, product(*(_choices(value) for value in node.values)))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _choices(value: ast.expr) -> list[str]:
    if isinstance(value, ast.Constant):
        return [str(value.value)]
    inner = value.value if isinstance(value, ast.FormattedValue) else value
    if isinstance(inner, ast.IfExp) and isinstance(inner.body, ast.Constant) and isinstance(inner.orelse, ast.Constant):
        return [str(inner.body.value), str(inner.orelse.value)]
    return [SAMPLE]


def sentences_of(path: Path) -> set[str]:
    found = set()
    for text in _strings(ast.parse(path.read_text())):
        text = text.strip()
        if len(re.findall(r"(?<!\S)[“(<]?[A-Za-z.]+", text)) >= 3 and not UNSAID.search(text):
            found.add(text)
    return found


@pytest.fixture
def german():
    with translation.override("de"):
        yield


class TestEverySentence:
    def test_of_the_engine_and_the_actions_has_a_template(self):
        said = {text: path.name for path in SPEAKING for text in sentences_of(path)}
        assert len(said) > 200
        # A continuation is said behind its sentence and stands in that one's template.
        # What is put behind a number (one flam, two flams) is known together with one.
        unknown = {text: name for text, name in said.items() if not self.known(text)}
        assert unknown == {
            "It is not certain that bar 1 begins at 7 s.7": "unsure_of_zero.py",
            "It might also be at 7 s.": "unsure_of_zero.py",
        }

    @staticmethod
    def known(text: str) -> bool:
        return any(sentences.is_known(f"{number}{text}") for number in ("", "1 ", "7 "))

    def test_has_a_german_one(self):
        texts = catalogue()
        assert [text for text in sentences.EVERY if not (texts.get(text) or [""])[0]] == []

    def test_is_another_one_in_german_and_keeps_its_figures(self, german):
        for text in sentences.EVERY:
            names = sentences.PLACE.findall(text)
            if any(name in sentences.NESTED for name in names):
                continue
            said = text.replace("%%", "%")
            for n, name in enumerate(names):
                said = said.replace(f"%({name})s", str(31 + n))
            heard = sentences.in_words(said)
            assert re.findall(r"\d+", heard) == re.findall(r"\d+", said), text
            if len(said.split()) > 2:
                assert heard != said, text

    def test_on_the_sheets_of_the_invented_cadence_is_known(self):
        said = set()
        for segment in cadence():
            for part in read_score(segment.musicxml_text.encode()).parts:
                words = words_of(part, 2)
                said |= {words.tempo, words.demand, *words.heads, *words.rolls, *words.rudiments, *words.crossings}
                said |= {place.why for place in part.drum_map}
        assert len(said) > 60
        assert [one for one in said if one and not sentences.is_known(one)] == []

    def test_with_a_plant_that_nobody_translated_is_noticed(self, tmp_path):
        path = tmp_path / "planted.py"
        path.write_text('def check(n):\n    return f"The sticks are {n} colours at once."\n')
        assert not any(sentences.is_known(text) for text in sentences_of(path))


class TestInWords:
    @pytest.mark.parametrize(
        ("said", "german_words"),
        [
            ("The click can be heard (18 dB under the drums).", "Der Click ist zu hören (18 dB unter der Trommel)."),
            ("The loudest strokes (30%) are cut off at the top.", "Die lautesten Schläge (30 %) sind oben abgeschnitten."),
            ("The playing begins 1 bar late against the click.", "Dein Spiel beginnt gegen den Click 1 Takt zu spät."),
            ("1 slash and no beam: 2 strokes", "1 Strich und kein Balken: 2 Schläge"),
            ("bar 12: a fermata is not read; the times after it are those without a pause", "Takt 12: eine Fermate wird nicht gelesen; die Zeiten danach sind die ohne Pause"),
            ("Experienced: up to 7.5 notes a second over two seconds, 1 flam, 3 drags. A suggestion from the written notes at performance tempo.", "Erfahren: bis zu 7,5 Noten pro Sekunde über zwei Sekunden, 1 Flam, 3 Drags. Ein Vorschlag aus den geschriebenen Noten im vollen Tempo."),
            ("bar 3 on 3&: a buzz, set by the organizer", "Takt 3 auf 3&: ein Presswirbel, von der Leitung gesetzt"),
            ("bar 3 on 3&, 4", "Takt 3 auf 3&, 4"),
            ("Flam (20) in bars 2, 5, and more", "Flam (20) in Takt 2, 5, und mehr"),
            ("Bass Drums on one drum", "Bass Drums auf einer Trommel"),
            ("Practise bars 3 and 6 slowly first, at about 80, then climb the ladder.", "Üb zuerst Takt 3 und 6 langsam, etwa bei 80, dann steig die Tempoleiter hinauf."),
            ("nobody wrote this sentence", "nobody wrote this sentence"),
        ],
    )  # fmt: skip
    def test_puts_figures_and_words_back_in(self, german, said, german_words):
        assert sentences.in_words(said) == german_words

    def test_leaves_english_alone(self):
        with translation.override("en"):
            assert sentences.in_words("Wind blows into the microphone.") == "Wind blows into the microphone."


class TestPlacesOnTheStaff:
    # A percussion staff is read as a treble one: E4 is its lowest line, F5 its highest (MusicXML display-step).
    @pytest.mark.parametrize(
        ("key", "said"),
        [("E4", "line 1 from below"), ("C5", "space 3 from below"), ("F5", "line 5 from below"), ("G5", "over the staff"), ("D4", "under the staff"), ("C6", "the place C6"), ("P3-I36", "the place P3-I36")],
    )  # fmt: skip
    def test_are_counted_from_below(self, key, said):
        with translation.override("en"):
            assert place_words(key) == said
