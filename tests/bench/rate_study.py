"""What a rate study gives under each friction law, on the fast simulator.

Run from the project's folder: `python -m tests.bench.rate_study [--rigs N] [--processes P]`. Prints
the table of RATES.md, and with `--write` puts it there.

Each rig has its own sensor, mounting, calibration error, floor tilt, linkage error, face and gap,
skew, slump and scatter of each run. One face is raised in one series, each rate `--repeat` times in
the balanced random order of `rig run --rates`; the same runs at the middle rate alone are what one
would have without a study. Errors are the mean over the runs at a rate of result less the run's own
true onset angle. With `--ageing` friction also grows with the time of contact during the raise, by
so many per cent per tenfold time, which the simulator alone does not do.
"""

import argparse
import math
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import msgspec
import numpy as np

from rig.analysis.budget.parts import root_sum_square
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.rate_study import RateStudy, apply_studies, rate_studies
from rig.procedures.rates import balanced_order
from rig.runfile.model import Event, Line
from rig.settings.model import Settings
from rig.twin.draws import draw_scenario
from rig.twin.friction import LAW_NAMES
from rig.twin.scenario import Scenario, Truth
from tests.bench.coverage import in_memory
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET, SIMULATOR
from tests.fastsim.run import simulate_run

TABLE = Table(
    "tests/bench/RATES.md",
    "rate study",
    (
        *ONSET,
        "rig/analysis/rate_study.py",
        *SIMULATOR,
        "rig/procedures/rates.py",
        "tests/bench/rate_study.py",
    ),
)


class Row(msgspec.Struct, frozen=True):
    """One rig under one law, at one rate."""

    law: str
    rate: float
    plain_error: float
    plain_u: float
    study_error: float
    study_u: float
    """Standard uncertainty of the mean, used or not."""
    used: bool
    kept_error: float
    kept_u: float
    """What `rig analyse` gives: the study where it is used."""
    line_holds: bool
    slope: float
    u_slope: float
    true_slope: float
    """The law's part at 1 °/s as it was: from the true onset angles."""


def raised(
    settings: Settings, scenario: Scenario, seed: int, number: int, rate: float, dwell_s: float
) -> tuple[list[Line], Truth]:
    """A run in which friction also ages during the raise.

    The simulator ages it until the raise begins only. So the bag lies as long as it would until its
    onset, and the file says what the machine would have said: the rest before the raise.
    """
    until_onset_s = math.degrees(math.atan(scenario.face.mu_static_dry)) / rate
    lines, truth = simulate_run(
        settings, scenario, seed, number=number, rate_deg_s=rate, dwell_s=dwell_s + until_onset_s
    )
    for k, line in enumerate(lines):
        if isinstance(line, Event) and line.event == "raise_started":
            lines[k] = msgspec.structs.replace(line, detail=line.detail | {"dwell_s": dwell_s})
    return lines, truth


def with_ageing(scenario: Scenario, ageing_pct: float) -> Scenario:
    """The same face, growing by so many per cent per tenfold time of contact."""
    face = scenario.face
    per_e_fold = ageing_pct / 100.0 * face.mu_static_dry / math.log(10.0)
    face = msgspec.structs.replace(face, ageing_per_e_fold=per_e_fold)
    return msgspec.structs.replace(scenario, face=face)


def one_rig(
    seed: int,
    laws: tuple[str, ...],
    rates: tuple[float, ...],
    repeat: int,
    dwell_s: float,
    ageing_pct: float,
) -> list[Row]:
    """One series under each law."""
    rows = []
    for law in laws:
        settings, scenario = Settings(), draw_scenario(seed, law=law)  # type: ignore[arg-type]
        analyses: list[RunAnalysis] = []
        truth_deg: dict[str, float] = {}
        for number, rate in enumerate(balanced_order(rates, repeat, str(seed)), start=1):
            if ageing_pct:
                ageing_face = with_ageing(scenario, ageing_pct)
                lines, truth = raised(settings, ageing_face, seed, number, rate, dwell_s)
            else:
                lines, truth = simulate_run(
                    settings, scenario, seed, number=number, rate_deg_s=rate, dwell_s=dwell_s
                )
            analysis = analyse_run(in_memory(lines))
            if analysis.result.valid and truth.onset_angle_deg is not None:
                analyses.append(analysis)
                truth_deg[analysis.result.run_id] = truth.onset_angle_deg
        for study in rate_studies(analyses):
            shifted = apply_studies(analyses, [study])
            rows += [_row(law, study, rate, analyses, shifted, truth_deg) for rate in rates]
    return rows


