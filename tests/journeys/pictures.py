"""Pictures of every page at two widths: `python -m tests.journeys.pictures OUTDIR [--dark]`, for people to look at.

Starts an installation of its own with a call whose players have takes in every state.
"""

import os
import sys
import tempfile
from pathlib import Path

import django

from tests.browser import DESK, PHONE, browser, new_page
from tests.journeys.conftest import GENEROUS, Stage
from tests.journeys.test_every_page import sign_in


def take_pictures(out: Path, scheme: str) -> None:
    """One PNG a page and width."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, Stage(Path(folder), extra_env=GENEROUS).running() as stage:
        stage.start_broker()
        stage.manage("migrate", "--no-input", "--skip-checks")
        stage.start_worker()
        stage.start_web()
        stage.call = stage.set("small_call")
        stage.materials_made(stage.call["slug"])
        pages = stage.set("gallery", slug=stage.call["slug"])
        with browser() as started:
            for size in (PHONE, DESK):
                for who, addresses in pages["pages"].items():
                    page = new_page(started, size, color_scheme=scheme)
                    if who == "player":
                        for secret in (*pages["secrets"].values(), pages["guardian"]):
                            page.goto(f"{stage.url}/open/{secret}/")
                    if who == "organizer":
                        sign_in(page, stage, "organizer")
                    for name, address in addresses.items():
                        page.goto(stage.url + address)
                        page.wait_for_timeout(400)
                        path = out / f"{who}-{name.replace(', ', '-').replace(' ', '-')}-{size['width']}.png"
                        page.screenshot(path=path, full_page=True)
                        print(path)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    django.setup()
    take_pictures(Path(sys.argv[1]), "dark" if "--dark" in sys.argv else "light")
