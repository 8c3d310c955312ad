"""The main job, end to end: from the organizer's new call to the editor's exported timeline, at two widths."""

import re
from datetime import datetime, timedelta

import opentimelineio
import pytest

from tests.browser import DESK, PHONE, new_page
from tests.journeys.test_player import answer, send

pytestmark = [pytest.mark.browser, pytest.mark.service]


def sign_in(page, stage, name: str) -> None:
    from tests.cast import PASSWORD

    page.goto(f"{stage.url}/desk/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="My desk").wait_for()


def make_call(page, title: str) -> None:
    """A draft with everything that publishing asks for."""
    page.get_by_role("link", name="Make a call").click()
    page.get_by_label("Title", exact=True).fill(title)
    page.get_by_label("What will it become?").fill("One line on one screen.")
    page.get_by_label("Deadline").fill(f"{datetime.now() + timedelta(days=9):%Y-%m-%dT20:00}")
    page.get_by_label("Time zone").fill("Europe/Lisbon")
    page.get_by_label("Whose music it is").fill("Ours, and everybody may play and film it.")
    page.get_by_role("button", name="Make the draft").click()
    page.get_by_text("The call is a draft.").wait_for()


def put_music_in(page, score) -> None:
    page.get_by_label("MusicXML file").set_input_files(score)
    page.get_by_label("Title of the segment").fill("Copper Gate")
    page.get_by_role("button", name="Read it").click()
    page.get_by_text("“Copper Gate” is read.").wait_for()


def set_chairs(page, part: str, chairs: int) -> None:
    page.get_by_role("link", name=re.compile(f"^{part}")).click()
    page.get_by_text("As it was read").wait_for()
    page.get_by_label("Chairs").fill(str(chairs))
    page.get_by_role("button", name="Set the chairs").click()


@pytest.fixture(scope="module")
def score(tmp_path_factory):
    """The first segment of the invented cadence, as an organizer's file."""
    from submissions.engine.rehearsal.cadence import cadence

    path = tmp_path_factory.mktemp("score") / "copper-gate.musicxml"
    path.write_text(cadence()[0].musicxml_text)
    return path


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_main_job_from_a_new_call_to_a_timeline(stage, chromium, perform, score, size, tmp_path):
    title = f"Ferry Bridge {size['width']}"
    desk = new_page(chromium, size)
    sign_in(desk, stage, "organizer")
    make_call(desk, title)
    put_music_in(desk, score)
    set_chairs(desk, "Snare", 2)
    desk.get_by_role("button", name="Publish the call").click()
    desk.get_by_text("The call is open.").wait_for()
    address = desk.get_by_text("Address for players:").get_by_role("link").get_attribute("href")

    phone = new_page(chromium, size)
    phone.goto(stage.url + address)
    phone.get_by_text("of 2 open").wait_for()
    phone.get_by_role("link", name="Play Snare").click()
    phone.get_by_label("Your name", exact=True).fill("Wyn Harrow")
    phone.get_by_label("Your e-mail address").fill("wyn.harrow@example.org")
    phone.get_by_label("How old are you?").select_option("18")
    phone.get_by_label("Where do you live?").select_option("IE")
    phone.get_by_label("I have read this and agree.").check()
    phone.get_by_role("button", name="Enter").click()
    phone.get_by_role("heading", name="Hello Wyn Harrow").wait_for()
    send(phone, perform(size["width"] + 5000))
    assert answer(phone, stage).startswith("Your take is usable.")

    desk.reload()
    snare = desk.get_by_role("row", name=re.compile("^Snare"))
    counted = snare.get_by_role("cell").all_text_contents()
    assert counted == ["1", "2", "1", "0", "0", "1"]  # missing, wanted, ready, to look at, to redo, received
    snare.get_by_role("link").click()
    desk.get_by_role("link", name="Wyn Harrow").click()
    desk.get_by_label("take it").check()
    desk.get_by_role("button", name="Decide").click()
    desk.get_by_text("Your decision is kept.").wait_for()

    desk.get_by_role("link", name="Bench").click()
    desk.get_by_role("link", name=re.compile("^Snare 1")).click()
    desk.get_by_role("button", name=re.compile("Play from bar 1")).click()
    desk.get_by_role("button", name="Stop").wait_for()  # it plays
    desk.get_by_role("button", name=re.compile("Pick for chair 1")).click()
    desk.get_by_text("Wyn Harrow sits on chair 1 now.").wait_for()
    desk.get_by_label("Nudge in ms").fill("-3.5")
    desk.get_by_role("button", name="Shift").click()
    desk.get_by_text("The pick is shifted.").wait_for()
    desk.get_by_role("link", name="Bench").first.click()
    desk.get_by_role("button", name="Play the line-up from bar 1").click()
    desk.get_by_role("button", name="Stop").click()
    desk.get_by_role("button", name="Play the line-up from bar 1").wait_for()

    desk.get_by_role("link", name="Exports").first.click()
    desk.get_by_role("button", name=re.compile("Make it.*[Tt]imeline")).click()
    file = desk.get_by_role("link", name=re.compile(r"\.otio$"))
    with desk.expect_download() as download:
        file.click()
    path = tmp_path / "cut.otio"
    download.value.save_as(path)
    timeline = opentimelineio.adapters.read_from_file(str(path))
    assert len(list(timeline.find_clips())) >= 1
    assert desk.faults == phone.faults == []
