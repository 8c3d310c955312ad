"""Sending over a line that fails: cut again and again, a tab that is closed, a deadline that passes on the way."""

import hashlib
import re

import pytest

from tests.browser import new_page
from tests.journeys.line import BadLine

pytestmark = [pytest.mark.browser, pytest.mark.service]
CUTS = 20


@pytest.fixture
def line(stage):
    """A relay before the installation."""
    relay = BadLine(stage.port, seed=7)
    yield relay
    relay.close()


@pytest.fixture
def big_file(good_take, tmp_path):
    """The good take with a tail that players never see: enough bytes to be cut many times."""
    path = tmp_path / "take.mp4"
    # A "free" box of MP4 (ISO/IEC 14496-12): readers pass over it.
    size = 6_000_000
    path.write_bytes(good_take.read_bytes() + size.to_bytes(4, "big") + b"free" + bytes(n * 7 % 251 for n in range(size - 8)))
    return path


def sending_page(stage, line, chromium, name: str):
    """A player's sending page, reached through the bad line."""
    link = stage.set("link", slug=stage.call["slug"], name=name)
    page = new_page(chromium)
    page.goto(f"{line.url}/open/{link['secret']}/")
    page.goto(f"{line.url}/mine/{link['entry']}/send/{stage.call['parts']['snare-all']}/")
    return page


def sha256(path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


class TestABadLine:
    def test_that_is_cut_twenty_times_brings_every_byte(self, stage, line, chromium, big_file):
        page = sending_page(stage, line, chromium, "Rae Finch")
        page.get_by_label("Your video").set_input_files(big_file)
        line.cut(CUTS, mean_bytes=big_file.stat().st_size // (2 * CUTS))
        page.get_by_role("button", name="Send it").click()
        page.wait_for_url("**/takes/**", timeout=180_000)
        assert line.cuts_made == CUTS
        assert stage.take_of(stage.call["slug"], "Rae Finch")["sha256"] == sha256(big_file)

    def test_goes_on_by_itself_when_the_tab_was_closed(self, stage, line, chromium, big_file):
        page = sending_page(stage, line, chromium, "Sam Alder")
        line.bytes_a_second = 1_500_000
        page.get_by_label("Your video").set_input_files(big_file)
        page.get_by_role("button", name="Send it").click()
        page.get_by_text(re.compile(r"[1-9]\d of 100 sent")).wait_for()
        address, again = page.url, page.context.new_page()
        page.close()
        line.bytes_a_second = 0
        heads = []
        again.on("request", lambda request: heads.append(request.method) if "/uploads/" in request.url else None)
        again.goto(address)
        again.wait_for_url("**/takes/**", timeout=60_000)
        assert "HEAD" in heads and "POST" not in heads  # the same upload went on
        assert stage.take_of(stage.call["slug"], "Sam Alder")["sha256"] == sha256(big_file)

    def test_may_be_slow_when_the_sending_began_before_the_deadline(self, stage, line, chromium, big_file):
        slug = stage.call["slug"]
        page = sending_page(stage, line, chromium, "Tove Ash")
        page.get_by_text("A take that begins to arrive before the deadline counts as on time").wait_for()
        line.bytes_a_second = 900_000
        page.get_by_label("Your video").set_input_files(big_file)
        page.get_by_role("button", name="Send it").click()
        page.get_by_text(re.compile(r"\d of 100 sent")).wait_for()
        stage.set("deadline", slug=slug, seconds=0)
        try:
            page.wait_for_url("**/takes/**", timeout=60_000)
            assert stage.take_of(slug, "Tove Ash")["on_time"]
            late = new_page(chromium)
            link = stage.set("deadline", slug=slug, seconds=-1)
            assert link == {}
            late.goto(f"{stage.url}/call/{slug}/")
            late.get_by_text("This call is closed").wait_for()
        finally:
            stage.set("deadline", slug=slug, seconds=7 * 86_400)
