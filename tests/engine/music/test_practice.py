"""The practice page's context, and its scheduling in a real browser against the exact grid."""

import base64
import functools
import http.server
import json
import threading
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import correlate

from submissions.engine.music.click import CLICK_PEAK, click_wave
from submissions.engine.music.engraving.engrave import engrave
from submissions.engine.music.practice import practice
from submissions.engine.music.score import read_part
from submissions.engine.music.score.intake import open_tree
from submissions.engine.rehearsal.cadence import cadence

from .plain import F, plain_part

STATIC = Path(__file__).resolve().parents[3] / "submissions" / "static" / "submissions"
RATE = 48_000


def context_of(part, bpm=(80, 116), ids=()):
    return practice(part, [F(b) for b in bpm], 2, ids)


class TestTheContext:
    def test_holds_the_grid_as_exact_ratios(self):
        made = context_of(plain_part(((4, 4), (6, 8)), 116, strokes_at=(F(1, 3),)))
        assert made["strokes"][0]["at"] == [1, 3]
        assert made["tempi"] == [{"at": [0, 1], "qpm": [116, 1]}]
        assert [bar["length"] for bar in made["bars"]] == [[4, 1], [3, 1]]

    def test_is_plain_json(self):
        made = context_of(plain_part(strokes_at=(0, F(1, 7))))
        assert json.loads(json.dumps(made)) == made

    def test_names_a_measure_of_the_sheet_for_every_played_bar(self):
        source = cadence()[0].musicxml_text.encode()
        engraved = engrave(open_tree(source), "P1")
        made = context_of(read_part(source, "P1"), ids=engraved.bar_ids)
        assert [bar["id"] for bar in made["bars"]] == [f"bar-{n}" for n in range(1, 9)]
        assert all(f'id="{bar["id"]}" class="measure"' in engraved.phone_svg for bar in made["bars"])

    def test_leads_a_repeat_back_to_the_same_measures(self):
        part = plain_part(((4, 4),) * 4)
        twice = tuple(
            type(bar)(n % 2 + 1, bar.at_q, bar.length_q, bar.at_s, bar.length_s, 4, 4)
            for n, bar in enumerate(part.bars)
        )
        part = type(part)(**{f: getattr(part, f) for f in part.__slots__} | {"bars": twice})
        made = context_of(part, ids=((1, "bar-1"), (2, "bar-2")))
        assert [bar["id"] for bar in made["bars"]] == ["bar-1", "bar-2", "bar-1", "bar-2"]

    def test_gives_a_grace_its_distance_in_seconds(self):
        source = cadence()[0].musicxml_text.encode()
        strokes = context_of(read_part(source, "P1"))["strokes"]
        graces = [s for s in strokes if s["kind"] == "grace"]
        assert graces
        assert {s["ahead_s"] for s in graces} <= {0.028, 0.056}
        assert {s["ahead_s"] for s in strokes if s["kind"] != "grace"} == {0}


class Handler(http.server.SimpleHTTPRequestHandler):
    def do_GET(self):
        if self.path == "/":
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(b"<!doctype html><title>core</title>")
            return
        super().do_GET()

    def log_message(self, *args):
        pass


