"""`manage.py bench_ear`: the ear beside general libraries, on takes of evaluation seeds with known truth."""

import os
import time
from argparse import ArgumentParser
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

TABLES = ("onsets", "click", "marks", "verdicts", "calibration")


class Command(BaseCommand):
    help = "Print the tables of the ear: onsets, zero, clicks, marks, verdicts, calibration; libraries side by side."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--takes",
            type=int,
            default=80,
            help="takes a table (default 80; marks: half as many, verdicts: five times as many, half of them faulty)",
        )
        parser.add_argument(
            "--seed0",
            type=int,
            default=900_000,
            help="first seed; from 900000 on for evaluation only, never for tuning",
        )
        parser.add_argument(
            "--only", choices=TABLES, action="append", help="only this table; may be given several times"
        )
        parser.add_argument(
            "--hits",
            default="",
            metavar="DIR",
            help="folder of folders of real single hits (snare*.wav, bass*.wav ...)",
        )
        parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1))
        parser.add_argument("--page", metavar="FILE", help="also write the tables as a page, with what was run")
        parser.add_argument("--worst", action="store_true", help="also list the worst takes")

    def handle(self, *args: Any, **options: Any) -> None:
        from bench import ear_tables, ear_takes

        takes, seed0, folder = options["takes"], options["seed0"], options["hits"]
        wanted = options["only"] or TABLES
        started = time.time()
        said: list[str] = []

        def say(text: str) -> None:
            self.stdout.write(text)
            said.append(text)

        say(
            f"Seeds from {seed0} on. Kits: modelled"
            + "".join(f", {kit.name}" for kit in ear_takes.real_kits(folder))
            + ".\n"
        )
        everything: list[ear_takes.Row] = []

        def run(
            make: Callable[[int], ear_takes.Row], first: int, count: int, jobs: int = options["jobs"]
        ) -> list[ear_takes.Row]:
            rows = _rows(make, range(first, first + count), jobs)
            everything.extend(rows)
            return rows

        if "onsets" in wanted:
            # One at a time: beside another one a take costs half as much CPU again, on two threads of one core.
            rows = run(partial(ear_takes.clean_row, folder=folder), seed0, takes, jobs=1)
            say(ear_tables.onsets(rows))
            say(ear_tables.parts_of_onsets(rows))
            say(ear_tables.timing(rows))
            say(ear_tables.zero(rows))
        if "click" in wanted:
            for level_db, bar in ((-20.0, "0.1 / 0.5 ms (median / 90 %)"), (-36.0, "95 % found")):
                rows = run(partial(ear_takes.click_row, folder=folder, level_db=level_db), seed0 + 2_000, takes)
                say(ear_tables.one_way(f"Only our click, at {level_db:.0f} dB", rows, "click", bar))
        if "marks" in wanted:
            for filters, name in (
                (False, "room, AAC 64 kb/s, noise 10 dB over the marks"),
                (True, "the same behind a phone's filters"),
            ):
                rows = run(
                    partial(ear_takes.marks_row, folder=folder, filters=filters), seed0 + 4_000, max(8, takes // 4)
                )
                bar = f"{0.25 if filters else 0.02} ms at 99 %; clock 0.3 ppm"
                say(ear_tables.one_way(f"Sync marks 90 s apart: {name}", rows, "marks", bar))
        if "verdicts" in wanted:
            good = run(partial(ear_takes.verdict_row, folder=folder, faulty=False), seed0 + 6_000, 5 * takes // 2)
            bad = run(partial(ear_takes.verdict_row, folder=folder, faulty=True), seed0 + 8_000, 5 * takes // 2)
            say(ear_tables.verdicts(good + bad))
        if "calibration" in wanted:
            for number, way in enumerate(("marks", "count-off", "written")):
                # A share of 93 to 98 % is told from its neighbours only by many takes.
                run(partial(ear_takes.way_row, folder=folder, way=way), seed0 + 10_000 + 1_000 * number, 2 * takes)
        say(ear_tables.calibration([row for row in everything if not row["fault"]]))
        if options["worst"]:
            say(ear_tables.worst([row for row in everything if not row["fault"]]))
        minutes, cpus = (time.time() - started) / 60, options["jobs"]
        say(f"{len(everything)} takes in {minutes:.0f} minutes, those whose CPU is told one at a time, others {cpus}.\n")
        if options["page"]:
            Path(options["page"]).write_text(ear_tables.page(_command(options), said), encoding="utf-8")


def _command(options: dict[str, Any]) -> str:
    """The command that makes the same page again."""
    words = [f"--takes {options['takes']} --seed0 {options['seed0']}"]
    words += [f"--only {name}" for name in options["only"] or ()]
    words += ["--hits DIR"] if options["hits"] else []
    return " ".join(["manage.py bench_ear", *words])


def _rows(make: Callable[[int], dict[str, Any]], seeds: range, jobs: int) -> list[dict[str, Any]]:
    """Rows in the order of seeds, made side by side. Numeric libraries are kept to one thread, so that CPU times add."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    # Spawned: libraries that are loaded already have counted their threads.
    with ProcessPoolExecutor(max(1, jobs), mp_context=get_context("spawn")) as pool:
        return list(pool.map(make, seeds, chunksize=2))