def _row(
    law: str,
    study: RateStudy,
    rate: float,
    analyses: list[RunAnalysis],
    shifted: list[RunAnalysis],
    truth_deg: dict[str, float],
) -> Row:
    def error(runs: list[RunAnalysis], at: float) -> float:
        chosen = [run.result for run in runs if run.result.rate_deg_s == at]
        return float(
            np.mean([(row.onset_angle_deg or 0.0) - truth_deg[row.run_id] for row in chosen])
        )

    at = next(one for one in study.rates if one.rate_deg_s == rate)
    x = [one.rate_deg_s ** (2.0 / 3.0) for one in study.rates]
    law_part = [error(analyses, one.rate_deg_s) for one in study.rates]
    plain = error(analyses, rate)
    return Row(
        law=law,
        rate=rate,
        plain_error=plain,
        plain_u=at.u_without_deg,
        study_error=plain - at.shift_deg,
        study_u=at.u_with_deg,
        used=at.used,
        kept_error=error(shifted, rate),
        kept_u=at.u_with_deg if at.used else at.u_without_deg,
        line_holds=study.line_holds,
        slope=study.slope_deg,
        u_slope=study.u_slope_deg,
        true_slope=float(np.polyfit(x, law_part, 1)[0]),
    )


COLUMNS = (
    *("law", "°/s", "rigs", "line holds %", "used %"),
    *("law's part at 1 °/s, true °", "found °", "error/u"),
    *("without: mean error °", "rms °", "u °", "within 2 u %"),
    *("with: mean error °", "rms °", "u °", "within 2 u %"),
    *("as given: rms °", "u °", "within 2 u %"),
)


def summary(law: str, rate: float, rows: list[Row]) -> str:
    """One line of the table."""
    of = {key: np.array([getattr(row, key) for row in rows]) for key in Row.__struct_fields__[2:]}

    def block(error: str, u: str, mean: bool = True) -> list[str]:
        e, s = of[error], of[u]
        first = [f"{e.mean():+.3f}"] if mean else []
        rms = root_sum_square(e) / math.sqrt(len(e))
        return [*first, f"{rms:.3f}", f"{np.median(s):.3f}", f"{100 * np.mean(abs(e) < 2 * s):.1f}"]

    score = (of["slope"] - of["true_slope"]) / of["u_slope"]
    cells = [
        law.replace("_", " "),
        f"{rate:g}",
        str(len(rows)),
        f"{100 * of['line_holds'].mean():.0f}",
        f"{100 * of['used'].mean():.0f}",
        f"{of['true_slope'].mean():+.3f}",
        f"{of['slope'].mean():+.3f} ± {np.median(of['u_slope']):.3f}",
        f"{root_sum_square(score) / math.sqrt(len(score)):.2f}",
        *block("plain_error", "plain_u"),
        *block("study_error", "study_u"),
        *block("kept_error", "kept_u", mean=False),
    ]
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rigs", type=int, default=100)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=300000)
    parser.add_argument("--rates", default="0.25,1,3")
    parser.add_argument("--repeat", type=int, default=10)
    parser.add_argument("--dwell", type=float, default=60.0)
    parser.add_argument("--ageing", type=float, default=0.0)
    parser.add_argument("--laws", default=",".join(LAW_NAMES))
    parser.add_argument("--write", action="store_true", help="put the table into RATES.md")
    options = parser.parse_args()
    TABLE.show(lines_of(options), seed=f"{options.first_seed} …", write=options.write)


def lines_of(options: argparse.Namespace) -> Iterator[str]:
    """Make the studies; the lines of the table in Markdown."""
    laws = tuple(options.laws.split(","))
    rates = tuple(float(rate) for rate in options.rates.split(","))
    job = partial(
        one_rig,
        laws=laws,
        rates=rates,
        repeat=options.repeat,
        dwell_s=options.dwell,
        ageing_pct=options.ageing,
    )
    began, rows = time.monotonic(), []
    with ProcessPoolExecutor(options.processes) as pool:
        seeds = range(options.first_seed, options.first_seed + options.rigs)
        for found in pool.map(job, seeds, chunksize=1):
            rows += found
    yield (
        f"{options.rigs} rigs, {options.repeat} runs at each rate, dwell {options.dwell:g} s,"
        f" ageing {options.ageing:g} %, {(time.monotonic() - began) / 60.0:.0f} minutes:"
    )
    yield ""
    yield from columns(*COLUMNS)
    for law in laws:
        for rate in rates:
            chosen = [row for row in rows if row.law == law and row.rate == rate]
            if chosen:
                yield summary(law, rate, chosen)


if __name__ == "__main__":
    main()
