"""A comparison in plain sentences: what can be said, what cannot, what to measure next."""

from rig.quantities.figures import signed
from rig.study.climate_model import HUMIDITY, ClimateModel
from rig.study.compare import Comparison
from rig.study.compare_effects import OF_BAGS, THIS_BAG, Effect
from rig.study.compare_tables import interval
from rig.study.rows import CONTROLS, BagFace
from rig.study.words import p_equals

MATTERS_PCT = 5.0
"""A change of humidity between stages above this is told."""
SMALL_P = 0.05


def sentences(c: Comparison) -> list[str]:
    """What can be said, what cannot, and what to measure next."""
    return [*can_say(c), *cannot_say(c), *say_next(c)]


def can_say(c: Comparison) -> list[str]:
    """What can be said."""
    said = []
    for e in c.effects:
        if e.blocked or not e.found:
            continue
        how = "raised" if e.effect_deg > 0 else "lowered"
        family = (
            "holds in the family of all comparisons here too"
            if e.found_in_family
            else "does not hold in the family of all comparisons here, so it may be chance"
        )
        said.append(
            f"{_name(e)} {how} the slide angle by {abs(e.effect_deg):.2f}° "
            f"({interval(e.lower_deg, e.upper_deg)}°, 95 % for this comparison); it {family}. "
            f"Claimed for: {e.scope}."
        )
    said += weather(c.model)
    if not any(shift.moved for shift in c.references) and c.references:
        said.append("The reference bag stayed where it was: no sign of residue on the board.")
    return said


def weather(model: ClimateModel) -> list[str]:
    """How much of the slide angle is weather; nothing where no slope could be fitted."""
    if not model.slope_known:
        return []
    low, high = model.ranges[HUMIDITY]
    by_face: dict[str, dict[float, BagFace]] = {}
    for unit in model.units():
        by_face.setdefault(unit.face, {}).setdefault(round(model.slope(unit), 9), unit)
    parts = {}
    for face, slopes in by_face.items():
        if len(slopes) > 1:
            parts[face] = (
                f"{signed(10.0 * min(slopes), 1)} to {signed(10.0 * max(slopes), 1)}°, from bag to "
                "bag"
            )
        else:
            ((slope, unit),) = slopes.items()
            limits = model.slope_interval(unit)
            around = "" if limits is None else f" ({interval(10 * limits[0], 10 * limits[1])}°)"
            parts[face] = f"{signed(10.0 * slope)}°{around}"
    if len(set(parts.values())) == 1:
        by = f"by {next(iter(parts.values()))}, one slope for all"
    else:
        by = "; ".join(f"on the {face} face by {part}" for face, part in parts.items())
    return [
        f"Weather: 10 %RH more move the slide angle {by}. It was measured from {low:.0f} to "
        f"{high:.0f} %RH in {model.n_sessions} sessions; the effects of treatments are those in "
        "like air."
    ]


def _name(e: Effect) -> str:
    against = "" if not e.against else f" against {e.against}"
    return f"{e.treatment}{against} ({e.face} face, {e.board})"


def cannot_say(c: Comparison) -> list[str]:
    """What cannot be said, and what to be careful of."""
    said = [
        f"Blocked: the reference bag on {s.board} moved by {signed(s.shift_deg)}° "
        f"({s.kind} {s.session!r}), so nothing measured on that board is compared. Wipe the board, "
        "run the reference bag again, and repeat the sessions since."
        for s in c.references
        if s.moved
    ]
    if not c.references:
        said.append("No reference bag was run, so residue on a board would not be noticed.")
    for e in c.effects:
        if not e.found and not e.blocked:
            said.append(
                f"{_name(e)}: no effect shown; anything within "
                f"{interval(e.lower_deg, e.upper_deg)}° is still possible."
            )
        if e.n_bags == 1 or e.scope != OF_BAGS:
            said.append(_scope_sentence(e))
        if not e.against:
            said.append(
                f"{e.treatment} has no controls: wear, the sessions and the treatment can't be "
                "told apart."
            )
    if c.after is None:
        said.append("Every run is at one stage, so no change can be worked out.")
    elif not c.changes:
        said.append(f"No bag was measured both at {c.before!r} and at {c.after!r}.")
    if c.n_runs == 1:
        said.append("One run only: it has no scatter, so it has no interval either.")
    moved = [
        (change.bag, change.climate_change_pct)
        for listed in c.changes.values()
        for change in listed
        if abs(change.climate_change_pct or 0.0) > MATTERS_PCT
    ]
    if moved:
        worst = max(moved, key=lambda one: abs(one[1] or 0.0))
        how = (
            "corrected with the climate model, whose uncertainty is in the interval"
            if c.model.slope_known
            else "NOT corrected, since no slope is known; a judged one widens the intervals"
        )
        said.append(
            f"The air was not the same before and after (up to {signed(worst[1] or 0.0, 0)} %RH at "
            f"{worst[0]}): {how}."
        )
    for face, t in c.trends.items():
        if t.p < SMALL_P:
            said.append(
                f"The {face} face drifts by {signed(t.slope_deg_per_slide, 3)}° per slide in its "
                f"series ({p_equals(t.p)}): compare only series of equal length, and look at the "
                "first and the third slide."
            )
    if c.outliers:
        said.append(
            f"{len(c.outliers)} run(s) lie far from the others of their series (Grubbs, 5 % for "
            "each series). They are shown and counted, not dropped."
        )
    return [*dict.fromkeys([*said, *c.model.notes])]


def _scope_sentence(e: Effect) -> str:
    if e.scope == THIS_BAG:
        return (
            f"{_name(e)}: one bag in a group, so the claim is for this bag only, not for the "
            "treatment."
        )
    if e.scope == OF_BAGS:
        return ""
    return (
        f"{_name(e)}: no group has two bags, so the interval knows nothing of how bags differ; it "
        f"holds for {e.scope}."
    )


def say_next(c: Comparison) -> list[str]:
    """What to measure next."""
    said = []
    for effect, found in c.next_for:
        if effect.against not in (CONTROLS, "") or effect.blocked or not found:
            continue
        best = found[0]
        if best.half_width_deg > 0.97 * best.now_deg:
            said.append(f"Next for {_name(effect)}: nothing single narrows it much; plan anew.")
            continue
        said.append(
            f"Next for {_name(effect)}: {best.what} (about {best.minutes:.0f} min) would narrow "
            f"the interval from ±{best.now_deg:.2f}° to about ±{best.half_width_deg:.2f}°."
        )
    if c.model.provisional:
        said.append("Next for the climate: a session in another humidity, all bags alike.")
    return said
