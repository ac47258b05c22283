"""The same simulated slides, read by hand, naively off the beam, and by the rig.

Run from the project's folder: `python -m tests.bench.by_hand [--rigs N]`. Prints the table that
stands in COVERAGE.md beside this file.

- *By hand*: the board is raised at 1 °/s until the bag is seen to go; whoever raises it stops
  0.25 ± 0.08 s (normal) later, and reads a digital level to 0.1°. The level's own error (normal,
  0.08°) is not taken off by turning it. Movement is taken to be seen at once, which favours the
  hand: with friction that falls gradually the first millimetre takes long.
- *Beam, naive*: the calibrated angle when the beam breaks, with no correction for the gap.
- *Rig*: the onset as analysed. Gap, skew and slump are not known to it but for their expectation.

Bias and scatter are those of reading less the slide's own true onset angle, so the bag's scatter is
in none of them. Scatter from rig to rig is that of the mean errors of rigs, each with another
person's level, or another calibration; within a rig it is that from slide to slide.
"""

import argparse
import math
import platform
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np

from rig.analysis.friction import analyse_run
from rig.settings.model import Settings
from rig.twin.fast import simulate_run
from tests.bench.calibrated import calibrate
from tests.bench.coverage import DWELL_S, LAWS, draw_rig, in_memory

RATE_DEG_S = 1.0
REACTION_S, U_REACTION_S = 0.25, 0.08
RESOLUTION_DEG = 0.1
U_LEVEL_DEG = 0.08
SLIDES = 8
METHODS = ("by hand", "beam, naive", "rig")


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
        late_deg = RATE_DEG_S * max(0.1, random.normal(REACTION_S, U_REACTION_S))
        if true is None or row.onset_angle_deg is None or row.angle_at_break_deg is None:
            continue
        shown = round((true + late_deg + own_error) / RESOLUTION_DEG) * RESOLUTION_DEG
        errors.append((shown - true, row.angle_at_break_deg - true, row.onset_angle_deg - true))
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
    """Print the table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=60)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--first-seed", type=int, default=300000)
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.rigs)
    print(f"Python {platform.python_version()}, {options.rigs} rigs × {SLIDES} slides per law\n")
    print(
        "| law | reading | bias ° | scatter from slide to slide ° | from rig to rig ° "
        "| rms error ° | worst ° |\n|" + " --- |" * 7
    )
    with ProcessPoolExecutor(options.processes) as pool:
        for law in LAWS:
            errors = list(pool.map(partial(one_rig, law=law), seeds))
            print("\n".join(table(law, errors)), flush=True)


if __name__ == "__main__":
    main()
