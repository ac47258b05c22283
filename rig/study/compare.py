"""The whole comparison of a study, from rows to one document."""

from collections.abc import Mapping, Sequence
from typing import Any

from msgspec import Struct

from rig.errors import BadInputError
from rig.files.plain import plain
from rig.study.advice import Option, options
from rig.study.anova import OneWay, Term, one_way
from rig.study.climate_model import ClimateModel, fit_climate
from rig.study.compare_changes import BagChange, Place, changes
from rig.study.compare_effects import Effect, effects, grouped, with_family_p
from rig.study.compare_levels import (
    CellMean,
    Contrast,
    SetPair,
    by_climate,
    cell_means,
    climates,
    contrasts,
    corrected,
    levels_by_unit,
    set_pairs,
)
from rig.study.compare_reference import ReferenceShift, reference_shifts
from rig.study.outliers import Outlier, outliers
from rig.study.precision import Precision, layers_of, precision
from rig.study.rows import BagInfo, Row, stages_in
from rig.study.trend import Trend, trend
from rig.study.variance import Layers


class Comparison(Struct, frozen=True, kw_only=True):
    """Everything that a study says so far; lists are empty where it says nothing."""

    before: str
    after: str | None
    n_runs: int
    """Of the bags in question, as `n_bags` and `n_sessions`; the reference bag is none of them."""
    n_bags: int
    n_sessions: int
    effects: list[Effect]
    changes: dict[Place, list[BagChange]]
    overall: dict[Place, OneWay]
    """Whether any of three or more groups differs."""
    by_climate: dict[Place, list[Term]]
    references: list[ReferenceShift]
    cells: list[CellMean]
    layers: dict[str, Layers]
    """For each face."""
    precision: dict[str, Precision]
    faces_and_boards: list[Contrast]
    sets: list[SetPair]
    trends: dict[str, Trend]
    outliers: list[Outlier]
    next_for: list[tuple[Effect, list[Option]]]
    """What could narrow the interval of each undecided effect against its controls."""
    model: ClimateModel
    notes: list[str]

    def document(self, said: Sequence[str] = ()) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "before": self.before,
            "after": self.after,
            "n_runs": self.n_runs,
            "n_bags": self.n_bags,
            "n_sessions": self.n_sessions,
            "effects": [
                plain(e) | {"found": e.found, "found_in_family": e.found_in_family}
                for e in self.effects
            ],
            "changes": [
                {"face": p.face, "board": p.board} | plain(c)
                for p, listed in self.changes.items()
                for c in listed
            ],
            "groups_alike": [
                {"face": p.face, "board": p.board} | plain(one) for p, one in self.overall.items()
            ],
            "treatment_by_climate": [
                {"face": p.face, "board": p.board, "type": "II", "terms": plain(terms)}
                for p, terms in self.by_climate.items()
            ],
            "references": plain(self.references),
            "cells": plain(self.cells),
            "variances": {
                face: {c.name: c.variance for c in layers.components if c.name != "fixed"}
                for face, layers in self.layers.items()
            },
            "precision": {
                face: plain(p)
                | {
                    "repeatability_limit_deg": p.repeatability_limit_deg,
                    "intermediate_limit_deg": p.intermediate_limit_deg,
                }
                for face, p in self.precision.items()
            },
            "faces_and_boards": plain(self.faces_and_boards),
            "sets": plain(self.sets),
            "trends": plain(self.trends),
            "outliers": plain(self.outliers),
            "next": [
                {"treatment": e.treatment, "face": e.face, "board": e.board, "options": plain(o)}
                for e, o in self.next_for
            ],
            "climate_model": describe(self.model),
            "sentences": list(said),
            "notes": self.notes,
        }


def describe(model: ClimateModel) -> dict[str, Any]:
    """A climate model as plain values."""
    slopes: dict[tuple[str, str], float] = {}
    for unit in model.units():
        slopes.setdefault((unit.bag, unit.face), model.slope(unit))
    return {
        "predictors": list(model.predictors),
        "slopes": model.slopes,
        "slope_known": model.slope_known,
        "provisional": model.provisional,
        "n_sessions": model.n_sessions,
        "session_sd_deg": model.session_variance_alone**0.5,
        "left_out_rms_deg": model.left_out_rms_deg,
        "ranges": {name: list(limits) for name, limits in model.ranges.items()},
        "slope_deg_per_pct": [
            {"bag": bag, "face": face, "slope_deg_per_pct": slope}
            for (bag, face), slope in slopes.items()
        ],
        "notes": list(model.notes),
    }


