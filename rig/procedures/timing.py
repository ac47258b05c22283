"""Regularity of this computer's step pulses, compared with two common ways to make them.

The pulses go to the step pin of the opened rig, real or simulated, with the motor's driver off, so
nothing moves. The times at which the program writes to the pin are measured while the angle sensor
is sampled and its samples are written to a file.
"""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from gpiozero import DigitalOutputDevice
from numpy.typing import NDArray

from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.recorder import Recorder
from rig.control.request import RunRequest
from rig.devices.stepper import Stepper
from rig.files.stamps import utc_text
from rig.procedures.header import make_header
from rig.runfile.model import State
from rig.runfile.writer import RunWriter, new_run_id, run_path

RATES_HZ = (500, 1000, 2000)
WAY_OWN, WAY_SLEEP, WAY_BLINK = "rig's pulse train", "loop with time.sleep", "gpiozero blink"
TO_RAISING: tuple[State, ...] = ("homing", "placing", "dwelling", "raising")


class Timing(NamedTuple):
    """Deviation of the intervals between pulses from the target."""

    way: str
    rate_hz: int
    pulses: int
    median_us: float
    p99_us: float
    worst_us: float
    real_rate_hz: float
    """Pulses made per second, overall."""


def measure_timing(
    machine: Machine, request: RunRequest, folder: Path, seconds: float
) -> Task[list[Timing]]:
    """Task: measure all ways at all rates, one after the other, under the same load.

    The machine's own stepper is closed, its driver off; the machine can no longer move.

    Args:
        machine: opened, on a real clock, with its watching tasks running.
        request: for the header of the file that the samples go to.
        folder: for that file.
        seconds: pulsing time of each way at each rate.
    """
    clock = machine.clock
    utc = clock.utc_now()
    run_id = new_run_id(utc)
    header = make_header(machine, request, run_id, utc_text(utc, "milliseconds"), "hand")
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
    machine.stepper.close()
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


class _Unpowered(Stepper):
    """Makes pulses although its driver stays off."""

    @property
    def enabled(self) -> bool:
        """As required by `Stepper.move`; the enable line stays low."""
        return True


def _own(machine: Machine, rate_hz: int, n: int) -> Task[list[float]]:
    """The pulse train that moves the board; times are taken where it checks the stop's level."""
    settings = machine.settings
    times: list[float] = []

    def stamp() -> bool:
        times.append(time.monotonic())
        return False

    stepper = _Unpowered(
        machine.clock,
        machine.pin_factory,
        settings.pins,
        settings.screw,
        late_pulse_ms=200.0,
        must_stop=stamp,
    )
    with stepper:
        yield from stepper.move(_Even(rate_hz, n))
    return times


def _sleep(machine: Machine, rate_hz: int, n: int) -> Task[list[float]]:
    clock = machine.clock
    yield At(clock.time_s())
    stamps: list[float] = []
    with _driver_off(machine), _Stamped(machine, stamps) as device:
        for _ in range(n):
            device.on()
            clock.pause_s(0.5 / rate_hz)
            device.off()
            clock.pause_s(0.5 / rate_hz)
    return stamps


def _blink(machine: Machine, rate_hz: int, n: int) -> Task[list[float]]:
    yield At(machine.clock.time_s())
    stamps: list[float] = []
    with _driver_off(machine), _Stamped(machine, stamps) as device:
        device.blink(0.5 / rate_hz, 0.5 / rate_hz, n=n, background=False)
    return stamps


def _driver_off(machine: Machine) -> DigitalOutputDevice:
    """Hold the enable line low."""
    return DigitalOutputDevice(machine.settings.pins.enable, pin_factory=machine.pin_factory)


class _Stamped(DigitalOutputDevice):  # type: ignore[misc] # gpiozero has no types
    """The step line; notes the time just before each rising edge."""

    def __init__(self, machine: Machine, stamps: list[float]) -> None:
        self._stamps = stamps
        super().__init__(machine.settings.pins.step, pin_factory=machine.pin_factory)

    def _write(self, value: Any) -> None:
        if value:
            self._stamps.append(time.monotonic())
        super()._write(value)
