"""What a whole probe costs beside a bare full decode of the same file, measured in one run, each in its own process."""

import resource
import subprocess
import sys
from pathlib import Path

PROBE = "import sys; from submissions.engine.probe import probe; probe(sys.argv[1], None)"
DECODE = "import sys; from submissions.engine.media.full import decode_all; decode_all(sys.argv[1])"
ROOT = Path(__file__).resolve().parents[3]


def cpu_of(code: str, path: Path) -> tuple[float, int]:
    """(CPU seconds, largest resident set in megabytes of any process since the start) of a fresh interpreter."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", code, str(path.resolve())], cwd=ROOT, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, after.ru_maxrss // 1024


def cost_page(path: Path) -> str:
    """One paragraph: CPU of the probe, of the full decode, their ratio, memory."""
    probe_s, megabytes = cpu_of(PROBE, path)
    decode_s, _ = cpu_of(DECODE, path)
    return (
        f"Cost of `{path.name}`: probe {probe_s:.1f} s of CPU, full decode {decode_s:.1f} s, "
        f"ratio {probe_s / decode_s:.3f}; memory of the largest process {megabytes} MB."
    )
