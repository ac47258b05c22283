"""One run file → one row: slide angle, static coefficient, uncertainty, climate, flags."""

import math
from typing import NamedTuple

import msgspec
import numpy as np

from rig.analysis.angle import Ramp, build_ramp
from rig.analysis.budget import Variation, run_budget, u_misfit_mm, u_solved_mm, vary
from rig.analysis.climate import RunClimate, run_climate
from rig.analysis.edges import MOST_EDGES, BeamRecord, beam_record, slide_time_s
from rig.analysis.estimate import Case, Geometry, Method, Solved, choose, solve
from rig.analysis.onset import NoOnset
from rig.analysis.uncertainty import Budget, Component, u_of_tangent
from rig.calibration.file import parse_utc
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.model import INVALIDATING, Flag
from rig.runfile.reader import RunFile

CROSS_SLOPE_DEG = 1.0
HOME_DEG = 0.3
"""Beyond these the run is flagged `cross_slope` or `floor_tilt`."""

PLAUSIBLE_RATIO = 0.2
"""A kinetic coefficient below this part of the static one says that the law doesn't fit."""

BAG_LENGTH_MM = 152.0
GAP_MM = 8.0
"""Taken, with a wide uncertainty and a flag, where neither plan nor event says more."""


ONE_SIDED = math.sqrt(3.0) / 2.0
"""A bag that was laid down askew is longer along the slide, never shorter. If its lengthening lies
anywhere between 0 and √3·u, its root mean square is u and its mean is this part of u."""


class RunResult(msgspec.Struct, frozen=True, kw_only=True):
    """One row of results; units are in the names, None is "not known"."""

    run_file: str
    run_id: str
    valid: bool
    bag: str | None
    face: str | None
    set: str | None
    board: str | None
    treatment_stage: str | None
    session: str | None
    series: str | None
    slide_number: int | None
    onset_angle_deg: float | None = None
    u_onset_angle_deg: float | None = None
    mu_static: float | None = None
    u_mu_static: float | None = None
    mu_kinetic: float | None = None
    u_mu_kinetic: float | None = None
    angle_at_break_deg: float | None = None
    onset_method: Method | None = None
    rate_deg_s: float
    dwell_s: float
    gap_mm: float | None = None
    bag_length_mm: float | None = None
    cross_slope_deg: float | None = None
    temperature_c: float | None = None
    u_temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    u_relative_humidity_pct: float | None = None
    absolute_humidity_g_m3: float | None = None
    dew_point_c: float | None = None
    surface_humidity_pct: float | None = None
    flags: list[Flag]
    outcome: str


class RunAnalysis(NamedTuple):
    """A row with what it stands on, for budgets and figures."""

    result: RunResult
    run: RunFile
    budget: Budget | None = None
    ramp: Ramp | None = None
    case: Case | None = None
    solved: Solved | None = None


def analyse_run(run: RunFile, calibration: Calibration | None = None) -> RunAnalysis:
    """Analyse one run.

    Args:
        run: the run as read.
        calibration: used instead of the one in the run file.

    Raises:
        BadInputError: there is no calibration.
    """
    calibration = calibration or run.header.calibration
    if calibration is None and run.header.source != "hand":
        raise BadInputError(
            f"{run.path} has no calibration of its angle sensor in it; name one (--calibration)."
        )
    flags: list[Flag] = list(run.end.flags) if run.end is not None else []
    if run.header.source == "hand" or calibration is None:
        return _by_hand(run, flags)
    outcome = run.end.outcome if run.end is not None else "interrupted"
    if outcome == "no_slide":
        flags.append("no_slide")
    if outcome in ("stopped", "fault") and not INVALIDATING.intersection(flags):
        flags.append("halted")
    _check_home(run, calibration, flags)
    raise_s, end_s = _raise_span(run)
    climate = run_climate(run.climate, (raise_s or 0.0) - 5.0, end_s)
    if climate.drifted:
        flags.append("climate_drift")
    if raise_s is None:
        return RunAnalysis(_row(run, [*flags, "halted"], climate), run)

    beam = run.header.settings.beam
    records = [
        beam_record(run.events, index, raise_s, end_s, beam.response_ms / 1000.0)
        for index in range(1, run.header.settings.beams + 1)
    ]
    _check_beams(run, records, raise_s, flags)
    geometry = _geometry(run, flags)
    last_s = min(end_s, _last_time(run))
    analysis = _slide(run, calibration, records, geometry, (raise_s, last_s), flags)
    return analysis._replace(result=_with_climate(analysis.result, climate))


