"""What write_materials leaves in a folder: names, times, decoding of the compressed copies, cost."""

import hashlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import av
import mido
import numpy as np
import pyloudnorm
import pytest
import soundfile
from django.core.management import call_command
from scipy.signal import correlate, resample_poly

from submissions.engine.ear.alignment import find_zero
from submissions.engine.ear.struck import onsets
from submissions.engine.music.click import MARK_GROUP_S, RATE, click_layout, mark_group, render_click
from submissions.engine.music.guide import render_guide
from submissions.engine.music.materials import Choices, write_materials
from submissions.engine.music.score import read_part
from submissions.engine.music.score.intake import open_tree
from submissions.engine.rehearsal.cadence import cadence

ROOT = Path(__file__).resolve().parents[3]


TEMPI = (80, 97, 108)  # of the shared folder: beats of whole samples and of none, and the performance tempo


def made(folder: Path, part_id="P1", drum="all", segment=0, **choices) -> dict:
    source = cadence()[segment].musicxml_text.encode()
    return write_materials(read_part(source, part_id, drum), open_tree(source), folder, Choices(**choices))


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("materials")
    made(path, tempi=TEMPI)
    return path


@pytest.fixture(scope="module")
def listed(folder) -> dict:
    return json.loads((folder / "materials.json").read_text())


def through_av(path: Path) -> np.ndarray:
    with av.open(str(path)) as container:
        return np.concatenate([frame.to_ndarray()[0] for frame in container.decode(audio=0)])


def through_ffmpeg(path: Path) -> np.ndarray:
    command = ["ffmpeg", "-v", "error", "-i", str(path), "-vn", "-f", "f32le", "-ac", "1", "-"]
    return np.frombuffer(subprocess.run(command, capture_output=True, check=True).stdout, np.float32)


def place_of(wave: np.ndarray, sound: np.ndarray, near_s: float) -> float:
    """Where wave lies in sound, in samples, within two seconds of near_s; refined by a parabola through the peak."""
    first = max(0, round((near_s - 2) * RATE))
    strength = correlate(sound[first : first + 5 * RATE].astype(float), wave, mode="valid", method="fft")
    top = int(np.argmax(strength))
    before, here, after = strength[top - 1 : top + 2]
    return first + top + 0.5 * (before - after) / (before - 2 * here + after)


class TestTheFolder:
    def test_holds_every_file_it_names(self, folder, listed):
        names = [c["file"] for c in listed["clicks"]] + [c["compressed"] for c in listed["clicks"]] + listed["sheets"]
        names += [listed["guide"], listed["guide_compressed"], listed["midi"], listed["strokes"], listed["practice"]]
        names += listed["stems"].values()
        assert {name for name in names if not (folder / name).stat().st_size} == set()
        assert {path.name for path in folder.iterdir()} == {*names, "materials.json"}

    def test_has_the_performance_tempo_among_the_clicks_once(self, listed):
        assert [c["bpm"] for c in listed["clicks"]] == list(TEMPI)
        assert [c["bpm"] for c in listed["clicks"] if c["performance"]] == [108]

    def test_is_the_same_to_the_byte_in_a_second_run(self, folder, tmp_path):
        made(tmp_path, tempi=TEMPI)
        digests = [
            {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in place.iterdir()}
            for place in (folder, tmp_path)
        ]
        assert digests[0] == digests[1]


class TestTheClickFiles:
    def test_are_48_kilohertz_mono_without_clipping(self, folder, listed):
        for click in listed["clicks"]:
            samples, rate = soundfile.read(folder / click["file"])
            assert (rate, samples.ndim) == (48_000, 1)
            assert np.abs(samples).max() < 0.4

    def test_have_their_marks_where_the_list_says(self, folder, listed):
        """A matched filter against the listed times: within a hundredth of a millisecond, zero with them."""
        for click in listed["clicks"]:
            samples, _ = soundfile.read(folder / click["file"])
            for (start, end), rising in zip(click["marks_s"], (True, False), strict=True):
                found = place_of(mark_group(rising=rising), samples, start) / RATE
                assert found == pytest.approx(start, abs=1e-5)
                assert end - start == pytest.approx(MARK_GROUP_S, abs=3e-5)

    def test_have_the_first_downbeat_at_zero(self, folder, listed):
        for click in listed["clicks"]:
            samples, _ = soundfile.read(folder / click["file"])
            zero = round(click["zero_s"] * RATE)
            assert not samples[zero - 2_000 : zero].any()
            assert np.abs(samples[zero : zero + 100]).max() > 0.2

    @pytest.mark.parametrize("decode", [through_av, through_ffmpeg])
    def test_keep_zero_in_the_compressed_copy(self, folder, listed, decode):
        """Priming and edit list: decoded, both mark groups lie within 0.02 ms of where the WAV has them."""
        for click in listed["clicks"]:
            sound = decode(folder / click["compressed"])
            for (start, _), rising in zip(click["marks_s"], (True, False), strict=True):
                assert place_of(mark_group(rising=rising), sound, start) / RATE == pytest.approx(start, abs=2e-5)

    def test_would_be_off_by_the_priming_without_the_edit_list(self, folder, listed):
        """1024 samples, 21.33 ms: what a reader that ignores edit lists gets, and what the test above must notice."""
        click = listed["clicks"][0]
        path = str(folder / click["compressed"])
        command = ["ffmpeg", "-v", "error", "-ignore_editlist", "1", "-i", path, "-f", "f32le", "-"]
        sound = np.frombuffer(subprocess.run(command, capture_output=True, check=True).stdout, np.float32)
        late = place_of(mark_group(), sound, click["marks_s"][0][0]) / RATE - click["marks_s"][0][0]
        assert late == pytest.approx(1024 / RATE, abs=2e-5)

    def test_compressed_copies_are_a_fraction_of_the_size(self, folder, listed):
        for click in listed["clicks"]:
            assert (folder / click["compressed"]).stat().st_size < 0.05 * (folder / click["file"]).stat().st_size


