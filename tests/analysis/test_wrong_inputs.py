"""A run whose file contradicts itself is flagged: rate, clock, filter, polarity, a slip.

Each of these gave a valid run without a word once, with an angle that was wrong by up to 1°.
"""

from collections.abc import Callable
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.analysis.friction import analyse_run
from rig.runfile.model import Event, Flag, Samples
from rig.runfile.reader import RunFile
from tests.analysis.parts import gravity
from tests.analysis.slides import DELAY_S, RAISE_S, one_beam, run_file, slide, two_beams
from tests.analysis.test_flags import tilted_across
from tests.calibration.example import calibration

TRUE = slide(0.45, 0.4, 1.0, [8.0, 160.0])
SLID = one_beam(TRUE.edges_s)


def flags_of(run: RunFile, **changes: Any) -> list[Flag]:
    return analyse_run(msgspec.structs.replace(run, **changes)).result.flags


@pytest.mark.parametrize("cross_deg", [-3.0, -1.3, 1.3, 3.0])
def test_cross_slope_loses_no_steps(cross_deg: float) -> None:
    # Near level the total inclination is mostly cross slope; along the slope nothing is lost.
    row = analyse_run(tilted_across(run_file(1.0, SLID), cross_deg)).result
    assert row.flags == ["cross_slope"]
    assert row.valid


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_steps_that_are_lost_are_seen_on_a_cross_slope_too(sign: float) -> None:
    run = tilted_across(run_file(1.0, SLID, lost_steps_deg=1.1 * sign), 1.3)
    assert "step_loss" in flags_of(run)


@pytest.mark.parametrize(
    ("stated", "flags"), [(10.0, ["rate_off"]), (0.94, ["rate_off"]), (0.97, []), (1.04, [])]
)
def test_a_rate_that_is_not_the_stated_one(stated: float, flags: list[Flag]) -> None:
    run = run_file(1.0, SLID)
    header = msgspec.structs.replace(run.header, rate_deg_s=stated)
    analysis = analyse_run(msgspec.structs.replace(run, header=header))
    plain = analyse_run(run).result
    assert analysis.result.flags == flags
    # The analysis goes by the rate that was measured.
    assert analysis.result.onset_angle_deg == pytest.approx(plain.onset_angle_deg, abs=1e-6)


@pytest.mark.parametrize(
    ("off_ms", "flags"),
    [
        (500.0, ["angle_sensor_fault"]),
        (-500.0, ["angle_sensor_fault"]),
        (65.0, ["angle_sensor_fault"]),
        (-65.0, ["angle_sensor_fault"]),
        (50.0, []),
        (-50.0, []),
    ],
)
def test_a_filter_delay_that_is_not_the_sensors(off_ms: float, flags: list[Flag]) -> None:
    used = calibration(filter_delay_ms=1000.0 * DELAY_S + off_ms)
    assert flags_of(run_file(1.0, SLID, calibration=used, noise_counts=6.0)) == flags


def at_other_times(run: RunFile, when: Callable[[float], float]) -> list[Samples]:
    return [
        msgspec.structs.replace(
            line, t_s=when(line.t_s), dt_s=when(line.t_s + line.dt_s) - when(line.t_s)
        )
        for line in run.samples
    ]


@pytest.mark.parametrize("rate", [0.3, 1.0, 2.0])
@pytest.mark.parametrize("share", [0.99, 1.01])
def test_a_sample_clock_that_is_off_by_one_percent(share: float, rate: float) -> None:
    true = slide(0.45, 0.4, rate, [8.0, 160.0])
    run = run_file(rate, one_beam(true.edges_s), noise_counts=6.0)
    assert flags_of(run) == []
    # The raise begins 10 s after the start of the record: 0.1 s late or early.
    samples = at_other_times(run, lambda t_s: share * t_s)
    assert "angle_sensor_fault" in flags_of(run, samples=samples)


def test_a_noisy_sensor_is_not_called_late() -> None:
    true = slide(0.35, 0.3, 0.1, [8.0, 160.0])
    for seed in range(3):
        run = run_file(0.1, one_beam(true.edges_s), noise_counts=60.0, seed=seed)
        assert flags_of(run) == []


