"""Repeatability and intermediate precision of the slide angle (ISO 5725-2 and 5725-3)."""

from collections.abc import Sequence
from math import sqrt

from msgspec import Struct

from rig.statistics.satterthwaite import Satterthwaite
from rig.study.rows import Row
from rig.study.variance import RESIDUAL, Factor, Layers, components

LIMIT_FACTOR = 2.8
"""Two results differ by more than 2.8 s in 5 % of cases (ISO 5725-6: 1.96·√2, rounded)."""


class Precision(Struct, frozen=True, kw_only=True):
    """Standard deviations in degrees, each with all finer layers in it; None where unknown."""

    s_repeatability_deg: float | None
    """Runs of one series."""
    df_repeatability: float
    s_series_deg: float | None
    """Runs of different series (placings, mountings) in one session."""
    s_session_deg: float | None
    """Runs of different sessions: intermediate precision, time different."""
    df_session: float
    s_bags_deg: float | None
    """Runs of different bags of a set or model."""

    @property
    def repeatability_limit_deg(self) -> float | None:
        """Repeatability limit 2.8·s_r."""
        s = self.s_repeatability_deg
        return None if s is None else LIMIT_FACTOR * s

    @property
    def intermediate_limit_deg(self) -> float | None:
        """The same for runs in different sessions."""
        return None if self.s_session_deg is None else LIMIT_FACTOR * self.s_session_deg


def layers_of(rows: Sequence[Row], angles_deg: Sequence[float], kinds: Sequence[str]) -> Layers:
    """The layers of variance of rows: bag, session, series, run.

    Faces, boards and stages are fixed. Sessions are taken inside bags, so that the layer holds both
    what a session does to all bags and what it does to one.

    Args:
        rows: the runs.
        angles_deg: their angles, in one climate.
        kinds: what the bags are of (a set, a model); bags of one kind are compared with each other.
    """
    fixed = [(k, r.face, r.board, r.stage) for k, r in zip(kinds, rows, strict=True)]
    unit = [(r.face, r.board, r.stage, r.bag) for r in rows]
    session = [(*u, r.session) for u, r in zip(unit, rows, strict=True)]
    series = [(*s, r.series) for s, r in zip(session, rows, strict=True)]
    return components(
        angles_deg,
        [
            Factor(name="fixed", labels=fixed, random=False),
            Factor(name="bag", labels=unit),
            Factor(name="session", labels=session),
            Factor(name="series", labels=series),
        ],
    )


def precision(layers: Layers) -> Precision:
    """Standard deviations under ever wider conditions."""

    def sd(*names: str) -> tuple[float | None, Satterthwaite]:
        total = layers.combine(dict.fromkeys(names, 1.0))
        known = layers.variance(names[-1]) is not None
        return (sqrt(max(total.variance, 0.0)) if known else None), total

    run, run_total = sd(RESIDUAL)
    series, _ = sd(RESIDUAL, "series")
    session, session_total = sd(RESIDUAL, "series", "session")
    bags, _ = sd(RESIDUAL, "series", "session", "bag")
    return Precision(
        s_repeatability_deg=run,
        df_repeatability=run_total.df,
        s_series_deg=series,
        s_session_deg=session,
        df_session=session_total.df,
        s_bags_deg=bags,
    )
