"""Slide angles read by hand: each reader's bias and scatter against the rig.

A reading is compared with the rig's runs of the same bag, face, board, stage and session, so that
the bag and the air are alike. The difference holds whatever separates the two: the eye, the level,
the rate at which the board was lifted.
"""

from collections.abc import Iterable, Sequence
from math import hypot, sqrt

from msgspec import UNSET, Struct

from rig.statistics.quantiles import t_quantile
from rig.study.droop import pooled_sd
from rig.study.folder.catalogue import BASELINE
from rig.study.folder.journal import Reading
from rig.study.slides.slide import Slide


class RigAngle(Struct, frozen=True, kw_only=True):
    """One slide angle that the rig measured, in degrees."""

    bag: str
    face: str
    board: str
    stage: str
    session: str
    onset_angle_deg: float


def rig_angles(slides: Iterable[Slide]) -> list[RigAngle]:
    """The valid runs of the rig that say what they measured."""
    angles = []
    for row in slides:
        named = row.bag and row.face and row.board and row.session
        if row.run_file and named and row.valid and row.onset_angle_deg is not None:
            angles.append(
                RigAngle(
                    bag=row.bag or "",
                    face=row.face or "",
                    board=row.board or "",
                    stage=row.stage or BASELINE,
                    session=row.session or "",
                    onset_angle_deg=row.onset_angle_deg,
                )
            )
    return angles


class ReaderBias(Struct, frozen=True, kw_only=True):
    """One reader against the rig; all in degrees."""

    reader: str
    n_readings: int
    n_compared: int
    """Of them beside runs of the rig."""
    n_groups: int
    """Bag, face, board, stage and session in common."""
    bias_deg: float | None
    """Mean of reading minus rig, each group counting alike; None without runs beside."""
    u_bias_deg: float | None
    low_deg: float | None
    high_deg: float | None
    """95 % interval of the bias."""
    scatter_deg: float | None
    """Standard deviation of one reading, within groups; None from single readings."""
    rig_scatter_deg: float | None
    """That of one run of the rig, in the same groups."""
    scope: str


def reader_biases(readings: Iterable[Reading], rig: Iterable[RigAngle]) -> list[ReaderBias]:
    """Compare each reader with the rig, in the order in which the readers first occur."""
    measured: dict[tuple[str, ...], list[float]] = {}
    for run in rig:
        key = (run.bag, run.face, run.board, run.stage, run.session)
        measured.setdefault(key, []).append(run.onset_angle_deg)
    by_reader: dict[str, dict[tuple[str, ...], list[float]]] = {}
    for reading in readings:
        key = (reading.bag, reading.face, reading.board, reading.stage, reading.session)
        who = reading.reader if reading.phone is UNSET else f"{reading.reader}, by phone"
        groups = by_reader.setdefault(who, {})
        groups.setdefault(key, []).extend(reading.angles_deg)
    return [_bias(reader, groups, measured) for reader, groups in by_reader.items()]


def _bias(
    reader: str,
    groups: dict[tuple[str, ...], list[float]],
    measured: dict[tuple[str, ...], list[float]],
) -> ReaderBias:
    shared = [key for key in groups if key in measured]
    differences = [_mean(groups[key]) - _mean(measured[key]) for key in shared]
    scatter = pooled_sd(list(groups.values()))
    rig_scatter = pooled_sd([measured[key] for key in shared]) if shared else None
    n = len(differences)
    bias = _mean(differences) if n else None
    u_bias, dof = None, 0
    if n > 1 and bias is not None:
        dof = n - 1
        u_bias = sqrt(sum((one - bias) ** 2 for one in differences) / dof / n)
        scope = f"{n} groups of readings beside the rig"
    elif n == 1:
        by_hand, by_rig = groups[shared[0]], measured[shared[0]]
        scope = "this bag, this session only"
        own, own_rig = pooled_sd([by_hand]), pooled_sd([by_rig])
        if own is not None and own_rig is not None:
            dof = min(len(by_hand), len(by_rig)) - 1  # the cautious choice for Welch's t
            u_bias = hypot(own / sqrt(len(by_hand)), own_rig / sqrt(len(by_rig)))
    else:
        scope = "no run of the rig beside these readings"
    half = None if u_bias is None else t_quantile(0.975, dof) * u_bias
    return ReaderBias(
        reader=reader,
        n_readings=sum(len(values) for values in groups.values()),
        n_compared=sum(len(groups[key]) for key in shared),
        n_groups=n,
        bias_deg=bias,
        u_bias_deg=u_bias,
        low_deg=None if half is None or bias is None else bias - half,
        high_deg=None if half is None or bias is None else bias + half,
        scatter_deg=scatter,
        rig_scatter_deg=rig_scatter,
        scope=scope,
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
