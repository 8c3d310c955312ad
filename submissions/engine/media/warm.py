"""Imports everything that reading may need: once a process has locked itself in, not even an import can open a file."""

import importlib
import pkgutil

import av
import numpy.ma  # noqa: F401, numpy fetches it at the first median


def import_everything() -> None:
    """All modules of PyAV, which fetches some of them only when it meets what they are for."""
    for module in pkgutil.walk_packages(av.__path__, av.__name__ + "."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
