import errno
import sys
import threading
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from rig.clock import At, RealClock, VirtualClock
from rig.devices.bus import Bus, real_bus
from rig.errors import BadInputError, MachineFaultError
from rig.twin.chips.chip import Chip
from rig.twin.chips.fake_bus import FakeBus
from tests.devices.conftest import MakeBench


class Memory:
    """A chip of plain registers that notes when it was used, and whether twice at once."""

    def __init__(self):
        self.registers = bytearray(256)
        self.times_s = []
        self.writes = []
        self._inside = threading.Lock()

    def read(self, register, length, t_s):
        """Give registers."""
        assert self._inside.acquire(blocking=False), "two transfers at once"
        self.times_s.append(t_s)
        self._inside.release()
        return list(self.registers[register : register + length])

    def write(self, register, data, t_s):
        """Set registers."""
        self.writes.append((register, list(data)))
        self.registers[register : register + len(data)] = bytes(data)

    def reset(self, t_s):
        """Clear registers."""
        self.registers = bytearray(256)


def test_reads_and_writes_registers(bench):
    chip = Memory()
    bus = bench({0x20: chip}).bus
    bus.write(0x20, 0x10, 0xAB)
    assert bus.read(0x20, 0x10) == (0xAB,)
    assert list(bus.read(0x20, 0x0F, 3)) == [0, 0xAB, 0]


PASSING = ("EREMOTEIO", "ETIMEDOUT", "EIO", "ENXIO", "ENODEV", "EBUSY")


@pytest.mark.parametrize("code", [getattr(errno, name) for name in PASSING], ids=PASSING)
def test_failures_that_pass_are_repeated_counted_and_waited_for(bench, code):
    one = bench({0x20: Memory()})
    one.wires.fail(1, code, times=3)
    start_s = one.clock.time_s()
    assert one.bus.read(0x20, 5) == (0,)
    assert one.bus.retries == 3
    assert one.clock.time_s() - start_s == pytest.approx(0.017, abs=0.001)
    assert one.bus.reopened == 0


def test_five_failures_in_a_row_reopen_the_node(bench):
    one = bench({0x20: Memory()})
    one.wires.fail(1, times=5)
    assert one.bus.read(0x20, 5) == (0,)
    assert (one.bus.retries, one.bus.reopened, one.wires.opened) == (5, 1, 2)


def test_a_chip_that_stays_silent_is_a_fault(bench):
    one = bench({0x20: Memory()})
    one.wires.chips.clear()
    with pytest.raises(MachineFaultError, match=r"0x20 of /dev/i2c-1 does not answer") as caught:
        one.bus.read(0x20, 5)
    assert caught.value.cause == "bus"
    assert one.wires.transfers == 6


def test_a_failure_that_cannot_pass_is_not_repeated(bench):
    one = bench({0x20: Memory()})
    one.wires.fail(1, errno.EINVAL)
    with pytest.raises(MachineFaultError):
        one.bus.read(0x20, 5)
    assert one.wires.transfers == 1


def test_a_write_that_does_something_each_time_is_tried_once(bench):
    chip = Memory()
    one = bench({0x20: chip})
    one.wires.fail(1)
    with pytest.raises(MachineFaultError):
        one.bus.write(0x20, 0xE0, 0xB6, repeatable=False)
    assert one.wires.transfers == 1
    assert chip.writes == []


class Nodes:
    """Device nodes that fail until the given one, and count how many of them are open."""

    def __init__(self, good: int, on_close: OSError | None = None) -> None:
        self.opened = 0
        self.closed = 0
        self._good = good
        self._on_close = on_close

    def open(self) -> Any:
        """Open another."""
        self.opened += 1
        return self

    def read_byte_data(self, i2c_addr: int, register: int) -> int:
        """Fail, or read 7."""
        if self.opened < self._good:
            raise OSError(errno.ENODEV, "gone")
        return 7

    def close(self) -> None:
        """Close one; the system may say that it is gone, too."""
        self.closed += 1
        if self._on_close:
            raise self._on_close


@pytest.mark.parametrize("on_close", [None, OSError(errno.ENODEV, "gone")])
def test_a_node_that_is_opened_again_was_closed_before(on_close: OSError | None) -> None:
    nodes = Nodes(good=2, on_close=on_close)
    bus = Bus(VirtualClock(), nodes.open)
    bus.open()
    assert bus.read(0x20, 0) == (7,)
    assert (nodes.opened, nodes.closed) == (2, 1)


def test_opening_twice_opens_one_node_and_closing_closes_it() -> None:
    nodes = Nodes(good=1)
    with Bus(VirtualClock(), nodes.open) as bus:
        bus.open()
        assert (nodes.opened, nodes.closed) == (1, 0)
    assert nodes.closed == 1
    bus.close()
    assert nodes.closed == 1
    with pytest.raises(RuntimeError, match="not open"):
        bus.read(0x20, 0)


def test_a_node_that_does_not_come_back_is_a_fault():
    clock = VirtualClock()
    wires = FakeBus(clock, {0x20: Memory()})
    nodes = [wires]

    def open_node():
        if not nodes:
            raise FileNotFoundError
        return nodes.pop()

    bus = Bus(clock, open_node)
    bus.open()
    wires.fail(1, errno.ENODEV, times=9)
    with pytest.raises(MachineFaultError) as caught:
        bus.read(0x20, 0)
    assert caught.value.cause == "bus"
    bus.close()


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (FileNotFoundError(), "enable I2C .*--twin"),
        (PermissionError(), "sudo usermod -aG i2c"),
        (OSError(errno.EBUSY, "busy"), r"cannot be opened \(busy\)"),
    ],
)
def test_a_bus_that_cannot_be_opened_is_told_in_one_sentence(error, words):
    def open_node():
        raise error

    with pytest.raises(BadInputError, match=words) as caught:
        Bus(VirtualClock(), open_node, "/dev/i2c-1").open()
    assert "\n" not in str(caught.value)


