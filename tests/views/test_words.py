"""Words and figures on the pages, and a second language that is complete."""

import ast
import gettext
import re
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings
from django.utils import timezone, translation
from django.utils.translation.template import templatize

from submissions.engine.checks import CHECKS
from submissions.sentences import WORDS
from submissions.templatetags import words
from submissions.templatetags.strokes import notice_ms

DE = settings.BASE_DIR / "locale" / "de" / "LC_MESSAGES"


def catalogue() -> dict[str, list[str]]:
    """The source of the German texts: message id to its translations (one, or one a plural form)."""
    found: dict[str, list[str]] = {}
    name = ""
    entries = re.finditer(r'^(msgid|msgid_plural|msgstr(?:\[\d\])?)((?: ?".*"\n)+)', (DE / "django.po").read_text(), re.M)
    for entry in entries:
        key, text = entry.group(1), ast.literal_eval(f"({entry.group(2)})")
        if key == "msgid":
            name = text
            found[name] = []
        elif key.startswith("msgstr"):
            found[name].append(text)
    return found


MARKS = {"_": 0, "gettext": 0, "gettext_lazy": 0, "gettext_noop": 0, "ngettext": 0, "pgettext": 1, "pgettext_lazy": 1}


def marked(source: str) -> set[str]:
    """The texts that a Python source marks for translation (of a plural its singular, which names it)."""
    found = set()
    for call in re.finditer(r"\b(\w+)\(", source):
        if call.group(1) in MARKS:
            found |= _first_strings(source[call.end() :], MARKS[call.group(1)])
    return found


def _first_strings(source: str, skip: int) -> set[str]:
    """The string (of pieces) a call begins with, after `skip` others."""
    piece = re.compile(r"""\s*(u?"(?:[^"\\\n]|\\.)*"|u?'(?:[^'\\\n]|\\.)*')""")
    at, text = 0, ""
    while match := piece.match(source, at):
        text, at = text + ast.literal_eval(match.group(1)), match.end()
        comma = re.compile(r"\s*,").match(source, at)
        if comma and skip:
            text, at, skip = "", comma.end(), skip - 1
    return {text} if text else set()


@pytest.fixture(autouse=True)
def english():
    """Every test begins in English, whatever page was asked for before."""
    with translation.override("en"):
        yield


class TestTheSecondLanguage:
    def test_has_every_sentence(self):
        texts = catalogue()
        assert len(texts) > 600
        assert [name for name, forms in texts.items() if name and not all(forms)] == []

    def test_keeps_every_figure(self):
        def figures(text: str) -> set[str]:
            return set(re.findall(r"%\(\w+\)[ds]|%s", text))

        for name, forms in catalogue().items():
            for form in forms if name else []:
                assert figures(form) == figures(name), name

    def test_is_compiled_from_its_source(self):
        with open(DE / "django.mo", "rb") as file:
            compiled = gettext.GNUTranslations(file)
        said = {name: [compiled.gettext(name)] for name, forms in catalogue().items() if len(forms) == 1 and name}
        with_context = {"Title": "of a call", "l j F Y, H:i": "format of a date", "j M, H:i": "format of a date"}
        said |= {name: [compiled.pgettext(context, name)] for name, context in with_context.items()}
        assert said == {name: forms for name, forms in catalogue().items() if name in said}

    def test_speaks_on_a_page(self, client, call):
        page = client.get(f"/call/{call.slug}/", headers={"accept-language": "de"}).content.decode()
        assert '<html lang="de">' in page
        assert "Stimme wählen und mitmachen" in page

    def test_has_every_text_of_pages_and_mails(self):
        """Django's own extractor reads the templates, blocks and plurals too."""
        texts, wanted = catalogue(), set()
        for path in (settings.BASE_DIR / "templates").rglob("*.*"):
            if "developers" not in path.parts:  # the component page speaks to developers, in English
                wanted |= marked(templatize(path.read_text(), origin=str(path)))
        assert len(wanted) > 350
        assert {text for text in wanted if not any(texts.get(text, []))} == set()

    def test_has_every_text_that_python_says(self):
        texts, wanted = catalogue(), set()
        for path in (settings.BASE_DIR / "submissions").rglob("*.py"):
            wanted |= marked(path.read_text())
            # Under another name neither the extractor nor this test would see what is marked.
            assert set(re.findall(r"gettext\w* as (\w+)", path.read_text())) <= {"_"}, path
        assert len(wanted) > 500
        assert {text for text in wanted if not any(texts.get(text, []))} == set()


