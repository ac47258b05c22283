"""Series whose quick start was set too high or too low: every early slide, and the bias.

    python -m tests.bench.quick_start [--n 1000] [--simulated 100] [--write]

Of the first table slides are drawn normally: what is checked is the rule of
`rig.procedures.series.quick`, and that early slides taken as "below X" leave the estimate unbiased;
machine and analysis have no part in it. Of the second they are whole runs of the fast simulator,
with all the twin's teeth, that the analysis has read; a slide counts as early where the truth says
that it slid before the measured raise.
"""

import argparse
import math
from collections.abc import Iterator
from typing import NamedTuple

import msgspec
import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.procedures.series.quick import QuickStart
from rig.runfile.model import Event
from rig.settings.method import MEASURED_DEG
from rig.settings.model import CycleSettings, Pins, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from tests.bench.coverage import in_memory
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET, SIMULATOR
from tests.fastsim.run import simulate_run

SCATTER_DEG, TRUE_DEG, SLIDES = 0.5, 24.0, 5
ERRORS_DEG = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
SIMULATED_DEG = (-3.0, 0.0, 2.0, 3.0)
SEED, RATE_DEG_S = 2026, 0.3
SETTINGS = Settings(cycle=CycleSettings(dwell_s=1.0), pins=Pins(beam_2=18))
BLANK = dict.fromkeys(
    ("bag", "face", "set", "board", "treatment_stage", "session", "series", "slide_number")
)
RULE = ("rig/procedures/series/quick.py", "tests/bench/quick_start.py")
DRAWN = Table("tests/bench/README.md", "quick start", RULE)
SIMULATED = Table("tests/bench/README.md", "quick start, simulated", (*RULE, *ONSET, *SIMULATOR))


def row(flags: list[str], angle_deg: float | None) -> RunResult:
    """The row of a raise as the analysis makes it."""
    known = {"run_file": "", "run_id": "", "rate_deg_s": 0.3, "dwell_s": 10.0, "outcome": "slid"}
    return msgspec.convert(
        {**BLANK, **known, "valid": not flags, "flags": flags, "onset_angle_deg": angle_deg},
        RunResult,
    )


def estimate_deg(angles: list[float], bounds: list[float]) -> float:
    """Most likely level, with the scatter known, from angles and from slides below bounds."""

    def slope(level: float) -> float:
        t = (np.asarray(bounds) - level) / SCATTER_DEG
        hazard = np.exp(norm.logpdf(t) - norm.logcdf(t)).sum() * SCATTER_DEG
        return float(np.sum(np.asarray(angles) - level) - hazard)

    return float(brentq(slope, TRUE_DEG - 20.0, TRUE_DEG + 20.0))


def series(random: np.random.Generator, off_deg: float) -> tuple[float, float | None, int]:
    """Estimate with early slides, mean without them, and the number of early slides."""
    start = QuickStart()
    start.take(row(["settling"], TRUE_DEG + off_deg))
    angles: list[float] = []
    bounds: list[float] = []
    for angle in random.normal(TRUE_DEG, SCATTER_DEG, SLIDES).tolist():
        if start.angle_deg is not None and angle < start.angle_deg:
            bounds.append(start.angle_deg)
            start.take(row(["slid_early"], None))
        else:
            angles.append(angle)
            start.take(row([], angle))
    mean = float(np.mean(angles)) if angles else None
    return estimate_deg(angles, bounds), mean, len(bounds)


class Simulated(NamedTuple):
    """What came of one simulated series; angles less the level that it scatters about."""

    estimate: float
    """Of angles as analysed and of early slides."""
    mean_true: float
    """Of all slides, by the truth."""
    early: int
    """By the truth."""
    told: int
    """Of these, how many the analysis calls `slid_early`."""
    wrongly: int
    """Slides that it calls so although they came later."""
    left_out: int
    """For any other reason."""


