"""Tables of the answer's parts: a title row, then a row for each entry, as text."""

from rig.quantities.figures import fixed, signed
from rig.study.answer import words
from rig.study.answer.answer import Answer, Offset, Spread

Rows = list[tuple[str, ...]]
LAYERS = {
    "run_sd_deg": "slides of one series",
    "series_sd_deg": "series of one session",
    "session_sd_deg": "sessions in equal air",
    "bag_sd_deg": "bags of one model",
    "response_sd_deg": "applications of one recipe",
}
"""Layers of scatter: between what."""


def treatments(answer: Answer) -> Rows:
    """What each recipe did."""
    rows: Rows = [("recipe", "model", "face", "change", "range", "shown", "bags", "times")]
    for one in answer.treatments:
        rows.append(
            (
                one.recipe,
                one.model or "–",
                one.face,
                signed(one.effect_deg, 1),
                f"{signed(one.lower_deg, 1)} to {signed(one.upper_deg, 1)}",
                "yes" if one.shown else "no",
                f"{one.n_bags}",
                f"{one.n_applications}",
            )
        )
    return rows


def weather(answer: Answer) -> Rows:
    """What humidity does."""
    rows: Rows = [("model", "face", "change", "range", "shown")]
    for one in answer.weather:
        rows.append(
            (
                one.model or "–",
                one.face,
                signed(one.per_10_pct_rh_deg, 1),
                f"{signed(one.lower_deg, 1)} to {signed(one.upper_deg, 1)}",
                "yes" if one.shown else "no",
            )
        )
    return rows


def boards(answer: Answer) -> Rows:
    """Boards, rigs and readers against the usual one."""
    rows: Rows = [("what", "name", "against", "change", "range")]

    def row(one: Offset) -> tuple[str, ...]:
        ends = f"{signed(one.lower_deg, 1)} to {signed(one.upper_deg, 1)}"
        return (one.what, one.who, one.against, signed(one.offset_deg, 1), ends)

    return [*rows, *(row(one) for one in answer.boards)]


def scatter(answer: Answer) -> Rows:
    """What makes equal slides differ."""
    rows: Rows = [("between", "sd", "range")]

    def row(name: str, one: Spread) -> tuple[str, ...]:
        return (name, fixed(one.median, 2), f"{fixed(one.lower, 2)} to {fixed(one.upper, 2)}")

    return [*rows, *(row(name, getattr(answer.scatter, key)) for key, name in LAYERS.items())]


def picks(answer: Answer) -> Rows:
    """Bag faces, best first."""
    rows: Rows = [("", "bag", "face down", "slides at", "range", "chance")]
    for place, one in enumerate(answer.picks, start=1):
        rows.append(
            (
                f"{place}",
                one.bag,
                one.face,
                f"{fixed(one.angle_deg, 1)}°",
                words.span(one.lower_deg, one.upper_deg),
                words.percent(one.p_within),
            )
        )
    return rows


def sets(answer: Answer) -> Rows:
    """Sets, the nearest to its target first."""
    rows: Rows = [("", "set", "face down", "bags", "misses by", "range", "all near enough")]
    for place, one in enumerate(answer.sets, start=1):
        rows.append(
            (
                f"{place}",
                one.set,
                one.face,
                f"{len(one.bags)}",
                f"{fixed(one.rms_deg, 1)}°",
                words.span(one.lower_deg, one.upper_deg),
                words.percent(one.p_all_within),
            )
        )
    return rows
