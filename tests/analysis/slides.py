"""Slides integrated by scipy's DOP853 on a rotating plane, and run files made of them.

Shares no code with the analysis and none with the twin: the onset is tan θ = µs, the motion is
s″ = g(sin θ − µk cos θ), edges are events of the integrator.
"""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

from rig.calibration.model import Calibration
from rig.runfile.model import Climate, End, Event, Flag, Header, Outcome, Samples, Steps
from rig.runfile.reader import RunFile
from tests.calibration.example import calibration as example_calibration
from tests.runfile.example import header

G = 9.80665
RAISE_S = 10.0
DELAY_S = 0.022
RATE_HZ = 208.0


class Slide(NamedTuple):
    """Times in s from the start of the raise."""

    onset_s: float
    onset_deg: float
    edges_s: list[float]


def slide(
    mu_static: float, mu_kinetic: float, rate_deg_s: float, distances_mm: Sequence[float]
) -> Slide:
    """Times at which a bag has moved these distances, on a plane raised from level."""
    rate = math.radians(rate_deg_s)
    start = math.atan(mu_static) / rate

    def motion(t: float, state: np.ndarray) -> list[float]:
        angle = rate * t
        return [state[1], G * (math.sin(angle) - mu_kinetic * math.cos(angle))]

    events = [lambda t, state, d=d / 1000.0: state[0] - d for d in distances_mm]
    events[-1].terminal = True  # type: ignore[attr-defined]
    solution = solve_ivp(
        motion,
        (start, start + 8.0),
        [0.0, 0.0],
        method="DOP853",
        events=events,
        rtol=1e-11,
        atol=1e-13,
    )
    assert solution.t_events is not None
    times = [float(found[0]) for found in solution.t_events]
    return Slide(start, math.degrees(rate * start), times)


def run_file(
    rate_deg_s: float,
    edges: Sequence[tuple[float, str, int]],
    *,
    end_s: float | None = None,
    noise_counts: float = 0.0,
    calibration: Calibration | None = None,
    seed: int = 0,
    outcome: Outcome = "slid",
    flags: Sequence[Flag] = (),
    extra: Sequence[Event] = (),
    climate: Sequence[Climate] = (),
    lost_steps_deg: float = 0.0,
    beams: int = 1,
    **changes: object,
) -> RunFile:
    """A run with these beam edges (time since the raise began, event, beam).

    The screw's triangle is solved here again, by the law of cosines.
    """
    model = calibration or example_calibration(filter_delay_ms=1000.0 * DELAY_S)
    top = header()
    settings = top.settings
    values: dict[str, object] = {
        "calibration": model,
        "rate_deg_s": rate_deg_s,
        "gap_mm": 8.0,
        "u_gap_mm": 1.0,
        "bag_length_mm": 152.0,
        "u_bag_length_mm": 4.0,
        # Laid down straight, so that the stated length is the true one.
        "placing": "blade",
    }
    if beams == 2:
        kept = {key: getattr(settings, key) for key in settings.__struct_fields__}
        values["settings"] = type(settings)(**(kept | {"beams": 2}))
    top = Header(**({key: getattr(top, key) for key in top.__struct_fields__} | values | changes))
    last = max([t for t, _, _ in edges], default=5.0) + 0.3 if end_s is None else end_s
    rng = np.random.default_rng(seed)
    t = np.arange(RAISE_S - 2.0, RAISE_S + last, 1.0 / RATE_HZ)
    angle = np.radians(np.maximum(rate_deg_s * (t - DELAY_S - RAISE_S), 0.0))
    f = np.stack([np.sin(angle), np.zeros_like(angle), np.cos(angle)], axis=1)
    counts = np.rint(f * model.counts_per_g + rng.normal(0.0, 1.0, f.shape) * noise_counts)
    samples = [
        Samples(
            t_s=float(t[k]),
            dt_s=1.0 / RATE_HZ,
            counts=[tuple(row) for row in counts[k : k + 52].astype(int).tolist()],
            imu_temperature_c=22.0,
        )
        for k in range(0, len(t), 52)
    ]
    a, b, level = 900.0, 450.0, math.radians(20.0)

    def screw_mm(angle_deg: float) -> float:
        corner = math.radians(angle_deg) + level
        return math.sqrt(a * a + b * b - 2.0 * a * b * math.cos(corner))

    grid = np.arange(-1.0, last, 0.05)
    steps = [
        Steps(
            t_s=RAISE_S + float(x),
            count=round(
                (screw_mm(max(rate_deg_s * x, 0.0) + lost_steps_deg * (x > 0)) - screw_mm(0.0))
                * 100.0
            ),
            jitter_us=50.0,
        )
        for x in grid
    ]
    events = [
        Event(t_s=5.0, event="state", detail={"state": "dwelling"}),
        Event(t_s=RAISE_S, event="state", detail={"state": "raising"}),
        Event(t_s=RAISE_S, event="raise_started", detail={"dwell_s": 5.0}),
        *(
            Event(t_s=RAISE_S + x + 0.0005, event=event, detail={"beam": beam})
            for x, event, beam in edges
        ),
        Event(t_s=RAISE_S + last, event="state", detail={"state": "lowering"}),
        *extra,
    ]
    events.sort(key=lambda event: event.t_s)
    return RunFile(
        path=Path("example.run.jsonl"),
        header=top,
        events=events,
        samples=samples,
        climate=list(climate),
        steps=steps,
        end=End(outcome=outcome, flags=list(flags), samples_lost=0, bus_retries=0, lines=0),
    )


def one_beam(times_s: Sequence[float]) -> list[tuple[float, str, int]]:
    """Break and clear of one beam."""
    return [(times_s[0], "beam_broken", 1), (times_s[1], "beam_clear", 1)]


def two_beams(times_s: Sequence[float]) -> list[tuple[float, str, int]]:
    """Both breaks, then both clear edges."""
    return [
        (times_s[0], "beam_broken", 1),
        (times_s[1], "beam_broken", 2),
        (times_s[2], "beam_clear", 1),
        (times_s[3], "beam_clear", 2),
    ]
