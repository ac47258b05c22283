"""Runs at several rates, or raised in several ways, in a balanced random order."""

import math
import zlib
from typing import TypeVar

import numpy as np

from rig.errors import BadInputError
from rig.settings.method import RATE_DEG_S

Way = TypeVar("Way")


def parse_rates(text: str) -> tuple[float, ...]:
    """The rates of `--rates 0.25,1,3`, in °/s.

    Raises:
        BadInputError: one is not a number or out of range, one comes twice, or there is only one.
    """
    rates = []
    for word in text.split(","):
        try:
            rate = float(word)
        except ValueError:
            rate = math.nan
        if not RATE_DEG_S[0] <= rate <= RATE_DEG_S[1]:
            raise BadInputError(
                f"--rates takes rates from {RATE_DEG_S[0]:g} to {RATE_DEG_S[1]:g} °/s with commas"
                f" between, as 0.25,1,3; {word.strip()!r} is none."
            )
        rates.append(rate)
    if len(set(rates)) != len(rates):
        raise BadInputError(f"--rates names a rate twice in {text!r}; --repeat makes more of each.")
    if len(rates) < 2:
        raise BadInputError("--rates needs two rates or more; for one rate use --rate.")
    return tuple(rates)


def balanced_order(ways: tuple[Way, ...], repeat: int, series: str) -> list[Way]:
    """Each way `repeat` times, so that neither trend nor habit favours one of them.

    Every block holds each way once. As many blocks as there are ways make a Latin square, in
    which each stands once at each place, so a steady trend over a square moves all of them
    alike. The squares are drawn at random, from the name of the series, so that the order can be
    found again.

    Args:
        ways: to raise the board, as rates in °/s.
        repeat: runs in each way.
        series: name of the series.
    """
    random = np.random.default_rng(zlib.crc32(series.encode()))
    n = len(ways)
    order: list[Way] = []
    while len(order) < n * repeat:
        names, rows = random.permutation(n), random.permutation(n)
        for row in rows.tolist():
            order += [ways[int(names[(row + place) % n])] for place in range(n)]
    return order[: n * repeat]
