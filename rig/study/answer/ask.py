"""From a study folder and a question to the answer; what every command and page calls."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from msgspec.structs import replace

from rig.analysis.climate import surface_humidity_pct
from rig.calibration.model import Calibration
from rig.errors import BadInputError
from rig.study.answer.answer import Answer, DayAir, Others
from rig.study.answer.build import answer, usual_air
from rig.study.answer.effects import others_of
from rig.study.answer.question import Aim, Question, target_like, targets_of
from rig.study.folder.study import Study
from rig.study.model import history
from rig.study.model.draws import Draws
from rig.study.model.others import Told
from rig.study.model.store import draws_of
from rig.study.slides.experience import with_experience
from rig.study.slides.look import Contents
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, slide_table


class NoSlideError(BadInputError):
    """A study in which no slide counts yet."""


class Asked(NamedTuple):
    """A study with its slides, the model's draws, and the question as it was taken."""

    study: Study
    table: SlideTable
    draws: Draws
    question: Question
    contents: Contents = Contents(most_bytes=0)
    """Run files that were read whole for it, for who wants to look closer."""
    calibration: Calibration | None = None
    """Used instead of those in the run files."""
    older: tuple[str, ...] = ()
    """Names of the studies whose experience the model took along."""
    others: Others | None = None
    """What rests on other owners' studies, where they were taken along."""

    @property
    def answer(self) -> Answer:
        """The answer."""
        found = answer(self.study, self.table, self.draws, self.question, self.older)
        return found if self.others is None else replace(found, others=self.others)


class Like(NamedTuple):
    """A bag face that is to be matched, on a board and in air of its own."""

    bag: str
    face: str
    board: str | None = None
    air: DayAir | None = None


def ask(
    study: Study,
    *,
    air: DayAir | None = None,
    from_damp: bool | None = None,
    board: str | None = None,
    angle_deg: float | None = None,
    like: Like | None = None,
    tolerance_deg: float | None = None,
    readings: Sequence[Slide] = (),
    calibration: Calibration | None = None,
    contents: Contents | None = None,
    told: Callable[[Study, SlideTable], Told] | None = None,
) -> Asked:
    """Fit the model (or take its draws from the cache) and put a question to it.

    Args:
        study: opened afresh.
        air: the newest slide's if None.
        from_damp: the bags come from damper air; as they mostly did if None.
        board: each bag's usual one if None.
        angle_deg: wanted of every face, in place of the study's targets.
        like: a bag face to be matched, in place of the study's targets.
        tolerance_deg: how near is near enough, in place of the targets' own.
        readings: slides of today that the journal does not have.
        calibration: used instead of those in the run files.
        contents: keeps the run files that are read; nothing is kept if None.
        told: gives what other owners' studies say to this one.

    Raises:
        BadInputError: no slide counts, or a damaged line of the journal blocks all answers.
    """
    table = slide_table(study, calibration, contents)
    table.check_answers()
    table = table._replace(slides=[*table.slides, *readings])
    if not table.valid:
        raise NoSlideError(
            f"{study.path} has no slide that counts yet: measure with `rig run`, or note what you"
            " read by hand with `rig study reading`."
        )
    taken = with_experience(study, table)
    plays = [history.Played(one.bag, one.at, one.throws) for one in taken.plays]
    draws = draws_of(taken.study, taken.table, plays)
    others = None
    if told is not None:
        by_others, alone = told(study, table), draws
        draws = draws_of(taken.study, taken.table, plays, by_others.bound)
        others = others_of(by_others, alone, draws)
    question = Question(
        air=air or usual_air(table),
        damp=draws.about.usual_air.damp if from_damp is None else float(from_damp),
        board=board,
        may_pass=study.catalogue.preferences.may_pass,
    )
    targets = _targets(study, table, draws, question, angle_deg, like)
    if tolerance_deg is not None:
        targets = {face: replace(one, tolerance_deg=tolerance_deg) for face, one in targets.items()}
    question = replace(question, targets=targets)
    kept = contents or Contents(most_bytes=0)
    return Asked(study, table, draws, question, kept, calibration, taken.older, others)


def _targets(
    study: Study,
    table: SlideTable,
    draws: Draws,
    question: Question,
    angle_deg: float | None,
    like: Like | None,
) -> dict[str, Aim]:
    near_deg = study.catalogue.preferences.tolerance_deg
    if angle_deg is not None:
        one = Aim(angle_deg=angle_deg, tolerance_deg=near_deg)
    elif like is not None:
        there = question if like.air is None else replace(question, air=like.air)
        board = like.board or question.board
        one = target_like(draws, like.bag, like.face, board, there.model_air, near_deg)
    else:
        return targets_of(study.catalogue)
    return dict.fromkeys(sorted({slide.face for slide in table.valid if slide.face}), one)


def air_at(
    temperature_c: float | None,
    relative_humidity_pct: float,
    board_temperature_c: float | None = None,
) -> DayAir:
    """The air at the board's surface; without its temperature that of the air."""
    surface = relative_humidity_pct
    if temperature_c is not None and board_temperature_c is not None:
        surface = surface_humidity_pct(temperature_c, surface, board_temperature_c)
    return DayAir(
        temperature_c=temperature_c,
        relative_humidity_pct=relative_humidity_pct,
        surface_humidity_pct=min(surface, 100.0),
    )
