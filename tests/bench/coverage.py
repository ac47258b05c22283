"""How often the 95 % interval of a group holds the truth, over whole simulated rigs.

Run from the project's folder: `python -m tests.bench.coverage [--rigs N] [--processes P]`. Prints
the table of COVERAGE.md, and with `--write` puts it there; `--rows FILE` keeps a line per rig.

Each rig has its own sensor, mounting, floor, hinge, linkage error, oscillator, climate and climate
sensor. It is calibrated once by the procedure's own functions with a level and a sine bar that have
errors of their own, on a day of other temperature; the floor moves a little after that. Then one
bag face is measured in one session: three series of five runs, each run with its own gap, skew,
slump and scatter, each series with its own effect, and the face polished from slide to slide.

The target is what the group's `scope` says it holds for, "this session, 3 mountings": the mean over
the slides that were made of tan of the twin's onset angle at that rate, dwell, moisture and polish,
with the session's own deviation, and with the scatter of mountings (series) and placings (runs)
at its expectation, zero.
"""

import argparse
import math
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from rig.analysis.budget.parts import u_of_tangent
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.groups import GroupResult, group_runs
from rig.calibration.model import Calibration
from rig.runfile.model import Climate, End, Event, Header, Line, Samples, Steps
from rig.runfile.reader import RunFile
from rig.settings.model import Settings
from rig.statistics.satterthwaite import coverage_factor, welch_satterthwaite
from rig.twin.draws import changed, draw_scenario
from rig.twin.placed import PlacedBag
from rig.twin.scenario import Scenario, Truth
from tests.bench.calibrated import calibrate
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET, SIMULATOR
from tests.fastsim.run import simulate_run

LAWS = ("coulomb", "slip_weakening", "stribeck", "lugre")
LAW = "friction law, rate-free"
TABLE = Table(
    "tests/bench/COVERAGE.md",
    "coverage",
    (
        *ONSET,
        "rig/analysis/groups.py",
        "rig/analysis/budget/parts.py",
        *SIMULATOR,
        "rig/calibration/fit.py",
        "rig/procedures/level/finish.py",
        "tests/bench/calibrated.py",
        "tests/bench/coverage.py",
    ),
)
SERIES, RUNS = 3, 5
DWELL_S = 5.0
SERIES_H, RUN_H = 0.3, 0.05


class Row(msgspec.Struct, frozen=True):
    """One rig under one law; coefficients."""

    seed: int
    law: str
    mu: float
    """The target."""
    groups: int
    """1 unless the runs fell apart into several."""
    valid: int
    error: float
    """Of the group's mean against the target."""
    expanded: float
    u_law: float
    """The component for the friction law."""
    u_common: float
    """All that no repeat shrinks, that component included."""
    u_mean: float
    """What the scatter of the series says of their mean."""
    angle_error_deg: float
    """Mean over the runs of onset angle less the run's own true onset angle."""
    calibration_notes: int
    flags: str


def draw_rig(seed: int, law: str) -> Scenario:
    """A rig and a face; the same for all laws, but for the law."""
    random = np.random.default_rng([seed, 3])
    scenario = draw_scenario(seed, law=law)  # type: ignore[arg-type]
    face = msgspec.structs.replace(
        scenario.face,
        scatter_run=float(random.uniform(0.005, 0.02)),
        scatter_series=float(random.uniform(0.0, 0.02)),
        settle_gain=float(random.uniform(0.0, 0.06)),
    )
    return msgspec.structs.replace(scenario, face=face, slides_before=int(random.integers(0, 10)))


def in_memory(lines: list[Line]) -> RunFile:
    """The run as its file would be read."""
    header = lines[0]
    assert isinstance(header, Header)

    def of(kind: type) -> list[Any]:
        return [line for line in lines if isinstance(line, kind)]

    return RunFile(
        path=Path(f"{header.run_id}.run.jsonl"),
        header=header,
        events=of(Event),
        samples=of(Samples),
        climate=of(Climate),
        steps=of(Steps),
        end=of(End)[0],
    )


def expected_mu(seed: int, scenario: Scenario, settings: Settings, truth: Truth, h: float) -> float:
    """µs of this slide if neither its mounting nor its placing had any scatter."""
    face = msgspec.structs.replace(scenario.face, scatter_run=0.0, scatter_series=0.0)
    smooth = msgspec.structs.replace(scenario, face=face)
    bag = PlacedBag.put(seed, smooth, settings, truth.number, 0.0, 1)
    assert truth.dwell_s is not None
    return bag.raise_from(truth.dwell_s, h).law.mu_static


