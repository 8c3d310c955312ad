"""The player's way, in a real browser against a real installation: from the link to "usable", and out again."""

import http.client
import re

import pytest

from tests.browser import DESK, PHONE, new_page

pytestmark = [pytest.mark.browser, pytest.mark.service]


def enter(page, stage, name: str, age: str = "18", guardian: str = "") -> None:
    """Fill in the entry form as a player would."""
    page.goto(f"{stage.url}/call/{stage.call['slug']}/")
    page.get_by_role("link", name="Play Snare").click()
    page.get_by_label("Your name", exact=True).fill(name)
    page.get_by_label("Your name in the credits").fill(name)
    page.get_by_label("Your e-mail address").fill(f"{name.lower().replace(' ', '.')}@example.org")
    page.get_by_label("How old are you?").select_option(age)
    page.get_by_label("Where do you live?").select_option("IE")
    if guardian:
        page.get_by_label("E-mail address of a parent or guardian").fill(guardian)
    page.get_by_label("I have read this and agree.").check()
    page.get_by_role("button", name="Enter").click()
    page.get_by_role("heading", name=f"Hello {name}").wait_for()


def send(page, path, tryout: bool = False) -> None:
    """From the player's page to the answer page, by the sending script."""
    page.get_by_role("link", name=re.compile("Send (a take|another)")).first.click()
    page.get_by_label("Your video").set_input_files(path)
    if tryout:
        page.get_by_label("Only a try-out").check()
    page.get_by_role("button", name="Send it").click()
    page.wait_for_url("**/takes/**")


def answer(page, stage) -> str:
    """The sentence of the answer, once it is there; the page changes by itself, nobody reloads it."""
    sentence = page.locator("#answer .verdict p")
    waiting = re.compile("measured")
    stage.wait(lambda: not waiting.search(sentence.text_content() or ""))
    return f"{sentence.text_content()} {' '.join(page.locator('.findings .says').all_text_contents())}".strip()


def ask_from_elsewhere(stage, address: str) -> int:
    """The status of a page asked for from another address of this machine, so that nobody else is slowed down."""
    line = http.client.HTTPConnection("127.0.0.1", stage.port, source_address=("127.0.0.2", 0))
    line.request("GET", address, headers={"Host": f"localhost:{stage.port}"})
    status = line.getresponse().status
    line.close()
    return status


class TestAPlayer:
    @pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
    def test_gets_from_the_link_to_usable_without_an_account(self, stage, chromium, perform, size):
        page = new_page(chromium, size)
        name = f"Isa Reed {size['width']}"
        enter(page, stage, name)
        send(page, perform(size["width"]))
        assert answer(page, stage).startswith("Your take is usable.")
        assert page.locator(".stroke-picture svg").count() >= 4
        row = stage.take_of(stage.call["slug"], name)
        assert (row["verdict"], row["zero_from"], row["on_time"]) == ("ready", "marks", True)
        assert page.faults == []

    def test_comes_back_by_the_link_in_the_mail(self, stage, chromium):
        enter(new_page(chromium), stage, "Jo Fern")
        other_phone = new_page(chromium)
        other_phone.goto(stage.link_in_mail("jo.fern@example.org"))
        other_phone.get_by_role("heading", name="Hello Jo Fern").wait_for()
        assert "/open/" not in other_phone.url

    def test_tries_out_without_anybody_seeing_it(self, stage, chromium, perform):
        page = new_page(chromium)
        enter(page, stage, "Kim Vale")
        send(page, perform(2), tryout=True)
        assert answer(page, stage).startswith("Your take is usable.")
        row = stage.take_of(stage.call["slug"], "Kim Vale")
        assert row["tryout"] and not row["organizer_sees_it"] and not row["editors_see_it"]
        assert row["deleted_after_s"] == pytest.approx(2 * 86_400, abs=5)

    def test_withdraws_and_the_file_is_really_gone(self, stage, chromium, good_take):
        page = new_page(chromium)
        enter(page, stage, "Lou Marsh")
        send(page, good_take)
        stored = stage.folder / "files" / stage.take_of(stage.call["slug"], "Lou Marsh")["key"]
        assert stored.is_file()
        page.get_by_role("link", name="My takes").click()
        page.get_by_role("link", name="Withdraw").click()
        page.get_by_role("button", name="Withdraw and delete everything").click()
        page.get_by_text("You have left.").wait_for()
        assert not stored.exists()
        assert page.goto(stage.link_in_mail("lou.marsh@example.org")).status == 404

    def test_is_told_before_the_first_byte_that_a_file_cannot_be_taken(self, stage, chromium, tmp_path):
        page = new_page(chromium)
        enter(page, stage, "Max Thorne")
        page.get_by_role("link", name="Send a take").first.click()
        sent = []
        page.on("request", lambda request: sent.append(request.url) if "/uploads/" in request.url else None)
        text = tmp_path / "notes.txt"
        text.write_text("no video")
        page.get_by_label("Your video").set_input_files(text)
        page.get_by_text("This kind of file is not taken.").wait_for()
        assert page.get_by_role("button", name="Send it").is_disabled()
        assert sent == []

    def test_sends_with_the_plain_form_where_no_script_runs(self, stage, chromium, good_take):
        page = new_page(chromium, java_script_enabled=False)
        enter(page, stage, "Nia Oake")
        send(page, good_take)
        assert stage.take_of(stage.call["slug"], "Nia Oake")["work"] in ("waiting", "running", "done")


