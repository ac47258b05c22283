"""What the service manager is told, on a socket of our own."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from rig.clock import VirtualClock
from rig.control.process.notify import Notifier


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.setblocking(False)
        yield listening


def received(manager: socket.socket) -> list[str]:
    found = []
    while True:
        try:
            found.append(manager.recv(4096).decode())
        except BlockingIOError:
            return found


def test_ready_status_and_end_are_told(manager: socket.socket) -> None:
    notifier = Notifier(VirtualClock(), {"NOTIFY_SOCKET": manager.getsockname()})
    assert notifier.is_listening
    notifier.ready()
    notifier.status("placing: put\nthe bag back")
    notifier.status("placing: put\nthe bag back")
    notifier.stopping()
    assert received(manager) == ["READY=1", "STATUS=placing: put the bag back", "STOPPING=1"]


def test_signs_of_life_come_four_times_in_the_wanted_time(manager: socket.socket) -> None:
    clock = VirtualClock()
    environment = {"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "2000000"}
    notifier = Notifier(clock, environment)
    for _ in range(100):
        notifier.alive()
        clock.advance_to(clock.time_s() + 0.02)
    assert received(manager) == ["WATCHDOG=1"] * 4


@pytest.mark.parametrize("extra", [{}, {"WATCHDOG_USEC": "2000000", "WATCHDOG_PID": "1"}])
def test_no_signs_of_life_when_nobody_waits_for_mine(manager: socket.socket, extra) -> None:
    notifier = Notifier(VirtualClock(), {"NOTIFY_SOCKET": manager.getsockname(), **extra})
    notifier.alive()
    assert received(manager) == []


def test_a_name_in_the_abstract_namespace(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(f"\0rig-test-{tmp_path.name}-{id(tmp_path)}")
        name = "@" + listening.getsockname()[1:].decode()
        Notifier(VirtualClock(), {"NOTIFY_SOCKET": name}).ready()
        assert listening.recv(64) == b"READY=1"


def test_without_a_manager_nothing_happens(tmp_path: Path) -> None:
    for environment in ({}, {"NOTIFY_SOCKET": str(tmp_path / "gone")}):
        notifier = Notifier(VirtualClock(), environment)
        notifier.ready()
        notifier.alive()


def test_an_unreadable_watchdog_period_is_ignored() -> None:
    assert Notifier(VirtualClock(), {"WATCHDOG_USEC": "soon"}).period_s is None
    assert Notifier(VirtualClock(), {"WATCHDOG_USEC": "10000000"}).period_s == 2.5


def test_a_full_socket_is_given_up_after_0_2_s(
    manager: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    waits_s: list[float | None] = []

    class Full(socket.socket):
        def sendto(self, *_: object) -> int:
            waits_s.append(self.gettimeout())
            raise TimeoutError

    notifier = Notifier(VirtualClock(), {"NOTIFY_SOCKET": manager.getsockname()})
    monkeypatch.setattr(socket, "socket", Full)
    notifier.ready()
    assert waits_s == [0.2]
