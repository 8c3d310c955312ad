"""The reading child: `python -I child.py FD JOB`, started by guard.py for one file, locked in before it looks at it.

Argument FD is the number of an open file; JOB is JSON from our own side. Results go to standard output in the plain
format of wire.py. Nothing of the file's name is known here.
"""

import json
import os
import sys
from pathlib import Path


def main() -> None:
    descriptor, order = int(sys.argv[1]), json.loads(sys.argv[2])
    # Isolated mode keeps the environment and the current folder off the import path; the project's own root is named.
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))
    from submissions.engine.errors import MediaError
    from submissions.engine.media import jobs, sentences, wire
    from submissions.engine.media.locked import Limits, lock_in
    from submissions.engine.media.packets import TooLong
    from submissions.engine.media.warm import import_everything

    pipe = sys.stdout.buffer.raw if hasattr(sys.stdout.buffer, "raw") else sys.stdout.buffer

    def write(data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[pipe.write(view) or 0 :]

    import_everything()
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


if __name__ == "__main__":
    main()
