"""The reading child: `python -I child.py FD JOB`, started by guard.py for one file, locked in before it looks at it.

Argument FD is the number of an open file; JOB is JSON from our own side. Results go to standard output in the plain
format of wire.py. Nothing of the file's name is known here.
"""

import importlib
import json
import os
import pkgutil
import sys
from pathlib import Path
from types import ModuleType


def main() -> None:
    descriptor, order = int(sys.argv[1]), json.loads(sys.argv[2])
    # Isolated mode keeps the environment and the current folder off the import path; the project's own root is named.
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))
    import av
    import numpy.ma  # noqa: F401, numpy fetches it at the first median: too late here

    from submissions.engine.errors import MediaError
    from submissions.engine.media import jobs, sentences, wire
    from submissions.engine.media.locked import Limits, lock_in
    from submissions.engine.media.packets import TooLong

    pipe = sys.stdout.buffer.raw if hasattr(sys.stdout.buffer, "raw") else sys.stdout.buffer

    def write(data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[pipe.write(view) or 0 :]

    _import_all_of(av)
    lock_in(Limits(**order.pop("limits")))
    try:
        jobs.run(descriptor, order, write)
    except TooLong:
        wire.send(write, b"FAIL", sentences.TOO_LONG.encode())
    except MemoryError:
        wire.send(write, b"FAIL", sentences.TOO_HUNGRY.encode())
    except MediaError as error:
        wire.send(write, b"FAIL", str(error).encode()[:300])
    os._exit(0)  # no clean-up code of a library that has read a stranger's file


def _import_all_of(package: ModuleType) -> None:
    """Import every module of a package: once locked in, nothing can be opened any more, not even an import."""
    for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)


if __name__ == "__main__":
    main()
