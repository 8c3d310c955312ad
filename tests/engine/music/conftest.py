"""A real browser for the music desk's pages and pictures; a test that needs it fails where Chromium is missing."""

import pytest

from tests.browser import browser as open_browser


@pytest.fixture(scope="module")
def browser():
    """Sound may start without a gesture, as a test has no finger."""
    with open_browser("--autoplay-policy=no-user-gesture-required") as started:
        yield started
