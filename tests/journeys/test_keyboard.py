"""The whole way by keyboard alone: no pointer touches the page between the call and the answer."""

import pytest

from tests.browser import DESK, new_page
from tests.journeys.test_player import answer

pytestmark = [pytest.mark.browser, pytest.mark.service]
FURTHEST = 120  # tab stops on one page: more would be no way for anybody

NAME_OF_FOCUS = """() => {
  const at = document.activeElement;
  const label = at.labels && at.labels.length ? at.labels[0].innerText : "";
  return (at.getAttribute("aria-label") || label || at.innerText || "").trim();
}"""
SEEN = """() => {
  const at = document.activeElement, box = at.getBoundingClientRect(), style = getComputedStyle(at);
  return box.width > 0 && box.bottom > 0 && box.top < innerHeight && style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
}"""


def tab_to(page, name: str) -> None:
    """Tab until the element of this name has the focus; it must be in view, with a ring that shows it."""
    for _ in range(FURTHEST):
        page.keyboard.press("Tab")
        if page.evaluate(NAME_OF_FOCUS).startswith(name):
            assert page.evaluate(SEEN), f"the focus on {name!r} cannot be seen"
            return
    raise AssertionError(f"{name!r} cannot be reached by Tab on {page.url}")


def test_the_way_from_the_call_to_the_answer_needs_no_pointer(stage, chromium, perform):
    page = new_page(chromium, DESK)
    # The browser hands its file window to the test only from the first listener on, and tells nobody when that holds:
    # a key pressed just after opens a window that nobody sees. Hence one listener from the start.
    page.on("filechooser", lambda window: None)
    page.goto(f"{stage.url}/call/{stage.call['slug']}/")
    page.keyboard.press("Tab")
    assert page.evaluate(NAME_OF_FOCUS) == "Skip to the page"
    page.keyboard.press("Enter")
    tab_to(page, "Play Snare")
    page.keyboard.press("Enter")
    page.wait_for_url("**/enter/**")
    for label, typed in (("Your name", "Xan Moor"), ("Your name in the credits", "Xan"), ("Your e-mail address", "xan.moor@example.org")):
        tab_to(page, label)
        page.keyboard.type(typed)
    tab_to(page, "How old are you?")
    page.keyboard.type("18")
    tab_to(page, "Where do you live?")
    page.keyboard.type("Irel")
    tab_to(page, "I have read this and agree.")
    page.keyboard.press("Space")
    tab_to(page, "Enter")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Hello Xan Moor").wait_for()
    tab_to(page, "Send a take")
    page.keyboard.press("Enter")
    page.wait_for_url("**/send/**")
    tab_to(page, "Your video")
    with page.expect_file_chooser() as window:  # the system's own window: the browser answers for it here
        page.keyboard.press("Enter")
    window.value.set_files(perform(77))
    tab_to(page, "Send it")
    page.keyboard.press("Enter")
    page.wait_for_url("**/takes/**")
    assert answer(page, stage).startswith("Your take is usable.")
    tab_to(page, "By count and by bar")
    page.keyboard.press("Enter")
    page.get_by_text("on average").first.wait_for()
