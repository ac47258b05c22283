"""`rig gather` over thousands of files: one process against a Dask cluster, with and without kills.

    python -m tests.bench.gather_league --folder /tmp/league --files 20000 --write

The cluster is a scheduler and two workers of one thread each on this machine, over loopback. Times
of a computer that others use mean little: processor time is what counts, and ratios in one run.
"""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import psutil  # type: ignore[import-untyped,unused-ignore]

from tests.bench.heading import Table, columns
from tests.bench.league_files import make_league

READ_ONLY = ("read.py", "robin.py")
"""They take a dataset for granted."""
INPUTS = (
    *(
        f"rig/gather/{path.name}"
        for path in sorted(Path("rig/gather").glob("*.py"))
        if path.name not in READ_ONLY
    ),
    "tests/bench/league_files.py",
    "tests/bench/gather_league.py",
)
FILE = "tests/bench/GATHER.md"
COST = Table(FILE, "cost of a gather", INPUTS)
KILLS = Table(FILE, "gathers that were killed", INPUTS)
ENVIRONMENT = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
WITHOUT_PROFILER = {"DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False"}
"""Dask's own profiler keeps an hour of samples, which would hide what rig keeps."""
MB = 1024.0 * 1024.0


class Cost(NamedTuple):
    """What a gather cost."""

    wall_s: float
    cpu_s: float
    """Of the gathering process and all workers."""
    peak_mb: float
    """Resident, of the gathering process."""
    workers_mb: tuple[float, ...]
    """Resident peaks of the workers."""
    half_mb: float
    """Of the gathering process after half of the time."""
    said: str


class Cluster(NamedTuple):
    """A cluster of this bench's own."""

    address: str
    scheduler: "subprocess.Popen[bytes]"
    nannies: "list[subprocess.Popen[bytes]]"

    def workers(self) -> list[psutil.Process]:
        """The processes that read files: the children of the nannies."""
        found = []
        for nanny in self.nannies:
            for child in psutil.Process(nanny.pid).children():
                if "spawn_main" in " ".join(child.cmdline()):
                    found.append(child)
        return found


@contextmanager
def cluster(port: int) -> Iterator[Cluster]:
    """A scheduler and two workers on loopback."""
    address = f"tcp://127.0.0.1:{port}"
    start = [sys.executable, "-m"]
    local = ["--host", "127.0.0.1", "--no-dashboard"]
    log = Path(f"/tmp/gather-cluster-{port}.log").open("wb")  # noqa: S108 - a log of a bench
    scheduler = subprocess.Popen(
        [*start, "distributed.cli.dask_scheduler", *local, "--port", str(port)],
        stdout=log, stderr=log, env=ENVIRONMENT,
    )  # fmt: skip
    nannies = [
        subprocess.Popen(
            [*start, "distributed.cli.dask_worker", address, *local, "--nthreads", "1"],
            stdout=log, stderr=log, env=ENVIRONMENT | WITHOUT_PROFILER,
        )
        for _ in range(2)
    ]  # fmt: skip
    found = Cluster(address, scheduler, nannies)
    try:
        while len(found.workers()) < 2:
            _rest(0.5)
        _rest(3.0)
        yield found
    finally:
        for process in (*nannies, scheduler):
            process.terminate()
        for process in (*nannies, scheduler):
            process.wait()
        log.close()


