"""What the slides say of the ways they were measured in: which methods mix, and what checks found.

Before and after are measured by one method. Slides of another one join only through an offset, and
that offset rests on bridging series alone: one bag face in one session, measured both ways. Where
no bridge leads to a method, its offset is free: its slides still compare with each other, and say
nothing about the level of the rest.
"""

from collections import Counter
from collections.abc import Iterable, Sequence

from rig.analysis.material import MaterialCheck, RatedSlide, material_checks
from rig.study.slides.slide import Slide


def method_of(slide: Slide) -> str:
    """How the rig raised the board; empty by hand."""
    if slide.source == "hand":
        return ""
    return slide.method or ("" if slide.rate_deg_s is None else f"{slide.rate_deg_s:g} °/s")


def levels(slides: Iterable[Slide]) -> list[Slide]:
    """The slides that tell a level: those that count, without checks of the material."""
    return [
        slide
        for slide in slides
        if slide.valid and slide.onset_angle_deg is not None and slide.purpose != "check"
    ]


def bridged(slides: Iterable[Slide]) -> list[frozenset[str]]:
    """Methods that bridging series join, directly or by way of others."""
    ways: dict[tuple[object, ...], set[str]] = {}
    for one in levels(slides):
        if one.purpose == "bridge":
            place = (one.session or one.at[:10], one.bag, one.face, one.board, one.rig)
            ways.setdefault((*place, len(one.treatments)), set()).add(method_of(one))
    groups: list[frozenset[str]] = []
    for methods in ways.values():
        joined = frozenset(methods).union(*(group for group in groups if group & methods))
        groups = [*(group for group in groups if not group & methods), joined]
    return groups


def apart(slides: Iterable[Slide]) -> list[str]:
    """A sentence for each method that no bridge joins to the usual one."""
    slides = list(slides)
    counts = Counter(method_of(one) for one in levels(slides) if one.source != "hand")
    if len(counts) < 2:
        return []
    usual = min(counts, key=lambda name: (-counts[name], name))
    groups = bridged(slides)
    return [
        f"{n} {'slide' if n == 1 else 'slides'} raised by another method ({name}) than the usual"
        f" {counts[usual]} ({usual}) do not mix with them: no bag was measured both ways. `rig run"
        " --purpose bridge` with one bag makes the series that joins them."
        for name, n in sorted(counts.items())
        if name != usual and not any({name, usual} <= group for group in groups)
    ]


def checks_of(slides: Iterable[Slide]) -> list[MaterialCheck]:
    """What checks of the material found, by bag face, board and stage."""
    return material_checks(
        RatedSlide(
            face=face_of(slide),
            session=slide.session or slide.at[:10],
            rate_deg_s=slide.rate_deg_s,
            angle_deg=slide.onset_angle_deg,
            u_deg=slide.u_onset_angle_deg or 0.0,
            is_check=slide.purpose == "check",
        )
        for slide in slides
        if slide.valid
        and slide.source != "hand"
        and slide.onset_angle_deg is not None
        and slide.rate_deg_s is not None
    )


def face_of(slide: Slide) -> tuple[str | None, str | None, str | None, str | None]:
    """Whose friction a slide is of."""
    return slide.bag, slide.face, slide.board, slide.stage


def said(slides: Sequence[Slide]) -> list[str]:
    """What a person should know of it, in sentences."""
    found = [check.sentence() for check in checks_of(slides) if check.widens_deg > 0.0]
    return [*apart(slides), *found]