def test_a_machine_without_the_package_is_told_of_the_twin(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "smbus2", None)
    with pytest.raises(BadInputError, match=r"no I2C .*smbus2.*--twin"):
        real_bus(VirtualClock(), 1).open()


def test_the_real_bus_touches_nothing_until_it_is_opened():
    bus = real_bus(VirtualClock(), 99)
    with pytest.raises(BadInputError, match="no I2C bus /dev/i2c-99"):
        bus.open()


def test_scan_finds_the_chips_at_every_address_that_is_not_reserved(bench: MakeBench) -> None:
    chips: dict[int, Chip] = {address: Memory() for address in (0x07, 0x08, 0x20, 0x77, 0x78)}
    assert bench(chips).bus.scan() == [0x08, 0x20, 0x77]


@pytest.mark.parametrize(("failures", "answers"), [(2, True), (3, False)])
def test_a_chip_is_asked_three_times_whether_it_is_there(
    bench: MakeBench, failures: int, answers: bool
) -> None:
    one = bench({0x20: Memory()})
    one.wires.fail(1, times=failures)
    assert one.bus.answers(0x20) is answers
    assert one.wires.transfers == 3
    assert one.bus.retries == 0
    assert one.clock.time_s() - 50.0 == pytest.approx(0.007, abs=0.001)  # pauses of 2 and 5 ms


def test_absent_chip_is_told_with_what_is_there(bench):
    bus = bench({0x20: Memory()}).bus
    with pytest.raises(BadInputError, match=r"No thing answers .*0x6A.*found at: 0x20.*bus\.x"):
        bus.identify(0x6A, 0x0F, {0x6C: "thing"}, "bus.x")


def test_wrong_chip_is_told_with_what_it_says(bench):
    chip = Memory()
    chip.registers[0x0F] = 0x68
    bus = bench({0x6A: chip}).bus
    with pytest.raises(BadInputError, match=r"is not a thing.*reads 0x68"):
        bus.identify(0x6A, 0x0F, {0x6C: "thing"}, "bus.x")


def test_tasks_on_a_virtual_clock_take_turns_on_the_bus():
    clock = VirtualClock()
    chip = Memory()
    bus = Bus(clock, FakeBus(clock, {0x20: chip}).open)

    def reader(period_s):
        for i in range(100):
            yield At(i * period_s)
            bus.read(0x20, 0, 8)

    def main():
        bus.open()
        tasks = [clock.spawn(reader(p), f"reader {p}") for p in (0.00031, 0.00047, 0.0005)]
        for task in tasks:
            yield from task.join()
        bus.close()

    clock.run(main())
    times_s = sorted(chip.times_s)
    assert len(times_s) == 300
    gaps_s = [b - a for a, b in pairwise(times_s)]
    assert min(gaps_s) >= (30 + 9 * 8) / 400_000 - 1e-9


def test_threads_do_not_meet_on_the_bus():
    clock = RealClock()
    chip = Memory()
    bus = Bus(clock, FakeBus(clock, {0x20: chip}).open)

    def reader():
        for _ in range(100):
            bus.read(0x20, 0, 8)
            yield At(0.0)

    def main():
        bus.open()
        tasks = [clock.spawn(reader(), f"reader {i}") for i in range(3)]
        for task in tasks:
            yield from task.join()
        bus.close()

    clock.run(main())
    assert len(chip.times_s) == 300


class Door(Nodes):
    """A node that stays in its first transfer until another thread gets in, or does not."""

    def __init__(self) -> None:
        super().__init__(good=1)
        self.inside = threading.Event()
        self.second = threading.Event()

    def read_byte_data(self, i2c_addr: int, register: int) -> int:
        """The first transfer; or the second, if it gets in."""
        self._enter()
        return 7

    def write_byte_data(self, i2c_addr: int, register: int, value: int) -> None:
        """As above."""
        self._enter()

    def read_byte(self, i2c_addr: int) -> int:
        """As above."""
        self._enter()
        return 7

    def close(self) -> None:
        """As above."""
        self._enter()

    def _enter(self) -> None:
        if self.inside.is_set():
            self.second.set()
        else:
            self.inside.set()
            self.met = self.second.wait(0.05)


@pytest.mark.parametrize(
    "second",
    [
        lambda bus: bus.read(0x20, 0),
        lambda bus: bus.write(0x20, 0, 1),
        lambda bus: bus.write(0x20, 0, 1, repeatable=False),
        lambda bus: bus.answers(0x20),
        lambda bus: bus.scan(),
        lambda bus: bus.close(),
    ],
    ids=["read", "write", "write once", "answers", "scan", "close"],
)
def test_no_thread_gets_into_a_transfer_of_another(second: Callable[[Bus], object]) -> None:
    door = Door()
    bus = Bus(RealClock(), door.open)
    bus.open()
    first = threading.Thread(target=bus.read, args=(0x20, 0))
    first.start()
    assert door.inside.wait(5.0)
    second(bus)
    first.join()
    bus.close()
    assert not door.met
