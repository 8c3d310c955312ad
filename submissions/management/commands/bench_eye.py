"""The eye on trial: confusion of faults, error of sound against picture, and the cost beside a full decode."""

import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from django.core.management.base import BaseCommand, CommandParser

from submissions.engine.eye.cost import cost_page
from submissions.engine.eye.idle import KINDS, told_of
from submissions.engine.eye.trials import FAULTS, Trial, keep, kept, page, run_trial, with_notes


class Command(BaseCommand):
    help = "Measure the eye: how often each fault is found, how far sound-against-picture is off, what a probe costs."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--trials", type=int, default=25, help="films of every fault (0: none)")
        parser.add_argument(
            "--idle", type=int, default=12, help="takes of every kind that shows nothing of the playing"
        )
        parser.add_argument("--seed", type=int, default=1_000)
        parser.add_argument(
            "--lines", type=int, default=216, help="height of the films; larger ones take longer to make"
        )
        parser.add_argument("--jobs", type=int, default=1, help="trials at a time")
        parser.add_argument(
            "--keep", type=Path, help="a file that keeps finished trials; those in it are not run again"
        )
        parser.add_argument("--cost", type=Path, nargs="*", default=[], help="videos to measure the cost on")
        parser.add_argument(
            "--out", type=Path, help="write the page here as well; notes in it stay, e.g. docs/eye-confusion.md"
        )

    def handle(
        self,
        *args,
        trials: int,
        idle: int,
        seed: int,
        lines: int,
        jobs: int,
        keep: Path | None,
        cost: list[Path],
        out: Path | None,
        **options,
    ) -> None:
        parts = ["# The eye on trial", ""]
        if trials:
            parts.append(f"`python manage.py bench_eye --trials {trials} --seed {seed} --lines {lines}`\n")
            parts.append(self._trials(trials, seed, lines, jobs, keep))
        if idle:
            parts.append("\n" + self._idle(idle, seed))
        parts += [cost_page(path) for path in cost]
        text = "\n".join(parts) + "\n"
        self.stdout.write(text)
        if out is not None:
            before = out.read_text(encoding="utf-8") if out.exists() else ""
            out.write_text(with_notes(text, before), encoding="utf-8")

    def _trials(self, count: int, seed: int, lines: int, jobs: int, store: Path | None) -> str:
        orders = [(fault, number, lines) for number in range(seed, seed + count) for fault in FAULTS]
        wanted = {order[:2] for order in orders}
        done = [trial for trial in (kept(store) if store else []) if (trial.fault, trial.seed) in wanted]
        have = {(trial.fault, trial.seed) for trial in done}
        with ProcessPoolExecutor(jobs) as workers:
            for trial in workers.map(in_own_folder, [order for order in orders if order[:2] not in have]):
                done.append(trial)
                if store:
                    keep(store, trial)
                said = ", ".join(sorted(trial.codes)) or "nothing"
                self.stderr.write(f"{len(done)}: {trial.fault}, seed {trial.seed}: {said}")
        return page(done)

    def _idle(self, count: int, seed: int) -> str:
        told = [f"{kind} ({number})" for kind in KINDS for number in range(seed, seed + count) if told_of(kind, number)]
        words = f"Pictures that show nothing of the playing: told in {len(told)} of {count * len(KINDS)}"
        return f"{words}: {', '.join(told)}." if told else f"{words}."


def in_own_folder(order: tuple[str, int, int]) -> Trial:
    """One trial in a folder that goes away with it."""
    fault, seed, lines = order
    with tempfile.TemporaryDirectory() as folder:
        return run_trial(fault, seed, Path(folder), lines)
