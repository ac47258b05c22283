"""The layers of scatter that a study has shown so far, for planning how much more is needed."""

from collections.abc import Sequence
from math import sqrt

from msgspec import Struct, field

from rig.study.folder import Study
from rig.study.rows import bags_of
from rig.study.slides.slide import Slide
from rig.study.variance import Factor, components

JUDGED_DEG = {"run_deg": 0.4, "series_deg": 0.3, "bag_stage_deg": 0.3}
"""Where nothing is known yet; a judgement, not a measurement."""


class Seen(Struct, frozen=True, kw_only=True):
    """Standard deviations seen, in degrees; None where the study can't say yet."""

    run_deg: float | None = None
    series_deg: float | None = None
    bag_stage_deg: float | None = None
    dof: dict[str, int] = field(default_factory=dict)
    """Degrees of freedom behind each, by the same names."""


def seen_scatter(study: Study, slides: Sequence[Slide]) -> Seen:
    """Layers from all valid runs of bags that are studied.

    Fixed: bag face on its board, what was done to it by stage, and the session; the rest of a bag's
    change between stages is the bag-by-stage layer, then come series and run.
    """
    bags = study.catalogue.bags
    used = [
        row
        for row in slides
        if row.valid
        and row.onset_angle_deg is not None
        and row.bag in bags
        and bags[row.bag].role != "reference"
    ]
    if len(used) < 3:
        return Seen()
    unit = [(row.bag, row.face, row.board) for row in used]
    stage = [row.stage or "" for row in used]
    series = [(row.session, row.series) for row in used]
    info = bags_of(study.catalogue, study.journal)
    group = [info[bag].group() for bag, _, _ in unit if bag is not None]
    stage_effect = [
        (part, one, face, board)
        for part, one, (_, face, board) in zip(group, stage, unit, strict=True)
    ]
    layers = components(
        [row.onset_angle_deg or 0.0 for row in used],
        [
            Factor(name="unit", labels=unit, random=False),
            Factor(name="stage effect", labels=stage_effect, random=False),
            Factor(name="session", labels=[row.session for row in used], random=False),
            Factor(name="bag stage", labels=list(zip(unit, stage, strict=True))),
            Factor(name="series", labels=list(zip(unit, series, strict=True))),
        ],
    )

    names = {"run_deg": "run", "series_deg": "series", "bag_stage_deg": "bag stage"}
    found = {
        key: sqrt(variance)
        for key, name in names.items()
        if (variance := layers.variance(name)) is not None
    }
    return Seen(**found, dof={key: layers[names[key]].df for key in found})
