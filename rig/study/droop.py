"""Droop: how far a flattened bag hangs down over an edge, and what may be said of its softness.

Peirce (J. Text. Inst. 21, T377, 1930) takes a strip of cloth that overhangs by L and hangs at θ
below the horizontal, and gives its bending length c = L·f(θ), f = (cos(θ/2) / (8 tan θ))^(1/3).
The standards (ASTM D1388 option A, ISO 9073-7) let the strip down to 41.5° and take c = L/2 there,
where f is 0.509. The two must not be mixed, so every bending length names its convention.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import atanh, cos, isfinite, radians, sqrt, tan, tanh
from typing import Literal

from msgspec import Struct

from rig.errors import BadInputError
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.journal import Droop
from rig.study.slides.slide import Slide

Convention = Literal["peirce", "half_at_41.5"]
STANDARD_ANGLE_DEG = 41.5

LIMITS = (
    "A filled bag is not a strip of cloth: its bending length ranks bags handled alike and is no"
    " property of the fabric.",
    "Fill pushed to one end fakes droop: even the fill out before each laying.",
)
"""What must stand beside every droop result."""


def peirce_f(angle_deg: float) -> float:
    """Peirce's f(θ) = (cos(θ/2) / (8 tan θ))^(1/3), for 0° < θ < 90°.

    Raises:
        BadInputError: the angle lies outside.
    """
    if not 0.0 < angle_deg < 90.0:
        raise BadInputError(f"A droop angle must lie between 0 and 90°, not {angle_deg:g}°.")
    angle = radians(angle_deg)
    return float((cos(angle / 2.0) / (8.0 * tan(angle))) ** (1.0 / 3.0))


def bending_length_mm(
    overhang_mm: float, angle_deg: float, convention: Convention = "peirce"
) -> float:
    """Bending length in mm.

    Args:
        overhang_mm: length L over the edge, in mm.
        angle_deg: of the tip below the horizontal, seen from the edge.
        convention: `peirce` is c = L·f(θ); `half_at_41.5` is the same law scaled to the standards'
            c = L/2 at 41.5° (1.8 % less; at other angles the standards define nothing).

    Raises:
        BadInputError: the angle lies outside of 0…90°.
    """
    scale = 1.0 if convention == "peirce" else 0.5 / peirce_f(STANDARD_ANGLE_DEG)
    return overhang_mm * peirce_f(angle_deg) * scale


class DroopSummary(Struct, frozen=True, kw_only=True):
    """All layings of one bag, face up, at one stage, with one overhang and one way of the seams."""

    bag: str
    face: str
    stage: str
    overhang_mm: float
    seams: str | None
    n_layings: int
    n_sittings: int
    mean_angle_deg: float
    repeat_deg: float | None
    """Standard deviation of one laying within a sitting; None from single layings."""
    u_angle_deg: float | None
    """Standard uncertainty of the mean; from the sittings' scatter where there are several."""
    bending_length_peirce_mm: float
    bending_length_half_at_415_mm: float
    u_bending_length_mm: float | None
    """Of the Peirce one."""


def summarise_droop(entries: Sequence[Droop]) -> list[DroopSummary]:
    """Droop readings taken together, in the order in which they first occur."""
    groups: dict[tuple[str, str, str, float, str | None], list[Droop]] = {}
    for entry in entries:
        key = (entry.bag, entry.face, entry.stage, entry.overhang_mm, entry.seams)
        groups.setdefault(key, []).append(entry)
    return [_summary(group) for group in groups.values()]


def _summary(group: Sequence[Droop]) -> DroopSummary:
    first = group[0]
    angles = [angle for entry in group for angle in entry.angles_deg]
    means = [sum(entry.angles_deg) / len(entry.angles_deg) for entry in group]
    mean = sum(means) / len(means)
    repeat = pooled_sd([entry.angles_deg for entry in group])
    u_angle: float | None
    if len(means) > 1:
        u_angle = sqrt(sum((one - mean) ** 2 for one in means) / (len(means) - 1) / len(means))
    else:
        u_angle = None if repeat is None else repeat / sqrt(len(angles))
    length = bending_length_mm(first.overhang_mm, mean)
    u_length = None
    if u_angle is not None:
        step = min(0.01, mean / 2, (90.0 - mean) / 2)
        rise = bending_length_mm(first.overhang_mm, mean + step)
        fall = bending_length_mm(first.overhang_mm, mean - step)
        u_length = abs(rise - fall) / (2.0 * step) * u_angle
    return DroopSummary(
        bag=first.bag,
        face=first.face,
        stage=first.stage,
        overhang_mm=first.overhang_mm,
        seams=first.seams,
        n_layings=len(angles),
        n_sittings=len(group),
        mean_angle_deg=mean,
        repeat_deg=repeat,
        u_angle_deg=u_angle,
        bending_length_peirce_mm=length,
        bending_length_half_at_415_mm=bending_length_mm(first.overhang_mm, mean, "half_at_41.5"),
        u_bending_length_mm=u_length,
    )


