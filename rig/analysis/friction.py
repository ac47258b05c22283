"""One run file → one row: slide angle, static coefficient, uncertainty, climate, flags."""

import math
from typing import NamedTuple

from rig.analysis.angle.hinge import check_hinge
from rig.analysis.angle.plane import Array
from rig.analysis.angle.ramp import Ramp, build_ramp, rough_ramp, steps_angle
from rig.analysis.angle.smoother import build_hand_ramp, rough_hand_ramp
from rig.analysis.budget.parts import Budget, Component, component_deg
from rig.analysis.budget.run import run_budget
from rig.analysis.by_hand import hand_result
from rig.analysis.checks import check_beams, check_home, check_rate, check_slip, is_skewed
from rig.analysis.climate import run_climate
from rig.analysis.onset.edges import BeamRecord, beam_record
from rig.analysis.onset.estimate import Case, Geometry, Solved, choose, solve
from rig.analysis.onset.geometry import run_geometry
from rig.analysis.raised_by_hand import solve_uneven, uneven_parts
from rig.analysis.row import RunResult, empty_row, filled, with_break, with_climate
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.model import INVALIDATING, Flag
from rig.runfile.reader import RunFile

CROSS_SLOPE_DEG = 1.0
"""More cross slope than this is flagged."""

LEAST_ANGLE_DEG, LEAST_RATE_DEG_S = 0.5, 0.02
"""Nothing slides on a board that is flatter, or one that rises more slowly."""

UNSURE_S = 1.0
"""The onset is found for an even raise from rest. A bag that gave way as the board came to rest
after a quick start looks like one that did so up to this long after the measured raise began."""


class RunAnalysis(NamedTuple):
    """A row with what it stands on, for budgets and figures."""

    result: RunResult
    run: RunFile
    budget: Budget | None = None
    ramp: Ramp | None = None
    case: Case | None = None
    solved: Solved | None = None
    calibration: Calibration | None = None
    """The one that was used; None where there is no budget of a ramp."""


def analyse_run(run: RunFile, calibration: Calibration | None = None) -> RunAnalysis:
    """Analyse one run.

    Args:
        run: the run as read.
        calibration: used instead of the one in the run file.

    Raises:
        BadInputError: there is no calibration, or it is of another sensor than the run's.
    """
    own = run.header.calibration
    if calibration is not None and own is not None and calibration.sensor != own.sensor:
        raise BadInputError(
            f"{run.path.name} was made with the sensor {own.sensor.model} {own.sensor.identity},"
            f" and the calibration is of {calibration.sensor.model}"
            f" {calibration.sensor.identity}; name one of the run's own sensor."
        )
    calibration = calibration or own
    if calibration is None and run.header.source != "hand":
        raise BadInputError(
            f"{run.path} has no calibration of its angle sensor in it; name one (--calibration)."
        )
    flags: list[Flag] = list(run.end.flags) if run.end is not None else []
    if run.header.source == "hand" or calibration is None:
        row, hand_budget = hand_result(run, flags)
        climate = run_climate(run.climate, -math.inf, math.inf)
        return RunAnalysis(with_climate(row, climate), run, hand_budget)
    outcome = run.end.outcome if run.end is not None else "interrupted"
    if outcome == "no_slide":
        flags.append("no_slide")
    if outcome in ("stopped", "fault", "interrupted") and not INVALIDATING.intersection(flags):
        flags.append("halted")
    doubt_deg = check_home(run, calibration, flags)
    raise_s, end_s = _raise_span(run)
    climate = run_climate(run.climate, (raise_s or 0.0) - 5.0, end_s)
    if climate.drifted:
        flags.append("climate_drift")
    if "slid_early" in flags:
        # It has no measured raise: all that is known is where the quick part ended.
        return RunAnalysis(with_climate(empty_row(run, flags), climate), run)
    if raise_s is None:
        return RunAnalysis(with_climate(empty_row(run, [*flags, "halted"]), climate), run)

    response_s = run.header.settings.beam.response_ms / 1000.0
    records = [
        beam_record(run.events, index, raise_s, end_s, response_s, _lowered(run, end_s))
        for index in range(1, run.header.settings.beams + 1)
    ]
    check_beams(run, records, raise_s, flags)
    steps = steps_angle(run)
    doubt_deg = math.hypot(doubt_deg, check_slip(run, calibration, raise_s, steps, flags))
    geometry = run_geometry(run, flags)
    span_s = (raise_s, min(end_s, run.last_time_s or 0.0))
    analysis = _slide(run, calibration, records, geometry, span_s, steps, flags, doubt_deg)
    return analysis._replace(result=with_climate(analysis.result, climate))


