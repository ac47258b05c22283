"""A Dask cluster of processes on loopback; what a worker's death does to a gather."""

import json
import os
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from rig.gather import batch
from rig.gather.batch import BatchOrder
from rig.gather.cluster import split
from tests.gather.league import make_league, parts_of

GATHER = "from rig.commands.main import main; main()"
DEADLY = """
import os
import distributed
import rig.gather.batch as batch

def deadly(url, name):
    if name.startswith("loose/b"):
        os._exit(9)
    return _real(url, name)

def dask_setup(worker):
    global _real
    _real, batch.read_from = batch.read_from, deadly
"""
"""Workers that end when they read a certain file, as one that needs too much memory would."""


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _wait_for(port: int) -> None:
    """Until something listens there; a busy computer takes its time."""
    pause = threading.Event()
    for _ in range(300):
        with socket.socket() as one:
            if one.connect_ex(("127.0.0.1", port)) == 0:
                return
        pause.wait(0.2)


def test_nobody_at_the_address_is_told() -> None:
    pytest.importorskip("distributed")
    program = (
        "import rig.gather.cluster as c; c.CONNECT_S = 0.2; from rig.errors import BadInputError\n"
        f"try: c.Cluster('tcp://127.0.0.1:{_free_port()}')\n"
        "except BadInputError as error: print(error)"
    )
    said = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    ).stdout
    assert said.startswith("No Dask scheduler answers at tcp://127.0.0.1:")


def test_an_order_is_split_and_joined_again(tmp_path: Path) -> None:
    make_league(tmp_path / "league")
    names = ("loose/a.run.jsonl", "loose/b.run.jsonl")
    order = BatchOrder(url=str(tmp_path / "league"), names=names, key="k")
    parts = split(order)
    assert len({part.key for part in parts}) == 2
    made = [batch.make(part) for part in parts]
    assert batch.joined(made, names) == batch.make(order)
    lost = batch.decoder.decode(batch.joined([made[0], None], names)).seen[1]
    assert "ended every process" in lost.kept.problems[0]
    assert lost.digest == b""


@pytest.mark.long
def test_a_cluster_gives_the_same_bytes_and_outlives_a_deadly_file(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    make_league(tmp_path / "league")
    (tmp_path / "deadly.py").write_text(DEADLY)
    address = f"tcp://127.0.0.1:{_free_port()}"
    environment = os.environ | {"XDG_CONFIG_HOME": str(tmp_path / "config")}
    local = ["--host", "127.0.0.1", "--no-dashboard"]

    def start(what: str, *words: str) -> "subprocess.Popen[bytes]":
        return subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.dask_{what}", *words, *local],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=environment,
            cwd=tmp_path,
        )

    def gather(out: str, *more: str) -> dict[str, object]:
        league = str(tmp_path / "league")
        done = subprocess.run(
            [sys.executable, "-c", GATHER, "gather", league, "--json", "--out", out, *more],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
            env=environment,
        )
        assert done.returncode == 0, done.stderr
        found: dict[str, object] = json.loads(done.stdout)
        return found

    scheduler = start("scheduler", "--port", address.rpartition(":")[2])
    worker = start("worker", address, "--nthreads", "1", "--preload", str(tmp_path / "deadly.py"))
    try:
        alone = gather("alone")
        _wait_for(int(address.rpartition(":")[2]))
        many = gather("many", "--scheduler", address)
    finally:
        for process in (worker, scheduler):
            process.terminate()
            process.wait()
    assert parts_of(tmp_path / "many") == parts_of(tmp_path / "alone")
    assert many["n_slides"] == alone["n_slides"] == 7
    assert "ended every process that read it" in json.dumps(many["problems"])