def _slide(
    run: RunFile,
    calibration: Calibration,
    records: list[BeamRecord],
    geometry: Geometry,
    span_s: tuple[float, float],
    flags: list[Flag],
) -> RunAnalysis:
    raise_s, last_s = span_s
    rate = run.header.rate_deg_s
    nothing = RunClimate()
    if not records[0].passes:
        flags.append("no_slide" if run.end is not None else "halted")
        return RunAnalysis(_row(run, flags, nothing), run)
    # The bound on the time of a pass hardly depends on the angle; a first guess will do.
    case = choose(records, geometry, 25.0, rate, last_s)
    ramp = build_ramp(run, calibration, raise_s, records[0].passes[0].broken_s)
    if case is not None and case.first_edge_s > records[0].passes[0].broken_s:
        ramp = build_ramp(run, calibration, raise_s, case.first_edge_s)
    if ramp is None:
        return RunAnalysis(_row(run, [*flags, "angle_sensor_fault"], nothing), run)
    flags.extend(ramp.flags)
    if abs(ramp.cross_slope_deg) > CROSS_SLOPE_DEG:
        flags.append("cross_slope")
    if case is None:
        # The beam broke and never came free: slump, a stall or a bag on the catch look alike.
        row = _row(run, [*flags, "edge_crept", "stalled_in_slide", "no_slide"], nothing)
        return RunAnalysis(_with_break(row, records[0].passes[0].broken_s, ramp), run, ramp=ramp)

    angle = float(ramp.angle_deg(case.first_edge_s))
    reach = geometry.to_clear_mm + geometry.spacing_mm
    longest = 1.5 * slide_time_s(reach, max(angle, 0.0), max(rate, 0.02)) + 0.3
    earliest_s = max(case.first_edge_s - longest, raise_s - 0.2)
    plane = ramp.plane(earliest_s - 0.05, case.last_edge_s + 0.05)
    found = solve(case, plane, geometry, earliest_s)
    if isinstance(found, NoOnset) and found.why == "late" and case.first.clear_s is not None:
        case = Case("clear_only", case.first, None, ("edge_crept", "gap_unknown"))
        found = solve(case, plane, geometry, earliest_s)
    flags.extend(case.flags)
    if isinstance(found, NoOnset):
        # Faster than a body without friction, or before the raise: no edge of a slide.
        row = _row(run, [*flags, "beam_fault"], nothing)
        return RunAnalysis(_with_break(row, case.first.broken_s, ramp), run, None, ramp, case)
    u_response_ms = run.header.settings.beam.u_response_ms
    variations = vary(case, plane, geometry, earliest_s, u_response_ms)
    budget = run_budget(run, calibration, ramp, found, variations)
    _check_law(found, geometry, ramp, variations, flags)
    row = _filled(_row(run, flags, nothing), found, ramp, budget, geometry)
    return RunAnalysis(_with_break(row, case.first.broken_s, ramp), run, budget, ramp, case, found)


