"""The gate that holds a run back: each side of the band, and what lets the wait begin again."""

from collections.abc import Iterable
from types import SimpleNamespace
from typing import Any

import pytest

from rig.clock import At, Task, VirtualClock
from rig.control.live import Live
from rig.control.mover import StoppedError
from rig.errors import BadInputError
from rig.procedures.series.climate_gate import ClimateBand, ClimateGate, parse_band

BAND = ClimateBand(
    temperature_c=23.0,
    temperature_tolerance_k=2.0,
    relative_humidity_pct=50.0,
    humidity_tolerance_pct=4.0,
    steady_s=60.0,
    timeout_s=300.0,
)
WARM_ONLY = ClimateBand(temperature_c=23.0, steady_s=60.0, timeout_s=300.0)
DAMP_ONLY = ClimateBand(relative_humidity_pct=50.0, steady_s=60.0, timeout_s=300.0)
LOOK_S = 2.0
Air = tuple[float | None, float | None]
"""Temperature and relative humidity."""
RIGHT: Air = (23.0, 50.0)


class Waited:
    """A run held back in air that changes at given times.

    Args:
        band: the wanted air.
        air: from when on it is what; the first entry counts from the start.
    """

    def __init__(self, band: ClimateBand, air: Iterable[tuple[float, Air]]) -> None:
        self.clock = VirtualClock()
        self.live = Live()
        self.said: list[str] = []
        self.passed_s: float | None = None
        self.stopped: tuple[float, str] | None = None
        machine: Any = SimpleNamespace(clock=self.clock, live=self.live)
        gate = ClimateGate(machine, band)
        changes = list(air)
        self._set(changes[0][1])
        self.clock.spawn(self._weather(changes[1:]), "air")
        self.clock.spawn(gate.watch(), "gate")
        self.clock.run(self._wait(gate))

    def _set(self, air: Air) -> None:
        self.live.temperature_c, self.live.relative_humidity_pct = air

    def _weather(self, changes: list[tuple[float, Air]]) -> Task[None]:
        for at_s, air in changes:
            yield At(at_s)
            self._set(air)

    def _wait(self, gate: ClimateGate) -> Task[None]:
        mover: Any = SimpleNamespace(ask=self.said.append, next_event=self._next_event)
        try:
            yield from gate.wait(mover)
            self.passed_s = self.clock.time_s()
        except StoppedError as error:
            self.stopped = (self.clock.time_s(), str(error))

    def _next_event(self, deadline_s: float) -> Task[None]:
        yield At(deadline_s)


@pytest.mark.parametrize(
    ("band", "air", "is_right"),
    [
        (BAND, RIGHT, True),
        (BAND, (25.0, 50.0), True),
        (BAND, (25.1, 50.0), False),
        (BAND, (21.0, 50.0), True),
        (BAND, (20.9, 50.0), False),
        (BAND, (23.0, 54.0), True),
        (BAND, (23.0, 54.1), False),
        (BAND, (23.0, 46.0), True),
        (BAND, (23.0, 45.9), False),
        (BAND, (None, 50.0), False),
        (BAND, (23.0, None), False),
        (WARM_ONLY, (23.0, 5.0), True),
        (DAMP_ONLY, (-9.0, 50.0), True),
        # A sensor that gives half of its values is not believed.
        (WARM_ONLY, (23.0, None), False),
        (DAMP_ONLY, (None, 50.0), False),
    ],
)
def test_air_is_right_up_to_the_edge_of_the_band(
    band: ClimateBand, air: Air, is_right: bool
) -> None:
    waited = Waited(band, [(0.0, air)])
    if is_right:
        assert waited.passed_s == pytest.approx(60.0, abs=LOOK_S)
        assert waited.said[-1] == ""
    else:
        assert waited.passed_s is None


@pytest.mark.parametrize("away", [(26.0, 50.0), (23.0, 60.0), (None, 50.0), (23.0, None)])
def test_once_out_of_the_band_the_wait_begins_again(away: Air) -> None:
    waited = Waited(BAND, [(0.0, RIGHT), (39.0, away), (41.0, RIGHT)])
    assert waited.passed_s == pytest.approx(42.0 + 60.0, abs=LOOK_S)


