"""A series on the twin in real time with a cycle of about three seconds, as a process of its own.

`python -m tests.faults.quick_series FOLDER N` begins a series of N runs in an empty folder, or goes
on with the one that is unfinished there, with the code behind `rig run` and `rig run --resume`.
"""

import sys
from pathlib import Path
from typing import Literal

from rig.clock import Task
from rig.control import cycle, homing
from rig.control.mover import Mover
from rig.control.placing import Placed
from rig.control.process.signals import stop_on_signals
from rig.control.request import RunRequest
from rig.opening import OpenRig, open_twin
from rig.procedures.requests import plan_series
from rig.procedures.series.log import SeriesLog, SeriesOptions
from rig.procedures.series.series import Hooks, SeriesMaker, begin_series
from rig.settings.model import BagSettings, CycleSettings, Interlocks, MotionSettings, Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face

SETTINGS = Settings(
    cycle=CycleSettings(dwell_s=0.05, after_clear_s=0.0, placing_timeout_s=20.0),
    motion=MotionSettings(
        rate_deg_s=3.0, homing_rate_deg_s=3.0, acceleration_deg_s2=20.0, ramp_jerk_deg_s3=400.0
    ),
    bag=BagSettings(length_mm=40.0, width_mm=40.0, gap_mm=4.0),
    # The tests share their computer with others; what is tested here is not the timing.
    interlocks=Interlocks(late_pulse_ms=200.0, imu_silence_s=8.0, angle_mismatch_deg=5.0),
)
SCENARIO = changed(draw_scenario(3, face=plain_face(0.03, 0.02)), board={"start_angle_deg": 0.4})


class InstantPlacing:
    """The bag is back at once."""

    kind: Literal["hand", "blade"] = "hand"

    def __init__(self, opened: OpenRig) -> None:
        self._opened = opened

    def place(self, mover: Mover, request: RunRequest) -> Task[Placed]:
        """See `Placing.place`."""
        assert self._opened.twin is not None
        self._opened.twin.world.place_bag()
        yield from mover.wait_s(0.01)
        return Placed(request.gap_mm, request.u_gap_mm)


def main(folder: Path, n: int) -> None:
    """Make what is left."""
    cycle.HOME_SETTLE_S, cycle.HOME_CAPTURE_S = 0.05, 0.25
    homing.SLOW_FACTOR = homing.CAREFUL_FACTOR = 1.0
    opened = open_twin(SETTINGS, SCENARIO, 3, "real")
    machine = opened.machine
    with SeriesLog(folder) as log:
        log.settle(machine.clock.utc_now())
        series = log.unfinished()
        if series is None:
            if log.entries:
                return
            now = machine.clock.utc_now()
            asked = plan_series(SETTINGS, n, source="twin", started=now, bag="Test bag")
            series = begin_series(log, asked, SeriesOptions(), now)
        with stop_on_signals(machine.events), opened:
            maker = SeriesMaker(machine, log, series, Hooks())
            opened.run(maker.make(start_now=True, placing=InstantPlacing(opened)))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
