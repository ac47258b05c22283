"""How often the interval of a difference holds: two bags, five slides each, one series of each.

Run from the project's folder: `python -m tests.bench.onset_pairs [--n N] [--write]`. The bags of a
pair have one law with one set of parameters, or each a law and parameters of its own out of the
family; µs scatters from slide to slide by 0.3°. What is compared is the 95 % interval of
`rig.analysis.budget.difference`, on edges of `tests.bench.slide_laws`.
"""

import argparse
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import numpy as np

from rig.analysis.budget.difference import difference
from rig.analysis.budget.run import run_budget
from rig.analysis.friction import RunAnalysis
from rig.analysis.groups import make_groups
from rig.analysis.onset.edges import Pass
from rig.analysis.onset.estimate import Case, solve
from rig.analysis.row import empty_row, filled
from rig.runfile.model import Flag
from tests.analysis.parts import bare_run, gravity, ramp
from tests.bench.heading import Table, columns
from tests.bench.onset_law import FAMILY, INPUTS
from tests.bench.onset_world import GEOMETRY, RESPONSE_MS, World, seeds, world
from tests.bench.slide_laws import Friction, drawn
from tests.calibration.example import calibration, diagonal

SEED = 15
SLIDES = 5
SCATTER_DEG = 0.3
EXACT = calibration(covariance=diagonal(*[0.0] * 8), u_filter_delay_ms=0.0)
TITLES = (
    *("rate °/s", "beams", "laws", "pairs", "held %", "rms error °", "median half width °"),
    "beyond the scatter °",
)


Bag = tuple[World, int, float]
"""World, index of the first of its slides there, and the bag's own slide angle in degrees."""


def five(friction: Friction, rng: np.random.Generator) -> Friction:
    """Slides of each bag, which differ in µs."""
    many = friction.of(np.repeat(np.arange(len(friction.mu_static)), SLIDES))
    angle = np.arctan(many.mu_static) + np.radians(
        rng.normal(0.0, SCATTER_DEG, len(many.mu_static))
    )
    fall = many.mu_static - many.mu_kinetic
    return replace(many, mu_static=np.tan(angle), mu_kinetic=np.tan(angle) - fall)


def analysed(made: World, k: int, beams: Literal[1, 2], bag: str) -> RunAnalysis:
    """One slide as an analysis with its budget; the ramp is exact."""
    times, rate = made.edges_s[k], made.rate_deg_s
    first, second = Pass(times[0], times[2]), Pass(times[1], times[3])
    case = Case("four", first, second, ()) if beams == 2 else Case("two", first, None, ())
    onset = float(made.onset_deg[k])
    exact = ramp(pivot_s=0.0, offset_deg=onset, slope_deg_s=rate, gravity=gravity(onset))
    at_edge = float(exact.angle_deg(case.first_edge_s))
    solved = solve(case, GEOMETRY, at_edge, rate, RESPONSE_MS)
    run = bare_run(rate_deg_s=rate, bag=bag, session="s", series=bag, source="rig")
    budget = run_budget(run, EXACT, exact, solved, GEOMETRY)
    flags: list[Flag] = [] if solved.flag is None else [solved.flag]
    row = filled(empty_row(run, flags), solved, exact, budget, GEOMETRY)
    return RunAnalysis(row, run, budget, exact, case, solved, EXACT)


def pairs(rate: float, n: int, same: bool) -> list[tuple[Bag, Bag]]:
    """The two bags of each pair."""
    bags: list[list[Bag]] = [[], []]
    for law in FAMILY:
        rng = seeds(SEED + same, law, rate)
        one = drawn(law, n // 3, rng)
        other = drawn(law, n // 3, rng)
        if same:
            share = one.mu_kinetic / one.mu_static
            other = replace(one, mu_static=other.mu_static, mu_kinetic=share * other.mu_static)
        for side, friction in enumerate((one, other)):
            made = world(law, rate, SLIDES * (n // 3), rng, five(friction, rng))
            own = np.degrees(np.arctan(friction.mu_static))
            bags[side] += [(made, SLIDES * k, float(own[k])) for k in range(n // 3)]
    if not same:
        order = np.random.default_rng(SEED).permutation(len(bags[1]))
        bags[1] = [bags[1][k] for k in order]
    return list(zip(*bags, strict=True))


def lines_of(n: int, rates: tuple[float, ...]) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    yield from columns(*TITLES)
    for rate in rates:
        for same in (True, False):
            both = pairs(rate, n, same)
            for beams in (1, 2):
                yield summary(rate, beams, same, both)


def summary(
    rate: float,
    beams: Literal[1, 2],
    same: bool,
    both: list[tuple[Bag, Bag]],
) -> str:
    """One line of the table; errors and widths are in degrees at the bags' mean angle."""
    errors, widths, beyond = [], [], []
    for pair in both:
        runs = [
            analysed(made, first + k, beams, bag)
            for (made, first, _), bag in zip(pair, "AB", strict=True)
            for k in range(SLIDES)
        ]
        groups = make_groups(runs)
        if len(groups) < 2:
            continue
        found = difference(*groups)
        angles = [own for _, _, own in pair]
        true = math.tan(math.radians(angles[0])) - math.tan(math.radians(angles[1]))
        per_deg = math.radians(1.0) / math.cos(math.radians(sum(angles) / 2.0)) ** 2
        errors.append((found.difference_mu_static - true) / per_deg)
        widths.append(found.expanded_mu_static / per_deg)
        scatter = math.hypot(*(group.result.u_repeat for group in groups))
        beyond.append(widths[-1] - found.k * scatter / per_deg)
    held = np.mean(np.abs(errors) < np.array(widths))
    cells = (
        f"{rate:g}",
        str(beams),
        "equal" if same else "each its own",
        str(len(errors)),
        f"{100.0 * held:.1f}",
        f"{float(np.sqrt(np.mean(np.square(errors)))):.3f}",
        f"{np.median(widths):.3f}",
        f"{np.median(beyond):.3f}",
    )
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=501, help="pairs of each row")
    parser.add_argument("--rates", type=float, nargs="*", default=(0.3, 1.0))
    parser.add_argument("--write", action="store_true", help="put the table into ONSET.md")
    options = parser.parse_args()
    inputs = (*INPUTS, "rig/analysis/budget/run.py", "rig/analysis/budget/difference.py")
    table = Table("tests/bench/ONSET.md", "differences", (*inputs, "tests/bench/onset_pairs.py"))
    table.show(lines_of(options.n, tuple(options.rates)), seed=SEED, write=options.write)


if __name__ == "__main__":
    main()