class TestTheEar:
    """The click probed against itself: what the ear finds in the file a player gets."""

    @pytest.mark.parametrize(("copy", "within_s"), [("file", 1e-5), ("compressed", 2e-5)])
    def test_finds_zero_by_the_marks(self, folder, listed, copy, within_s):
        click = listed["clicks"][-1]
        sound = through_av(folder / click[copy]).astype(np.float32)
        if copy == "file":
            sound /= 32767  # PyAV gives 16-bit samples of a WAV as they are
        part = read_part(cadence()[0].musicxml_text.encode(), "P1")
        novelty = onsets.measure_novelty(sound, RATE)
        struck = onsets.place(sound, RATE, novelty, onsets.pick(novelty))
        zero = find_zero(sound, RATE, part, click_layout(part, 2), struck)
        assert zero.source == "marks"
        assert zero.zero_s == pytest.approx(click["zero_s"], abs=within_s)
        assert zero.clock_ratio == pytest.approx(1, abs=1e-6)


class TestTheGuide:
    def test_is_the_sum_of_its_stems(self, folder, listed):
        mix, part, click = (
            soundfile.read(folder / name)[0]
            for name in (listed["guide"], listed["stems"]["part"], listed["stems"]["click"])
        )
        assert mix.shape == part.shape == click.shape
        assert np.abs(mix - part - click).max() < 3 / 32768
        assert np.abs(mix).max() < 0.8

    @pytest.mark.parametrize(("part_id", "drum"), [("P1", "all"), ("P2", "all"), ("P3", "3"), ("P4", "all")])
    def test_has_the_same_loudness_for_every_part_with_the_click_below_it(self, part_id, drum):
        """ITU-R BS.1770 by pyloudnorm; EBU R 128 allows a true peak of -1 dBTP."""
        part = read_part(cadence()[0].musicxml_text.encode(), part_id, drum)
        guide = render_guide(part, render_click(click_layout(part, 2)))
        meter = pyloudnorm.Meter(RATE)
        drums, click = (meter.integrated_loudness(stem.astype(float)) for stem in (guide.part, guide.click))
        assert drums == pytest.approx(-25, abs=1)
        assert click < drums - 5
        assert 20 * np.log10(np.abs(resample_poly(guide.mix, 4, 1)).max()) < -1

    def test_strikes_where_it_is_written(self, folder, listed):
        """The stem is silent until its first event (a grace, 28 ms before zero) and begins on that sample."""
        part, _ = soundfile.read(folder / listed["stems"]["part"])
        strokes = json.loads((folder / "strokes.json").read_text())
        heard = int(np.argmax(np.abs(part).max(axis=1) > 0))
        assert heard / RATE - listed["guide_zero_s"] == pytest.approx(min(s["at_s"] for s in strokes), abs=3e-5)


class TestTheStrokes:
    def test_have_the_agreed_fields_and_kinds(self, folder):
        strokes = json.loads((folder / "strokes.json").read_text())
        assert {frozenset(s) for s in strokes} == {
            frozenset(("at_s", "bar", "count", "kind", "drum", "accent", "length_s"))
        }
        assert {s["kind"] for s in strokes} <= {"stroke", "grace", "diddle", "buzz"}

    def test_agree_with_the_midi_file(self, folder):
        """mido's own clock, from tempo bytes and ticks, gives every stroke's time; ticks of 1/480 are 1.2 ms."""
        strokes = json.loads((folder / "strokes.json").read_text())
        file = mido.MidiFile(folder / "part.mid")
        alone = mido.MidiFile(type=1, ticks_per_beat=file.ticks_per_beat)
        alone.tracks += file.tracks[:2]
        now, heard = 0.0, []
        for message in alone:
            now += message.time
            if message.type == "note_on" and message.velocity:
                heard.append(now)
        zero = 8 * 60 / 108
        due = [s["at_s"] for s in strokes if s["kind"] in ("stroke", "diddle")]
        nearest = [min(abs(t - zero - at) for t in heard) for at in due]
        assert max(nearest) < 0.0002