@pytest.mark.parametrize(
    ("before", "after", "is_steady"),
    [
        ((21.5, 50.0), (23.4, 50.0), True),
        ((21.5, 50.0), (23.6, 50.0), False),
        ((24.5, 50.0), (22.6, 50.0), True),
        ((24.5, 50.0), (22.4, 50.0), False),
        ((23.0, 46.5), (23.0, 50.4), True),
        ((23.0, 46.5), (23.0, 50.6), False),
        ((23.0, 53.5), (23.0, 49.6), True),
        ((23.0, 53.5), (23.0, 49.4), False),
    ],
)
def test_air_within_the_band_must_not_have_moved_by_more_than_the_tolerance(
    before: Air, after: Air, is_steady: bool
) -> None:
    waited = Waited(BAND, [(0.0, before), (49.0, after)])
    assert waited.passed_s == pytest.approx(60.0 if is_steady else 50.0 + 60.0, abs=LOOK_S)


@pytest.mark.parametrize(
    ("band", "before", "after"),
    [(WARM_ONLY, (23.0, 5.0), (23.0, 95.0)), (DAMP_ONLY, (5.0, 50.0), (30.0, 50.0))],
)
def test_what_is_not_wanted_may_swing(band: ClimateBand, before: Air, after: Air) -> None:
    assert Waited(band, [(0.0, before), (30.0, after)]).passed_s == pytest.approx(60.0, abs=LOOK_S)


def test_wrong_air_holds_a_run_back_also_where_it_need_not_be_steady() -> None:
    at_once = ClimateBand(temperature_c=23.0, steady_s=0.0, timeout_s=300.0)
    assert Waited(at_once, [(0.0, (26.0, 50.0)), (31.0, RIGHT)]).passed_s == pytest.approx(
        32.0, abs=LOOK_S
    )


def test_the_wait_ends_in_time_and_says_why() -> None:
    waited = Waited(BAND, [(0.0, (26.0, 50.0))])
    assert waited.stopped is not None
    at_s, why = waited.stopped
    assert 300.0 < at_s <= 300.0 + 2.0 * LOOK_S
    assert "within 5 min (26.0 °C (wanted 23 ± 2))" in why
    assert "`rig run --resume`" in why
    assert waited.said[0].endswith("gives up in 5 min.")
    # Said at the start and each half minute, not at every look.
    assert len(waited.said) == 11


def test_air_that_comes_just_in_time_lets_the_run_begin() -> None:
    in_time = Waited(BAND, [(0.0, (26.0, 50.0)), (235.0, RIGHT)])
    assert in_time.passed_s == pytest.approx(296.0, abs=LOOK_S)
    late = Waited(BAND, [(0.0, (26.0, 50.0)), (247.0, RIGHT)])
    assert late.stopped is not None
    assert "right for" in late.stopped[1]


@pytest.mark.parametrize(
    ("name", "taken", "refused"),
    [
        ("--temperature", ("-20", "60", "23:0.5", "23:80"), ("-20.1", "60.1", "23:0.4", "23:81")),
        ("--humidity", ("0", "100", "50:1", "50:100"), ("-1", "101", "50:0.9", "50:101")),
    ],
)
def test_a_band_has_a_range(name: str, taken: tuple[str, ...], refused: tuple[str, ...]) -> None:
    def parsed(text: str) -> ClimateBand | None:
        is_warm = name == "--temperature"
        return parse_band(text if is_warm else None, None if is_warm else text, 60.0, 60.0)

    for text in taken:
        assert parsed(text) is not None
    for text in refused:
        with pytest.raises(BadInputError, match=name):
            parsed(text)


def test_a_band_of_one_kind_leaves_the_other_alone() -> None:
    warm, damp = parse_band("23", None, 60.0, 60.0), parse_band(None, "50", 60.0, 60.0)
    assert warm is not None
    assert damp is not None
    assert (warm.temperature_tolerance_k, warm.relative_humidity_pct) == (2.0, None)
    assert (damp.humidity_tolerance_pct, damp.temperature_c) == (4.0, None)


def test_a_band_in_other_units_is_converted_and_told() -> None:
    told: list[str] = []
    band = parse_band(
        "77F:9F", "50,5:5", 60.0, 60.0, lambda name, value: told.append(f"{name} {value.shown}")
    )
    assert band is not None
    assert (band.temperature_c, band.temperature_tolerance_k) == (25.0, 5.0)
    assert (band.relative_humidity_pct, band.humidity_tolerance_pct) == (50.5, 5.0)
    assert told == [
        "--temperature 25 °C (77F as typed)", "--temperature ± 5 °C (9F as typed)",
        "--humidity 50.5 % (50,5 as typed)", "--humidity ± 5 %",
    ]  # fmt: skip