def compare(
    rows: Sequence[Row],
    bags: Mapping[str, BagInfo],
    before: str | None = None,
    after: str | None = None,
    notes: Sequence[str] = (),
) -> Comparison:
    """Compare treatments, faces, boards, sets and climates.

    Args:
        rows: every usable run.
        bags: who the bags are; bags that are not in it are taken as treated.
        before: stage to compare with; the first one if not given.
        after: the stage in question; the last one if not given.
        notes: sentences to hand on.

    Raises:
        BadInputError: there are no rows, or no such stage.
    """
    if not rows:
        raise BadInputError("There are no usable runs to compare; measure some first.")
    own = [r for r in rows if bags.get(r.bag, BagInfo()).role != "reference"]
    stages = stages_in(own or rows)
    first, last = _stages(stages, before, after)
    model = fit_climate(rows)
    layers = layers_by_face(own or list(rows), bags, model)
    references = reference_shifts(rows, bags, layers, model, first)
    blocked = {shift.board for shift in references if shift.moved}
    changed = {} if last is None else changes(own, bags, first, last, model)
    names = climates(rows)
    found = [
        with_family_p(effect)
        for place, listed in changed.items()
        for effect in effects(
            place,
            listed,
            (first, last or first),
            layers.get(place.face),
            model,
            blocked=place.board in blocked,
        )
    ]
    faces = sorted({row.face for row in own})
    levels = levels_by_unit(own, model)
    trends = {f: t for f in faces if (t := trend(r for r in own if r.face == f)) is not None}
    return Comparison(
        before=first,
        after=last,
        n_runs=len(own),
        n_bags=len({row.bag for row in own}),
        n_sessions=len({row.session for row in own}),
        effects=found,
        changes=changed,
        overall=_overall(changed),
        by_climate={} if last is None else by_climate(own, names, bags, (first, last), model),
        references=references,
        cells=cell_means(rows, names, layers),
        layers=layers,
        precision={face: precision(one) for face, one in layers.items()},
        faces_and_boards=contrasts(levels),
        sets=set_pairs(levels, bags),
        trends=trends,
        outliers=outliers(rows),
        next_for=[
            (effect, options(effect, *_groups_of(effect, changed), layers.get(effect.face)))
            for effect in found
            if not effect.found_in_family
        ],
        model=model,
        notes=list(notes),
    )


def _stages(stages: list[str], before: str | None, after: str | None) -> tuple[str, str | None]:
    for wanted in (before, after):
        if wanted is not None and wanted not in stages:
            raise BadInputError(
                f"No run was made at stage {wanted!r}; there are: {', '.join(stages)}."
            )
    first = before or stages[0]
    later = [stage for stage in stages if stage != first]
    return first, after or (later[-1] if later else None)


def layers_by_face(
    rows: Sequence[Row], bags: Mapping[str, BagInfo], model: ClimateModel | None
) -> dict[str, Layers]:
    """The layers of variance of each face, the climate's part taken off first."""
    values = corrected(rows, model)
    found = {}
    for face in sorted({row.face for row in rows}):
        own = [(row, value) for row, value in zip(rows, values, strict=True) if row.face == face]
        kinds = [
            (info.set or info.model or "") if (info := bags.get(row.bag)) else "" for row, _ in own
        ]
        found[face] = layers_of([row for row, _ in own], [v for _, v in own], kinds)
    return found


def _overall(changed: Mapping[Place, list[BagChange]]) -> dict[Place, OneWay]:
    found = {}
    for place, listed in changed.items():
        groups = [[change.change_deg for change in group] for group in grouped(listed).values()]
        if len(groups) > 2 and sum(map(len, groups)) > len(groups):
            found[place] = one_way(groups)
    return found


def _groups_of(
    effect: Effect, changed: Mapping[Place, list[BagChange]]
) -> tuple[list[BagChange], list[BagChange]]:
    groups = grouped(changed[Place(effect.face, effect.board)])
    return groups[effect.treatment], groups.get(effect.against, [])
