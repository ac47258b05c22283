"""How evenly this computer can make step pulses, beside two ways in which one might make them.

The pins are simulated ones, so nothing moves; what is measured is when the program gets to write
to them, while the angle sensor is sampled and its samples are written to a file.
"""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from gpiozero import DigitalOutputDevice
from gpiozero.pins.mock import MockFactory, MockPin
from numpy.typing import NDArray

from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.devices.stepper import Stepper
from rig.procedures.header import make_header
from rig.runfile.model import State
from rig.runfile.writer import RunWriter, new_run_id, run_path

RATES_HZ = (500, 1000, 2000)
WAY_OWN, WAY_SLEEP, WAY_BLINK = "rig's pulse train", "loop with time.sleep", "gpiozero blink"
TO_RAISING: tuple[State, ...] = ("homing", "placing", "dwelling", "raising")


class Timing(NamedTuple):
    """How far the intervals between pulses were from the wanted one."""

    way: str
    rate_hz: int
    pulses: int
    median_us: float
    p99_us: float
    worst_us: float
    real_rate_hz: float
    """Pulses made per second, over all."""


def measure_timing(
    machine: Machine, request: RunRequest, folder: Path, seconds: float
) -> Task[list[Timing]]:
    """Task: measure all ways at all rates, one after the other, under the same load.

    Args:
        machine: opened, on a real clock, with its watching tasks running.
        request: for the header of the file that the samples go to.
        folder: where that file goes.
        seconds: how long each way pulses at each rate.
    """
    clock = machine.clock
    utc = clock.utc_now()
    run_id = new_run_id(utc)
    header = make_header(machine, request, run_id, utc.isoformat(), "hand")
    recorder = Recorder(RunWriter(run_path(folder, run_id), header), clock.time_s(), 10.0)
    for state in TO_RAISING:
        recorder.enter(state, clock.time_s())
    machine.recorder = recorder
    ways: dict[str, Callable[[Machine, int, int], Task[list[float]]]] = {
        WAY_OWN: _own,
        WAY_SLEEP: _sleep,
        WAY_BLINK: _blink,
    }
    found = []
    try:
        for rate_hz in RATES_HZ:
            for way, make in ways.items():
                n = round(rate_hz * seconds)
                handle = clock.spawn(make(machine, rate_hz, n), way)
                times = yield from handle.join(clock.time_s() + 20.0 * seconds + 10.0)
                found.append(_judge(way, rate_hz, np.asarray(times)))
    finally:
        machine.recorder = None
        recorder.end("stopped", 0, 0)
    return found


def _judge(way: str, rate_hz: int, times_s: NDArray[np.float64]) -> Timing:
    errors_us = np.abs(np.diff(times_s) - 1.0 / rate_hz) * 1e6
    median, p99, worst = np.percentile(errors_us, (50, 99, 100)).tolist()
    span_s = float(times_s[-1] - times_s[0])
    return Timing(way, rate_hz, times_s.size, median, p99, worst, (times_s.size - 1) / span_s)


class _Even:
    """Pulses at one rate."""

    direction = 1

    def __init__(self, rate_hz: int, n: int) -> None:
        self.times_s = np.arange(n) / rate_hz

    def brake(self, index: int) -> NDArray[np.float64]:
        return self.times_s[:index]


def _own(machine: Machine, rate_hz: int, n: int) -> Task[list[float]]:
    """The train that moves the board, on simulated pins; a task beside it takes the times."""
    pins, screw = machine.settings.pins, machine.settings.screw
    factory = MockFactory(pin_class=_Stamped)
    stepper = Stepper(machine.clock, factory, pins, screw, late_pulse_ms=200.0)
    with stepper:
        stepper.enable()
        yield from stepper.move(_Even(rate_hz, n))
        times = _stamps(factory, pins.step)
    factory.reset()
    return times


def _sleep(machine: Machine, rate_hz: int, n: int) -> Task[list[float]]:
    factory = MockFactory(pin_class=_Stamped)
    clock, number = machine.clock, machine.settings.pins.step
    yield At(clock.time_s())
    with DigitalOutputDevice(number, pin_factory=factory) as device:
        for _ in range(n):
            device.on()
            clock.pause_s(0.5 / rate_hz)
            device.off()
            clock.pause_s(0.5 / rate_hz)
        times = _stamps(factory, number)
    factory.reset()
    return times


def _blink(machine: Machine, rate_hz: int, n: int) -> Task[list[float]]:
    factory = MockFactory(pin_class=_Stamped)
    number = machine.settings.pins.step
    yield At(machine.clock.time_s())
    with DigitalOutputDevice(number, pin_factory=factory) as device:
        device.blink(0.5 / rate_hz, 0.5 / rate_hz, n=n, background=False)
        times = _stamps(factory, number)
    factory.reset()
    return times


class _Stamped(MockPin):  # type: ignore[misc] # gpiozero has no types
    """Keeps the time of each rising edge and nothing else."""

    def __init__(self, factory: Any, info: Any) -> None:
        super().__init__(factory, info)
        self.rises: list[float] = []
        self._state: bool

    def _change_state(self, value: bool) -> bool:
        changed = bool(self._state != value)
        self._state = value
        if changed and value:
            self.rises.append(time.monotonic())
        return changed


def _stamps(factory: Any, number: int) -> list[float]:
    return list(factory.pin(f"GPIO{number}").rises)
