"""Several takes sounded together in a real browser: their clicks fall on one instant, whatever lies before bar 1 in each file."""

import base64
import functools
import http.server
import shutil
import threading
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import correlate

from submissions.engine.facts import Sound
from submissions.engine.media.writing import write_aac
from submissions.engine.music.click import click_wave
from submissions.engine.previews import Stretch, make_previews
from tests.browser import browser

pytestmark = pytest.mark.browser

SCRIPTS = Path(__file__).resolve().parents[2] / "submissions" / "static" / "submissions"
RATE, BEATS_S = 48_000, (0.0, 0.5, 1.0, 1.5)
LEAD_S, SOON_S = 0.6, 0.1
# Where bar 1 lies in each, and how its clock runs: 200 in a million is more than any phone's.
TAKES = {"first": (1.2345, 1.0), "second": (0.7, 1 + 200e-6), "third": (2.000011, 1 - 200e-6)}

PLAY = """
async ([takes, lead, soon, seconds]) => {
  const together = await import("/together.js");
  const context = new OfflineAudioContext(1, Math.round(seconds * 48000), 48000);
  const said = [];
  const sounds = await together.loadSounds(context, takes, (done, all) => said.push(`${done}/${all}`));
  const playing = together.playTogether(context, sounds, together.leadOf(takes, lead), soon);
  const bytes = new Uint8Array((await context.startRendering()).getChannelData(0).buffer);
  let text = "";
  for (let k = 0; k < bytes.length; k += 32768) text += String.fromCharCode(...bytes.subarray(k, k + 32768));
  return { zero: playing.zero_s, said, samples: btoa(text) };
}
"""


def write_take(path: Path, zero_s: float, ratio: float) -> None:
    """A take's sound as previews hold it, with a click on each of BEATS_S."""
    samples, wave = np.zeros(5 * RATE, np.float32), click_wave("down").astype(np.float32)
    for beat_s in BEATS_S:
        at = (zero_s + ratio * beat_s) * RATE
        shift = np.exp(-2j * np.pi * np.fft.rfftfreq(1024) * (at % 1))
        samples[int(at) : int(at) + 1024] += np.fft.irfft(np.fft.rfft(wave, 1024) * shift, 1024)
    whole = path.with_suffix(".whole.m4a")
    write_aac(whole, Sound(0.5 * samples[:, None], RATE))
    made = make_previews(whole, path.parent / path.stem, Stretch(0.0, 5.0), zero_s, kinds=("sound",))
    assert made.zero_in_preview_s == zero_s
    shutil.copy(made.files["sound"], path)


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A page on a loopback server that has the script and three takes."""
    folder = tmp_path_factory.mktemp("line-up")
    shutil.copy(SCRIPTS / "together.js", folder)
    (folder / "index.html").write_text("<!doctype html><title>line-up</title>")
    for name, (zero_s, ratio) in TAKES.items():
        write_take(folder / f"{name}.m4a", zero_s, ratio)
    handler = functools.partial(Quiet, directory=str(folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        with browser("--autoplay-policy=no-user-gesture-required") as started:
            tab = started.new_page()
            tab.goto(f"http://127.0.0.1:{server.server_port}/")
            yield tab
        server.shutdown()


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *args):
        pass


def play(page, names, lead_s: float = LEAD_S) -> tuple[np.ndarray, float, list[str]]:
    takes = [{"url": f"/{name}.m4a", "zero_s": TAKES[name][0], "ratio": TAKES[name][1]} for name in names]
    made = page.evaluate(PLAY, [takes, lead_s, SOON_S, 4])
    return np.frombuffer(base64.b64decode(made["samples"]), np.float32).astype(float), made["zero"], made["said"]


def clicks_at(samples: np.ndarray, zero_s: float) -> np.ndarray:
    """When each click sounds after zero, seconds, by correlation with its wave and a parabola between samples."""
    found = []
    for beat_s in BEATS_S:
        first = round((zero_s + beat_s - 0.05) * RATE)
        strength = correlate(samples[first : first + 9_600], click_wave("down"), mode="valid")
        top = int(np.argmax(strength))
        before, here, after = strength[top - 1 : top + 2]
        found.append((first + top + 0.5 * (before - after) / (before - 2 * here + after)) / RATE - zero_s)
    return np.array(found)


class TestTogether:
    def test_every_take_sounds_its_clicks_at_the_same_instants(self, page):
        alone = {name: clicks_at(*play(page, [name])[:2]) for name in TAKES}
        # What a browser adds for the coder's delay is the same for all; a sample lasts 0.021 ms.
        for found in alone.values():
            assert np.abs(found - alone["first"]).max() < 0.05e-3
            assert np.abs(np.diff(found) - 0.5).max() < 0.02e-3

    def test_the_mix_is_the_takes_on_one_another_and_no_louder_than_they_need(self, page):
        mix, zero_s, said = play(page, TAKES)
        one, *_ = play(page, ["first"])
        assert np.abs(mix).max() == pytest.approx(np.abs(one).max() * np.sqrt(3), rel=0.05)
        assert said == ["0/3", "1/3", "2/3", "3/3"]
        assert zero_s == pytest.approx(SOON_S + LEAD_S)

    def test_a_take_that_begins_just_before_bar_1_sets_the_lead(self, page):
        _, zero_s, _ = play(page, TAKES, lead_s=1.0)
        assert zero_s == pytest.approx(SOON_S + TAKES["second"][0] / TAKES["second"][1])