@pytest.fixture(scope="module")
def page(browser):
    """A page in Chromium on a loopback server that serves the practice scripts and nothing else."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Handler, directory=str(STATIC)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    tab = browser.new_page()
    tab.goto(f"http://127.0.0.1:{server.server_port}/")
    yield tab
    tab.close()
    server.shutdown()
    server.server_close()
    thread.join()


RENDER = """
async ([part, bpm, choices, seconds, repeat]) => {
  const core = await import("/practice-core.js");
  const context = new OfflineAudioContext(1, Math.round(seconds * 48000), 48000);
  const player = new core.Player(context, { clickLevel: 1, guideLevel: 0 });
  const starts = [];
  const make = context.createBufferSource.bind(context);
  context.createBufferSource = () => {
    const source = make(), start = source.start.bind(source);
    source.start = (when) => { starts.push(when); start(when); };
    return source;
  };
  const grid = core.makeGrid(part, bpm);
  player.start(core.makeLoop(grid, choices), repeat);
  // The page's timer, on the offline clock: a tick every 100 ms with the look-ahead of a quarter second.
  for (let at = 0.1; at < seconds; at += 0.1) context.suspend(at).then(() => { player.tick(); context.resume(); });
  const made = await context.startRendering();
  const bytes = new Uint8Array(made.getChannelData(0).buffer);
  let text = "";
  for (let k = 0; k < bytes.length; k += 32768) text += String.fromCharCode(...bytes.subarray(k, k + 32768));
  return { starts, origin: player.origin_s, samples: btoa(text) };
}
"""


def render(page, part, bpm, seconds, repeat=True, **choices):
    made = page.evaluate(RENDER, [context_of(part), bpm, choices, seconds, repeat])
    return made["starts"], made["origin"], np.frombuffer(base64.b64decode(made["samples"]), np.float32)


def heard_at(samples: np.ndarray, due_s: float, kind: str) -> float:
    """Seconds at which the known click wave lies nearest to due_s, refined between samples by a parabola."""
    wave = click_wave(kind)
    first = round(due_s * RATE) - 200
    near = samples[max(0, first) : first + len(wave) + 400]
    strength = correlate(near.astype(float), wave, mode="valid")
    top = int(np.argmax(strength))
    before, here, after = strength[top - 1 : top + 2]
    return (max(0, first) + top + 0.5 * (before - after) / (before - 2 * here + after)) / RATE


@pytest.mark.browser
class TestTheScheduling:
    def test_stays_within_a_tenth_of_a_millisecond_of_the_grid_for_three_minutes(self, page):
        """96 bars at 116: 384 beats, 198.6 s; each click heard in the rendered sound against the exact rational."""
        part = plain_part(((4, 4),) * 96, 116)
        starts, origin, samples = render(page, part, 116, 202, repeat=False, countOff=1)
        due = [float(k * Fraction(60, 116)) for k in range(-4, 384)]
        assert len(starts) == len(due)
        off = [
            abs(heard_at(samples, origin + at, "down" if k % 4 == 0 else "beat") - origin - at)
            for k, at in enumerate(due)
        ]
        assert max(off) < 1e-4
        assert max(abs(start - origin - at) for start, at in zip(starts, due, strict=True)) < 1e-9

    def test_does_not_drift_over_a_hundred_passes_of_a_loop(self, page):
        """One bar at 97 looped for three minutes: pass k starts at k bars exactly."""
        starts, origin, samples = render(
            page, plain_part(((3, 4),) * 4, 97), 97, 190, **{"from": 2, "to": 2, "countOff": 0}
        )
        due = [float(k * Fraction(60, 97)) for k in range(len(starts))]
        assert due[-1] > 185
        inside = [(k, at) for k, at in enumerate(due) if origin + at < 189.9]
        off = [abs(heard_at(samples, origin + at, "down" if k % 3 == 0 else "beat") - origin - at) for k, at in inside]
        assert max(off) < 1e-4

    def test_follows_tempo_and_meter_changes_at_a_practice_tempo(self, page):
        part = plain_part(((4, 4), (6, 8), (2, 4)), 120, later=((4, 90), (F(17, 2), 150)))
        starts, origin, _ = render(page, part, 60, 16, repeat=False, countOff=1)
        due = [float(k) for k in range(-4, 0)]
        due += [2 * beat.at_s for beat in part.beats]
        assert np.allclose(np.array(starts) - origin, due, atol=1e-9)

    def test_counts_off_over_a_pickup(self, page):
        part = plain_part(((4, 4),) * 2, 120, pickup_q=F(1), strokes_at=(F(-1),))
        starts, origin, _ = render(page, part, 120, 8, repeat=False, countOff=1)
        zero = origin + 0.5
        assert np.allclose(sorted(starts)[:5], [zero - 2, zero - 1.5, zero - 1, zero - 0.5, zero - 0.5], atol=1e-9)

    def test_starts_quietly(self, page):
        part = plain_part(((4, 4),) * 4, 120)
        _, origin, samples = render(page, part, 120, 6, repeat=False, countOff=0)
        start, later = (round((origin + at) * RATE) for at in (0, 4))
        assert np.abs(samples[start : start + 800]).max() < 0.3 * np.abs(samples[later : later + 800]).max()

    def test_sounds_the_downloaded_click(self, page):
        """The page's own click wave is the engine's, sample for sample, up to float32."""
        for kind, peak in CLICK_PEAK.items():
            made = page.evaluate(
                "async (kind) => Array.from((await import('/practice-core.js')).clickWave(kind, 48000))", kind
            )
            assert np.abs(np.array(made) - click_wave(kind) * peak).max() < 1e-6
