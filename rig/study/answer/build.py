"""Makes the answer from the draws of the model: the only place that does."""

from collections import Counter
from collections.abc import Sequence

import msgspec

from rig.study.answer import words
from rig.study.answer.acts import SeriesCost, next_acts
from rig.study.answer.answer import Answer, AnswerQuality, DayAir
from rig.study.answer.bags import bag_answers, best_four, picks_of, sets_of
from rig.study.answer.effects import offsets_of, scatter_of, treatments_of, weather_of
from rig.study.answer.question import Question
from rig.study.answer.reference import reference_sentences
from rig.study.folder.study import Study
from rig.study.model import methods
from rig.study.model.draws import Draws
from rig.study.plan.status import minutes_per_run, series_minutes
from rig.study.slides.by_phone import common_shift_deg
from rig.study.slides.slide import Slide
from rig.study.slides.strays import strays
from rig.study.slides.table import SlideTable

HAND_SLIDE_MIN = 1.0
"""A slide by hand: lay the bag on, lift, read; common practice, no source."""


def answer(
    study: Study,
    table: SlideTable,
    draws: Draws,
    question: Question,
    older: tuple[str, ...] = (),
) -> Answer:
    """Answer a question about a study.

    Args:
        study: for targets' recipes, times and roles.
        table: its slides.
        draws: of the model of these slides.
        question: air, board, targets.
        older: studies whose experience the draws rest on, too.
    """
    boards = _boards(study, table)
    known = study.catalogue.bags.items()
    bags = bag_answers(draws, question, boards, _recipes(study, draws))
    sets = {name: bag.set for name, bag in known if bag.set}
    faces = sorted({(draws.about.models.get(bag, ""), face) for bag, face in boards})
    treatments, weather = treatments_of(draws, faces), weather_of(draws, faces)
    quality = draws.quality
    found = Answer(
        as_of=_as_of(study, table),
        experience=older,
        air=question.air,
        targets=question.face_targets,
        quality=AnswerQuality(
            pareto_k=quality.pareto_k, ess=quality.ess, prior_carried=quality.prior_carried
        ),
        treatments=tuple(treatments),
        bags=tuple(bags),
        picks=tuple(picks_of(bags)),
        best_four=best_four(draws, question, bags),
        sets=tuple(sets_of(draws, question, bags, sets)),
        weather=tuple(weather),
        boards=tuple(offsets_of(draws, sorted({s.board for s in table.valid if s.board}))),
        scatter=scatter_of(draws),
        next=tuple(next_acts(draws, question, bags, faces, _series(study, draws, table))),
        unknown=tuple(
            words.unknown_sentences(
                treatments,
                weather,
                pareto_k=quality.pareto_k,
                blocked=[
                    *(said for bag, said in table.blocked.items() if bag is not None),
                    *(stray.text for stray in strays(table.valid)),
                    *reference_sentences(draws, table.valid),
                ],
                phone_u_deg=common_shift_deg(table.valid),
            )
            + methods.said(table.slides)
        ),
        sentences=(),
    )
    return msgspec.structs.replace(found, sentences=words.sentences(found))


def usual_air(table: SlideTable) -> DayAir:
    """The air of the newest slide whose air is known, else that of a mild day."""
    for slide in reversed(table.valid):
        if slide.relative_humidity_pct is not None:
            surface = slide.surface_humidity_pct
            return DayAir(
                temperature_c=slide.temperature_c,
                relative_humidity_pct=slide.relative_humidity_pct,
                surface_humidity_pct=slide.relative_humidity_pct if surface is None else surface,
            )
    return DayAir(temperature_c=None, relative_humidity_pct=50.0, surface_humidity_pct=50.0)


def _boards(study: Study, table: SlideTable) -> dict[tuple[str, str], str]:
    """(bag, face) → the board that it was measured on most; in the catalogue's order.

    Without the reference bag, which watches the board, and without bags whose answers must wait.
    """
    counts: dict[tuple[str, str], Counter[str]] = {}
    for slide in table.valid:
        if _counts(slide, study, table):
            face = (slide.bag or "", slide.face or "")
            counts.setdefault(face, Counter())[slide.board or ""] += 1
    order = {name: place for place, name in enumerate(study.catalogue.bags)}
    faces = sorted(counts, key=lambda face: (order.get(face[0], len(order)), face))
    return {face: counts[face].most_common(1)[0][0] for face in faces}


def _recipes(study: Study, draws: Draws) -> dict[str, tuple[str, ...]]:
    """Bag → the recipes that may be next: the planned one, else any; none for a control."""
    every = draws.about.recipes
    return {
        name: (() if bag.role == "control" else (bag.treatment,) if bag.treatment else every)
        for name, bag in study.catalogue.bags.items()
    }


def _counts(slide: Slide, study: Study, table: SlideTable) -> bool:
    is_known = slide.bag is not None and slide.face is not None
    return is_known and slide.role != "reference" and slide.bag not in table.blocked


def _series(study: Study, draws: Draws, table: SlideTable) -> SeriesCost:
    preferences = study.catalogue.preferences
    slides = preferences.runs_per_series
    if draws.by_hand:
        return SeriesCost(slides, slides * HAND_SLIDE_MIN)
    each: Sequence[Slide] = table.of_rig
    return SeriesCost(slides, series_minutes(study, slides, minutes_per_run(study, each)))


def _as_of(study: Study, table: SlideTable) -> str:
    times = [slide.at for slide in table.slides] + [entry.at for entry in study.journal.lines]
    return max(times, default=study.catalogue.made_at)
