"""An older study's slides as experience: the model takes them along, the answer stays the study's.

What carries over is what the model shares: scatter, levels and slopes of a model's faces, boards,
rigs, readers, and what a recipe does. A bag of the older study is another bag, even if it has the
same name: it may be one, but has been thrown since in ways that nobody noted. A recipe is the same
if it has the same name and the same steps.

Other owners' studies come in another way (`gather/read.py`, `model/others.py`): their names and
recipes mean other things, a league has too many slides for one fit, and bags are the same only
where both owners say so. A study that comes both ways counts here alone.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from msgspec.structs import replace

from rig.errors import BadInputError
from rig.study.folder.journal import Journal, Play, Treatment
from rig.study.folder.study import Study, is_study, open_study
from rig.study.slides.slide import Slide
from rig.study.slides.table import SlideTable, slide_table

LINES = 10_000_000
"""More than a journal has: lines of an older one are counted from here on."""


class Experienced(NamedTuple):
    """A study as the model takes it."""

    study: Study
    table: SlideTable
    plays: tuple[Play, ...]
    older: tuple[str, ...] = ()
    """Names of the older studies."""


def older_studies(study: Study) -> list[Study]:
    """The studies whose experience this one takes, and theirs; each once.

    Raises:
        BadInputError: one is not there, or can't be read.
    """
    found: dict[Path, Study] = {study.path.resolve(): study}
    _add_older(study, found)
    return [one for one in found.values() if one is not study]


def _add_older(study: Study, found: dict[Path, Study]) -> None:
    for place in study.catalogue.experience:
        path = Path(os.path.normpath(study.path / place))
        if path.resolve() in found:
            continue
        if not is_study(path):
            raise BadInputError(
                f"{study.catalogue_path} takes the experience of {place}, which is not a study"
                " folder; put it back, or correct `experience`."
            )
        found[path.resolve()] = older = open_study(path)
        _add_older(older, found)


def with_experience(study: Study, table: SlideTable) -> Experienced:
    """The study and its slides, those of older studies with them.

    Raises:
        BadInputError: an older study is not there, its journal is in doubt, or it is the twin's
            and this one is not.
    """
    plays = tuple(study.journal.of(Play))
    older = older_studies(study)
    if not older:
        return Experienced(study, table, plays)
    bags, recipes = dict(study.catalogue.bags), dict(study.catalogue.treatments)
    lines, slides = [*study.journal.lines], [*table.slides]
    names: list[str] = []
    for number, one in enumerate(older, start=1):
        name = _name_for(one, names)
        names.append(name)
        of_it = slide_table(one)
        of_it.check_answers()
        if of_it.is_simulated and not table.is_simulated:
            raise BadInputError(
                f"The study {name} was made on the twin: what it found is invented and says nothing"
                f" of real bags. Take it out of `experience` in {study.catalogue_path}."
            )
        renamed = {
            recipe: recipe if recipes.get(recipe, steps) == steps else f"{recipe} ({name})"
            for recipe, steps in one.catalogue.treatments.items()
        }
        recipes = {renamed[r]: steps for r, steps in one.catalogue.treatments.items()} | recipes
        bags |= {f"{bag} ({name})": about for bag, about in one.catalogue.bags.items()}
        from_line = LINES * number
        for entry in _done(one, of_it):
            entry = replace(entry, line=from_line + entry.line, bag=f"{entry.bag} ({name})")
            if isinstance(entry, Treatment):
                recipe = renamed.get(entry.recipe or "", entry.recipe)
                lines.append(replace(entry, replaces=None, recipe=recipe))
            else:
                plays += (entry,)
        slides += [
            _taken(slide, name, renamed, from_line)
            for slide in of_it.slides
            if slide.bag not in of_it.blocked
        ]
    slides.sort(key=lambda slide: (slide.at, slide.slide_id))
    catalogue = replace(study.catalogue, bags=bags, treatments=recipes)
    joined = replace(study, catalogue=catalogue, journal=Journal(lines=lines))
    return Experienced(joined, table._replace(slides=slides), plays, tuple(names))


def _name_for(study: Study, taken: list[str]) -> str:
    """Its name, or with its folder's name where two have the same."""
    name = study.catalogue.name
    return f"{name}, {study.path.name}" if name in taken else name


def _done(study: Study, table: SlideTable) -> Iterator[Treatment | Play]:
    done: list[Treatment | Play] = [*study.journal.of(Treatment), *study.journal.of(Play)]
    return (one for one in done if one.bag not in table.blocked)


def _taken(slide: Slide, name: str, renamed: dict[str, str], from_line: int) -> Slide:
    return replace(
        slide,
        slide_id=f"{name}: {slide.slide_id}",
        bag=None if slide.bag is None else f"{slide.bag} ({name})",
        session=f"{name}: {slide.session or slide.at[:10]}",
        series=None if slide.series is None else f"{name}: {slide.series}",
        treatments=tuple(
            one._replace(
                recipe=renamed.get(one.recipe or "", one.recipe), line=from_line + one.line
            )
            for one in slide.treatments
        ),
    )
