"""The practice page as a player gets it: real template, script and sheet in a phone-sized browser without a network."""

import functools
import http.server
import json
import re
import threading
from pathlib import Path
from types import SimpleNamespace

import pytest
from playwright.sync_api import expect

from submissions.engine.music.engraving.engrave import engrave
from submissions.engine.music.ladder import ladder, performance_bpm
from submissions.engine.music.practice import practice
from submissions.engine.music.score import read_part
from submissions.engine.music.score.intake import open_tree
from submissions.engine.rehearsal.cadence import cadence

STATIC = Path(__file__).resolve().parents[3] / "submissions" / "static" / "submissions"
pytestmark = pytest.mark.browser


class Handler(http.server.SimpleHTTPRequestHandler):
    def translate_path(self, path):
        if path.startswith("/static/submissions/"):
            return str(STATIC / path.rpartition("/")[2].partition("?")[0])
        return super().translate_path(path)

    def log_message(self, *args):
        pass


def page_html(bpm="", bars=()) -> str:
    from django.template.loader import render_to_string
    from django.test import RequestFactory

    part = SimpleNamespace(name="Snare", pk=1, segment=SimpleNamespace(title="Copper Gate"))
    context = {
        "call": SimpleNamespace(slug="demo"),
        "part": part,
        "practice_url": "/practice.json",
        "sheet_url": "/sheet.svg",
        "asked_bpm": bpm,
        "asked_bars": list(bars),
    }
    return render_to_string("participant/practice.html", context, RequestFactory().get("/practice"))


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    source = cadence()[0].musicxml_text.encode()
    part, engraved = read_part(source, "P1"), engrave(open_tree(source), "P1")
    made = practice(part, ladder(performance_bpm(part)), 2, engraved.bar_ids)
    (folder / "practice.json").write_text(json.dumps(made))
    (folder / "sheet.svg").write_text(engraved.phone_svg)
    (folder / "whole.html").write_text(page_html())
    (folder / "asked.html").write_text(page_html("96", (3, 5)))
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Handler, directory=str(folder)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def phone(browser):
    context = browser.new_context(viewport={"width": 390, "height": 844}, device_scale_factor=2)
    page = context.new_page()
    page.problems = []
    page.on("pageerror", lambda error: page.problems.append(str(error)))
    yield page
    assert page.problems == []
    context.close()


class TestThePage:
    def test_lights_the_bars_in_turn_without_a_network(self, phone, site):
        phone.goto(f"{site}/whole.html")
        expect(phone.locator("[data-says]")).to_contain_text("Ready")
        phone.context.set_offline(True)
        phone.get_by_label("108").check(force=True)
        phone.get_by_label("Count-off").select_option("0")
        phone.get_by_role("button", name="Play").click()
        expect(phone.locator("[data-place]")).to_contain_text("bar 1")
        expect(phone.locator("#bar-1 .stave.playing")).to_have_count(1)
        expect(phone.locator("#bar-2 .stave.playing")).to_have_count(1, timeout=8000)
        expect(phone.locator(".stave.playing")).to_have_count(1)
        phone.get_by_role("button", name="Stop").click()
        expect(phone.locator(".stave.playing")).to_have_count(0)

    def test_counts_off_before_the_first_bar(self, phone, site):
        phone.goto(f"{site}/whole.html")
        expect(phone.locator("[data-says]")).to_contain_text("Ready")
        phone.get_by_role("button", name="Play").click()
        expect(phone.locator("[data-place]")).to_contain_text("count-off")
        expect(phone.locator(".stave.playing")).to_have_count(0)

    def test_loops_the_bars_a_link_asks_for_at_the_nearest_tempo(self, phone, site):
        phone.goto(f"{site}/asked.html")
        expect(phone.locator("[data-says]")).to_contain_text("Ready")
        assert phone.locator("input[name=bpm]:checked").get_attribute("value") == "96"
        chosen = phone.locator(".stave.chosen").evaluate_all("all => all.map(s => s.parentNode.id)")
        assert chosen == ["bar-3", "bar-4", "bar-5"]

    def test_takes_a_tapped_bar_and_a_later_one_as_the_loop(self, phone, site):
        phone.goto(f"{site}/whole.html")
        expect(phone.locator("[data-says]")).to_contain_text("Ready")
        for bar in ("bar-2", "bar-4"):
            phone.locator(f"#{bar} .stave").dispatch_event("click")
        assert phone.locator(".stave.chosen").count() == 3
        phone.get_by_role("button", name="All bars").click()
        assert phone.locator(".stave.chosen").count() == 0

    def test_fits_the_width_of_a_phone(self, phone, site):
        phone.goto(f"{site}/whole.html")
        expect(phone.locator("[data-says]")).to_contain_text("Ready")
        assert phone.evaluate("document.documentElement.scrollWidth") <= 390
        small = phone.evaluate(
            "[...document.querySelectorAll('main button, main select, main .chips span')]"
            ".map(e => e.getBoundingClientRect()).filter(b => b.height < 40).length"
        )
        assert small == 0

    def test_says_so_when_the_part_cannot_be_loaded(self, phone, site):
        phone.route("**/practice.json", lambda route: route.abort())
        phone.goto(f"{site}/whole.html")
        expect(phone.locator("[data-says]")).to_contain_text("could not be loaded")


def test_the_page_has_no_inline_script():
    """The content security policy allows scripts of our own files only."""
    html = page_html()
    assert re.findall(r"<script(?![^>]*\bsrc=)", html) == []
    assert re.findall(r"\son\w+=", html) == []
