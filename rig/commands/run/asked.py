"""What follows from several options of `rig run` together."""

from datetime import UTC, datetime
from pathlib import Path

from rig.commands.run.names import study_beside
from rig.errors import BadInputError
from rig.procedures.series.stop_rules import LEAST_RUNS, MOST_RUNS, SlideScatter
from rig.study.folder.study import open_study
from rig.study.plan.enough import slide_scatter
from rig.study.plan.evening import evening_rows
from rig.study.plan.rows import PlanRow


def most_runs(until: float | None, least: int | None, repeat: int) -> int | None:
    """Runs at most of a series that may end by its answer; None where it may not.

    Raises:
        BadInputError: --least without --until, or above the most.
    """
    if until is None:
        if least is not None:
            raise BadInputError("--least goes with --until: runs to make before it counts.")
        return None
    most = repeat if repeat > 1 else max(MOST_RUNS, least or 0)
    if (least or LEAST_RUNS) > most:
        raise BadInputError(
            f"--until makes {least or LEAST_RUNS} runs at least, and --repeat {repeat} at most;"
            " raise --repeat or lower --least."
        )
    return most


def expected_scatter() -> SlideScatter:
    """Of slides within a series, where no study tells it."""
    known = slide_scatter()
    return SlideScatter(sd_deg=known.sd_deg, freedom=known.freedom)


def evening_of(
    sets: list[str],
    folder: Path,
    plan: Path | None,
    board: str | None,
    repeat: int,
    session: str | None,
    begin: datetime | None,
) -> tuple[Path, list[PlanRow]]:
    """The study beside, and the series of these sets.

    Raises:
        BadInputError: --plan was given too, or there is no study.
    """
    if plan is not None:
        raise BadInputError("Give --plan or --set, not both.")
    path = study_beside(folder)
    if path is None:
        raise BadInputError(
            "--set needs a study that knows the set: work in its folder, or name it with --out."
        )
    now = begin or datetime.now(UTC)
    study = open_study(path)
    runs = repeat if repeat > 1 else study.catalogue.preferences.runs_per_series
    return path, evening_rows(study, sets, board, runs, session, now)
