"""From the slide table to the rows that the statistics use."""

from collections import Counter
from pathlib import Path
from typing import NamedTuple

from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.study.catalogue import BASELINE
from rig.study.folder import Study, open_study
from rig.study.rows import BagInfo, Row, bags_of
from rig.study.slides.look import Contents
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, slide_table

DAMP = {"from_dry": 0.0, "from_damp": 1.0, "unknown": None}
LIKE_RATE = 0.2
"""Raise rates that differ by less than this part are taken together."""


class Gathered(NamedTuple):
    """A study's rows in order of time, its bags, and sentences about what was left out."""

    study: Study
    table: SlideTable
    rows: list[Row]
    bags: dict[str, BagInfo]
    notes: list[str]


def gather(
    folder: Path, calibration: Calibration | None = None, contents: Contents | None = None
) -> Gathered:
    """Read a study and the results of its runs; the bytes of its run files go into `contents`.

    Raises:
        BadInputError: it is no study, has no run that can be used, or a line of its journal is in
            doubt and may be about any bag.
    """
    study = open_study(folder)
    table = slide_table(study, calibration, contents)
    table.check_answers()
    if not table.of_rig:
        raise BadInputError(
            f"The study {folder} has no run yet; measure with `rig run --plan {folder}`."
        )
    rows, more = rows_of(table)
    if not rows:
        raise BadInputError(
            f"None of the {len(table.of_rig)} runs of {folder} can be used: "
            f"{' '.join([*table.problems, *more][:2]) or 'no bag slid.'} `rig analyse` shows each."
        )
    bags = bags_of(study.catalogue, study.journal)
    return Gathered(study, table, rows, bags, table.problems + more)


def rows_of(table: SlideTable) -> tuple[list[Row], list[str]]:
    """Rows of the rig's slides that count, in order of time, and what was left out and why."""
    rows: list[Row] = []
    left: Counter[str] = Counter()
    for slide in table.of_rig:
        if slide.source is None:
            left["could not be read"] += 1
        elif slide.void:
            left["were taken out by a correction"] += 1
        elif not slide.valid:
            left["gave no valid angle"] += 1
        elif slide.bag is None or slide.face is None or slide.board is None:
            left["name no bag, face or board"] += 1
        elif slide.bag in table.blocked:
            left[f"are of {slide.bag}, whose journal is in doubt,"] += 1
        else:
            rows.append(_row(slide, len(rows)))
    rows, off_rate = _one_rate(rows)
    if off_rate:
        left["were raised at another rate than most"] += off_rate
    return rows, [f"{n} run(s) {why} and are left out." for why, n in left.items()]


def _row(slide: Slide, order: int) -> Row:
    return Row(
        bag=slide.bag or "",
        face=slide.face or "",
        board=slide.board or "",
        stage=slide.stage or BASELINE,
        session=slide.session or f"session of {slide.at[:10]}",
        series=slide.series or f"series of {slide.bag} {slide.face}",
        onset_angle_deg=slide.onset_angle_deg or 0.0,
        u_run_deg=slide.u_onset_angle_deg,
        mu_static=None if slide.result is None else slide.result.mu_static,
        slide_number=slide.slide_number,
        order=order,
        surface_humidity_pct=slide.surface_humidity_pct,
        temperature_c=slide.temperature_c,
        damp_share=DAMP[slide.approach],
        rate_deg_s=slide.rate_deg_s or 0.0,
        run_id=slide.slide_id,
        by_hand=slide.source == "hand",
    )


def _one_rate(rows: list[Row]) -> tuple[list[Row], int]:
    """The rows at the commonest raise rate: the slide angle is defined at one rate."""
    if not rows:
        return rows, 0
    usual = Counter(row.rate_deg_s for row in rows).most_common(1)[0][0]
    same = [row for row in rows if abs(row.rate_deg_s - usual) <= LIKE_RATE * usual]
    return same, len(rows) - len(same)