def pooled_sd(groups: Sequence[Sequence[float]]) -> float | None:
    """Standard deviation within groups, pooled; None when no group has two values."""
    squares, dof = 0.0, 0
    for group in groups:
        mean = sum(group) / len(group)
        squares += sum((value - mean) ** 2 for value in group)
        dof += len(group) - 1
    return sqrt(squares / dof) if dof else None


def slide_means(slides: Iterable[Slide]) -> dict[tuple[str, str, str], float]:
    """Mean slide angle in degrees for (bag, face, stage), each series counting alike.

    Climates and boards are pooled: of use where all bags met the same ones, as a plan sees to.
    """
    series: dict[tuple[str, str, str], dict[tuple[str | None, str | None], list[float]]] = {}
    for row in slides:
        if row.valid and row.run_file and row.onset_angle_deg is not None and row.bag and row.face:
            key = (row.bag, row.face, row.stage or BASELINE)
            one = series.setdefault(key, {}).setdefault((row.session, row.series), [])
            one.append(row.onset_angle_deg)
    return {
        key: sum(sum(one) / len(one) for one in groups.values()) / len(groups)
        for key, groups in series.items()
    }


class Association(Struct, frozen=True, kw_only=True):
    """How one quantity goes with another over n pairs; a straight line and its correlation."""

    n: int
    slope: float
    """Degrees of slide angle per mm of bending length."""
    intercept_deg: float
    correlation: float
    """Pearson's r."""
    low: float | None
    high: float | None
    """95 % interval of r (Fisher's z); None with fewer than four pairs."""
    sentence: str


def droop_against_slide(
    droops: Sequence[DroopSummary], slide_deg: Mapping[tuple[str, str, str], float]
) -> Association | None:
    """Slide angle against bending length over (bag, face, stage).

    Args:
        droops: summaries; of several with one bag, face and stage the first counts.
        slide_deg: mean slide angle in degrees for (bag, face, stage), in one climate and on one
            board. The face of the droop is the one that is up; the same key is used.

    Returns:
        None with fewer than three pairs, or when all are alike in either quantity.
    """
    lengths: dict[tuple[str, str, str], float] = {}
    for droop in droops:
        key = (droop.bag, droop.face, droop.stage)
        lengths.setdefault(key, droop.bending_length_peirce_mm)
    pairs = [(lengths[key], slide_deg[key]) for key in lengths if key in slide_deg]
    n = len(pairs)
    if n < 3:
        return None
    mean_x, mean_y = (sum(values) / n for values in zip(*pairs, strict=True))
    xx = sum((x - mean_x) ** 2 for x, _ in pairs)
    yy = sum((y - mean_y) ** 2 for _, y in pairs)
    xy = sum((x - mean_x) * (y - mean_y) for x, y in pairs)
    if xx == 0.0 or yy == 0.0:
        return None
    r = max(-1.0, min(1.0, xy / sqrt(xx * yy)))
    low, high = _interval(r, n)
    return Association(
        n=n,
        slope=xy / xx,
        intercept_deg=mean_y - xy / xx * mean_x,
        correlation=r,
        low=low,
        high=high,
        sentence=_sentence(n, low, high, len({key[0] for key in lengths if key in slide_deg})),
    )


def _interval(r: float, n: int) -> tuple[float | None, float | None]:
    if n < 4:
        return None, None
    z = atanh(r) if abs(r) < 1.0 else float("inf") * r
    if not isfinite(z):
        return r, r
    half = 1.959964 / sqrt(n - 3)
    return tanh(z - half), tanh(z + half)


def _sentence(n: int, low: float | None, high: float | None, bags: int) -> str:
    if low is None or high is None:
        return f"{n} pairs are too few to say how droop goes with the slide angle."
    if low <= 0.0 <= high:
        said = "no relation between droop and slide angle can be seen in"
    else:
        said = "droop and slide angle go together in"
    behind = "1 bag is" if bags == 1 else f"{bags} bags are"
    repeated = (
        f" Only {behind} behind them, so they are not independent and the interval is too narrow."
        if bags < n
        else ""
    )
    return f"{said[0].upper()}{said[1:]} these {n} pairs; that does not prove a cause.{repeated}"
