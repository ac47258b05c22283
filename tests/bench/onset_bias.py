"""How far the analysis is from the truth, over many simulated slides.

Run from the project's folder: `python -m tests.bench.onset_bias [--runs N] [--processes P]`. Its
rows for Coulomb's law are a test of the suite; `ONSET.md` has other laws and the twin's teeth.
"""

import argparse
import math
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, Literal, NamedTuple

import msgspec
import numpy as np

from rig.analysis.friction import analyse_run
from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.twin.draws import changed, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.friction import LawName
from tests.bench.heading import columns
from tests.fastsim.run import simulate_run, write_run
from tests.teeth import without

LAW = "friction law, rate-free"
FIRST_SEED = 1000


class Case(NamedTuple):
    """One row of the table."""

    name: str
    law: LawName
    beams: Literal[1, 2]
    exact: bool = False


class Row(NamedTuple):
    """One slide: errors are result less truth, angles in degrees."""

    seed: int
    rate_deg_s: float
    mu_static: float
    mu_fall: float
    valid: bool
    error: float
    naive_error: float
    u: float
    u_without_law: float
    kinetic_error: float
    u_kinetic: float
    method: str
    flags: tuple[str, ...]


CASES = (
    Case("Coulomb, one beam", "coulomb", 1),
    Case("Coulomb, two beams", "coulomb", 2),
    Case("Coulomb, one beam, exact gap and length", "coulomb", 1, exact=True),
    Case("Coulomb, two beams, exact gap and length", "coulomb", 2, exact=True),
    Case("slip weakening, one beam", "slip_weakening", 1),
    Case("slip weakening, two beams", "slip_weakening", 2),
    Case("Stribeck, one beam", "stribeck", 1),
    Case("Stribeck, two beams", "stribeck", 2),
    Case("LuGre, one beam", "lugre", 1),
    Case("LuGre, two beams", "lugre", 2),
)


def one_run(case: Case, seed: int, folder: Path) -> Row:
    """Simulate one slide with drawn friction, rate and rig, and analyse its file."""
    random = np.random.default_rng([seed, 20])
    mu_static = float(random.uniform(0.2, 0.7))
    mu_fall = 0.0 if random.random() < 0.1 else float(random.uniform(0.0, 0.15))
    rate = float(np.exp(random.uniform(math.log(0.25), math.log(2.0))))
    settings = Settings()
    scenario = draw_scenario(seed, face=plain_face(mu_static, mu_static - mu_fall), law=case.law)
    if case.exact:
        bag = msgspec.structs.replace(
            settings.bag, u_gap_mm=0.05, slump_mm=0.0, u_slump_mm=0.05, u_length_mm=0.1
        )
        settings = msgspec.structs.replace(settings, bag=bag)
        exact = {"gap_mm": bag.gap_mm, "skew_deg": 0.0, "slump_mm": 0.0}
        scenario = changed(without(scenario), bag=exact, beam={"spacing_error_mm": 0.0})
    lines, truth = simulate_run(
        settings, scenario, seed, rate_deg_s=rate, beams=case.beams, dwell_s=3.0
    )
    path = write_run(folder, lines, truth)
    analysis = analyse_run(read_run(path))
    row, budget = analysis.result, analysis.budget
    path.unlink()
    nan = math.nan
    true = nan if truth.onset_angle_deg is None else truth.onset_angle_deg

    def less(value: float | None, other: float) -> float:
        return nan if value is None else value - other

    return Row(
        seed,
        rate,
        mu_static,
        mu_fall,
        row.valid,
        less(row.onset_angle_deg, true),
        less(row.angle_at_break_deg, true),
        nan if budget is None else budget.u_onset_angle_deg(),
        nan if budget is None else budget.u_onset_angle_deg(without=(LAW,)),
        less(row.mu_kinetic, truth.mu_kinetic),
        nan if row.u_mu_kinetic is None else row.u_mu_kinetic,
        str(row.onset_method),
        tuple(row.flags),
    )


def _part(job: tuple[Case, list[int]]) -> list[Row]:
    case, seeds = job
    with tempfile.TemporaryDirectory() as folder:
        return [one_run(case, seed, Path(folder)) for seed in seeds]


def simulate(case: Case, runs: int, processes: int = 1, first_seed: int = FIRST_SEED) -> list[Row]:
    """All runs of one case; the same seeds give the same rows whatever the processes."""
    seeds = list(range(first_seed, first_seed + runs))
    if processes == 1:
        return _part((case, seeds))
    parts = [(case, seeds[k::processes]) for k in range(processes)]
    with ProcessPoolExecutor(processes) as pool:
        rows = [row for part in pool.map(_part, parts) for row in part]
    return sorted(rows)


def rms(values: Any) -> float:
    """Root mean square of those that are known."""
    known = np.asarray(list(values), dtype=float)
    known = known[np.isfinite(known)]
    return float(np.sqrt(np.mean(known**2))) if len(known) else math.nan


def ratio(rows: list[Row], u: Callable[[Row], float]) -> float:
    """Rms error over rms stated standard uncertainty."""
    return rms(row.error for row in rows) / rms(u(row) for row in rows)


COLUMNS = (
    *("case", "valid", "naive bias °", "mean error °", "rms error °", "worst °", "rms u °"),
    *("error/u", "error/u, law left out", "beyond 4 u", "rms µk error", "creep %", "methods"),
)


def summary(case: Case, rows: list[Row]) -> str:
    """One line of the table."""
    good = [row for row in rows if row.valid]
    errors = np.array([row.error for row in good])
    methods: dict[str, int] = {}
    for row in good:
        methods[row.method] = methods.get(row.method, 0) + 1
    creep = 100.0 * sum("creep" in row.flags for row in good) / max(len(good), 1)
    cells = (
        case.name,
        f"{len(good)}/{len(rows)}",
        f"{np.mean([row.naive_error for row in good]):+.3f}",
        f"{errors.mean():+.4f}",
        f"{rms(errors):.4f}",
        f"{np.max(np.abs(errors)):.3f}",
        f"{rms(row.u for row in good):.4f}",
        f"{ratio(good, lambda row: row.u):.2f}",
        f"{ratio(good, lambda row: row.u_without_law):.2f}",
        str(sum(abs(row.error) > 4.0 * row.u_without_law for row in good)),
        f"{rms(row.kinetic_error for row in good):.4f}",
        f"{creep:.1f}",
        ", ".join(f"{name} {count}" for name, count in sorted(methods.items())),
    )
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Print the table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--only", default="", help="rows whose name has this in it")
    options = parser.parse_args()
    print("\n".join(lines_of(options)))


def lines_of(options: argparse.Namespace) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    yield from columns(*COLUMNS)
    for case in CASES:
        if options.only in case.name:
            rows = simulate(case, options.runs, options.processes, options.first_seed)
            yield summary(case, rows)


if __name__ == "__main__":
    main()
