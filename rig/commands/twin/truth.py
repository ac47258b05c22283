"""What was found in a study beside what is true on the twin."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING

from rig.quantities.figures import fixed, signed
from rig.study.answer import words
from rig.study.answer.answer import TreatmentEffect
from rig.study.answer.ask import Asked
from rig.study.slides.table import SlideTable

if TYPE_CHECKING:
    from rig.opening import Home

Face = tuple[str, str]
"""Bag and face."""


NOTE = (
    "`error` is the mean of measured less true slide angle, `rms` its root mean square over the"
    " runs. An error common to all bags comes from the unknown friction law, and from a calibration"
    " made in one air. `at break` is the error of the angle at which the beam broke: what you would"
    " read without the analysis."
)


def measured_against_truth(study: Path, table: SlideTable) -> Sequence[str]:
    """Lines of a table: for each bag face the mean error against the twin's truth."""
    errors: dict[Face, list[tuple[float, float, float]]] = {}
    for row in table.of_rig:
        truth = _truth(study / row.run_file)["onset_angle_deg"]
        at_break = None if row.result is None else row.result.angle_at_break_deg
        if row.valid and row.onset_angle_deg is not None and at_break is not None:
            errors.setdefault((row.bag or "", row.face or ""), []).append(
                (truth, row.onset_angle_deg - truth, at_break - truth)
            )
    head = (
        f"{'bag':<9} {'face':<6} {'runs':>4} {'true angle':>11} {'error':>8} {'rms':>7}"
        f" {'at break':>9}"
    )
    lines = [head, "-" * len(head)]
    for (bag, face), found in sorted(errors.items()):
        true, error, late = (fmean(column) for column in zip(*found, strict=True))
        rms = fmean(one**2 for _, one, _ in found) ** 0.5
        lines.append(
            f"{bag:<9} {face:<6} {len(found):>4} {true:>10.2f}° {error:>+7.3f}° {rms:>6.3f}°"
            f" {late:>+8.3f}°".replace("-", "−")
        )
    return lines


def _truth(run: Path) -> dict[str, float]:
    side = run.with_name(run.name.removesuffix(".run.jsonl") + ".truth.json")
    found: dict[str, float] = json.loads(side.read_text("utf-8"))
    return found


def angles(found: Asked, home: "Home") -> list[dict[str, object]]:
    """Each bag face's angle as answered and as it is true."""
    humidity_pct = found.answer.air.surface_humidity_pct
    return [
        {
            "bag": one.bag,
            "face": one.face,
            "angle_deg": one.angle_deg,
            "lower_deg": one.lower_deg,
            "upper_deg": one.upper_deg,
            "true_angle_deg": home.true_angle_deg(one.bag, one.face, one.board, humidity_pct),
        }
        for one in found.answer.bags
    ]


def story(found: Asked, home: "Home") -> Iterator[str]:
    """The answer's sentences, each with the truth of the twin beside it."""
    answer = found.answer
    several = words.several_models(answer.weather)
    climates = found.study.catalogue.climates.values()
    airs = [
        one.relative_humidity_pct for one in climates if one.relative_humidity_pct is not None
    ] or [answer.air.surface_humidity_pct]
    for effect in answer.treatments:
        true = _true_effect(found, home, effect, airs)
        said = words.effect_sentence(effect, several_models=several)
        yield f"{said} True: {signed(true, 1)}°."
    if not answer.picks:
        return
    humidity_pct = answer.air.surface_humidity_pct
    boards = {(one.bag, one.face): one.board for one in answer.bags}
    truth = {
        (one.bag, one.face): home.true_angle_deg(
            one.bag, one.face, boards[one.bag, one.face], humidity_pct
        )
        for one in answer.picks
    }
    targets = {one.face: one.angle_deg for one in answer.targets}
    best = min(truth, key=lambda key: abs(truth[key] - targets[key[1]]))
    first = (answer.picks[0].bag, answer.picks[0].face)
    beside = (
        "and no other lies nearer to its target"
        if best == first
        else f"{best[0]}, {best[1]}, lies at {fixed(truth[best], 1)}°"
    )
    yield f"{words.pick_sentence(answer)} True: {fixed(truth[first], 1)}°, {beside}."


def _true_effect(
    found: Asked, home: "Home", effect: TreatmentEffect, airs: Sequence[float]
) -> float:
    """What a first application did to these bags, in the mean over the airs, in degrees."""
    models = found.draws.about.models
    bags = {
        one.bag
        for one in found.draws.about.applications
        if one.recipe == effect.recipe and models.get(one.bag, "") == effect.model
    }
    boards = list(found.study.catalogue.boards)
    return fmean(
        home.effect_deg(effect.recipe, bag, effect.face, board, air)
        for bag in sorted(bags)
        for board in boards
        for air in airs
    )
