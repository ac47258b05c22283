"""What a fit can be built on: each limit from both sides."""

from dataclasses import dataclass, replace
from typing import Any

import msgspec
import pytest

from rig.calibration.captures import (
    check_angles,
    check_captures,
    check_rest,
    rest_of,
    u_mean_counts,
)
from rig.errors import BadInputError
from tests.calibration.invented_rig import SCALE, InventedRig

BOTH = ("up", "up", "up", "down", "down", "down")


@pytest.mark.parametrize(
    ("angles", "words"),
    [
        ((10.0, 18.0, 25.0, 10.0, 18.0, 25.0), None),
        ((10.0, 18.0, 25.0, 10.0, 18.0), "Only 5 span points"),
        ((9.0, 18.0, 25.0, 9.0, 18.0, 36.0), None),
        ((8.9, 18.0, 25.0, 10.0, 18.0, 25.0), "at 8.9° can't be used"),
        ((10.0, 18.0, 25.0, 10.0, 18.0, 36.1), "at 36.1° can't be used"),
        ((10.0, 18.0, 24.9, 10.0, 18.0, 24.9), "too close together"),
        # Three places at least, each 3° from the one before.
        ((10.0, 13.0, 25.0, 10.0, 13.0, 25.0), None),
        ((10.0, 12.9, 25.0, 10.0, 12.9, 25.0), "in 2 places"),
    ],
)
def test_span_points_that_will_do_and_that_will_not(
    angles: tuple[float, ...], words: str | None
) -> None:
    if words is None:
        check_angles(angles, BOTH)
        return
    with pytest.raises(BadInputError, match=words):
        check_angles(angles, BOTH)


@pytest.mark.parametrize("direction", ["up", "down"])
def test_one_side_alone_hides_the_screws_play(direction: str) -> None:
    with pytest.raises(BadInputError, match="from the same side"):
        check_angles((10.0, 18.0, 25.0) * 2, [direction] * 6)


@dataclass(frozen=True)
class Seen:
    """What a capture shows, in g."""

    peak_counts: int = 17000
    scatter_g: tuple[float, float, float] = (5e-4, 5e-4, 5e-4)
    gravity_g: tuple[float, float, float] = (0.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"peak_counts": 32699}, None),
        ({"peak_counts": 32700}, "end of its range"),
        ({"scatter_g": (0.0199, 0.0, 0.0)}, None),
        ({"scatter_g": (0.0211, 0.0, 0.0)}, r"not at rest \(21 mg"),
        ({"scatter_g": (0.0, 0.0, 0.0211)}, r"not at rest \(21 mg"),
        ({"gravity_g": (0.0, -0.86, 0.0)}, None),
        ({"gravity_g": (0.0, -0.84, 0.0)}, "measures gravity as 0.84 g"),
        ({"gravity_g": (0.0, 0.0, 1.14)}, None),
        ({"gravity_g": (0.0, 0.0, 1.16)}, "measures gravity as 1.16 g"),
    ],
)
def test_a_capture_of_a_board_at_rest(change: dict[str, Any], words: str | None) -> None:
    seen = replace(Seen(), **change)
    rest = msgspec.structs.replace(
        InventedRig().rest(0.0),
        counts=tuple(SCALE * value for value in seen.gravity_g),
        scatter_counts=tuple(SCALE * value for value in seen.scatter_g),
        peak_counts=seen.peak_counts,
    )
    if words is None:
        check_rest(rest, SCALE, "it")
        return
    with pytest.raises(BadInputError, match=words):
        check_rest(rest, SCALE, "it")


def test_zero_is_looked_at_as_well() -> None:
    rig = InventedRig()
    zero, span = rig.zero(), rig.span()
    check_captures(zero, span, SCALE)
    shaken = msgspec.structs.replace(zero.rest, scatter_counts=(8.0, 900.0, 8.0))
    with pytest.raises(BadInputError, match="the capture at zero the board was not at rest"):
        check_captures(msgspec.structs.replace(zero, rest=shaken), span, SCALE)


def test_a_rest_has_mean_scatter_and_peak_of_its_samples() -> None:
    found = rest_of([(10, -40, 3), (12, -20, 3), (14, -30, 3)], 21.5)
    assert found.counts == (12.0, -30.0, 3.0)
    # Deviations −2, 0, 2 and −10, 10, 0: √(8/2) and √(200/2).
    assert found.scatter_counts == (2.0, 10.0, 0.0)
    assert (found.peak_counts, found.n, found.temperature_c) == (40, 3, 21.5)


@pytest.mark.parametrize(
    ("scatter", "n", "u"),
    [
        # Every tenth sample counts: √(8²/40 + 0.6²).
        ((8.0, 2.0, 1.0), 400, 1.4),
        ((1.0, 2.0, 8.0), 400, 1.4),
        # Fewer than ten are no less than one.
        ((8.0, 0.0, 0.0), 1, 8.0225),
        ((0.0, 0.0, 0.0), 400, 0.6),
    ],
)
def test_a_mean_is_known_no_better_than_its_samples_are_independent(
    scatter: tuple[float, float, float], n: int, u: float
) -> None:
    rest = msgspec.structs.replace(InventedRig().rest(0.0), scatter_counts=scatter, n=n)
    assert u_mean_counts(rest) == pytest.approx(u, abs=1e-4)
