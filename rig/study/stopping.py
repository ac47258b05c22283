"""When to stop treating: the path of each face towards the wish, and what the last step did."""

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec
from msgspec import Struct

from rig.analysis.table import format_table
from rig.quantities.figures import signed
from rig.study.climate_model import ClimateModel
from rig.study.compare_levels import levels_by_unit
from rig.study.folder import Study
from rig.study.journal import Droop, Mass
from rig.study.rows import BagFace, Row, angle_of, stage_place

CAUTION = (
    "Softening can't be taken back: take thin fabrics in small steps, rinse until no suds, never "
    "boil (pellets fuse). Common practice, no source."
)

TELLS_DEG = 0.3
"""A step beyond the controls' that is smaller tells nothing: like bags differ by as much (a
judgement)."""


class PathStep(Struct, frozen=True, kw_only=True):
    """One stage of a bag's face; None where nothing was measured."""

    stage: str
    angle_deg: float
    """In the study's mean air, as far as the climate model can move it there."""
    step_deg: float | None
    """Change since the stage before."""
    own_step_deg: float | None = None
    """The same less the mean change of the controls, which wear alike; None without controls."""
    to_wish_deg: float | None
    """Wish minus angle."""
    droop_deg: float | None
    mass_g: float | None


class StagePath(Struct, frozen=True, kw_only=True):
    """The stages of one face on one board, in order, and what they say."""

    bag: str
    face: str
    board: str
    steps: list[PathStep]
    advice: str

    def document(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return dict(msgspec.to_builtins(self))


def wished_angle(study: Study) -> float | None:
    """The angle that the study wishes for, or None."""
    wish = study.catalogue.preferences
    if wish.wish_angle_deg is not None:
        return wish.wish_angle_deg
    return None if wish.wish_mu_static is None else angle_of(wish.wish_mu_static)


def paths(study: Study, rows: Sequence[Row], model: ClimateModel) -> list[StagePath]:
    """The path of every bag that is treated."""
    wish, tolerance = wished_angle(study), study.catalogue.preferences.tolerance_deg
    levels = levels_by_unit(rows, model)
    droops: dict[tuple[str, str, str], list[float]] = {}
    for line in study.journal.of(Droop):
        droops.setdefault((line.bag, line.face, line.stage), []).extend(line.angles_deg)
    masses: dict[tuple[str, str], float] = {}
    for weighing in study.journal.of(Mass):
        if weighing.bag in study.catalogue.bags:
            stage = study.stage_at(weighing.bag, weighing.at)
            masses[weighing.bag, stage] = weighing.mass_g
    controls = study.catalogue.with_role("control")
    found = []
    for bag, face, board in sorted({unit[:3] for unit in levels}):
        if bag not in study.catalogue.bags or study.catalogue.bags[bag].role != "treated":
            continue
        own = sorted(
            ((u.stage, level) for u, level in levels.items() if u[:3] == (bag, face, board)),
            key=lambda one: stage_place(one[0]),
        )
        steps: list[PathStep] = []
        for stage, level in own:
            droop = droops.get((bag, face, stage))
            step = level - steps[-1].angle_deg if steps else None
            now = BagFace(bag, face, board, stage)
            wear = _wear(controls, levels, steps[-1].stage, now) if steps else None
            steps.append(
                PathStep(
                    stage=stage,
                    angle_deg=level,
                    step_deg=step,
                    own_step_deg=None if step is None or wear is None else step - wear,
                    to_wish_deg=None if wish is None else wish - level,
                    droop_deg=sum(droop) / len(droop) if droop else None,
                    mass_g=masses.get((bag, stage)),
                )
            )
        advice = advise(steps, tolerance)
        found.append(StagePath(bag=bag, face=face, board=board, steps=steps, advice=advice))
    return found


def _wear(
    controls: Sequence[str], levels: Mapping[BagFace, float], before: str, now: BagFace
) -> float | None:
    """Mean change of the controls since a stage, where this unit is; None if none has both."""
    like = [now._replace(bag=bag) for bag in controls]
    pairs = [(unit._replace(stage=before), unit) for unit in like]
    steps = [levels[new] - levels[old] for old, new in pairs if old in levels and new in levels]
    return sum(steps) / len(steps) if steps else None


def advise(steps: Sequence[PathStep], tolerance_deg: float) -> str:
    """One sentence on whether to go on."""
    last = steps[-1]
    if last.to_wish_deg is None:
        return "No wish is set, so there is nothing to stop at."
    if abs(last.to_wish_deg) <= tolerance_deg:
        return f"Stop: within {tolerance_deg:.1f}° of the wish."
    if last.step_deg is None:
        return f"{signed(last.to_wish_deg, 1)}° to go; not treated yet."
    go, step = f"{signed(last.to_wish_deg, 1)}° to go", f"({signed(last.step_deg, 1)}°)"
    own = last.own_step_deg
    if own is not None and abs(own) < TELLS_DEG:
        return f"{go}, and the last step {step} was hardly more than the wear of the controls."
    if last.step_deg * last.to_wish_deg < 0.0:
        passed = len(steps) > 1 and (steps[-2].to_wish_deg or 0.0) * last.to_wish_deg < 0.0
        how = "passed the wish" if passed else "led away from the wish"
        return f"Stop: the last step {step} {how}."
    if own is not None:
        if own * last.to_wish_deg < 0.0:
            return (
                f"{go}, and the treatment's part ({signed(own, 1)}°) led away from the wish: stop."
            )
    else:
        own = last.step_deg
    if abs(own) > abs(last.to_wish_deg) + tolerance_deg:
        return f"{go}, but a step like the last {step} would overshoot: take a smaller one or stop."
    if abs(own) < 0.1:
        return f"{go}, and the last step did almost nothing."
    n = abs(last.to_wish_deg / own)
    return f"{go}: about {n:.1f} steps like the last."


def paths_text(listed: Sequence[StagePath]) -> str:
    """The paths as a table, with the caution."""
    rows: list[tuple[str, ...]] = [
        ("bag", "face", "board", "stage", "angle", "step", "to wish", "droop", "mass", "")
    ]

    def cell(value: float | None, form: str) -> str:
        return "–" if value is None else format(value, form)

    for path in listed:
        for step in path.steps:
            rows.append(
                (
                    path.bag,
                    path.face,
                    path.board,
                    step.stage,
                    f"{step.angle_deg:.2f}",
                    "–" if step.step_deg is None else signed(step.step_deg),
                    "–" if step.to_wish_deg is None else signed(step.to_wish_deg),
                    cell(step.droop_deg, ".0f"),
                    cell(step.mass_g, ".1f"),
                    path.advice if step is path.steps[-1] else "",
                )
            )
    title = "Paths over the treatments (degrees, grams; in the study's mean air)"
    return f"{title}\n{format_table(rows)}\n{CAUTION}"