class TestTheCommand:
    def run(self, *arguments) -> subprocess.CompletedProcess:
        command = [sys.executable, "manage.py", "write_materials", *map(str, arguments)]
        return subprocess.run(command, cwd=ROOT, capture_output=True, text=True)

    @staticmethod
    def refused(*arguments) -> tuple[int, str]:
        """Exit status and what is said, without a process of its own for every refusal."""
        said = io.StringIO()
        with pytest.raises(SystemExit) as left:
            call_command("write_materials", *map(str, arguments), stderr=said)
        return left.value.code, said.getvalue()

    @pytest.fixture
    def score(self, tmp_path) -> Path:
        path = tmp_path / "part.musicxml"
        path.write_text(cadence()[0].musicxml_text)
        return path

    def test_writes_a_bass_chair_without_a_database(self, score, tmp_path, monkeypatch):
        monkeypatch.setenv("DATABASE_URL", "postgres://nobody@127.0.0.1:1/none")
        done = self.run(score, tmp_path / "out", "--part-id", "P3", "--drum", "2", "--count-off", "1")
        assert (done.returncode, done.stderr) == (0, "")
        listed = json.loads((tmp_path / "out" / "materials.json").read_text())
        assert {s["drum"] for s in json.loads((tmp_path / "out" / "strokes.json").read_text())} == {"bass-2"}
        assert [c["bpm"] for c in listed["clicks"]] == [80, 88, 96, 104, 108]  # the usual ladder
        assert listed["clicks"][-1]["zero_s"] == pytest.approx(0.5 + 0.8 + 1 + 4 * 60 / 108, abs=1e-4)

    def test_clicks_between_the_beats_when_asked(self, score, tmp_path):
        done = self.run(score, tmp_path / "out", "--part-id", "P4", "--tempi", "60", "--subdivide")
        assert done.returncode == 0
        slow = json.loads((tmp_path / "out" / "materials.json").read_text())["clicks"][0]
        samples, _ = soundfile.read(tmp_path / "out" / slow["file"])
        half = round((slow["zero_s"] + 0.5) * RATE)
        assert slow["bpm"] == 60
        assert np.abs(samples[half : half + 200]).max() > 0.05

    @pytest.mark.parametrize(
        ("extra", "says"),
        [
            (("--part-id", "P9"), "has no part"),
            (("--drum", "3"), "not split into drums|no bass line"),
            (("--count-off", "40"), "count-off of 40 bars"),
            (("--tempi", "fast"), "not whole numbers"),
            (("--tempi", "3"), "cannot be played to"),
        ],
    )
    def test_exits_2_with_a_sentence_when_an_argument_cannot_be_used(self, score, tmp_path, extra, says):
        part = () if "--part-id" in extra else ("--part-id", "P1")
        status, stderr = self.refused(score, tmp_path / "out", *part, *extra)
        assert status == 2
        assert any(word in stderr for word in says.split("|"))
        assert not (tmp_path / "out" / "materials.json").exists()

    def test_exits_2_when_the_score_cannot_be_read(self, tmp_path):
        (tmp_path / "broken.musicxml").write_text("<score-partwise><part>")
        done = self.run(tmp_path / "broken.musicxml", tmp_path / "out")
        assert done.returncode == 2
        assert "well-formed" in done.stderr and "Traceback" not in done.stderr
        status, stderr = self.refused(tmp_path / "missing.musicxml", tmp_path / "out")
        assert status == 2
        assert "cannot be opened" in stderr


class TestTheCost:
    def test_is_under_four_seconds_of_cpu_for_32_bars_of_five_way_bass_and_six_tempi(self, tmp_path):
        source = bass_of(32)
        part = read_part(source, "P1", "3")
        assert len(part.bars) == 32
        started = cpu_s()
        tree = open_tree(source)
        written = write_materials(part, tree, tmp_path, Choices(tempi=(80, 88, 96, 104, 112, 116)))
        assert len(written["clicks"]) == 6
        assert cpu_s() - started < 4.0


def cpu_s() -> float:
    """Processor time of this process and of the engraver's child, which counts once it has ended."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


def bass_of(bars: int) -> bytes:
    """A five-way split bass part at 116 in sixteenths, running up and down the line."""
    places = ("G5", "E5", "C5", "A4", "F4")
    run = [0, 1, 2, 3, 4, 3, 2, 1] * 2

    def note(index: int) -> str:
        step, octave = places[index]
        return (
            f"<note><unpitched><display-step>{step}</display-step><display-octave>{octave}</display-octave></unpitched>"
            "<duration>1</duration><voice>1</voice><type>16th</type><stem>up</stem></note>"
        )

    head = (
        "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        '<clef><sign>percussion</sign></clef></attributes><sound tempo="116"/>'
    )
    measures = "".join(
        f'<measure number="{n + 1}">{head if n == 0 else ""}{"".join(note(k) for k in run)}</measure>'
        for n in range(bars)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Bass Drums</part-name></score-part>'
        f'</part-list><part id="P1">{measures}</part></score-partwise>'
    ).encode()