def measure(
    seed: int, scenario: Scenario, settings: Settings, calibration: Calibration, beams: int
) -> Row:
    """Three series of five runs of one rig, as a group against its target."""
    analyses: list[RunAnalysis] = []
    expected: dict[str, list[float]] = {}
    errors = []
    for series in range(SERIES):
        name = f"series {series + 1}"
        mounted = msgspec.structs.replace(
            scenario, series=name, slides_before=scenario.slides_before + RUNS * series
        )
        for number in range(1, RUNS + 1):
            hours = SERIES_H * series + RUN_H * number
            lines, truth = simulate_run(
                settings,
                mounted,
                seed,
                number=number,
                dwell_s=DWELL_S,
                beams=beams,  # type: ignore[arg-type]
                calibration=calibration,
                hours=hours,
                run_id=f"{series}-{number}",
            )
            analysis = analyse_run(in_memory(lines))
            analyses.append(analysis)
            row = analysis.result
            if row.valid and row.onset_angle_deg is not None and truth.onset_angle_deg is not None:
                expected.setdefault(name, []).append(
                    expected_mu(seed, mounted, settings, truth, hours)
                )
                errors.append(row.onset_angle_deg - truth.onset_angle_deg)
    groups = group_runs(analyses)
    group = max(groups, key=lambda g: g.n_runs)
    target = float(np.mean([np.mean(values) for values in expected.values()]))
    u_law = _u_law(group, analyses)
    u_mean = math.hypot(group.u_repeat, group.u_series or 0.0)
    flags = sorted({flag for analysis in analyses for flag in analysis.result.flags})
    return Row(
        seed,
        scenario.law,
        target,
        len(groups),
        group.n_runs,
        group.mean_mu_static - target,
        group.expanded_mu_static,
        u_law,
        group.u_common,
        u_mean,
        float(np.mean(errors)),
        len(calibration.notes),
        " ".join(flags),
    )


def _u_law(group: GroupResult, analyses: list[RunAnalysis]) -> float:
    parts = [
        part.u_theta_deg
        for analysis in analyses
        if analysis.budget is not None
        for part in analysis.budget.components
        if part.name == LAW
    ]
    return u_of_tangent(group.mean_onset_angle_deg, float(np.mean(parts)))


def law_share(row: Row) -> float:
    """Share of the component for the friction law in the variance, as the group estimates it."""
    return row.u_law**2 / (row.u_mean**2 + row.u_common**2)


def true_law_share(row: Row) -> float:
    """The same with the scatter that the rig really has, which two degrees of freedom hide.

    A rig that is picked because its three series happened to lie far apart has a wide interval, and
    one that holds the truth more often than stated, whatever the rule for the interval.
    """
    face = draw_rig(row.seed, row.law).face
    scatter = face.scatter_series**2 / SERIES + face.scatter_run**2 / (SERIES * RUNS)
    return row.u_law**2 / (row.mu**2 * scatter + row.u_common**2)


def expanded(row: Row, times_law: float) -> float:
    """The interval's half-width with another component for the friction law."""
    u_rest = math.sqrt(max(row.u_common**2 - (1.0 - times_law**2) * row.u_law**2, 0.0))
    dof = welch_satterthwaite([(row.u_mean, SERIES - 1), (u_rest, math.inf)])
    return coverage_factor(max(dof, 1.0)) * math.hypot(row.u_mean, u_rest)


def one_rig(seed: int, laws: tuple[str, ...], beams: int) -> list[Row]:
    """Calibrate a rig once, let its floor move a little, and measure under each law."""
    settings = Settings()
    calibration = calibrate(seed, draw_rig(seed, "coulomb"), settings)
    sink = np.random.default_rng([seed, 4]).normal(0.0, 0.03, 2)
    rows = []
    for law in laws:
        scenario = draw_rig(seed, law)
        board = scenario.board
        moved = changed(
            scenario,
            board={
                "floor_along_deg": board.floor_along_deg + float(sink[0]),
                "floor_across_deg": board.floor_across_deg + float(sink[1]),
            },
        )
        rows.append(measure(seed, moved, settings, calibration, beams))
    return rows


