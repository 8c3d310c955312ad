"""Write everything a player downloads of one part: sheet, clicks, guide, MIDI, strokes. Needs no database."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from submissions.engine.errors import EngineError
from submissions.engine.music.engraving.own_notes import own_notes
from submissions.engine.music.ladder import FEASIBLE_BPM
from submissions.engine.music.materials import Choices, write_materials
from submissions.engine.music.score import read_part
from submissions.engine.music.score.intake import open_tree

CANNOT_BE_USED = 2
MOST_COUNT_OFF_BARS = 8  # chosen: longer is a typing error, and nobody counts it


class Command(BaseCommand):
    help = "Writes sheet, clicks at every practice tempo, guide, MIDI and strokes of one part into a folder."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("part", metavar="PART.musicxml", type=Path)
        parser.add_argument("outdir", metavar="OUTDIR", type=Path)
        parser.add_argument("--part-id", help="which part of the score; the first one that suits when not given")
        parser.add_argument(
            "--drum", choices=("all", "1", "2", "3", "4", "5"), default="all", help="whose strokes of a bass line"
        )
        parser.add_argument("--count-off", type=int, default=2, metavar="BARS", help="bars counted before bar 1")
        parser.add_argument("--subdivide", action="store_true", help="quiet clicks between the beats too")
        parser.add_argument(
            "--tempi", default="", metavar="80,96,116", help="an own practice ladder, in beats a minute"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            summary = self._write(options)
        except EngineError as error:
            self._refuse(str(error))
        except OSError as error:
            self._refuse(f"The folder {options['outdir']} cannot be written: {error.strerror}.")
        else:
            clicks = summary["clicks"]
            count = len(clicks) if isinstance(clicks, list) else 0
            self.stdout.write(f"{options['outdir']}: sheet, {count} clicks, guide, MIDI and strokes are written.")

    def _write(self, options: dict[str, Any]) -> dict[str, object]:
        bars = options["count_off"]
        if not 0 <= bars <= MOST_COUNT_OFF_BARS:
            raise EngineError(f"A count-off of {bars} bars cannot be played; use 0 to {MOST_COUNT_OFF_BARS}.")
        tempi = self._tempi(options["tempi"])
        source: Path = options["part"]
        part = read_part(source, options["part_id"], options["drum"])
        tree = open_tree(source)
        own = own_notes(tree, part)
        choices = Choices(count_off_bars=bars, tempi=tempi, subdivide=options["subdivide"], own_notes=own)
        return write_materials(part, tree, options["outdir"], choices)

    def _tempi(self, words: str) -> list[int] | None:
        if not words:
            return None
        try:
            return [int(word) for word in words.split(",")]
        except ValueError:
            low, high = FEASIBLE_BPM
            raise EngineError(
                f"The tempi “{words}” are not whole numbers from {low} to {high} with commas between."
            ) from None

    def _refuse(self, sentence: str) -> None:
        self.stderr.write(sentence)
        raise SystemExit(CANNOT_BE_USED)