class TestFindingWords:
    def test_exist_for_every_check(self):
        codes = {code for code, _check in CHECKS}
        assert len(codes) > 20
        assert codes - set(WORDS) == set()


class TestTimes:
    # Local times from zoneinfo, the IANA data: a summer-time change lies between some of these and their UTC.
    @pytest.mark.parametrize(
        ("utc", "zone", "said"),
        [
            (datetime(2026, 11, 1, 5, 30, tzinfo=UTC), "America/New_York", "01:30"),
            (datetime(2026, 11, 1, 6, 30, tzinfo=UTC), "America/New_York", "01:30"),
            (datetime(2026, 6, 1, 18, 14, tzinfo=UTC), "Asia/Kathmandu", "23:59"),
            (datetime(2027, 1, 1, 11, 59, tzinfo=UTC), "Etc/GMT+12", "23:59"),
        ],
    )
    def test_stand_in_their_zone_and_name_it(self, utc, zone, said):
        shown = words.in_zone(utc, zone)
        assert said in shown
        assert zone.replace("_", " ") in shown

    @pytest.mark.parametrize(
        ("left", "said"),
        [
            (timedelta(days=3, hours=4, minutes=59), "3 days 4 hours"),
            (timedelta(days=1, minutes=5), "1 day"),
            (timedelta(hours=2, minutes=1, seconds=30), "2 hours 1 minute"),
            (timedelta(seconds=40), "less than a minute"),
        ],
    )
    def test_left_are_two_units_at_most(self, left, said):
        assert words.time_left(timezone.now() + left + timedelta(seconds=5)) == said

    def test_are_written_as_the_reader_writes_them(self):
        with translation.override("de"):
            assert words.in_zone(datetime(2026, 12, 1, 20, 4, tzinfo=UTC), "Europe/Vienna").startswith("Dienstag, 1. Dezember 2026, 21:04")

    def test_that_have_passed_say_nothing(self):
        assert words.time_left(timezone.now() - timedelta(seconds=1)) == ""

    @pytest.mark.parametrize(
        ("seconds", "said"), [(0, "0:00"), (43.9, "0:43"), (60, "1:00"), (3725, "62:05"), (None, "")]
    )
    def test_in_a_video_are_minutes_and_seconds(self, seconds, said):
        assert words.clock(seconds) == said


class TestDeviations:
    @pytest.mark.parametrize(
        ("ms", "said"), [(12.4, "12 ms late"), (-3.96, "4.0 ms early"), (0.01, "exact"), (None, "cannot be told")]
    )
    def test_are_said_with_their_direction(self, ms, said):
        assert words.late_words(ms) == said

    def test_are_said_with_a_decimal_comma_in_german(self):
        with translation.override("de"):
            assert words.late_words(3.96) == "4,0 ms spät"

    # Friberg & Sundberg 1995 (JASA 98, abstract): 6 ms under 240 ms, 2.5 % above. At 116 beats a minute the quarter has
    # 12.93 ms, the eighth 6.47, the sixteenth 6; at 80: 18.75, 9.38, 6 (computed from the rule).
    @pytest.mark.parametrize(
        ("bpm", "notes", "limit"),
        [(116, 1, 12.93), (116, 2, 6.47), (116, 4, 6.0), (80, 1, 18.75), (80, 2, 9.38), (80, 8, 6.0)],
    )
    def test_are_only_marked_where_ears_notice_them(self, bpm, notes, limit):
        assert notice_ms(60 / bpm / notes) == pytest.approx(limit, abs=0.006)
