"""All that a page says as plain values: what `--json` prints, and what the page is made of."""

from collections.abc import Iterable, Sequence
from itertools import groupby
from math import radians, tan
from typing import Any

import msgspec

from rig.calibration.history import home_trend
from rig.calibration.show import calibration_document
from rig.files.plain import finite
from rig.quantities.said import Amount, Said
from rig.report.evidence import Evidence
from rig.runfile.reader import RunFile
from rig.study.answer import words
from rig.study.answer.answer import Answer, BagAnswer, DayAir, in_order
from rig.study.answer.tables import LAYERS
from rig.study.droop import LIMITS
from rig.study.folder.catalogue import Bag, Step
from rig.study.folder.journal import Treatment

CAUTIONS = (
    "The slide angle is where slow sliding starts on a tilted board. It ranks bags; it does not "
    "say where a thrown bag stops.",
    "The coefficient holds at the bag's own weight and pressure; the friction of fabrics does not "
    "grow in step with the load.",
)
TREATING = (
    "Softening cannot be undone: take thin fabrics in small steps, rinse until no suds, never "
    "boil (pellets fuse). Common practice, no source.",
)
SIMULATED = (
    "These runs were made by the simulated rig. Bags, boards and numbers are invented, and nothing "
    "here is a measurement."
)
DECIDED = ("stop", "passed")
"""What more applications would do to such a bag stands in the answer alone."""


def build(evidence: Evidence) -> dict[str, Any]:
    """The document: metric, every number as it was worked out, None for what is not known."""
    answer, catalogue = evidence.answer, evidence.study.catalogue
    sources = sorted({str(slide.source) for slide in evidence.slides if slide.source})
    document = {
        "study": {
            "name": catalogue.name,
            "made_at": catalogue.made_at,
            "note": catalogue.note,
            "n_slides": len(evidence.slides),
            "n_bags": len({one.bag for one in answer.bags}),
            "n_faces": len(answer.bags),
            "n_sessions": len(evidence.sessions),
        },
        "simulated": SIMULATED if evidence.asked.table.is_simulated else "",
        "answer": msgspec.to_builtins(answer),
        "said": _said(answer),
        "faces": _faces(evidence),
        "forecasts": [
            {"bag": one.bag, "face": one.face, "recipe": recipe, "steps": list(steps)}
            for one in answer.bags
            if one.advice not in DECIDED
            for recipe, steps in groupby(
                msgspec.to_builtins(one.forecast), key=lambda step: str(step["recipe"])
            )
        ],
        "weather": msgspec.to_builtins(evidence.weather),
        "scatter": [
            {"what": LAYERS[name]} | spread
            for name, spread in msgspec.to_builtins(answer.scatter).items()
        ],
        "sessions": msgspec.to_builtins(evidence.sessions),
        "series": msgspec.to_builtins(evidence.series),
        "droop": msgspec.to_builtins(evidence.droops),
        "droop_line": msgspec.to_builtins(evidence.droop_line),
        "droop_limits": list(LIMITS) if evidence.droops else [],
        "method": _method(evidence, sources),
        "priors": [name.replace("_", " ") for name in answer.quality.prior_carried],
        "calibration": None
        if evidence.calibration is None
        else calibration_document(evidence.calibration),
        "home": _home(evidence),
        "budget": _budget(evidence),
        "bags": [_bag(name, bag) for name, bag in catalogue.bags.items()],
        "treatments": [_treatment(one) for one in evidence.study.journal.of(Treatment)],
        "cautions": list(CAUTIONS),
        "treating": list(TREATING),
        "problems": list(evidence.asked.table.problems),
    }
    return dict(finite(document))


def _said(answer: Answer) -> dict[str, Any]:
    """The answer's sentences, each once."""
    several = words.several_models(answer.weather)
    effects = [
        {"shown": one.shown, "text": words.effect_sentence(one, several_models=several)}
        for one in answer.treatments
    ]
    weather = [
        {"shown": one.shown, "text": words.weather_sentence(one, several_models=several)}
        for one in answer.weather
    ]
    boards = {one.board for one in answer.bags}
    said = {one["text"] for one in [*effects, *weather]}
    return {
        "air": _air(answer.air),
        "targets": _targets(answer),
        "board": boards.pop() if len(boards) == 1 else "",
        "pick": words.pick_sentence(answer),
        "four": "" if answer.best_four is None else words.four_sentence(answer.best_four),
        "effects": [*effects, *weather],
        "unknown": [one for one in answer.unknown if one not in said],
        "next": words.act_sentence(answer.next[0]) if answer.next else "",
    }


def _air(air: DayAir) -> Said:
    humidity = words.air_words(msgspec.structs.replace(air, temperature_c=None))
    if air.temperature_c is None:
        return Said("{}", humidity)
    return Said("{}, {}", Amount(air.temperature_c, "c"), humidity)


def _targets(answer: Answer) -> str:
    """One text for faces with one target."""
    by_angle: dict[tuple[float, float], list[str]] = {}
    for one in answer.targets:
        by_angle.setdefault((one.angle_deg, one.tolerance_deg), []).append(one.face)
    parts = [f"{' and '.join(faces)} {words.target_words(*aim)}" for aim, faces in by_angle.items()]
    return "; ".join(parts)


