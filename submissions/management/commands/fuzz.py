"""Damaged and hostile files by the thousand: media through locked children, scores through the score reader."""

import io
import random
import tempfile
import time
import zipfile
from collections import Counter
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser

from submissions.engine.errors import ScoreError
from submissions.engine.media import fuzz
from submissions.engine.music.score import read_score
from submissions.engine.rehearsal.cadence import cadence

SCORE_LIMIT_S = 20.0


class Command(BaseCommand):
    help = "Feed damaged and hostile files to everything that reads uploads; fails when anything but a sentence comes of it."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--count", type=int, default=10_000, help="inputs in all; a fifth of them are scores")
        parser.add_argument("--seed", type=int, default=1)

    def handle(self, *args, count: int, seed: int, **options) -> None:
        scores = count // 5
        with tempfile.TemporaryDirectory() as folder:
            outcome = fuzz.run(count - scores, seed, Path(folder))
        ends, bad = fuzz_scores(scores, seed)
        for name, number in [*outcome.ends.most_common(), *ends.most_common()]:
            self.stdout.write(f"{number:6}  {name}")
        self.stdout.write(f"slowest media input {outcome.slowest_s:.2f} s")
        if outcome.bad or bad:
            raise CommandError("\n".join(outcome.bad + bad))


def fuzz_scores(count: int, seed: int) -> tuple[Counter[str], list[str]]:
    """Damaged MusicXML and .mxl: every one ends in a score or a ScoreError, in time."""
    chance, ends, bad = random.Random(seed), Counter(), []
    originals = [source.musicxml_text.encode() for source in cadence()]
    for number in range(count):
        data = _damaged(chance, chance.choice(originals))
        if number % 2:
            data = _packed(chance, data)
        started = time.monotonic()
        try:
            read_score(data)
            ends["score read"] += 1
        except ScoreError:
            ends["score refused with a sentence"] += 1
        except Exception as error:
            bad.append(f"score {number}: {error!r}")
        if time.monotonic() - started > SCORE_LIMIT_S:
            bad.append(f"score {number}: too slow")
    return ends, bad


def _damaged(chance: random.Random, text: bytes) -> bytes:
    data = bytearray(text)
    for _ in range(chance.choice((1, 2, 8))):
        at = chance.randrange(max(1, len(data) - 40))
        kind = chance.randrange(4)
        if kind == 0:
            del data[at : at + chance.randrange(1, 60)]
        elif kind == 1:
            data[at : at + 1] = chance.choice((b"<", b">", b"&", b"\x00", b"9999999999", b"-1"))
        elif kind == 2:
            data[at:at] = data[at : at + chance.randrange(1, 500)]
        else:
            data[:0] = (
                b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;"><!ENTITY s SYSTEM "file:///etc/passwd">]>'
            )
    return bytes(data)


def _packed(chance: random.Random, text: bytes) -> bytes:
    buffer = io.BytesIO()
    name = chance.choice(("score.xml", "../../score.xml", "/etc/score.xml", "a/b/score.musicxml"))
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        container = f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'
        archive.writestr("META-INF/container.xml", container)
        archive.writestr(name, text)
    data = bytearray(buffer.getvalue())
    if chance.random() < 0.5:
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    return bytes(data)
