"""A real browser for the music desk's pages and pictures; a test that needs it fails where Chromium is missing."""

import pytest


@pytest.fixture(scope="module")
def browser():
    """Debian's Chromium, headless; sound may start without a gesture, as a test has no finger."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        )
        yield started
        started.close()
