"""The last slides as dots: where they lie in a picture, and what they say in words."""

from math import floor, log10
from statistics import mean, stdev
from typing import Any, NamedTuple

from rig.analysis.row import RunResult
from rig.panel.words import count, degrees

KEPT = 24
"""Dots in the picture."""
LEAST_SPAN_DEG = 1.0
"""Of the picture's axis, so that slides that agree look as if they did."""
TICKS = 4


class Dot(NamedTuple):
    """One run of those shown."""

    number: int
    angle_deg: float | None
    """None when it gave no slide angle."""
    u_angle_deg: float | None
    is_valid: bool
    remark: str
    """Outcome and flags, in the words of the run file; empty for a plain slide."""


def dot_of(result: RunResult, number: int) -> Dot:
    """The dot of an analysed run."""
    words = [] if result.outcome == "slid" else [result.outcome]
    return Dot(
        number,
        result.onset_angle_deg,
        result.u_onset_angle_deg,
        result.valid,
        ", ".join(word.replace("_", " ") for word in (*words, *result.flags)),
    )


def axis(low: float, high: float) -> list[float]:
    """Round values at equal distances that hold `low` and `high` between them."""
    span = max(high - low, 1e-9)
    raw = span / TICKS
    power = 10.0 ** floor(log10(raw))
    step = next(power * f for f in (1, 2, 5, 10) if power * f >= raw * 0.999)
    first, last = floor(low / step + 1e-9), -floor(-high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]


def picture(dots: tuple[Dot, ...]) -> dict[str, Any]:
    """Places of dots, bars and lines in a field of 1 × 1 whose y goes up, and the words for it."""
    known = [dot for dot in dots if dot.angle_deg is not None]
    if not dots:
        return {"shown": False, "words": "No slides yet.", "mean": None, "dots": [], "ticks": []}
    ends = [
        dot.angle_deg + sign * (dot.u_angle_deg or 0.0)
        for dot in known
        if dot.angle_deg is not None
        for sign in (-1, 1)
    ]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    spare = max(0.0, LEAST_SPAN_DEG - (high - low)) / 2
    values = axis(low - spare, high + spare)
    bottom, size = values[0], values[-1] - values[0]

    def up(value: float) -> float:
        return round((value - bottom) / size, 4)

    valid = [d.angle_deg for d in known if d.is_valid and d.angle_deg is not None]
    places = 0 if values[1] - values[0] >= 1 else 1
    return {
        "shown": True,
        "words": summary(dots, valid),
        "mean": up(mean(valid)) if len(valid) > 1 else None,
        "ticks": [{"y": up(v), "text": degrees(v, places)} for v in values],
        "dots": [
            {
                "x": round((i + 0.5) / len(dots), 4),
                "y": None if dot.angle_deg is None else up(dot.angle_deg),
                "bar": 0.0 if dot.u_angle_deg is None else round(dot.u_angle_deg / size, 4),
                "valid": dot.is_valid,
                "number": str(dot.number),
                "text": _in_words(dot),
            }
            for i, dot in enumerate(dots)
        ],
    }


def _in_words(dot: Dot) -> str:
    if dot.angle_deg is None:
        return f"Slide {dot.number}: no angle ({dot.remark or 'not known'})"
    text = f"Slide {dot.number}: {degrees(dot.angle_deg)}"
    if dot.u_angle_deg is not None:
        text += f" ± {degrees(dot.u_angle_deg)}"
    if not dot.is_valid:
        text += ", left out"
    return f"{text} ({dot.remark})" if dot.remark else text


def summary(dots: tuple[Dot, ...], valid: list[float]) -> str:
    """The slides in one sentence."""
    if not valid:
        return f"{count(len(dots), 'run')}, none with a slide angle that counts."
    if len(valid) == 1:
        return f"One slide that counts, at {degrees(valid[0])}."
    return (
        f"{count(len(valid), 'slide')} that count: mean {degrees(mean(valid))},"
        f" standard deviation {degrees(stdev(valid))}."
    )
