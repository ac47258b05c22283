"""Pieces of an analysis with round numbers, for arithmetic done by hand."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from rig.analysis.angle.ramp import Ramp
from rig.analysis.budget.parts import Budget, Component, Layer
from rig.analysis.friction import RunAnalysis
from rig.analysis.onset.estimate import Geometry, Solved
from rig.analysis.onset.fit import SeenEdge
from rig.analysis.onset.posterior import OnsetPosterior, Source
from rig.analysis.row import empty_row
from rig.runfile.model import Event
from rig.runfile.reader import RunFile
from tests.runfile.example import header


def gravity(angle_deg: float, cross_deg: float = 0.0) -> np.ndarray:
    """Unit gravity in the frame of a sensor that lies straight on the board."""
    angle, cross = math.radians(angle_deg), math.radians(cross_deg)
    return np.array(
        [math.sin(angle) * math.cos(cross), math.sin(cross), math.cos(angle) * math.cos(cross)]
    )


def ramp(**changes: Any) -> Ramp:
    """20° at 30 s, by the sensor alone, at 2 °/s."""
    plain = Ramp(
        pivot_s=30.0,
        offset_deg=20.0,
        slope_deg_s=2.0,
        covariance=np.zeros((2, 2)),
        dof=57.0,
        steps_s=np.empty(0),
        steps_deg=np.empty(0),
        gravity=gravity(20.0),
        cross_slope_deg=0.0,
        imu_temperature_c=22.0,
        steady=True,
        flags=(),
    )
    return plain._replace(**changes)


def geometry(**changes: Any) -> Geometry:
    """A bag of 152 ± 4 mm, 8 ± 3 mm from the beam, whose fill slumps by 1.5 ± 4 mm."""
    plain = Geometry(
        gap_mm=8.0,
        u_gap_mm=3.0,
        slump_mm=1.5,
        u_slump_mm=4.0,
        length_mm=152.0,
        u_length_mm=4.0,
        spacing_mm=50.0,
        u_spacing_mm=0.2,
    )
    return msgspec.structs.replace(plain, **changes)


def posterior(*sources: Source, **changes: Any) -> OnsetPosterior:
    """An onset at 30 s, of which these sources leave something open."""
    plain = OnsetPosterior(
        onset_s=30.0,
        law_s=0.0,
        mu_kinetic=0.3,
        law_mu_kinetic=0.0,
        speed_mm_s=250.0,
        misfit=0.0,
        log_evidence=0.0,
        slumped=0.0,
        limit=None,
        to_break_mm=6.5,
        length_off=(0.0, 0.0),
        sources=list(sources),
        law=0,
        law_drop=2.0,
        law_onset_s=30.0,
        unit_s=0.2,
    )
    return plain._replace(**changes)


def solved(*sources: Source, found: dict[str, Any] | None = None, **changes: Any) -> Solved:
    """The same as found from two edges."""
    edges = [SeenEdge(30.5, 0, True), SeenEdge(30.9, 0, False)]
    plain = Solved(posterior(*sources, **(found or {})), "two_edge", edges, 0.0)
    return plain._replace(**changes)


def component(name: str, u_theta_deg: float, layer: Layer = "run", **changes: Any) -> Component:
    """A line of a budget that counts as it stands."""
    plain = Component(
        name=name,
        u_value=u_theta_deg,
        unit="deg",
        distribution="normal",
        sensitivity=1.0,
        u_theta_deg=u_theta_deg,
        layer=layer,
    )
    return msgspec.structs.replace(plain, **changes)


def bare_run(*events: Event, **changes: Any) -> RunFile:
    """A run file with a header and these events."""
    return RunFile(path=Path("a.run.jsonl"), header=header(**changes), events=list(events))


def analysis(
    mu: float,
    *components: Component,
    row: dict[str, Any] | None = None,
    analysed: dict[str, Any] | None = None,
    **top: Any,
) -> RunAnalysis:
    """A valid run with this coefficient.

    Args:
        mu: static coefficient.
        components: of its budget; 0.1° of its own if there are none.
        row: more fields of its row.
        analysed: more of what it stands on.
        top: fields of its header.
    """
    run = bare_run(**({"source": "rig"} | top))
    angle = math.degrees(math.atan(mu))
    values = {"valid": True, "onset_angle_deg": angle, "mu_static": mu} | (row or {})
    found = msgspec.structs.replace(empty_row(run, []), **values)
    budget = Budget(
        onset_angle_deg=angle, components=list(components) or [component("ramp fit", 0.1)]
    )
    return RunAnalysis(found, run, budget)._replace(**(analysed or {}))


def events(beam: int, *edges: tuple[float, str]) -> Sequence[Event]:
    """Edges of one beam: time and "broken" or "clear"."""
    return [Event(t_s=t_s, event=f"beam_{name}", detail={"beam": beam}) for t_s, name in edges]