def command(source: str, out: Path, more: list[str]) -> "subprocess.Popen[bytes]":
    """Start a gather."""
    program = "from rig.commands.main import main; main()"
    return subprocess.Popen(
        [sys.executable, "-c", program, "gather", source, "--out", str(out), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=ENVIRONMENT,
    )


def measured(source: str, out: Path, on: Cluster | None = None) -> Cost:
    """Gather, and watch what it costs."""
    workers = [] if on is None else on.workers()
    before = sum(_cpu_s(worker) for worker in workers)
    started = time.monotonic()
    process = command(source, out, [] if on is None else ["--scheduler", on.address])
    mine = psutil.Process(process.pid)
    seen: list[tuple[float, float]] = []
    peaks = [0.0] * len(workers)
    cpu_s = 0.0
    while process.poll() is None:
        _rest(0.2)
        try:
            with mine.oneshot():
                seen.append((time.monotonic() - started, mine.memory_info().rss / MB))
                cpu_s = _cpu_s(mine)
        except psutil.NoSuchProcess:
            break
        for i, worker in enumerate(workers):
            peaks[i] = max(peaks[i], worker.memory_info().rss / MB)
    wall_s = time.monotonic() - started
    said = process.communicate()[0].decode().strip()
    cpu_s += sum(_cpu_s(worker) for worker in workers) - before
    half = next((mb for at, mb in seen if at > wall_s / 2.0), 0.0)
    return Cost(wall_s, cpu_s, max(mb for _, mb in seen), tuple(peaks), half, said)


def same(one: Path, other: Path) -> bool:
    """Whether the parts of two datasets are the same files, byte for byte."""
    return _parts(one) == _parts(other)


def _parts(out: Path) -> dict[str, bytes]:
    slides = out / "slides"
    files = sorted(path for path in slides.rglob("*") if path.is_file())
    return {path.relative_to(slides).as_posix(): path.read_bytes() for path in files}


def cost_lines(folder: Path, counts: list[int]) -> Iterator[str]:
    """The table of costs."""
    yield from columns(
        "files", "where", "CPU ms per file", "wall", "peak MB", "at half MB", "workers' peak MB",
        "the same bytes", "again: CPU ms per file",
    )  # fmt: skip
    with cluster(18786) as two:
        for count in counts:
            source = folder / f"{count}"
            make_league(source, count)
            alone = measured(str(source), folder / f"alone {count}")
            many = measured(str(source), folder / f"cluster {count}", two)
            again = measured(str(source), folder / f"alone {count}")
            equal = same(folder / f"alone {count}", folder / f"cluster {count}")
            yield (
                f"| {count} | one process | {1e3 * alone.cpu_s / count:.1f} | 1 |"
                f" {alone.peak_mb:.0f} | {alone.half_mb:.0f} | – | – |"
                f" {1e3 * again.cpu_s / count:.2f} |"
            )
            peaks = " and ".join(f"{mb:.0f}" for mb in many.workers_mb)
            yield (
                f"| {count} | two workers | {1e3 * many.cpu_s / count:.1f} |"
                f" {many.wall_s / alone.wall_s:.2f} | {many.peak_mb:.0f} | {many.half_mb:.0f} |"
                f" {peaks} | {'yes' if equal else 'NO'} | |"
            )


def kill_lines(folder: Path, count: int, kills: int) -> Iterator[str]:
    """The table of gathers during which something was killed, from a folder and from a store."""
    yield from columns(
        "source", "files", "killed with -9", "the same bytes as undisturbed", "slides"
    )
    source = folder / f"{count}"
    make_league(source, count)
    whole = folder / f"alone {count}"
    if not whole.exists():
        measured(str(source), whole)
    yield _killed(str(source), "folder", count, kills, whole, folder)
    with store(source) as url:
        yield _killed(url, "S3 (moto's server)", count, kills, whole, folder)


def _killed(url: str, what: str, count: int, kills: int, whole: Path, folder: Path) -> str:
    out = folder / f"killed {what.split()[0]} {count}"
    shutil.rmtree(out, ignore_errors=True)
    with cluster(18787) as two:
        process = command(url, out, ["--scheduler", two.address])
        n_killed, client_killed, said = 0, False, b""
        parts = count // 100
        while True:
            _rest(0.5)
            n_done = len(list((out / "_index" / "seen").glob("*.msgpack")))
            # Spread over the gather, each worker in turn; in the middle whoever gathers, too.
            if n_killed < kills and n_done > (n_killed + 0.5) * parts / (kills + 1):
                workers = two.workers()
                if workers:
                    workers[n_killed % len(workers)].send_signal(signal.SIGKILL)
                    n_killed += 1
            if not client_killed and n_done > parts / 2 and process.poll() is None:
                process.send_signal(signal.SIGKILL)
                process.communicate()
                client_killed = True
                process = command(url, out, ["--scheduler", two.address])
            if process.poll() is not None:
                said = process.communicate()[0]
                break
    equal = "yes" if same(out, whole) else "NO"
    told = f"workers {n_killed} times, the gathering process {'once' if client_killed else 'not'}"
    slides = said.decode().rpartition(f"{out}: ")[2].split(" in ")[0]
    return f"| {what} | {count} | {told} | {equal} | {slides} |"


@contextmanager
def store(folder: Path) -> Iterator[str]:
    """The same files in an S3-compatible store on loopback."""
    import boto3  # type: ignore[import-untyped,import-not-found,unused-ignore]

    port = 15555
    server = subprocess.Popen(
        [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    given = {
        "AWS_ENDPOINT_URL": f"http://127.0.0.1:{port}",
        "AWS_ACCESS_KEY_ID": "invented",
        "AWS_SECRET_ACCESS_KEY": "invented",
        "AWS_DEFAULT_REGION": "us-east-1",
    }
    ENVIRONMENT.update(given)
    os.environ.update(given)
    try:
        _rest(5.0)
        client = boto3.client("s3")
        client.create_bucket(Bucket="league")
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                client.put_object(
                    Bucket="league",
                    Key=path.relative_to(folder).as_posix(),
                    Body=path.read_bytes(),
                )
        yield "s3://league"
    finally:
        server.terminate()
        server.wait()
        for name in given:
            ENVIRONMENT.pop(name, None)
            os.environ.pop(name, None)


def _cpu_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


def _rest(seconds: float) -> None:
    time.sleep(seconds)  # noqa: TID251 - a bench waits for other programs


def main() -> None:
    """Make what is missing, gather, and show the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--files", type=int, nargs="+", default=[1000, 5000, 20000])
    parser.add_argument("--killed", type=int, default=5000, help="files of the gathers killed; 0")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    os.environ["XDG_CONFIG_HOME"] = ENVIRONMENT["XDG_CONFIG_HOME"] = str(asked.folder / "config")
    asked.folder.mkdir(parents=True, exist_ok=True)
    if asked.files:
        COST.show(cost_lines(asked.folder, asked.files), seed="0 … 199", write=asked.write)
    if asked.killed:
        KILLS.show(kill_lines(asked.folder, asked.killed, 5), seed="0 … 199", write=asked.write)


if __name__ == "__main__":
    main()
