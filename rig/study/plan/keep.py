"""Keeps `plan.csv`: made once, added to, or put aside for a new one; no plan is ever lost."""

from itertools import pairwise

from rig.errors import BadInputError
from rig.study.folder.durable import create_file, locked, replace_file
from rig.study.folder.study import Study
from rig.study.plan.make import make_plan
from rig.study.plan.rows import PlanRow, plan_text, read_plan
from rig.study.plan.status import stage_to_plan_from
from rig.study.plan.trial import Foreseen, Scatter, best_plan


def current_plan(study: Study, *, replace: bool = False) -> list[PlanRow]:
    """The plan, checked; made if there is none, or again with `replace`.

    A plan that is replaced is kept beside it as `plan-N.csv`, whatever is in it.

    Raises:
        BadInputError: the plan is not valid, or something that a plan needs is missing.
    """
    path = study.plan_path
    if path.exists() and not replace:
        return read_plan(study)
    with locked(study.path):
        if path.exists() and not replace:  # another program has made it meanwhile
            return read_plan(study)
        _keep(study, make_plan(study, _next_number(study)))
    return read_plan(study)


def timed_plan(
    study: Study,
    hours: float,
    run_min: float,
    scatter: Scatter,
    *,
    replace: bool = False,
    without_reference: bool = False,
    controls: int | None = None,
) -> tuple[list[PlanRow], Foreseen | None]:
    """The best plan for the time there is, kept as the study's; see `trial.best_plan`.

    Raises:
        BadInputError: there is a plan and it is not to be replaced, or no plan fits.
    """
    if study.plan_path.exists() and not replace:
        raise BadInputError(
            f"{study.plan_path} is there; --replace puts it aside and makes a new one."
        )
    with locked(study.path):
        best = best_plan(
            study,
            hours,
            run_min,
            scatter,
            number=_next_number(study),
            without_reference=without_reference,
            controls=controls,
        )
        _keep(study, best.rows)
    return read_plan(study), best.foreseen


def _next_number(study: Study) -> int:
    """Of the plan to be made; the present one, if any, is put aside under the number before."""
    return _last_kept(study) + (2 if study.plan_path.exists() else 1)


def _keep(study: Study, rows: list[PlanRow]) -> None:
    path = study.plan_path
    if path.exists():
        create_file(path.with_name(f"plan-{_last_kept(study) + 1}.csv"), path.read_bytes())
    replace_file(path, plan_text(rows).encode())


def add_to_plan(study: Study) -> list[PlanRow]:
    """Append the blocks that the catalogue wants and the plan lacks; keep a copy of the old one.

    Raises:
        BadInputError: there is no plan, it is not valid, or nothing can be added to it.
    """
    path = study.plan_path
    with locked(study.path):
        rows = read_plan(study)
        stage_from = stage_to_plan_from(study)
        number = _last_kept(study) + 1
        more = make_plan(study, number + 1, rows, stage_from)
        if not more:
            raise BadInputError(
                "The plan has everything already that the catalogue wants and that can still be"
                " measured; add a climate with `rig study climate` or edit study.toml."
            )
        merged = _in_order(study, rows, more)
        create_file(path.with_name(f"plan-{number}.csv"), path.read_bytes())
        replace_file(path, plan_text(merged).encode())
    return read_plan(study)


def _last_kept(study: Study) -> int:
    """The highest number of the plans that were put aside; 0 without any."""
    numbers = (path.stem.removeprefix("plan-") for path in study.path.glob("plan-*.csv"))
    return max((int(number) for number in numbers if number.isdecimal()), default=0)


def _in_order(study: Study, rows: list[PlanRow], more: list[PlanRow]) -> list[PlanRow]:
    """Put new rows behind the old ones of their stage, so that stages stay in order."""
    order = {row.row: study.stage_order(row.stage) for row in [*rows, *more]}
    if all(order[a.row] <= order[b.row] for a, b in pairwise(rows)):
        return sorted([*rows, *more], key=lambda row: order[row.row])
    return [*rows, *more]