def simulated_series(seed: int, off_deg: float) -> Simulated:
    """A series of whole runs; the calibration is exact, so that what errs is the method."""
    level = math.radians(TRUE_DEG)
    mu = math.tan(level)
    scatter = math.radians(SCATTER_DEG) / (math.sin(level) * math.cos(level))
    drawn = draw_scenario(seed, face=plain_face(mu, mu - 0.05), law="slip_weakening")
    scenario = changed(drawn, face={"scatter_run": scatter}, board={"spots": ()})
    calibration = calibration_for(scenario, SETTINGS, seed, is_exact=True)
    start = QuickStart()
    start.take(row(["settling"], TRUE_DEG + off_deg))
    angles: list[float] = []
    bounds: list[float] = []
    true: list[float] = []
    early = told = wrongly = left_out = 0
    for number in range(1, SLIDES + 1):
        asked = start.angle_deg
        lines, truth = simulate_run(
            SETTINGS,
            scenario,
            seed,
            number=number,
            rate_deg_s=RATE_DEG_S,
            approach_deg=asked,
            calibration=calibration,
        )
        begun_s = next(
            line.t_s for line in lines if isinstance(line, Event) and line.event == "raise_started"
        )
        assert truth.onset_angle_deg is not None
        assert truth.onset_time_s is not None
        true.append(truth.onset_angle_deg)
        is_early = asked is not None and truth.onset_time_s < begun_s
        found = analyse_run(in_memory(lines)).result
        start.take(found)
        is_told = "slid_early" in found.flags
        early += is_early
        told += is_early and is_told
        wrongly += is_told and not is_early
        if is_told and asked is not None:
            bounds.append(asked)
        elif found.valid and found.onset_angle_deg is not None:
            angles.append(found.onset_angle_deg)
        else:
            left_out += 1
    estimate = estimate_deg(angles, bounds) - TRUE_DEG
    return Simulated(estimate, float(np.mean(true)) - TRUE_DEG, early, told, wrongly, left_out)


def drawn_lines(n: int) -> Iterator[str]:
    """The first table in Markdown."""
    yield f"{n} series of {SLIDES} slides, scatter {SCATTER_DEG}°, margin {MEASURED_DEG:g}°."
    yield ""
    yield from columns(
        *("error", "early slides", "bias, all slides", "bias, without early ones", "u of bias")
    )
    for off in ERRORS_DEG:
        random = np.random.default_rng(SEED)
        made = [series(random, off) for _ in range(n)]
        found = np.array([one[0] for one in made]) - TRUE_DEG
        plain = np.array([one[1] for one in made if one[1] is not None]) - TRUE_DEG
        early = sum(one[2] for one in made)
        u = found.std() / np.sqrt(n)
        yield f"| {off:+.0f}° | {early} | {found.mean():+.3f}° | {plain.mean():+.3f}° | {u:.3f}° |"


def simulated_lines(n: int) -> Iterator[str]:
    """The second table in Markdown."""
    yield f"{n} series of {SLIDES} simulated slides at {RATE_DEG_S}°/s, slip weakening, two beams."
    yield ""
    yield from columns(
        *("error", "early slides", "told", "told wrongly", "else left out"),
        *("estimate less mean of the true angles", "u of it"),
    )
    for off in SIMULATED_DEG:
        made = [simulated_series(SEED + k, off) for k in range(n)]
        apart = np.array([one.estimate - one.mean_true for one in made])
        early, told, wrongly, left = (
            sum(getattr(one, name) for one in made)
            for name in ("early", "told", "wrongly", "left_out")
        )
        yield (
            f"| {off:+.0f}° | {early} | {told} | {wrongly} | {left} | {apart.mean():+.3f}° |"
            f" {apart.std() / np.sqrt(n):.3f}° |"
        )


def main() -> None:
    """Print both tables, and write them if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=1000, help="series of drawn slides")
    parser.add_argument("--simulated", type=int, default=100, help="series of simulated ones")
    parser.add_argument("--write", action="store_true", help="put the tables into README.md")
    given = parser.parse_args()
    DRAWN.show(drawn_lines(given.n), seed=SEED, write=given.write)
    SIMULATED.show(simulated_lines(given.simulated), seed=f"{SEED} …", write=given.write)


if __name__ == "__main__":
    main()
