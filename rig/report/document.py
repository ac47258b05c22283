"""All that a page says as plain values: what `--json` prints, and what the page is made of."""

from typing import Any

import msgspec

from rig.calibration.history import home_trend
from rig.calibration.show import calibration_document
from rig.files.plain import finite, plain
from rig.report.evidence import Evidence
from rig.runfile.model import INVALIDATING
from rig.runfile.reader import RunFile
from rig.study.catalogue import Catalogue
from rig.study.compare_text import can_say, cannot_say, say_next, sentences
from rig.study.droop import LIMITS
from rig.study.journal import Treatment
from rig.study.rows import mu_of, stage_place
from rig.study.stopping import CAUTION as SOFTENING

CAUTIONS = (
    "The slide angle is where slow sliding starts on a tilted board. It is not the thrown bag: it "
    "ranks bags, it does not promise where one stops.",
    "The coefficient holds at the bag's own weight and pressure; the friction of fabrics does not "
    "grow in step with the load.",
    "A result holds for the raise rate and the rest before the raise that are stated here.",
    SOFTENING,
)
SIMULATED = (
    "These runs were made by the simulated rig. Bags, boards and numbers are invented, and nothing "
    "here is a measurement."
)


def build(evidence: Evidence) -> dict[str, Any]:
    """The document: metric, every number as it was worked out, None for what is not known."""
    comparison, study = evidence.comparison, evidence.gathered.study
    catalogue = study.catalogue
    compared = comparison.document(sentences(comparison))
    compared["cells"].sort(
        key=lambda m: (m["board"], m["face"], m["bag"], stage_place(m["stage"]), m["climate"])
    )
    for cell in compared["cells"]:
        cell |= {
            "mu_static": mu_of(cell["angle_deg"]),
            "mu_lower": _mu(cell["lower_deg"]),
            "mu_upper": _mu(cell["upper_deg"]),
        }
    slides = evidence.gathered.table.of_rig
    sources: list[str] = sorted({slide.source for slide in slides if slide.source})
    document = {
        "study": {
            "name": catalogue.name,
            "made_at": catalogue.made_at,
            "note": catalogue.note,
            "wish_angle_deg": catalogue.preferences.wish_angle_deg,
            "wish_mu_static": catalogue.preferences.wish_mu_static,
            "tolerance_deg": catalogue.preferences.tolerance_deg,
        },
        "simulated": SIMULATED if "twin" in sources else "",
        "question": question(evidence),
        "answer": [*_verdict(evidence), *can_say(comparison)],
        "cannot": [one for one in cannot_say(comparison) if one],
        "next": say_next(comparison),
        "cautions": list(CAUTIONS),
        "bags": _bags(catalogue),
        "treatments": _treatments(evidence),
        "comparison": compared,
        "slopes": _slopes(compared["climate_model"]),
        "paths": [path.document() for path in evidence.paths],
        "droop": plain(evidence.droops),
        "droop_line": plain(evidence.droop_line),
        "droop_limits": list(LIMITS) if evidence.droops else [],
        "choice": _choice(evidence),
        "no_choice": evidence.no_choice,
        "method": _method(evidence, sources),
        "sessions": plain(evidence.sessions),
        "calibration": _calibration(evidence),
        "home": _home(evidence),
        "budget": _budget(evidence),
        "status": plain(evidence.status),
        "runs": plain(evidence.results),
    }
    return dict(finite(document))


def question(evidence: Evidence) -> str:
    """What the study asks, in a sentence."""
    groups = dict.fromkeys(e.treatment for e in evidence.comparison.effects if e.against)
    boards = _listed(dict.fromkeys(row.board for row in evidence.gathered.rows))
    if groups:
        verb = "Does" if len(groups) == 1 else "Do"
        asked = f"{verb} {_listed(groups)} change the angle at which a bag starts to slide"
    else:
        asked = "At which angle does each bag start to slide"
    return f"{asked} on {boards}, by how much, in which air, and how sure is that?"