COLUMNS = (
    *("law", "rigs", "holds the truth %", "median half-width of µs", "relative %"),
    *("mean error of µs", "rms error", "mean angle error °", "runs not valid"),
)
PARTS_COLUMNS = (
    "law",
    "no bounded part above half, by the rig's own scatter: holds % (rigs)",
    "the same, picked by the estimated scatter",
    *("earlier range −0.09…+0.3°: holds %", "its half-width"),
    *("law's part left out: holds %", "its half-width"),
)
EARLIER = math.sqrt(0.105**2 + 0.39**2 / 12.0) / math.sqrt(0.18**2 + 0.54**2 / 12.0)
"""The component as it was while its range was −0.09…+0.3°, found with gaps up to 3 mm."""


def percent(hits: Any) -> str:
    """Share with its binomial standard error."""
    hits = np.asarray(hits, dtype=float)
    if len(hits) == 0:
        return "–"
    share = float(hits.mean())
    return f"{100 * share:.1f} ± {100 * math.sqrt(share * (1 - share) / len(hits)):.1f}"


def summary(law: str, rows: list[Row]) -> str:
    """One line of the table."""
    error = np.array([row.error for row in rows])
    width = np.array([row.expanded for row in rows])
    cells = [
        law.replace("_", " "),
        str(len(rows)),
        percent(np.abs(error) <= width),
        f"{np.median(width):.4f}",
        f"{100 * np.median([row.expanded / row.mu for row in rows]):.1f}",
        f"{error.mean():+.4f}",
        f"{math.sqrt(np.mean(error**2)):.4f}",
        f"{np.mean([row.angle_error_deg for row in rows]):+.3f}",
        f"{sum(SERIES * RUNS - row.valid for row in rows)}",
    ]
    return f"| {' | '.join(cells)} |"


def parts_summary(law: str, rows: list[Row]) -> str:
    """One line of the table's second part."""
    error = np.array([row.error for row in rows])
    hit = np.abs(error) <= np.array([row.expanded for row in rows])
    cells = [law.replace("_", " ")]
    for share in (true_law_share, law_share):
        chosen = np.array([share(row) <= 0.5 for row in rows])
        cells.append(f"{percent(hit[chosen])} ({int(np.sum(chosen))})")
    for times_law in (EARLIER, 0.0):
        other = np.array([expanded(row, times_law) for row in rows])
        cells += [percent(np.abs(error) <= other), f"{np.median(other):.4f}"]
    return f"| {' | '.join(cells)} |"


def load_rows(path: Path) -> list[Row]:
    """Rows that an earlier run kept."""
    return [msgspec.json.decode(line, type=Row) for line in path.read_bytes().splitlines()]


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=1000)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=100000)
    parser.add_argument("--beams", type=int, default=1, choices=(1, 2))
    parser.add_argument("--laws", default=",".join(LAWS))
    parser.add_argument("--rows", type=Path, help="keep a line per rig and law here, and go on")
    parser.add_argument("--write", action="store_true", help="put the table into COVERAGE.md")
    options = parser.parse_args()
    TABLE.show(lines_of(options), seed=f"{options.first_seed} …", write=options.write)


def lines_of(options: argparse.Namespace) -> Iterator[str]:
    """Make the runs; the lines of the table in Markdown."""
    laws = tuple(options.laws.split(","))
    seeds = range(options.first_seed, options.first_seed + options.rigs)
    kept = load_rows(options.rows) if options.rows is not None and options.rows.exists() else []
    done = {(row.seed, row.law) for row in kept}
    rows = [row for row in kept if row.seed in seeds and row.law in laws]
    left = [seed for seed in seeds if any((seed, law) not in done for law in laws)]
    job = partial(one_rig, laws=laws, beams=options.beams)
    with ProcessPoolExecutor(options.processes) as pool:
        for found in pool.map(job, left, chunksize=1):
            rows += found
            if options.rows is not None:
                with options.rows.open("ab") as file:
                    file.writelines(msgspec.json.encode(row) + b"\n" for row in found)
    by_law = {law: of_law for law in laws if (of_law := [row for row in rows if row.law == law])}
    yield from columns(*COLUMNS)
    yield from (summary(law, of_law) for law, of_law in by_law.items())
    yield ""
    yield from columns(*PARTS_COLUMNS)
    yield from (parts_summary(law, of_law) for law, of_law in by_law.items())


if __name__ == "__main__":
    main()