def _check_law(
    found: Solved,
    geometry: Geometry,
    ramp: Ramp,
    variations: list[Variation],
    flags: list[Flag],
) -> None:
    """Flag what Coulomb friction with the stated distances can't explain."""
    mu_static = math.tan(math.radians(float(ramp.angle_deg(found.onset_s))))
    u_misfit = max(u_misfit_mm(found, variations), geometry.u_to_break_mm)
    crept = found.misfit_mm > 3.0 * u_misfit
    if found.gap_mm is not None and found.length_mm is not None:
        u_gap = math.hypot(geometry.u_to_break_mm, u_solved_mm(found, variations, "gap_mm"))
        u_length = math.hypot(geometry.u_length_mm, u_solved_mm(found, variations, "length_mm"))
        longer = found.length_mm - geometry.length_mm
        crept = crept or abs(found.gap_mm - geometry.to_break_mm) > 3.0 * u_gap
        crept = crept or abs(longer) > 3.0 * u_length
        if longer > 2.0 * u_length:
            flags.append("skew_suspected")
    if found.mu_kinetic is not None:
        crept = crept or found.mu_kinetic < PLAUSIBLE_RATIO * mu_static
    if crept:
        flags.append("creep")


def _check_home(run: RunFile, calibration: Calibration, flags: list[Flag]) -> None:
    if parse_utc(run.header.started_at) > parse_utc(calibration.due_at):
        flags.append("calibration_overdue")
    home = run.first_event("home_reading")
    if home is None:
        return
    for key, expected in (
        ("angle_deg", calibration.home_angle_deg),
        ("cross_deg", calibration.home_cross_deg),
    ):
        value = home.detail.get(key)
        if isinstance(value, int | float) and abs(value - expected) > HOME_DEG:
            flags.append("floor_tilt")


def _check_beams(
    run: RunFile, records: list[BeamRecord], raise_s: float, flags: list[Flag]
) -> None:
    dwell = [
        event.t_s
        for event in run.events
        if event.event == "state" and event.detail.get("state") == "dwelling"
    ]
    from_s = max((t_s for t_s in dwell if t_s <= raise_s), default=raise_s)
    broken = any(
        event.event == "beam_broken" and from_s <= event.t_s < raise_s for event in run.events
    )
    if any(record.broken_at_start for record in records):
        flags.append("moved_before_raise" if broken else "beam_fault")
    elif broken or any(record.disturbances for record in records):
        flags.append("early_disturbance")
    if any(record.edges > MOST_EDGES for record in records):
        flags.append("beam_fault")


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


def _last_time(run: RunFile) -> float:
    times = [
        *(line.t_s for line in run.samples[-1:]),
        *(line.t_s for line in run.steps[-1:]),
        *(line.t_s for line in run.events[-1:]),
    ]
    return max(times, default=0.0)


def _number(value: object) -> float | None:
    sound = isinstance(value, int | float) and math.isfinite(value)
    return float(value) if sound else None  # type: ignore[arg-type]


def _geometry(run: RunFile, flags: list[Flag]) -> Geometry:
    """The distances: what was placed counts before what was planned."""
    header = run.header
    placed = [event.detail for event in run.events if event.event == "placed"]
    detail = placed[-1] if placed else {}
    gap = _number(detail.get("gap_mm"))
    u_gap = _number(detail.get("u_gap_mm"))
    if gap is None:
        gap, u_gap = header.gap_mm, header.u_gap_mm if u_gap is None else u_gap
    if gap is None:
        flags.append("gap_unknown")
        gap, u_gap = GAP_MM, 4.0
    settings = header.settings
    length, u_length = header.bag_length_mm, header.u_bag_length_mm
    if length is None:
        length, u_length = BAG_LENGTH_MM, 10.0
    u_length = 4.0 if u_length is None else u_length
    if header.placing == "hand":
        length += ONE_SIDED * u_length
    return Geometry(
        gap_mm=gap,
        u_gap_mm=1.0 if u_gap is None else u_gap,
        slump_mm=settings.slump_mm,
        u_slump_mm=settings.u_slump_mm,
        length_mm=length,
        u_length_mm=u_length,
        spacing_mm=settings.beam.second_spacing_mm,
        u_spacing_mm=settings.beam.u_second_spacing_mm,
    )


