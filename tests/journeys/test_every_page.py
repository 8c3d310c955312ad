"""Every page for everybody: WCAG by axe-core, at four widths and in both colour schemes; no page wider than its screen.

axe-core (Deque Systems, MPL 2.0) is the outside judge; the rules asked for are WCAG 2.2 A and AA and its best practices.
"""

import pytest

from portal.embedded import BASE_DIR
from tests.browser import browser, new_page

pytestmark = [pytest.mark.browser, pytest.mark.service]

WIDTHS = (320, 390, 768, 1440)
AXE = BASE_DIR / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
FIRST_VIEW_BYTES = 120_000  # the call page's whole first view over the wire, without audio


@pytest.fixture(scope="module")
def pages(stage):
    """Addresses of every page by who may see it, and the way in."""
    return stage.set("gallery", slug=stage.call["slug"])


@pytest.fixture(scope="module", params=["light", "dark"])
def visitors(request, stage, pages):
    """Three visitors of one colour scheme: a stranger, a player with a guardian's link too, an organizer."""
    with browser() as started:
        found = {who: new_page(started, color_scheme=request.param, reduced_motion="reduce") for who in ("stranger", "player", "organizer")}
        for secret in (*pages["secrets"].values(), pages["guardian"]):
            found["player"].goto(f"{stage.url}/open/{secret}/")
        sign_in(found["organizer"], stage, "organizer")
        yield found


def sign_in(page, stage, name: str) -> None:
    from tests.cast import PASSWORD

    page.goto(f"{stage.url}/sign-in/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="My desk").wait_for()


def complaints(page) -> list[str]:
    """What axe says against the page as it stands, in one line each."""
    said = page.evaluate("rules => axe.run({ runOnly: { type: 'tag', values: rules } })", RULES)
    assert said["passes"], "axe looked at nothing"
    return [f"{fault['id']}: {node['html'][:160]}" for fault in said["violations"] for node in fault["nodes"]]


@pytest.mark.parametrize("who", ["stranger", "player", "organizer"])
class TestEveryPage:
    def test_has_no_barrier_that_axe_can_find_and_fits_its_screen(self, stage, pages, visitors, who):
        page, found = visitors[who], []
        for name, address in pages["pages"][who].items():
            page.goto(stage.url + address)
            page.evaluate(AXE.read_text())  # by the debugger: the security policy lets no foreign script in
            for width in WIDTHS:
                page.set_viewport_size({"width": width, "height": 844})
                found += [f"{name} at {width}: {line}" for line in complaints(page)]
                wide = page.evaluate("document.documentElement.scrollWidth")
                if wide > width:
                    found.append(f"{name} at {width}: {wide} pixels wide")
        assert not found, "\n".join(found)
        assert page.faults == []

    def test_can_be_read_at_twice_the_text_size(self, stage, pages, visitors, who):
        page, found = visitors[who], []
        page.set_viewport_size({"width": 768, "height": 844})
        for name, address in pages["pages"][who].items():
            page.goto(stage.url + address)
            page.evaluate("document.documentElement.style.fontSize = '200%'")
            wide = page.evaluate("document.documentElement.scrollWidth")
            if wide > 768:
                found.append(f"{name}: {wide} pixels wide")
        assert not found, "\n".join(found)


class TestTheCallPage:
    def test_first_view_is_light(self, stage, pages):
        with browser() as started:
            page = new_page(started)
            session = page.context.new_cdp_session(page)
            session.send("Network.enable")
            sizes = []
            session.on("Network.loadingFinished", lambda told: sizes.append(told["encodedDataLength"]))
            page.goto(stage.url + pages["pages"]["stranger"]["call"], wait_until="networkidle")
        assert len(sizes) >= 3  # the page, its style sheet, its script
        assert sum(sizes) < FIRST_VIEW_BYTES, f"{sum(sizes)} bytes"
