"""Wall time of two workers over one, and of a Dask cluster of two workers over two local ones.

python tests/benchmarks/bench_workers.py [--scans 12] [--megapixels 12] [--rounds 2]

Every round runs each way once, one after the other, so that all see the same machine; the least of each counts.
"""

from __future__ import annotations

import argparse
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

from bench_process import make_scans

ENVIRONMENT = {**os.environ, "OMP_NUM_THREADS": "1", "VIPS_CONCURRENCY": "1"}


@contextmanager
def cluster() -> Iterator[str]:
    """A scheduler and two workers of one thread."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        where = f"tcp://127.0.0.1:{found.getsockname()[1]}"
    program = [sys.executable, "-m", "distributed.cli.dask_"]
    commands = [[*program[:2], f"{program[2]}scheduler", "--host", where, "--no-dashboard"]]
    commands += [[*program[:2], f"{program[2]}worker", where, "--nthreads", "1", "--no-dashboard"]] * 2
    with tempfile.TemporaryDirectory() as folder:
        started = [
            subprocess.Popen(
                command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=folder, start_new_session=True,
                env=ENVIRONMENT,
            )
            for command in commands
        ]  # fmt: skip
        try:
            yield where
        finally:
            for process in started:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()


def wait_for_workers(where: str) -> None:
    from distributed import Client

    with Client(where, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=120)


def wall(scans: Path, *ways: str) -> float:
    """Seconds of a whole run into a new collection."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "surrogate", "process", str(scans), "--collection", f"{folder}/c", *ways]
        started = time.monotonic()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=ENVIRONMENT)
        return time.monotonic() - started


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--scans", type=int, default=12)
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--rounds", type=int, default=2)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        scans = Path(folder)
        make_scans(scans, options.scans, options.megapixels, "tiff8")
        if find_spec("distributed") is None:
            print("The extra `cluster` is not installed: only local workers are measured.")
            rounds = [(wall(scans, "--workers", "1"), wall(scans, "--workers", "2")) for _ in range(options.rounds)]
        else:
            with cluster() as where:
                wait_for_workers(where)
                rounds = [
                    (
                        wall(scans, "--workers", "1"),
                        wall(scans, "--workers", "2"),
                        wall(scans, "--cluster", where),
                    )
                    for _ in range(options.rounds)
                ]
    least = [min(times) for times in zip(*rounds, strict=True)]
    print(f"{options.scans} scans of {options.megapixels} megapixels, least of {options.rounds} rounds, whole command")
    print(f"one worker {least[0]:.1f} s, two {least[1]:.1f} s: {least[1] / least[0]:.2f}")
    if len(least) > 2:
        print(f"Dask cluster of two {least[2]:.1f} s: {least[2] / least[1]:.2f} of two local workers")
    print(f"load of the machine meanwhile: {os.getloadavg()[1]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
