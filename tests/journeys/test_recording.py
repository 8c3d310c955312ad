"""Filming in the browser, with a fake camera and a microphone that plays a real generated take."""

import subprocess
import wave
from dataclasses import replace
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest

from tests.browser import browser, new_page

pytestmark = [pytest.mark.browser, pytest.mark.service]

LEAD_S = 2.5  # silence before the generated take: the page needs so long from camera on to recording


@pytest.fixture(scope="module")
def microphone(tmp_path_factory) -> tuple[Path, float]:
    """A WAV for Chromium's fake microphone: silence, then a good take as its own phone heard it; and its length."""
    from submissions.engine.rehearsal.scenario import by_key, take_of

    sound = take_of(replace(by_key("snare-ana"), seed=71)).sound
    mono = np.concatenate([np.zeros(round(LEAD_S * sound.rate), np.float32), sound.mono])
    path = tmp_path_factory.mktemp("microphone") / "microphone.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(sound.rate)
        file.writeframes((np.clip(mono, -1, 1) * 32_767).astype("<i2").tobytes())
    return path, len(mono) / sound.rate


@pytest.fixture(scope="module")
def camera(tmp_path_factory) -> Path:
    """Six seconds of somebody playing, as Motion JPEG for Chromium's fake camera; it plays them over and over."""
    from submissions.engine.rehearsal.scenario import by_key, make_scene

    folder = tmp_path_factory.mktemp("camera")
    film = make_scene(by_key("snare-ana"), folder).path
    path = folder / "camera.mjpeg"
    picture = "fps=25,scale=640:360"
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-ss", "4", "-t", "6", "-i", str(film), "-vf", picture]
    subprocess.run([*command, "-c:v", "mjpeg", "-q:v", "4", "-f", "mjpeg", str(path)], check=True)
    return path


@pytest.fixture
def filming(microphone, camera):
    """A browser that films somebody playing and hears the take once."""
    path, _length = microphone
    with browser(
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={camera}",
        f"--use-file-for-fake-audio-capture={path}%noloop",
        "--autoplay-policy=no-user-gesture-required",
    ) as started:
        yield started


def open_page(stage, filming, name: str):
    link = stage.set("link", slug=stage.call["slug"], name=name)
    page = new_page(filming)
    page.goto(f"{stage.url}/open/{link['secret']}/")
    page.goto(f"{stage.url}/mine/{link['entry']}/film/{stage.call['parts']['snare-all']}/")
    return page


class TestFilmingInTheBrowser:
    def test_ends_ready_with_zero_by_the_marks(self, stage, filming, microphone):
        _path, length_s = microphone
        page = open_page(stage, filming, "Uma Birch")
        # The generated take is longer than the page's own run, by talk before and after: the player lets it run on.
        # Asked for 360 lines, as the page does by itself on two cores: here the processor encodes, beside all else it does.
        page.locator("[data-recording]").evaluate("(box, end) => Object.assign(box.dataset, { end, width: 640, height: 360 })", str(length_s))
        page.get_by_role("button", name="Camera and microphone on").click()
        page.get_by_text("The sound is recorded as it is.").wait_for()
        page.get_by_role("button", name="Start: chirps, count-off, play").click()
        page.get_by_text("Chirps: hold one earphone to the phone").wait_for()
        page.get_by_text("Play. The chirps come again after the last bar").wait_for()
        page.get_by_role("button", name="Send this take").click(timeout=1000 * (length_s + 60))
        page.wait_for_url("**/takes/**")
        row = stage.wait(lambda: (row := stage.take_of(stage.call["slug"], "Uma Birch"))["work"] == "done" and row)
        # The picture is encoded by this machine's processor: where it has no core to spare, `low-frame-rate` is true.
        assert (row["verdict"], row["zero_from"]) == ("ready", "marks"), f"the answer was {row['codes']}"
        assert page.faults == []

    def test_loses_nothing_when_the_tab_dies(self, stage, filming):
        page = open_page(stage, filming, "Vim Sorrel")
        page.get_by_role("button", name="Camera and microphone on").click()
        page.get_by_role("button", name="Start: chirps, count-off, play").click()
        page.get_by_text("The take is kept on this device").wait_for()
        page.wait_for_timeout(3000)
        address, again = page.url, page.context.new_page()
        page.close()  # no word of goodbye to the page
        again.goto(address)
        again.get_by_text("A take that was filmed here has not been sent yet.").wait_for()
        again.get_by_role("button", name="Send this take").click()
        again.wait_for_url("**/takes/**", timeout=60_000)
        assert not stage.take_of(stage.call["slug"], "Vim Sorrel")["withdrawn"]