def _row(run: RunFile, flags: list[Flag], climate: RunClimate) -> RunResult:
    header = run.header
    once = list(dict.fromkeys(flags))
    row = RunResult(
        run_file=str(run.path),
        run_id=header.run_id,
        valid=False,
        bag=header.bag,
        face=header.face,
        set=header.set,
        board=header.board,
        treatment_stage=header.treatment_stage,
        session=header.session,
        series=header.series,
        slide_number=header.slide_number,
        rate_deg_s=header.rate_deg_s,
        dwell_s=_dwell(run),
        gap_mm=header.gap_mm,
        bag_length_mm=header.bag_length_mm,
        flags=once,
        outcome=run.end.outcome if run.end is not None else "interrupted",
    )
    return _with_climate(row, climate)


def _dwell(run: RunFile) -> float:
    started = run.first_event("raise_started")
    measured = _number(started.detail.get("dwell_s")) if started is not None else None
    return run.header.dwell_s if measured is None else measured


def _with_climate(row: RunResult, climate: RunClimate) -> RunResult:
    return msgspec.structs.replace(
        row,
        temperature_c=climate.temperature_c,
        u_temperature_c=climate.u_temperature_c,
        relative_humidity_pct=climate.relative_humidity_pct,
        u_relative_humidity_pct=climate.u_relative_humidity_pct,
        absolute_humidity_g_m3=climate.absolute_humidity_g_m3,
        dew_point_c=climate.dew_point_c,
        surface_humidity_pct=climate.surface_humidity_pct,
    )


def _with_break(row: RunResult, break_s: float, ramp: Ramp) -> RunResult:
    return msgspec.structs.replace(
        row,
        angle_at_break_deg=float(ramp.angle_deg(break_s)),
        cross_slope_deg=ramp.cross_slope_deg,
    )


def _filled(
    row: RunResult, found: Solved, ramp: Ramp, budget: Budget, geometry: Geometry
) -> RunResult:
    angle = float(ramp.angle_deg(found.onset_s))
    u_angle = budget.u_onset_angle_deg()
    return msgspec.structs.replace(
        row,
        valid=not INVALIDATING.intersection(row.flags),
        onset_angle_deg=angle,
        u_onset_angle_deg=u_angle,
        mu_static=math.tan(math.radians(angle)),
        u_mu_static=u_of_tangent(angle, u_angle),
        mu_kinetic=found.mu_kinetic,
        u_mu_kinetic=None if found.mu_kinetic is None else budget.u_mu_kinetic(),
        onset_method=found.method,
        gap_mm=geometry.gap_mm if found.gap_mm is None else found.gap_mm + geometry.slump_mm,
        bag_length_mm=row.bag_length_mm if found.length_mm is None else found.length_mm,
    )


def _by_hand(run: RunFile, flags: list[Flag]) -> RunAnalysis:
    """A slide angle that a person read off: event `hand_reading` {"angle_deg", "u_angle_deg"}."""
    climate = run_climate(run.climate, -math.inf, math.inf)
    readings = [event.detail for event in run.events if event.event == "hand_reading"]
    angle = _number(readings[-1].get("angle_deg")) if readings else None
    if angle is None:
        return RunAnalysis(_row(run, [*flags, "no_slide"], climate), run)
    u_angle = _number(readings[-1].get("u_angle_deg"))
    u_angle = 0.5 if u_angle is None else u_angle
    part = Component(
        name="reading",
        u_value=u_angle,
        unit="deg",
        distribution="normal",
        sensitivity=1.0,
        u_theta_deg=u_angle,
        layer="run",
    )
    row = _row(run, flags, climate)
    row = msgspec.structs.replace(
        row,
        valid=not INVALIDATING.intersection(row.flags),
        onset_angle_deg=angle,
        u_onset_angle_deg=u_angle,
        mu_static=float(np.tan(np.radians(angle))),
        u_mu_static=u_of_tangent(angle, u_angle),
        onset_method="by_hand",
    )
    return RunAnalysis(row, run, Budget(onset_angle_deg=angle, components=[part]))
