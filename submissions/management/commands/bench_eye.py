"""The eye on trial: confusion of faults, error of sound against picture, and the cost beside a full decode."""

import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from django.core.management.base import BaseCommand, CommandParser

from submissions.engine.eye.cost import cost_page
from submissions.engine.eye.trials import FAULTS, Trial, page, run_trial


class Command(BaseCommand):
    help = "Measure the eye: how often each fault is found, how far sound-against-picture is off, what a probe costs."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--trials", type=int, default=25, help="films of every fault (0: none)")
        parser.add_argument("--seed", type=int, default=1_000)
        parser.add_argument(
            "--lines", type=int, default=216, help="height of the films; larger ones take longer to make"
        )
        parser.add_argument("--jobs", type=int, default=1, help="trials at a time")
        parser.add_argument("--cost", type=Path, nargs="*", default=[], help="videos to measure the cost on")
        parser.add_argument("--out", type=Path, help="write the page here as well, e.g. docs/eye-confusion.md")

    def handle(
        self, *args, trials: int, seed: int, lines: int, jobs: int, cost: list[Path], out: Path | None, **options
    ) -> None:
        parts = ["# The eye on trial", ""]
        if trials:
            parts.append(f"`python manage.py bench_eye --trials {trials} --seed {seed} --lines {lines}`\n")
            parts.append(self._trials(trials, seed, lines, jobs))
        parts += [cost_page(path) for path in cost]
        text = "\n".join(parts) + "\n"
        self.stdout.write(text)
        if out is not None:
            out.write_text(text, encoding="utf-8")

    def _trials(self, count: int, seed: int, lines: int, jobs: int) -> str:
        orders = [(fault, number, lines) for number in range(seed, seed + count) for fault in FAULTS]
        done = []
        with ProcessPoolExecutor(jobs) as workers:
            for trial in workers.map(in_own_folder, orders):
                done.append(trial)
                said = ", ".join(sorted(trial.codes)) or "nothing"
                self.stderr.write(f"{len(done)}: {trial.fault}, seed {trial.seed}: {said}")
        return page(done)


def in_own_folder(order: tuple[str, int, int]) -> Trial:
    """One trial in a folder that goes away with it."""
    fault, seed, lines = order
    with tempfile.TemporaryDirectory() as folder:
        return run_trial(fault, seed, Path(folder), lines)
