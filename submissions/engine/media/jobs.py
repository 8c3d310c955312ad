"""What the reading child can be asked to do, by name."""

from collections.abc import Callable
from typing import Any

from .previewing import Order, preview
from .taking import Job, take
from .wire import Write


def _take(descriptor: int, order: dict[str, Any], write: Write) -> None:
    take(descriptor, Job(**order), write)


def _preview(descriptor: int, order: dict[str, Any], write: Write) -> None:
    preview(descriptor, Order(**order), write)


JOBS: dict[str, Callable[[int, dict[str, Any], Write], None]] = {"take": _take, "preview": _preview}


def run(descriptor: int, order: dict[str, Any], write: Write) -> None:
    """Do order["job"] with the rest of the order as its settings."""
    JOBS[order.pop("job")](descriptor, order, write)
