"""A real Chromium for journeys; a missing one fails the test, it never skips."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, Page, Playwright, sync_playwright

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1440, "height": 900}
WAIT_MS = 60_000  # two cores may be busy with other tests


def executable() -> str:
    """The browser's path: TAPOFF_CHROMIUM, else an installed one."""
    if named := os.environ.get("TAPOFF_CHROMIUM"):
        return named
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if found := shutil.which(name):
            return found
    raise RuntimeError("No Chromium: install it (Debian: apt-get install chromium) or name it in TAPOFF_CHROMIUM.")


_open: list[Playwright] = []  # the one driver of this process, once for every browser that is open


@contextmanager
def driver() -> Iterator[Playwright]:
    """One driver at a time, because two cannot run beside each other; it ends with the last browser.

    While it runs, this thread counts as one with an event loop, in which Django refuses its database.
    """
    started = _open[0] if _open else sync_playwright().start()
    _open.append(started)
    try:
        yield started
    finally:
        _open.pop()
        if not _open:
            started.stop()


@contextmanager
def browser(*arguments: str) -> Iterator[Browser]:
    """A browser with these switches added."""
    with driver() as playwright:
        started = playwright.chromium.launch(executable_path=executable(), args=[*QUIET, *arguments])
        try:
            yield started
        finally:
            started.close()


def new_page(browser: Browser, size: dict[str, int] = PHONE, **more) -> Page:
    """A page of a visitor of their own; errors of scripts and of the security policy fail the journey at its end."""
    context = browser.new_context(viewport=size, locale="en-GB", **more)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda line: page.faults.append(line.text) if "Content Security Policy" in line.text else None)
    return page
