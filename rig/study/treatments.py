"""Treatments into the journal: checked against the runs, with the cautions of the trade."""

from collections.abc import Iterable, Sequence

from rig.errors import BadInputError
from rig.study.folder.catalogue import BASELINE, Step, stage_after
from rig.study.folder.journal import Treatment
from rig.study.folder.study import Study
from rig.study.plan.progress import progress
from rig.study.plan.rows import read_plan
from rig.study.slides.slide import Slide

NO_SOURCE = "(common practice, no source)"
PELLETS_FUSE_C = 60.0
"""From this water or air temperature on a caution is given; plastic pellets soften."""
THIN_MM = 0.6
"""A fabric thinner than this takes a treatment in small steps."""
WET = ("soak", "wash", "rinse", "dip", "boil", "launder", "spray")
SOAP = ("soap", "suds", "detergent", "soften", "conditioner", "wash", "shampoo")


def cautions(steps: Sequence[Step], thin_fabric: bool = False) -> list[str]:
    """What a person should know before doing these steps, in sentences."""
    texts = [f"{step.action} {step.agent or ''}".lower() for step in steps]
    found = []
    if any("boil" in text for text in texts) or _hottest(steps) >= PELLETS_FUSE_C:
        found.append(f"Never boil and don't dry hot: the pellets fuse {NO_SOURCE}.")
    soapy = [place for place, text in enumerate(texts) if any(word in text for word in SOAP)]
    if soapy:
        rinsed = any("rinse" in text for text in texts[soapy[-1] :])
        added = "" if rinsed else "; no rinse follows in these steps"
        found.append(
            "Rinse until no suds come: residue changes the slide angle and gets onto the"
            f" board{added} {NO_SOURCE}."
        )
    if any("soften" in text or "conditioner" in text or "tumble" in text for text in texts):
        found.append(
            f"Softening cannot be undone: measure after each step and stop early {NO_SOURCE}."
        )
    if thin_fabric:
        found.append(f"The fabric is thin: go in small steps {NO_SOURCE}.")
    if any(word in text for word in WET for text in texts):
        found.append(
            "Damp fill slides differently: weigh the bag before the next series; in balance its"
            f" mass keeps within 0.5 g for 30 min {NO_SOURCE}."
        )
    return found


def _hottest(steps: Sequence[Step]) -> float:
    return max((step.temperature_c for step in steps if step.temperature_c is not None), default=0)


def next_stage(study: Study, bag: str) -> str:
    """The stage that the next treatment of this bag begins."""
    return stage_after(study.stage_order(study.journal.stage_of(bag)) + 1)


def any_thin(study: Study, bags: Iterable[str]) -> bool:
    """Whether the fabric of one of these bags is known to be thin."""
    known = [study.bag(name).fabric_thickness_mm for name in bags]
    return any(one is not None and one < THIN_MM for one in known)


def check_treatment(
    study: Study,
    entry: Treatment,
    slides: Sequence[Slide],
    without_baseline: bool = False,
    *,
    force: bool = False,
) -> None:
    """Refuse a treatment that is not valid, or that would spoil the comparison unnoticed.

    Args:
        study: as it is now.
        entry: the treatment; one that corrects a line is checked without that line.
        slides: the study's, by the rig and by hand.
        without_baseline: take a bag that was never run before its treatment.
        force: give up series of the plan that can't be made after it.

    Raises:
        BadInputError: the bag is unknown or must stay untreated, the stage is not the next, the
            time lies before the baseline or after runs that it should precede, or the plan has
            series of the bag that must come first.
    """
    bag = study.bag(entry.bag)
    if bag.role != "treated":
        raise BadInputError(
            f"{entry.bag} is a {bag.role} bag and must stay untreated; for a treatment by accident"
            f' change its `role` under [bags."{entry.bag}"] in study.toml.'
        )
    others = [t for t in study.journal.treatments_of(entry.bag) if t.line != entry.replaces]
    _check_sequence(study, entry, others)
    mine = [slide for slide in slides if slide.bag == entry.bag]
    stated = [slide for slide in mine if _stated(slide) is not None]
    order = study.stage_order(entry.stage)
    late = [r for r in stated if r.at < entry.at and _order(study, r) >= order]
    if late:
        raise BadInputError(
            f"The treatment of {entry.bag} at {entry.at} should precede its runs in stage"
            f" {entry.stage!r}, but there is one at {late[0].at} ({late[0].slide_id});"
            " correct the time with --at."
        )
    early = [r for r in stated if r.at >= entry.at and _order(study, r) < order]
    if early and any(slide.valid for slide in early):
        raise BadInputError(
            f"The treatment of {entry.bag} at {entry.at} lies before its run of stage"
            f" {_stated(early[-1])!r} at {early[-1].at} ({early[-1].slide_id}); correct the"
            " time with --at."
        )
    before = [r for r in mine if r.valid and r.at < entry.at]
    if order == 1 and not before and not without_baseline:
        raise BadInputError(
            f"{entry.bag} has no {BASELINE} slide before {entry.at}, so the effect of the treatment"
            " could never be known; measure its baseline first, by the rig or by hand, or say"
            " --without-baseline."
        )

    if entry.replaces is None and not force:
        _check_plan(study, entry, slides)


def _check_plan(study: Study, entry: Treatment, slides: Sequence[Slide]) -> None:
    """Refuse what would leave series of the plan unmeasured for ever."""
    if not study.plan_path.exists():
        return
    found = progress(study, read_plan(study), slides)
    order = study.stage_order(entry.stage)
    lost = [
        row
        for row in found.rows
        # A check that is left out leaves nothing unmeasured.
        if row.is_series and row.action != "check"
        if row.bag == entry.bag and not found.is_done(row)
        if study.stage_order(row.stage) < order
    ]
    if lost:
        where = ", ".join(dict.fromkeys(f"{row.face} in {row.climate}" for row in lost))
        raise BadInputError(
            f"The plan still wants {entry.bag} before this treatment ({where}), and afterwards that"
            " can never be measured: measure it first, or give it up with --force; the effect"
            " there then rests on the model alone."
        )


def _check_sequence(study: Study, entry: Treatment, others: Sequence[Treatment]) -> None:
    order = study.stage_order(entry.stage)
    taken = {study.stage_order(other.stage): other for other in others}
    if order == 0:
        raise BadInputError(f"A treatment begins the stage `after 1` or later, not {BASELINE!r}.")
    if order in taken:
        raise BadInputError(
            f"{entry.bag} was treated for stage {entry.stage!r} already (line {taken[order].line}"
            " of the journal); correct that line with --replaces, or name the next stage."
        )
    if order > 1 and order - 1 not in taken:
        raise BadInputError(
            f"{entry.bag} was not treated for stage {stage_after(order - 1)!r} yet, so"
            f" {entry.stage!r} can't follow."
        )
    for other in others:
        earlier = study.stage_order(other.stage) < order
        if (other.at >= entry.at) if earlier else (other.at <= entry.at):
            raise BadInputError(
                f"The treatment of {entry.bag} at {entry.at} is out of order with that for stage"
                f" {other.stage!r} at {other.at}; correct the time with --at."
            )


def _stated(slide: Slide) -> str | None:
    """The stage that its run file gives, whatever the journal says."""
    return None if slide.result is None else slide.result.treatment_stage


def _order(study: Study, slide: Slide) -> int:
    try:
        return study.stage_order(_stated(slide) or BASELINE)
    except BadInputError:
        return 0