def _verdict(evidence: Evidence) -> list[str]:
    """The answer where none was found; what was found is said by the comparison itself."""
    asked = [e for e in evidence.comparison.effects if e.against]
    if not asked or any(e.found and not e.blocked for e in asked):
        return []
    groups = _listed(dict.fromkeys(e.treatment for e in asked))
    return [
        f"Not known yet: no effect of {groups} on the slide angle is shown. That is not the same as"
        " none; what is still possible stands in the next part."
    ]


def _listed(names: dict[str, None]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _slopes(model: dict[str, Any]) -> list[dict[str, Any]]:
    """The climate's slopes, one for all bags that share it."""

    def name(one: dict[str, Any]) -> str:
        shared = {"common": "all bags", "by face": f"{one['face']} face"}
        return shared.get(model["slopes"], f"{one['bag']}, {one['face']} face")

    found = {name(one): one["slope_deg_per_pct"] for one in model["slope_deg_per_pct"]}
    return [{"who": who, "slope_deg_per_pct": slope} for who, slope in sorted(found.items())]


def _choice(evidence: Evidence) -> dict[str, Any] | None:
    """The choice, its warnings still such that the page can word them in other units."""
    if evidence.choice is None:
        return None
    return dict(plain(evidence.choice)) | {"warnings": list(evidence.choice.warnings)}


def _mu(angle_deg: float | None) -> float | None:
    return None if angle_deg is None else mu_of(angle_deg)


def _bags(catalogue: Catalogue) -> list[dict[str, Any]]:
    return [{"bag": name} | msgspec.to_builtins(bag) for name, bag in catalogue.bags.items()]


def _treatments(evidence: Evidence) -> list[dict[str, Any]]:
    """What was done to which bag, from the journal."""
    return [
        {
            "bag": one.bag,
            "stage": one.stage,
            "at": one.at,
            "recipe": one.recipe,
            "note": one.note,
            "steps": msgspec.to_builtins(one.steps),
        }
        for one in evidence.gathered.study.journal.of(Treatment)
    ]


def _method(evidence: Evidence, sources: list[str]) -> dict[str, Any]:
    results = evidence.results
    valid = [one for one in results if one.valid]
    times = [slide.at for slide in evidence.gathered.table.of_rig if slide.at]
    left: dict[str, int] = {}
    for one in results:
        for flag in one.flags:
            left[flag] = left.get(flag, 0) + 1
    method: dict[str, Any] = {
        "sources": sources,
        "n_files": len(evidence.gathered.table.of_rig),
        "n_valid": len(valid),
        "n_compared": len(evidence.gathered.rows),
        "flags": [
            {"flag": flag, "n_runs": n, "leaves_out": flag in INVALIDATING}
            for flag, n in sorted(left.items())
        ],
        "methods": _counted([one.onset_method for one in valid]),
        "first_at": min(times, default=""),
        "last_at": max(times, default=""),
    }
    example = evidence.example
    return method | ({} if example is None else _header(example.run))


def _counted(names: list[Any]) -> list[dict[str, Any]]:
    known = [name for name in names if name is not None]
    return [{"method": name, "n_runs": known.count(name)} for name in dict.fromkeys(known)]


def _header(run: RunFile) -> dict[str, Any]:
    """How one run was made; the others of the study are compared at its rate."""
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


def _calibration(evidence: Evidence) -> dict[str, Any] | None:
    if evidence.calibration is None:
        return None
    return calibration_document(evidence.calibration)


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
    budget = example.budget
    return {
        "run_id": example.result.run_id,
        "bag": example.result.bag,
        "face": example.result.face,
        "onset_angle_deg": example.result.onset_angle_deg,
        "mu_static": example.result.mu_static,
        "u_mu_static": example.result.u_mu_static,
        "mu_kinetic": example.result.mu_kinetic,
        "u_mu_kinetic": example.result.u_mu_kinetic,
        "angle_at_break_deg": example.result.angle_at_break_deg,
        "components": msgspec.to_builtins(
            sorted(budget.components, key=lambda part: -part.u_theta_deg)
        ),
        "layers": {name: budget.u_onset_angle_deg((name,)) for name in ("run", "series", "common")},
        "u_onset_angle_deg": budget.u_onset_angle_deg(),
        "dof": budget.dof(),
    }