@pytest.mark.parametrize("beams", [1, 2])
def test_a_beam_whose_two_states_are_swapped(beams: int) -> None:
    times = TRUE.edges_s if beams == 1 else slide(0.45, 0.4, 1.0, [8.0, 58.0, 160.0, 210.0]).edges_s
    edges = one_beam(times) if beams == 1 else two_beams(times)
    other = {"beam_broken": "beam_clear", "beam_clear": "beam_broken"}
    for swapped in range(1, beams + 1):
        wrong = [(t, other[name] if beam == swapped else name, beam) for t, name, beam in edges]
        row = analyse_run(run_file(1.0, wrong, beams=beams)).result
        assert not row.valid
        assert "beam_fault" in row.flags


def turned(run: RunFile, by_deg: float, from_s: float = 0.0) -> RunFile:
    """The sensor turned about the hinge at some time."""
    lines = []
    for line in run.samples:
        counts = np.array(line.counts, dtype=float)
        angle = np.degrees(np.arctan2(counts[:, 0], counts[:, 2]))
        times = line.t_s + line.dt_s * np.arange(len(counts))
        vectors = [
            gravity(float(a) + by_deg * (t >= from_s)) for a, t in zip(angle, times, strict=True)
        ]
        new = np.rint(16393.0 * np.array(vectors)).astype(int)
        lines.append(msgspec.structs.replace(line, counts=[tuple(row) for row in new.tolist()]))
    return msgspec.structs.replace(run, samples=lines)


def home(angle_deg: float, cross_deg: float = 0.0) -> Event:
    return Event(
        t_s=RAISE_S - 1.5,
        event="home_reading",
        detail={"angle_deg": angle_deg, "cross_deg": cross_deg},
    )


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(
    ("by_deg", "flags"),
    [(0.18, []), *((deg, ["sensor_slipped"]) for deg in (0.22, 0.5, 1.0))],
)
def test_a_sensor_that_slips_between_homing_and_the_raise(
    sign: float, by_deg: float, flags: list[Flag]
) -> None:
    analysis = analyse_run(turned(run_file(1.0, SLID, extra=[home(0.0)]), sign * by_deg))
    row = analysis.result
    assert (row.flags, row.valid) == (flags, True)
    assert analysis.budget is not None
    doubt = [part for part in analysis.budget.components if "slipped" in part.name]
    if flags:
        # Anything from none to all of it may be in the angle.
        assert doubt[0].u_theta_deg == pytest.approx(by_deg / 3.0**0.5, rel=0.02)
        assert row.u_onset_angle_deg is not None
        assert row.u_onset_angle_deg > doubt[0].u_theta_deg
    else:
        assert not doubt


def test_a_home_reading_that_moved_along_the_slope_alone_may_be_the_sensor() -> None:
    slipped = analyse_run(turned(run_file(1.0, SLID, extra=[home(0.7)]), 0.7))
    assert slipped.result.flags == ["floor_tilt", "sensor_slipped"]
    assert slipped.budget is not None
    names = {part.name: part for part in slipped.budget.components}
    assert names["sensor that may have slipped"].u_theta_deg == pytest.approx(0.7 / 3.0**0.5)
    # A floor that sank across as well as along is no slip about the hinge.
    sunk = analyse_run(turned(run_file(1.0, SLID, extra=[home(0.7, 0.4)]), 0.7))
    assert sunk.result.flags == ["floor_tilt"]


@pytest.mark.parametrize("beams", [1, 2])
def test_a_bag_that_creeps_into_the_beam_before_it_slides(beams: int) -> None:
    # 2 mm/s over 8 mm: the first beam breaks as the slide begins, four seconds after the creep did.
    places = [0.01, 50.0, 152.0, 202.0] if beams == 2 else [0.01, 152.0]
    true = slide(0.45, 0.42, 1.0, places)
    # One beam cannot tell an edge that lay on it from one that slid into it.
    for early_s in (0.0, 1.0, 3.0) if beams == 2 else (1.0, 3.0):
        times = [true.onset_s - early_s, *true.edges_s[1:]]
        edges = two_beams(times) if beams == 2 else one_beam(times)
        row = analyse_run(run_file(1.0, edges, beams=beams)).result
        assert row.flags
        assert not row.valid or (
            abs((row.onset_angle_deg or 0.0) - true.onset_deg)
            < 2.0 * (row.u_onset_angle_deg or 0.0)
        )
