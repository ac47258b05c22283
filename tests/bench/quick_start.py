"""Series whose quick start was set too high or too low: every early slide, and the bias.

`python -m tests.bench.quick_start [N]` draws N series for each error of the expectation; slides
scatter normally. What is checked is the rule of `rig.procedures.series.quick` and that early slides
taken as "below X" leave the estimate unbiased; machine and analysis have no part in it.
"""

import sys

import msgspec
import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from rig.analysis.row import RunResult
from rig.procedures.series.quick import QuickStart
from rig.settings.method import MEASURED_DEG

SCATTER_DEG, TRUE_DEG, SLIDES = 0.5, 24.0, 5
ERRORS_DEG = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
BLANK = dict.fromkeys(
    ("bag", "face", "set", "board", "treatment_stage", "session", "series", "slide_number")
)


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


def main() -> None:
    """Print the table."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{n} series of {SLIDES} slides, scatter {SCATTER_DEG}°, margin {MEASURED_DEG:g}°\n")
    print("| error | early slides | bias, all slides | bias, without early ones | u of bias |")
    print("| ---: | ---: | ---: | ---: | ---: |")
    for off in ERRORS_DEG:
        random = np.random.default_rng(2026)
        made = [series(random, off) for _ in range(n)]
        found = np.array([one[0] for one in made]) - TRUE_DEG
        plain = np.array([one[1] for one in made if one[1] is not None]) - TRUE_DEG
        early = sum(one[2] for one in made)
        u = found.std() / np.sqrt(n)
        print(f"| {off:+.0f}° | {early} | {found.mean():+.3f}° | {plain.mean():+.3f}° | {u:.3f}° |")


if __name__ == "__main__":
    main()