class TestAGuardian:
    def test_agrees_by_a_link_of_their_own_and_takes_it_back(self, stage, chromium, good_take):
        page = new_page(chromium)
        enter(page, stage, "Ola Pine", age="13", guardian="pine.family@example.org")
        page.get_by_text("Your parent or guardian has not agreed yet.").wait_for()
        send(page, good_take)
        slug = stage.call["slug"]
        row = stage.take_of(slug, "Ola Pine")
        assert row["organizer_sees_it"] and not row["editors_see_it"]

        parent = new_page(chromium)
        parent.goto(stage.link_in_mail("pine.family@example.org"))
        parent.get_by_label("Your name").fill("A. Pine")
        parent.get_by_label("I am this player's parent or guardian").check()
        parent.get_by_role("button", name="I agree").click()
        parent.get_by_text("You have agreed.").wait_for()
        assert stage.take_of(slug, "Ola Pine")["editors_see_it"]

        parent.get_by_text("Take my consent back").click()
        parent.get_by_role("button", name="Take it back").click()
        parent.get_by_text("Nobody but the organizer sees the takes until you agree.").wait_for()
        assert not stage.take_of(slug, "Ola Pine")["editors_see_it"]


class TestAStranger:
    def test_gets_404_for_a_guessed_link_and_is_slowed_down(self, stage):
        answers = [ask_from_elsewhere(stage, f"/open/{'x' * 40}{n}/") for n in range(24)]
        assert set(answers[:10]) == {404}
        assert answers[-1] == 429

    def test_finds_nothing_that_opens_in_the_log(self, stage, chromium):
        link = stage.set("link", slug=stage.call["slug"], name="Pia Rush")
        page = new_page(chromium)
        referrers = []
        page.on("request", lambda request: referrers.append(request.headers.get("referer", "")))
        page.goto(f"{stage.url}/sign-in/")  # a page before it, so that a referrer could be sent
        page.goto(f"{stage.url}/open/{link['secret']}/")
        page.get_by_role("heading", name="Hello Pia Rush").wait_for()
        page.get_by_role("link", name=re.compile("Dusk Parade")).first.click()
        logs = "".join(path.read_text(errors="replace") for path in stage.logs.glob("*.log"))
        assert link["secret"] not in logs
        assert not any(link["secret"] in referrer for referrer in referrers)

    def test_sees_nothing_of_another_player(self, stage, chromium):
        link = stage.set("link", slug=stage.call["slug"], name="Quin Sedge")
        page = new_page(chromium)
        assert page.goto(f"{stage.url}/mine/{link['entry']}/").status == 404
