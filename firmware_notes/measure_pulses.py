"""How late the pulse thread wakes on this machine: real clock, pins that do nothing.

    python firmware_notes/measure_pulses.py [seconds]

It says what the scheduler and Python add, and nothing about a Raspberry Pi unless it runs on one.
"""

import os
import platform
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
from gpiozero.pins.mock import MockFactory, MockPin

from rig.clock import RealClock
from rig.devices.stepper import Stepper
from rig.motion.ramp import plan_move
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings


def measure(seconds: float) -> list[float]:
    """Lateness of each pulse in µs, raising at the settings' rate from 25°."""
    settings, clock = Settings(), RealClock()
    linkage = Kinematics(settings.linkage, settings.screw)
    motion = settings.motion
    begin = round(linkage.count_at(25.0))
    plan = plan_move(
        linkage,
        begin,
        motion.rate_deg_s,
        motion.acceleration_deg_s2,
        motion.ramp_jerk_deg_s3,
        to_angle_deg=25.0 + motion.rate_deg_s * seconds,
    )
    made_s: list[float] = []

    class StepPin(MockPin):
        """Notes the time of each rising edge and keeps nothing else."""

        def _set_state(self, value: Any) -> None:
            if value:
                made_s.append(clock.time_s())

    factory = MockFactory()
    stepper = Stepper(clock, factory, settings.pins, settings.screw)
    take: Callable[..., Any] = factory.pin
    take(settings.pins.step, pin_class=StepPin)
    with stepper:
        stepper.enable()
        clock.run(stepper.move(plan))
    times = np.array(made_s[-plan.times_s.size :])
    offset = np.min(times - plan.times_s)
    return list((times - plan.times_s - offset) * 1e6)


if __name__ == "__main__":
    late_us = np.array(measure(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0))
    median, high, highest = np.percentile(late_us, [50, 99, 99.9])
    print(f"{platform.machine()}, {os.cpu_count()} cores, Linux {platform.release()}")
    print(
        f"{late_us.size} pulses: median {median:.0f} µs, 99 % {high:.0f} µs, "
        f"99.9 % {highest:.0f} µs, worst {late_us.max():.0f} µs late; "
        f"load {os.getloadavg()[0]:.1f}"
    )
