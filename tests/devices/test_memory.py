"""The program's pages stay in memory where that is permitted, and only there."""

import resource
import subprocess
import sys
from types import SimpleNamespace

import pytest

from rig.devices import memory

LOOK = """
import sys
from pathlib import Path
from rig.devices.memory import lock_memory
print(lock_memory(), *(
    line.split()[1] for line in Path("/proc/self/status").read_text().splitlines()
    if line.startswith("VmLck")
))
"""

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="mlockall as Linux has it")


def looked(limit: int) -> tuple[bool, int]:
    """What a process with this limit says, and how many kB it has locked."""

    def lower() -> None:
        resource.setrlimit(resource.RLIMIT_MEMLOCK, (limit, limit))

    try:
        said = subprocess.run(
            [sys.executable, "-c", LOOK],
            capture_output=True,
            text=True,
            check=True,
            preexec_fn=lower,
        )
    except subprocess.SubprocessError:
        pytest.skip("this user may not lock memory")
    is_locked, locked_kb = said.stdout.split()
    return is_locked == "True", int(locked_kb)


def test_pages_are_kept_where_no_limit_is_set() -> None:
    is_locked, locked_kb = looked(resource.RLIM_INFINITY)
    assert is_locked
    assert locked_kb > 5000


@pytest.mark.parametrize(("refused", "is_locked"), [(0, True), (-1, False)])
def test_the_kernel_is_asked_for_pages_of_now_and_later_once_touched(
    monkeypatch: pytest.MonkeyPatch, refused: int, is_locked: bool
) -> None:
    asked: list[int] = []

    def mlockall(flags: int) -> int:
        asked.append(flags)
        return refused

    monkeypatch.setattr(resource, "getrlimit", lambda _: (resource.RLIM_INFINITY,) * 2)
    monkeypatch.setattr("ctypes.CDLL", lambda _: SimpleNamespace(mlockall=mlockall))
    assert memory.lock_memory() is is_locked
    assert asked == [0b111]


def test_a_limit_is_not_run_into() -> None:
    """Also for root, whom the kernel would let: memory that is asked for later must come."""
    assert looked(8 << 20) == (False, 0)