def _faces(evidence: Evidence) -> list[dict[str, Any]]:
    """Each bag face with its way, those with something to do first."""
    bags = evidence.study.catalogue.bags
    found: list[dict[str, Any]] = []
    paths = dict(zip(map(_face_of, evidence.answer.bags), enumerate(evidence.paths), strict=True))
    for one in in_order(evidence.answer.bags):
        place, path = paths[_face_of(one)]
        known = bags.get(one.bag)
        plain = msgspec.to_builtins(one)
        found.append(
            {name: value for name, value in plain.items() if name != "forecast"}
            | {
                "set": None if known is None else known.set,
                "mu_static": _mu(one.angle_deg),
                "mu_lower": _mu(one.lower_deg),
                "mu_upper": _mu(one.upper_deg),
                "said": words.advice_words(one),
                "stages": msgspec.to_builtins(path.stages),
                "recipe": path.recipe,
                "picture": f"path-{place + 1}" if path.is_way else "",
            }
        )
    return found


def _face_of(one: BagAnswer) -> tuple[str, str, str]:
    return one.bag, one.face, one.board


def _mu(angle_deg: float) -> float:
    return tan(radians(angle_deg))


def _bag(name: str, bag: Bag) -> dict[str, Any]:
    fabrics = [f"{face} ({fabric})" if fabric else face for face, fabric in bag.faces.items()]
    plain: dict[str, Any] = msgspec.to_builtins(bag)
    return {"bag": name, "fabrics": ", ".join(fabrics)} | plain


def _treatment(one: Treatment) -> dict[str, Any]:
    """What was done to which bag, from the journal."""
    return {
        "bag": one.bag,
        "stage": one.stage,
        "date": one.at[:10],
        "recipe": one.recipe,
        "note": one.note,
        "steps": _steps(one.steps),
    }


def _steps(steps: Iterable[Step]) -> Said:
    """The steps in one text."""
    texts: list[str] = []
    parts: list[object] = []
    for step in steps:
        said: list[object] = [step.action]
        said += [one for one in (step.agent, step.dose) if one]
        if step.temperature_c is not None:
            said.append(Amount(step.temperature_c, "c"))
        if step.time_min is not None:
            said.append(f"{step.time_min:.0f} min")
        if step.drying:
            said.append(f"dried {step.drying}")
        texts.append(", ".join("{}" for _ in said))
        parts += said
    return Said("; ".join(texts), *parts)


def _method(evidence: Evidence, sources: list[str]) -> dict[str, Any]:
    table = evidence.asked.table
    results = [slide.result for slide in table.valid if slide.result is not None]
    flags = [str(flag) for slide in table.slides for flag in slide.flags]
    times = [slide.at for slide in table.slides if slide.at]
    method: dict[str, Any] = {
        "sources": sources,
        "n_files": len(table.of_rig),
        "n_by_hand": sum(slide.source == "hand" for slide in table.slides),
        "n_valid": len(table.valid),
        "flags": _counted("flag", flags),
        "methods": _counted("method", [one.onset_method for one in results if one.onset_method]),
        "first_at": min(times, default=""),
        "last_at": max(times, default=""),
    }
    example = evidence.example
    return method | ({} if example is None else _header(example.run))


def _counted(key: str, names: Sequence[str]) -> list[dict[str, Any]]:
    return [{key: name, "n_runs": names.count(name)} for name in dict.fromkeys(names)]


def _header(run: RunFile) -> dict[str, Any]:
    """How one run was made."""
    header = run.header
    return {
        "rig": header.rig,
        "software": header.software,
        "rate_deg_s": header.rate_deg_s,
        "dwell_s": header.dwell_s,
        "placing": header.placing,
        "gap_mm": header.gap_mm,
        "u_gap_mm": header.u_gap_mm,
        "bag_length_mm": header.bag_length_mm,
        "u_bag_length_mm": header.u_bag_length_mm,
        "bag_mass_g": header.bag_mass_g,
        "beams": header.settings.beams,
        "imu_model": header.settings.imu.model,
        "imu_rate_hz": header.settings.imu.rate_hz,
    }


def _home(evidence: Evidence) -> dict[str, Any] | None:
    if not evidence.home:
        return None
    trend = home_trend(evidence.home)
    return {
        "made_at": evidence.home_made_at,
        "n_runs": trend.n,
        "shift_deg": trend.shift_deg,
        "cross_shift_deg": trend.cross_shift_deg,
        "per_month_deg": trend.per_month_deg,
        "u_per_month_deg": trend.u_per_month_deg,
    }


def _budget(evidence: Evidence) -> dict[str, Any] | None:
    example = evidence.example
    if example is None or example.budget is None:
        return None
    budget, result = example.budget, example.result
    rows = msgspec.to_builtins(sorted(budget.components, key=lambda part: -part.u_theta_deg))
    for layer in ("run", "series", "common"):
        u = budget.u_onset_angle_deg((layer,))
        rows.append({"name": f"all {layer}", "u_theta_deg": u, "layer": layer})
    rows.append({"name": "combined", "u_theta_deg": budget.u_onset_angle_deg()})
    return {
        "run_id": result.run_id,
        "bag": result.bag,
        "face": result.face,
        "onset_angle_deg": result.onset_angle_deg,
        "u_onset_angle_deg": budget.u_onset_angle_deg(),
        "mu_static": result.mu_static,
        "u_mu_static": result.u_mu_static,
        "mu_kinetic": result.mu_kinetic,
        "u_mu_kinetic": result.u_mu_kinetic,
        "angle_at_break_deg": result.angle_at_break_deg,
        "rows": rows,
        "dof": budget.dof(),
    }
