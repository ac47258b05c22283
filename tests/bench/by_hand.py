"""The same simulated slides, read by hand, naively off the beam, and by the rig.

Run from the project's folder: `python -m tests.bench.by_hand [--rigs N]`. Prints the table of
COVERAGE.md, and with `--write` puts it there.

- *By hand*: the board is raised at 1 °/s until the bag is seen to go; whoever raises it stops
  0.25 ± 0.08 s (normal) later, and reads a digital level to 0.1°. The level's own error (normal,
  0.08°) is not taken off by turning it. Once movement is taken to be seen at its very start, which
  flatters the hand; once when the bag has moved by a millimetre.
- *Beam, naive*: the calibrated angle when the beam breaks, with no correction for the gap.
- *Rig*: the onset as analysed. Gap, skew and slump are not known to it but for their expectation.

Bias and scatter are those of reading less the slide's own true onset angle, so the bag's scatter is
in none of them. Scatter from rig to rig is that of the mean errors of rigs, each with another
person's level, or another calibration; within a rig it is that from slide to slide.
"""

import argparse
import math
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np

from rig.analysis.friction import analyse_run
from rig.settings.model import Settings
from rig.twin.friction import make_law
from rig.twin.path import BagPath
from rig.twin.placed import incline_of
from rig.twin.scenario import Scenario, Truth
from rig.twin.slide import BagEdge, SlideMotion
from tests.bench.calibrated import calibrate
from tests.bench.coverage import DWELL_S, LAWS, draw_rig, in_memory
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET, SIMULATOR
from tests.fastsim.run import simulate_run

RATE_DEG_S = 1.0
REACTION_S, U_REACTION_S = 0.25, 0.08
RESOLUTION_DEG = 0.1
U_LEVEL_DEG = 0.08
SLIDES = 8
SEEN_MM = 1.0
TABLE = Table(
    "tests/bench/COVERAGE.md",
    "by hand",
    (*ONSET, *SIMULATOR, "tests/bench/by_hand.py", "tests/bench/calibrated.py"),
)
METHODS = ("by hand, seen at once", "by hand, seen at 1 mm", "beam, naive", "rig")


def seen_late_s(scenario: Scenario, truth: Truth) -> float:
    """Time from the onset until the bag has moved by a millimetre."""
    law = make_law(scenario.law, truth.mu_static, truth.mu_kinetic, scenario.law_parameters)
    incline = incline_of(scenario)
    onset_rad = incline.angle_for(law.mu_static)
    assert onset_rad is not None
    start_s = (math.degrees(onset_rad) - 1.0) / RATE_DEG_S
    slide = SlideMotion(law, incline, BagPath(gap_mm=SEEN_MM, length_mm=1e3), start_s)
    edges: list[BagEdge] = []
    while not edges:
        edges = slide.advance(slide.time_s + 0.1, lambda t_s: math.radians(RATE_DEG_S * t_s))
    # With a bristle that creeps it may be seen before the onset.
    return edges[0].time_s - math.degrees(onset_rad) / RATE_DEG_S


def one_rig(seed: int, law: str) -> np.ndarray:
    """Errors in degrees, slides × methods."""
    settings, scenario = Settings(), draw_rig(seed, law)
    calibration = calibrate(seed, scenario, settings)
    random = np.random.default_rng([seed, 5])
    own_error = random.normal(0.0, U_LEVEL_DEG)
    errors = []
    for number in range(1, SLIDES + 1):
        lines, truth = simulate_run(
            settings,
            scenario,
            seed,
            number=number,
            rate_deg_s=RATE_DEG_S,
            dwell_s=DWELL_S,
            beams=1,
            calibration=calibration,
        )
        row = analyse_run(in_memory(lines)).result
        true = truth.onset_angle_deg
        late_s = max(0.1, random.normal(REACTION_S, U_REACTION_S))
        if true is None or row.onset_angle_deg is None or row.angle_at_break_deg is None:
            continue
        shown = [
            round((true + RATE_DEG_S * seen_s + own_error) / RESOLUTION_DEG) * RESOLUTION_DEG
            for seen_s in (late_s, late_s + seen_late_s(scenario, truth))
        ]
        errors.append([a - true for a in (*shown, row.angle_at_break_deg, row.onset_angle_deg)])
    return np.array(errors)


def table(law: str, errors: list[np.ndarray]) -> list[str]:
    """A line for each method."""
    lines = []
    for k, method in enumerate(METHODS):
        means = np.array([rig[:, k].mean() for rig in errors])
        within = np.sqrt(np.mean([rig[:, k].var(ddof=1) for rig in errors]))
        # What the slides of one rig scatter by is in the scatter of the means, too.
        between = math.sqrt(max(means.var(ddof=1) - within**2 / SLIDES, 0.0))
        whole = np.concatenate([rig[:, k] for rig in errors])
        cells = (
            law.replace("_", " "),
            method,
            f"{whole.mean():+.3f} ± {means.std(ddof=1) / math.sqrt(len(means)):.3f}",
            f"{within:.3f}",
            f"{between:.3f}",
            f"{math.sqrt(np.mean(whole**2)):.3f}",
            f"{np.max(np.abs(whole)):.2f}",
        )
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=60)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--first-seed", type=int, default=300000)
    parser.add_argument("--laws", default=",".join(LAWS))
    parser.add_argument("--write", action="store_true", help="put the table into COVERAGE.md")
    options = parser.parse_args()
    TABLE.show(lines_of(options), seed=f"{options.first_seed} …", write=options.write)


def lines_of(options: argparse.Namespace) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    seeds = range(options.first_seed, options.first_seed + options.rigs)
    yield from columns(
        *("law", "reading", "bias °", "scatter from slide to slide °"),
        *("from rig to rig °", "rms error °", "worst °"),
    )
    with ProcessPoolExecutor(options.processes) as pool:
        for law in options.laws.split(","):
            errors = list(pool.map(partial(one_rig, law=law), seeds))
            yield from table(law, errors)


if __name__ == "__main__":
    main()
