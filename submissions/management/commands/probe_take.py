"""Measure one take against a part and say what came out. Needs no database."""

import json
import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from submissions.engine.errors import EngineError
from submissions.engine.music.score import read_part
from submissions.engine.probe import probe

CANNOT_BE_USED = 2
COUNT_OFF_BARS = range(0, 9)  # the same as write_materials


class Command(BaseCommand):
    help = "Measures a take against a written part: verdict, findings, zero, strokes. Exit 0 whatever the verdict."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("video", metavar="VIDEO", type=Path)
        parser.add_argument("--part", metavar="PART.musicxml", type=Path, required=True)
        parser.add_argument("--part-id", help="which part of the score; the first one that suits when not given")
        parser.add_argument(
            "--drum", choices=("all", "1", "2", "3", "4", "5"), default="all", help="whose strokes of a bass line"
        )
        parser.add_argument("--count-off", type=int, default=2, metavar="BARS", help="bars counted before bar 1")
        parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["count_off"] not in COUNT_OFF_BARS:
            self._refuse(f"A count-off of {options['count_off']} bars cannot be played; use 0 to {COUNT_OFF_BARS[-1]}.")
        video: Path = options["video"]
        if not video.is_file() or not os.access(video, os.R_OK):
            self._refuse(f"There is no file {video} that can be read.")
        if not options["part"].is_file():
            self._refuse(f"There is no file {options['part']} that can be read.")
        try:
            part = read_part(options["part"], options["part_id"], options["drum"])
        except EngineError as error:
            self._refuse(str(error))
        report = probe(video, part, options["count_off"]).to_json_object()
        if options["json"]:
            self.stdout.write(json.dumps(report, ensure_ascii=False))
        else:
            self._print(report)

    def _print(self, report: dict[str, Any]) -> None:
        """The report for a person at a terminal."""
        self.stdout.write(f"verdict  {report['verdict']}")
        if report["zero_s"] is None:
            self.stdout.write("zero     not found")
        else:
            sure = f" ± {report['zero_sd_s'] * 1000:.2f} ms" if report["zero_sd_s"] is not None else ""
            self.stdout.write(f"zero     {report['zero_s']:.4f} s{sure}, by {report['zero_from']}")
        self.stdout.write(
            f"strokes  {report['matched']} of {report['written']} matched, "
            f"{report['missed']} missed, {report['extra']} extra"
        )
        for name in ("bias_ms", "spread_ms"):
            if report[name] is not None:
                self.stdout.write(f"{name.removesuffix('_ms'):<8} {report[name]:+.1f} ms")
        for finding in report["findings"]:
            where = ", ".join(f"{at:.1f} s" for at in finding["at_s"][:5])
            self.stdout.write(
                f"{finding['level']:<5} {finding['code']}: {finding['says']} {finding['do']} {where}".rstrip()
            )

    def _refuse(self, sentence: str) -> None:
        self.stderr.write(sentence)
        raise SystemExit(CANNOT_BE_USED)
