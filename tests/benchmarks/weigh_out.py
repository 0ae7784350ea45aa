"""How quick a weigh-out is: in the library, and as a whole command beside a bare Python that imports its libraries.

    python -m tests.benchmarks.weigh_out

Prints milliseconds and ratios of one run; it never judges. Commands and floor run in turn, so that a slow moment of the
machine strikes both.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from formulary import init_folder, work_out_batch
from formulary.folder.folder import Folder

RUNS = 15
SOURCE = Path(__file__).parents[2]


def library_ms(folder: Folder) -> float:
    """Milliseconds of one weigh-out once files are loaded: the median of many."""
    version, register, settings = folder.find_version("first-bar"), folder.register, folder.settings
    times = []
    for _ in range(300):
        started = time.perf_counter()
        work_out_batch(version, register, settings, oil_mass_g=1000.0)
        times.append(time.perf_counter() - started)
    return 1000 * statistics.median(times)


def cpu_ms(command: list[str], folder: Path) -> float:
    """Processor milliseconds of a whole process and its children, which waiting for others does not change."""
    # As installed: the modules are compiled once and kept, whatever this shell says of that.
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        command, cwd=folder, env={**environment, "PYTHONPATH": str(SOURCE)}, stdout=subprocess.DEVNULL, check=True
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return 1000 * (after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch, init_folder(Path(scratch) / "soap") as folder:
        print(f"one weigh-out in the library: {library_ms(folder):.2f} ms")
        floor = [sys.executable, "-c", "import click, ruamel.yaml"]
        commands = {
            "--help": [sys.executable, "-m", "cli.main", "--help"],
            "batch": [sys.executable, "-m", "cli.main", "batch", "first-bar", "--oils", "1000g"],
        }
        for name, command in commands.items():
            cpu_ms(command, folder.root)
            pairs = [(cpu_ms(command, folder.root), cpu_ms(floor, folder.root)) for _ in range(RUNS)]
            ratio = statistics.median(one / two for one, two in pairs)
            own, bare = (statistics.median(times) for times in zip(*pairs, strict=True))
            print(f"{name}: {own:.0f} ms of processor, floor {bare:.0f} ms, ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
