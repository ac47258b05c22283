"""The end of the demonstration: what was found beside what is true on the twin."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import fmean

from rig.analysis.load import analyse
from rig.opening import true_angle_deg
from rig.quantities.figures import signed
from rig.study.ask import choice_of_the_day
from rig.study.compare import compare
from rig.study.compare_effects import Effect
from rig.study.compare_tables import interval
from rig.study.compare_text import weather
from rig.study.gather import gather
from rig.study.rows import CONTROLS
from rig.study.sheet import pick_sentences
from rig.study.stopping import paths

Face = tuple[str, str]
"""Bag and face."""


def measured_against_truth(runs: Path) -> Sequence[str]:
    """Lines of a table: for each bag face the mean error against the twin's truth."""
    errors: dict[Face, list[tuple[float, float, float]]] = {}
    for run in analyse([runs]).runs:
        row = run.result
        truth = _truth(Path(row.run_file))["onset_angle_deg"]
        if row.valid and row.onset_angle_deg is not None and row.angle_at_break_deg is not None:
            errors.setdefault((row.bag or "", row.face or ""), []).append(
                (truth, row.onset_angle_deg - truth, row.angle_at_break_deg - truth)
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
    lines += [
        "",
        "`error` is the mean of measured less true slide angle, `rms` its root mean square over",
        "the runs. The calibration was made in one air: in the others the sensor drifts, one way",
        "in the cold and the other in the warm, alike for all bags. `at break` is the error of the",
        "angle at which the beam broke, which one would read off without the analysis.",
    ]
    return lines


def _truth(run: Path) -> dict[str, float]:
    side = run.with_name(run.name.removesuffix(".run.jsonl") + ".truth.json")
    found: dict[str, float] = json.loads(side.read_text("utf-8"))
    return found


def _true_effect(
    seed: int, bags: Sequence[str], face: str, stages: tuple[str, str], airs: Sequence[float]
) -> float:
    """What a treatment did to these bags, in the mean over the airs that were measured, %RH."""
    before, after = stages
    return fmean(
        true_angle_deg(seed, bag, face, after, air) - true_angle_deg(seed, bag, face, before, air)
        for bag in bags
        for air in airs
    )


def story(
    club: Path,
    seed: int,
    airs: Sequence[float],
    temperature_c: float,
    relative_humidity_pct: float,
) -> Iterator[str]:
    """The answers in sentences, each with the truth of the twin beside it.

    Args:
        club: the study.
        seed: of the twin.
        airs: humidities that were measured in, %RH.
        temperature_c: of the day.
        relative_humidity_pct: of the day.
    """
    found = gather(club)
    result = compare(found.rows, found.bags)
    for effect in result.effects:
        if effect.against == CONTROLS:
            stages = (effect.before, effect.after)
            bags = [b for b, info in found.bags.items() if info.group(*stages) == effect.treatment]
            true = _true_effect(seed, bags, effect.face, stages, airs)
            yield f"{_effect(effect)} True: {signed(true)}°."
    yield from weather(result.model)
    for path in paths(found.study, found.rows, result.model):
        yield f"When to stop, {path.bag}, {path.face} face: {path.advice}"
    choice = choice_of_the_day(
        club, temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct
    )
    pick, *more = pick_sentences(choice)
    truth = {
        (one.bag, one.face): true_angle_deg(
            seed, one.bag, one.face, one.stage, relative_humidity_pct
        )
        for one in choice.candidates
    }
    best = min(truth, key=lambda key: abs(truth[key] - choice.wish.angle_deg))
    first = (choice.candidates[0].bag, choice.candidates[0].face)
    beside = (
        "and no other lies nearer"
        if best == first
        else f"{' '.join(best)} lies at {truth[best]:.1f}°"
    )
    yield f"{pick} True: {truth[first]:.1f}°, {beside}."
    yield from more


def _effect(e: Effect) -> str:
    what = "no effect shown"
    if e.blocked:
        what = "blocked by the reference bag"
    elif e.found:
        what = f"{'raised' if e.effect_deg > 0 else 'lowered'} the slide angle"
    return (
        f"{e.treatment} against {e.against}, {e.face} face: {what}; measured "
        f"{signed(e.effect_deg)}° ({interval(e.lower_deg, e.upper_deg)}°)."
    )
