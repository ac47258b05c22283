"""Home readings out of run files, beside what the raise says of sensor and hinge."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct

from rig.analysis.angle.ramp import sound_steps
from rig.calibration.apply import along_slope_deg, gravity_g
from rig.calibration.history import HomeRecord
from rig.calibration.home import axis_shift_deg, home_shift_deg
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.files.stamps import parse_utc
from rig.runfile.glance import glance
from rig.runfile.reader import RunFile, find_runs, read_run
from rig.settings.kinematics import Kinematics

BLOCK = 20
BEND_OVER_DEG = 20.0
MIN_RAISE_DEG = 10.0


class HomeReading(Struct, frozen=True, kw_only=True):
    """One run's home reading, as a shift from that of its calibration."""

    started_at: str
    calibration_made_at: str
    along_deg: float
    across_deg: float
    axis_shift_deg: float | None
    bend_deg: float | None


def home_reading(run: RunFile) -> HomeReading | None:
    """What a run says of its home; None if it has no calibration or no such reading."""
    event, calibration = run.first_event("home_reading"), run.header.calibration
    if event is None or calibration is None:
        return None
    try:
        angle, cross = float(event.detail["angle_deg"]), float(event.detail["cross_deg"])
        parse_utc(run.header.started_at)  # its place in the history
    except (KeyError, TypeError, ValueError):
        return None
    along, across = home_shift_deg(calibration, angle, cross)
    shift, bend = _of_raise(run, calibration)
    return HomeReading(
        started_at=run.header.started_at,
        calibration_made_at=calibration.made_at,
        along_deg=along,
        across_deg=across,
        axis_shift_deg=shift,
        bend_deg=bend,
    )


def home_readings(paths: Sequence[Path], made_at: str | None = None) -> list[HomeReading]:
    """The home readings of one calibration in run files, and in all of folders.

    Of runs with another calibration only the first line is read; files that can't be read are
    left out.

    Args:
        paths: files and folders.
        made_at: which calibration; the newest one with a reading if not given.

    Raises:
        BadInputError: a path does not exist.
    """
    with_calibration: dict[str, list[Path]] = {}
    for path in find_runs(paths):
        try:
            calibration = glance(path).header.calibration
        except BadInputError:
            continue
        if calibration is not None:
            with_calibration.setdefault(calibration.made_at, []).append(path)
    for date in sorted(with_calibration, reverse=True) if made_at is None else [made_at]:
        if found := list(_readings(with_calibration.get(date, ()))):
            return found
    return []


def _readings(paths: Iterable[Path]) -> Iterator[HomeReading]:
    for path in paths:
        try:
            reading = home_reading(read_run(path))
        except BadInputError:
            continue
        if reading is not None:
            yield reading


def home_records(
    readings: Iterable[HomeReading], made_at: str | None = None
) -> tuple[str | None, list[HomeRecord]]:
    """The readings of one calibration's life, in order of time.

    Args:
        readings: of any runs.
        made_at: which calibration; the newest one if not given.

    Returns:
        The calibration's date (None without any reading) and the records.
    """
    readings = list(readings)
    wanted = made_at or max((one.calibration_made_at for one in readings), default=None)
    chosen = [one for one in readings if one.calibration_made_at == wanted]
    chosen.sort(key=lambda one: one.started_at)
    days = [parse_utc(one.started_at).timestamp() / 86400.0 for one in chosen]
    return wanted, [
        HomeRecord(
            one.started_at,
            day - days[0],
            one.along_deg,
            one.across_deg,
            one.axis_shift_deg,
            one.bend_deg,
        )
        for one, day in zip(chosen, days, strict=True)
    ]


def _of_raise(run: RunFile, calibration: Calibration) -> tuple[float | None, float | None]:
    """Shift of the hinge and bend, from the dense samples before the first break."""
    begun, broken = run.first_event("raise_started"), run.first_event("beam_broken")
    ended = broken or run.first_event("raise_ended")
    if begun is None or ended is None:
        return None, None
    t_s, counts = run.samples_arrays()
    linkage = Kinematics(run.header.settings.linkage, run.header.settings.screw)
    steps_s, steps, _ = sound_steps(run, linkage)
    chosen = (t_s > begun.t_s + 1.0) & (t_s < ended.t_s)
    used = int(chosen.sum()) // BLOCK * BLOCK
    if used < 10 * BLOCK or len(steps_s) < 3:
        return None, None
    gravity = gravity_g(calibration, counts[chosen][:used]).reshape(-1, BLOCK, 3).mean(axis=1)
    times = t_s[chosen][:used].reshape(-1, BLOCK).mean(axis=1)
    times = times - calibration.filter_delay_ms / 1000.0
    by_steps = linkage.angle_deg(np.interp(times, steps_s, steps))
    if np.ptp(by_steps) < MIN_RAISE_DEG:
        return None, None
    difference = along_slope_deg(calibration, gravity) - by_steps
    slope = float(np.polyfit(by_steps, difference, 1)[0])
    try:
        shift, _ = axis_shift_deg(calibration, gravity)
    except BadInputError:
        return None, slope * BEND_OVER_DEG
    return shift, slope * BEND_OVER_DEG
