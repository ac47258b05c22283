"""Whether runs made in two ways may be taken together: by blade or by hand, quick or whole.

Means of slide angles are compared after Welch. That no difference was found proves nothing, so
there is also the test the other way round, of two one-sided tests (Schuirmann 1987): the means are
equivalent when both reject, at 5 %, that they differ by the margin or more.
"""

from collections.abc import Callable, Iterable, Sequence
from statistics import fmean

import msgspec

from rig.analysis.friction import RunAnalysis
from rig.statistics.welch import welch

MARGIN_DEG = 0.5
"""A difference that matters less than what another mounting of the same bag makes (0.3 to 1°)."""
ENOUGH_RUNS = 10
"""Of each kind, before a comparison says anything."""
LEVEL = 0.05


class Equivalence(msgspec.Struct, frozen=True, kw_only=True):
    """Slide angles of one bag face on one board in one session, made in two ways."""

    bag: str | None
    face: str | None
    board: str | None
    treatment_stage: str | None
    session: str
    rate_deg_s: float
    usual: str
    """The way that counts anyhow: "hand", "whole"."""
    other: str
    """The way that is to prove itself: "blade", "quick"."""
    n_usual: int
    n_other: int
    mean_usual_deg: float
    mean_other_deg: float
    difference_deg: float
    """Mean of the other way less the mean of the usual one."""
    u_difference_deg: float | None
    """Standard uncertainty; None, as all that follows from it, with fewer than two runs of one."""
    lower_deg: float | None
    """95 % interval of the difference, by Welch."""
    upper_deg: float | None
    margin_deg: float
    p_equivalence: float | None
    """The larger p of the two one-sided tests."""
    may_count: bool
    """Enough runs of each, and equivalent within the margin."""

    def sentence(self) -> str:
        """What follows, for people."""
        name = " ".join(part for part in (self.bag, self.face) if part) or "This bag"
        counts = f"{self.n_other} by {self.other}, {self.n_usual} by {self.usual}"
        start = f"{name}, {self.session} ({counts}): {self.other} - {self.usual}"
        if self.lower_deg is None or self.upper_deg is None or self.p_equivalence is None:
            return f"{start} {self.difference_deg:+.2f}°; two runs of each are the least to compare"
        found = (
            f"{start} {self.difference_deg:+.2f}° (95 %: {self.lower_deg:+.2f} to"
            f" {self.upper_deg:+.2f}°)"
        )
        if self.may_count:
            return (
                f"{found}. Equivalent within {self.margin_deg:g}° (p {self.p_equivalence:.3f}):"
                f" {self.other} runs of this kind of bag may count beside {self.usual} runs."
            )
        if min(self.n_other, self.n_usual) < ENOUGH_RUNS:
            return f"{found}. Make at least {ENOUGH_RUNS} of each, in turns, before they count."
        if self.lower_deg > 0 or self.upper_deg < 0:
            return f"{found}. They differ: {self.other} runs do not count beside {self.usual} runs."
        return (
            f"{found}. Not shown to be equivalent within {self.margin_deg:g}°"
            f" (p {self.p_equivalence:.3f}): {self.other} runs do not count yet; make more of each."
        )


def compare_ways(
    analyses: Iterable[RunAnalysis], margin_deg: float = MARGIN_DEG
) -> list[Equivalence]:
    """Compare blade with hand placing, and quick approaches with whole raises.

    Args:
        analyses: any runs; those that are not valid, or whose gap is unknown, are left out.
        margin_deg: a difference smaller than this does not matter.

    Returns:
        One comparison for each bag face, board, stage, session and rate with runs of both kinds.
    """
    used = [analysis for analysis in analyses if _counts(analysis)]
    return [
        *_compare(used, ("hand", "blade"), _placing, _approach, margin_deg),
        *_compare(used, ("whole", "quick"), _approach, _placing, margin_deg),
    ]


def _counts(analysis: RunAnalysis) -> bool:
    row = analysis.result
    is_other = analysis.run.header.source == "hand" or row.purpose == "check"
    if not row.valid or row.onset_angle_deg is None or is_other:
        return False
    return not ("gap_unknown" in row.flags and row.onset_method == "one_edge")


def _placing(analysis: RunAnalysis) -> str:
    return analysis.run.header.placing


def _approach(analysis: RunAnalysis) -> str:
    return "whole" if analysis.run.header.approach_deg is None else "quick"


def _compare(
    analyses: Sequence[RunAnalysis],
    ways: tuple[str, str],
    way_of: Callable[[RunAnalysis], str],
    must_agree: Callable[[RunAnalysis], str],
    margin_deg: float,
) -> list[Equivalence]:
    by_key: dict[tuple[object, ...], dict[str, list[float]]] = {}
    for analysis in analyses:
        row = analysis.result
        session = row.session or analysis.run.header.started_at[:10]
        key = (row.bag, row.face, row.board, row.treatment_stage, session, row.rate_deg_s)
        kinds = by_key.setdefault((*key, must_agree(analysis)), {way: [] for way in ways})
        angle = row.onset_angle_deg
        if angle is not None:
            kinds[way_of(analysis)].append(angle)
    usual, other = ways
    return [
        _comparison(key, ways, kinds[usual], kinds[other], margin_deg)
        for key, kinds in by_key.items()
        if kinds[usual] and kinds[other]
    ]


def _comparison(
    key: tuple[object, ...],
    ways: tuple[str, str],
    usual: Sequence[float],
    other: Sequence[float],
    margin_deg: float,
) -> Equivalence:
    found = welch(usual, other)
    u = lower = upper = p = None
    if found is not None:
        u, p = found.u, found.p_equivalence(margin_deg)
        lower, upper = found.interval(1.0 - LEVEL)
    names = ("bag", "face", "board", "treatment_stage", "session", "rate_deg_s")
    enough = min(len(usual), len(other)) >= ENOUGH_RUNS
    return msgspec.convert(
        {
            **dict(zip(names, key, strict=False)),
            "usual": ways[0],
            "other": ways[1],
            "n_usual": len(usual),
            "n_other": len(other),
            "mean_usual_deg": fmean(usual),
            "mean_other_deg": fmean(other),
            "difference_deg": fmean(other) - fmean(usual),
            "u_difference_deg": u,
            "lower_deg": lower,
            "upper_deg": upper,
            "margin_deg": margin_deg,
            "p_equivalence": p,
            "may_count": enough and p is not None and p < LEVEL,
        },
        Equivalence,
    )
