"""Each bag face's way to its target, stage by stage, from the draws that give the answer."""

from collections.abc import Sequence

from msgspec import Struct

from rig.study.answer.answer import Answer, BagAnswer
from rig.study.answer.ask import Asked
from rig.study.folder.catalogue import BASELINE, stage_after
from rig.study.model.data import ModelData, Series
from rig.study.model.draws import Draws, interval
from rig.study.model.history import State
from rig.study.model.posterior import Air, F


class Stage(Struct, frozen=True, kw_only=True):
    """A bag face at the end of a stage, in the air and on the board that are asked for."""

    stage: str
    applications: int
    angle_deg: float
    lower_deg: float
    upper_deg: float
    n_slides: int
    """Slides that count, of this stage; 0: treated and not measured since."""


class WayToTarget(Struct, frozen=True, kw_only=True):
    """The stages of one bag face, the present one last, and the recipe that may come next."""

    bag: str
    face: str
    stages: tuple[Stage, ...]
    recipe: str | None
    """Of the forecast that is drawn; None where there is none."""

    @property
    def is_way(self) -> bool:
        """There is more than one point to draw."""
        return len(self.stages) > 1 or self.recipe is not None


def paths_of(asked: Asked, answer: Answer, data: ModelData) -> list[WayToTarget]:
    """A path for each of the answer's bag faces, in its order."""
    rows: dict[tuple[str, str], list[Series]] = {}
    for row in data.series:
        rows.setdefault((row.bag, row.face), []).append(row)
    return [_path(asked, one, rows.get((one.bag, one.face), [])) for one in answer.bags]


def _path(asked: Asked, one: BagAnswer, rows: Sequence[Series]) -> WayToTarget:
    n_now = len(asked.draws.state(one.bag, one.face).applications)
    stages = []
    for applications in range(n_now + 1):
        then = [row for row in rows if len(row.state.applications) == applications]
        if applications == n_now:
            ends = one.angle_deg, one.lower_deg, one.upper_deg
        elif then:
            air = asked.question.model_air
            ends = interval(
                angle_in(asked.draws, one.bag, one.face, then[-1].state, one.board, air)
            )
        else:
            continue
        stages.append(
            Stage(
                stage=stage_after(applications) if applications else BASELINE,
                applications=applications,
                angle_deg=ends[0],
                lower_deg=ends[1],
                upper_deg=ends[2],
                n_slides=sum(row.n for row in then),
            )
        )
    return WayToTarget(bag=one.bag, face=one.face, stages=tuple(stages), recipe=one.next_recipe)


def angle_in(draws: Draws, bag: str, face: str, state: State, board: str | None, air: Air) -> F:
    """Draws of a bag face's slide angle in a state that it was in."""
    return draws.level(bag, face, board, air) + next(draws.responses(bag, face, state))
