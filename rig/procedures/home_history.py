"""Home readings out of run files."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np

from rig.calibration.apply import along_slope_deg, gravity_g
from rig.calibration.history import HomeRecord
from rig.calibration.home import axis_shift_deg, home_shift_deg
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.reader import RunFile, find_runs, read_run
from rig.settings.kinematics import Linkage

BLOCK = 20
BEND_OVER_DEG = 20.0
MIN_RAISE_DEG = 10.0


def home_records(
    paths: Sequence[Path], made_at: str | None = None
) -> tuple[str | None, list[HomeRecord]]:
    """Home readings of one calibration's life, in order of time.

    Args:
        paths: run files or folders of them.
        made_at: which calibration; the newest one found in the runs if not given.

    Returns:
        The calibration's date (None if no run has a home reading) and the records.

    Raises:
        BadInputError: a path does not exist.
    """
    runs = []
    for path in find_runs(paths):
        try:
            run = read_run(path)
        except BadInputError:
            continue
        if run.header.calibration is not None and run.first_event("home_reading") is not None:
            runs.append((run, run.header.calibration))
    if not runs:
        return None, []
    wanted = made_at or max(calibration.made_at for _, calibration in runs)
    chosen = [(run, made) for run, made in runs if made.made_at == wanted]
    chosen.sort(key=lambda pair: pair[0].header.started_at)
    if not chosen:
        return wanted, []
    first = datetime.fromisoformat(chosen[0][0].header.started_at)
    return wanted, [_record(run, made, first) for run, made in chosen]


def _record(run: RunFile, calibration: Calibration, first: datetime) -> HomeRecord:
    event = run.first_event("home_reading")
    assert event is not None  # noqa: S101 - only such runs are chosen
    started = run.header.started_at
    shift, bend = _of_raise(run, calibration)
    detail = event.detail
    along, across = home_shift_deg(
        calibration, float(detail["angle_deg"]), float(detail["cross_deg"])
    )
    return HomeRecord(
        started,
        (datetime.fromisoformat(started) - first).total_seconds() / 86400.0,
        along,
        across,
        shift,
        bend,
    )


def _of_raise(run: RunFile, calibration: Calibration) -> tuple[float | None, float | None]:
    """Shift of the hinge and bend, from the dense samples before the first break."""
    begun, broken = run.first_event("raise_started"), run.first_event("beam_broken")
    ended = broken or run.first_event("raise_ended")
    if begun is None or ended is None:
        return None, None
    t_s, counts = run.samples_arrays()
    steps_s, steps = run.steps_arrays()
    chosen = (t_s > begun.t_s + 1.0) & (t_s < ended.t_s)
    used = int(chosen.sum()) // BLOCK * BLOCK
    if used < 10 * BLOCK or len(steps_s) < 3:
        return None, None
    gravity = gravity_g(calibration, counts[chosen][:used]).reshape(-1, BLOCK, 3).mean(axis=1)
    times = t_s[chosen][:used].reshape(-1, BLOCK).mean(axis=1)
    times = times - calibration.filter_delay_ms / 1000.0
    linkage = Linkage(run.header.settings.linkage, run.header.settings.screw)
    by_steps = linkage.angle_deg(np.interp(times, steps_s, steps.astype(float)))
    if np.ptp(by_steps) < MIN_RAISE_DEG:
        return None, None
    difference = along_slope_deg(calibration, gravity) - by_steps
    slope = float(np.polyfit(by_steps, difference, 1)[0])
    try:
        shift, _ = axis_shift_deg(calibration, gravity)
    except BadInputError:
        return None, slope * BEND_OVER_DEG
    return shift, slope * BEND_OVER_DEG