def _slide(
    run: RunFile,
    calibration: Calibration,
    records: list[BeamRecord],
    geometry: Geometry,
    span_s: tuple[float, float],
    steps: tuple[Array, Array],
    flags: list[Flag],
    doubt_deg: float,
) -> RunAnalysis:
    raise_s, last_s = span_s
    passes = records[0].passes
    if not passes:
        flags.append("no_slide" if run.end is not None else "halted")
        return RunAnalysis(empty_row(run, flags), run)
    by_hand = run.header.raised_by == "hand"
    if by_hand:
        rough_deg, rate = rough_hand_ramp(run, calibration, passes[-1].broken_s)
    else:
        rough_deg, rate = rough_ramp(run, raise_s, passes[-1].broken_s, steps)
    case = choose(records, geometry, rough_deg, rate, last_s)
    used_s = passes[0].broken_s if case is None else case.first_edge_s
    hand = None
    if by_hand:
        last_used_s = used_s if case is None else case.last_edge_s
        hand = build_hand_ramp(run, calibration, raise_s, used_s, last_used_s)
        ramp = None if hand is None else hand.ramp
    else:
        ramp = build_ramp(run, calibration, raise_s, used_s, steps)
    if ramp is None:
        return RunAnalysis(empty_row(run, [*flags, "angle_sensor_fault"]), run)
    flags.extend(ramp.flags)
    check_hinge(run, calibration, raise_s, used_s, flags)
    if hand is None:
        check_rate(run, ramp, used_s, flags)
    if abs(ramp.cross_slope_deg) > CROSS_SLOPE_DEG:
        flags.append("cross_slope")
    if case is None:
        # The beam broke and the bag did not follow: slump, a stall, the catch or a bent board.
        row = empty_row(run, [*flags, "edge_crept", "stalled_in_slide", "no_slide"])
        return RunAnalysis(with_break(row, passes[0].broken_s, ramp), run, ramp=ramp)

    flags.extend(case.flags)
    response_ms = run.header.settings.beam.u_response_ms
    angle, rate = float(ramp.angle_deg(used_s)), ramp.rate_deg_s(used_s)
    is_raised = angle > LEAST_ANGLE_DEG and rate > LEAST_RATE_DEG_S
    found = solve(case, geometry, angle, rate, response_ms) if is_raised else None
    if hand is not None and found is not None:
        found = solve_uneven(case, geometry, ramp, found, response_ms)
    if (
        found is not None
        and run.header.approach_deg is not None
        and found.onset_s < raise_s + UNSURE_S
    ):
        # It began to slide in the quick part, or may have, and passed the beam after it.
        return RunAnalysis(empty_row(run, [*flags, "slid_early"]), run, None, ramp, case)
    if found is None or found.too_quick or found.onset_s < raise_s - 0.2:
        # Faster than a body without friction, or before the raise: no edge of a slide.
        row = empty_row(run, [*flags, "beam_fault"])
        return RunAnalysis(with_break(row, case.first.broken_s, ramp), run, None, ramp, case)
    if found.flag is not None:
        flags.append(found.flag)
    if case.kind == "clear_only" or (case.kind == "second" and not geometry.may_slump_through):
        # Slump, a stall and a bent board look alike here; a value is given, but not as valid.
        flags.append("beam_fault")
    budget = run_budget(run, calibration, ramp, found, geometry)
    if hand is not None:
        budget.components.extend(uneven_parts(run, hand, found, flags))
    if is_skewed(found):
        flags.append("skew_suspected")
    if found.flag == "creep":
        moved_deg = float(ramp.angle_deg(case.first.broken_s) - ramp.angle_deg(found.onset_s))
        budget.components.append(_doubt("misfit of the law", moved_deg))
    if doubt_deg > 0.0:
        budget.components.append(_doubt("sensor that may have slipped", doubt_deg))
    row = filled(empty_row(run, flags), found, ramp, budget, geometry)
    row = with_break(row, case.first.broken_s, ramp)
    return RunAnalysis(row, run, budget, ramp, case, found, calibration)


def _doubt(name: str, most_deg: float) -> Component:
    """An error of which is only known that it lies between none and this."""
    u = abs(most_deg) / math.sqrt(3.0)
    return component_deg(name, u, "series", "rectangular")


def _raise_span(run: RunFile) -> tuple[float | None, float]:
    """When the raise started (None: never) and when it surely had ended."""
    raise_s: float | None = None
    for event in run.events:
        state = event.detail.get("state") if event.event == "state" else None
        if event.event == "raise_started" or (raise_s is None and state == "raising"):
            raise_s = event.t_s
        elif raise_s is not None and state in ("lowering", "parked", "halted"):
            return raise_s, event.t_s
    return raise_s, math.inf


def _lowered(run: RunFile, end_s: float) -> float:
    """When the board was down again after the raise."""
    for event in run.events:
        if event.event == "state" and event.t_s > end_s:
            return event.t_s
    return math.inf
