"""The row of results that one run gives, and how it is filled in."""

import math
from typing import Literal

import msgspec

from rig.analysis.angle.ramp import Ramp
from rig.analysis.budget.parts import COMPARING, Budget, u_of_tangent
from rig.analysis.climate import RunClimate
from rig.analysis.onset.estimate import Geometry, Method, Solved
from rig.runfile.model import INVALIDATING, Flag, method_of
from rig.runfile.reader import RunFile


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
    friction_law: Literal["stated_range", "checked"] = "stated_range"
    """What stands for it in the uncertainty: an allowance, or also a check at a second rate."""
    u_onset_angle_absolute_deg: float | None = None
    """In itself; `u_onset_angle_deg` is for comparing with other slides of this rig and rate."""
    u_mu_static_absolute: float | None = None
    mu_kinetic_speed_m_s: float | None = None
    """Mean speed of the bag between the edges, which `mu_kinetic` holds for."""
    method: str | None = None
    """How the board was raised, as `quick 0.3 °/s`; None by hand."""
    purpose: Literal["bridge", "check"] | None = None
    quick_start_deg: float | None = None
    """The board went fast up to here; a bag that slid early did so below it."""
    raised_by: Literal["motor", "hand"] | None = None
    """What raised the board; None for a slide that was read by hand."""


def number(value: object) -> float | None:
    """A finite number of an event's detail, or None."""
    sound = isinstance(value, int | float) and math.isfinite(value)
    return float(value) if sound else None  # type: ignore[arg-type]


def empty_row(run: RunFile, flags: list[Flag]) -> RunResult:
    """A row that is not valid, with what the header and the end of the file say."""
    header = run.header
    once = list(dict.fromkeys(flags))
    return RunResult(
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
        method=None if header.source == "hand" else method_of(header),
        purpose=header.purpose,
        quick_start_deg=header.approach_deg,
        raised_by=None if header.source == "hand" else header.raised_by,
    )


def _dwell(run: RunFile) -> float:
    started = run.first_event("raise_started")
    measured = number(started.detail.get("dwell_s")) if started is not None else None
    return run.header.dwell_s if measured is None else measured


def with_climate(row: RunResult, climate: RunClimate) -> RunResult:
    """The row with its climate."""
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


def with_break(row: RunResult, break_s: float, ramp: Ramp) -> RunResult:
    """The row with the inclination at the break, uncorrected, and the cross slope."""
    return msgspec.structs.replace(
        row,
        angle_at_break_deg=float(ramp.angle_deg(break_s)),
        cross_slope_deg=ramp.cross_slope_deg,
    )


def filled(
    row: RunResult, found: Solved, ramp: Ramp, budget: Budget, geometry: Geometry
) -> RunResult:
    """The row with its onset; valid unless a flag forbids it."""
    angle = float(ramp.angle_deg(found.onset_s))
    mu_kinetic = found.mu_kinetic
    by_edges: dict[str, float] = {}
    if found.method == "four_edge":
        off, seen = found.found.length_off
        by_edges["gap_mm"] = found.found.to_break_mm + geometry.slump_mm
        by_edges["bag_length_mm"] = geometry.length_mm + geometry.u_length_mm * off / max(seen, 0.1)
    return with_uncertainty(
        msgspec.structs.replace(
            row,
            valid=not INVALIDATING.intersection(row.flags),
            onset_angle_deg=angle,
            mu_static=math.tan(math.radians(angle)),
            mu_kinetic=mu_kinetic,
            u_mu_kinetic=None if mu_kinetic is None else budget.u_mu_kinetic(),
            mu_kinetic_speed_m_s=None if mu_kinetic is None else found.found.speed_mm_s / 1000.0,
            onset_method=found.method,
            gap_mm=by_edges.get("gap_mm", geometry.gap_mm),
            bag_length_mm=by_edges.get("bag_length_mm", row.bag_length_mm),
        ),
        budget,
    )


def with_uncertainty(row: RunResult, budget: Budget) -> RunResult:
    """The row with both uncertainties of its angle: for comparing, and in itself."""
    angle, u, whole = (
        budget.onset_angle_deg,
        budget.u_onset_angle_deg(COMPARING),
        budget.u_onset_angle_deg(),
    )
    return msgspec.structs.replace(
        row,
        u_onset_angle_deg=u,
        u_mu_static=u_of_tangent(angle, u),
        u_onset_angle_absolute_deg=whole,
        u_mu_static_absolute=u_of_tangent(angle, whole),
    )
