"""From a study folder to the rows that the statistics use."""

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from rig.analysis.row import RunResult
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.runfile.reader import find_runs
from rig.study.cache import Kept, results_of
from rig.study.catalogue import BASELINE
from rig.study.folder import Study, open_study
from rig.study.rows import BagInfo, Row, bags_of

DAMP = {"from_dry": 0.0, "from_damp": 1.0, "unknown": None}
LIKE_RATE = 0.2
"""Raise rates that differ by less than this part are taken together."""


class Gathered(NamedTuple):
    """A study's rows in order of time, its bags, and sentences about what was left out."""

    study: Study
    rows: list[Row]
    bags: dict[str, BagInfo]
    notes: list[str]


def gather(folder: Path, calibration: Calibration | None = None) -> Gathered:
    """Read a study and the results of its runs.

    Raises:
        BadInputError: it is no study, or has no run that can be used.
    """
    study = open_study(folder)
    files = find_runs([study.runs_path]) if study.runs_path.is_dir() else []
    if not files:
        raise BadInputError(
            f"The study {folder} has no run yet; measure with `rig run --plan {folder}`."
        )
    kept = results_of(files, folder, calibration)
    notes = [*study.journal.problems]
    notes += [problem for one in kept.values() for problem in one.problems]
    rows, more = rows_of(kept.values(), study)
    if not rows:
        raise BadInputError(
            f"None of the {len(files)} runs of {folder} can be used: "
            f"{' '.join([*notes, *more][:2]) or 'no bag slid.'} `rig analyse` shows each."
        )
    return Gathered(study, rows, bags_of(study.catalogue), notes + more)


def rows_of(kept: Iterable[Kept], study: Study | None = None) -> tuple[list[Row], list[str]]:
    """Rows of the results that count, in order of time, and how many were left out and why."""
    ordered = sorted(
        kept, key=lambda one: (one.started_at, one.result.run_id if one.result else "")
    )
    rows: list[Row] = []
    left: Counter[str] = Counter()
    for one in ordered:
        result = one.result
        if result is None:
            left["could not be read"] += 1
        elif not result.valid or result.onset_angle_deg is None:
            left["gave no valid angle"] += 1
        elif result.bag is None or result.face is None or result.board is None:
            left["name no bag, face or board"] += 1
        else:
            rows.append(_row(result, one, len(rows), study))
    rows, off_rate = _one_rate(rows)
    if off_rate:
        left["were raised at another rate than most"] += off_rate
    return rows, [f"{n} run(s) {why} and are left out." for why, n in left.items()]


def _row(result: RunResult, kept: Kept, order: int, study: Study | None) -> Row:
    stage = result.treatment_stage
    if stage is None:
        known = study is not None and result.bag in study.catalogue.bags
        stage = study.stage_at(result.bag or "", kept.started_at) if study and known else BASELINE
    session = result.session or f"session of {kept.started_at[:10]}"
    surface = result.surface_humidity_pct
    return Row(
        bag=result.bag or "",
        face=result.face or "",
        board=result.board or "",
        stage=stage,
        session=session,
        series=result.series or f"series of {result.bag} {result.face}",
        onset_angle_deg=result.onset_angle_deg or 0.0,
        u_run_deg=result.u_onset_angle_deg,
        mu_static=result.mu_static,
        slide_number=result.slide_number,
        order=order,
        # Without a board temperature the surface is taken to be as warm as the air.
        surface_humidity_pct=result.relative_humidity_pct if surface is None else surface,
        temperature_c=result.temperature_c,
        damp_share=DAMP[kept.approach],
        rate_deg_s=result.rate_deg_s,
        run_id=result.run_id,
        by_hand=kept.source == "hand",
    )


def _one_rate(rows: list[Row]) -> tuple[list[Row], int]:
    """The rows at the commonest raise rate: the slide angle is defined at one rate."""
    if not rows:
        return rows, 0
    usual = Counter(row.rate_deg_s for row in rows).most_common(1)[0][0]
    same = [row for row in rows if abs(row.rate_deg_s - usual) <= LIKE_RATE * usual]
    return same, len(rows) - len(same)
