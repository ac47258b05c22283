"""Each flag of a run at its limit, from both sides and with both signs."""

import math
from typing import Any

import msgspec
import numpy as np
import pytest

from rig.analysis.angle.hinge import check_hinge, raise_gravity
from rig.analysis.checks import check_home, is_skewed
from rig.analysis.friction import analyse_run
from rig.runfile.model import Climate, Event, Flag, Outcome, Samples
from rig.runfile.reader import RunFile
from tests.analysis.parts import bare_run, gravity, solved
from tests.analysis.slides import RAISE_S, RATE_HZ, one_beam, run_file, slide, two_beams
from tests.calibration.example import calibration

SLID = one_beam(slide(0.45, 0.4, 1.0, [8.0, 160.0]).edges_s)


def home_flags(detail: dict[str, Any], **changes: Any) -> list[Flag]:
    """With a calibration that was made at 0.1° along and −0.2° across."""
    flags: list[Flag] = []
    home = Event(t_s=0.0, event="home_reading", detail=detail)
    used = calibration(home_angle_deg=0.1, home_cross_deg=-0.2)
    check_home(bare_run(home, **changes), used, flags)
    return flags


@pytest.mark.parametrize(
    ("along_deg", "across_deg", "flags"),
    [
        (0.1, -0.2, []),
        (0.39, -0.2, []),
        (0.41, -0.2, ["floor_tilt", "sensor_slipped"]),
        (0.41, -0.11, ["floor_tilt", "sensor_slipped"]),
        (0.41, -0.09, ["floor_tilt"]),
        (0.41, -0.31, ["floor_tilt"]),
        (-0.19, -0.2, []),
        (-0.21, -0.2, ["floor_tilt", "sensor_slipped"]),
        (0.1, 0.09, []),
        (0.1, 0.11, ["floor_tilt"]),
        (0.1, -0.49, []),
        (0.1, -0.51, ["floor_tilt"]),
    ],
)
def test_a_floor_that_sank(along_deg: float, across_deg: float, flags: list[Flag]) -> None:
    assert home_flags({"angle_deg": along_deg, "cross_deg": across_deg}) == flags


def test_a_home_reading_without_numbers_says_nothing() -> None:
    assert home_flags({"angle_deg": None, "cross_deg": "0.9"}) == []
    assert home_flags({}) == []


@pytest.mark.parametrize(
    ("started_at", "flags"),
    [
        ("2027-04-01T07:59:59Z", []),
        ("2027-04-01T08:00:00Z", []),
        ("2027-04-01T08:00:01Z", ["calibration_overdue"]),
    ],
)
def test_a_calibration_is_overdue_a_second_after_its_day(
    started_at: str, flags: list[Flag]
) -> None:
    assert home_flags({}, started_at=started_at) == flags


def test_a_time_stamp_that_cannot_be_read_is_told() -> None:
    run = bare_run(started_at="yesterday")
    check_home(run, calibration(), [])
    assert run.problems == ["a.run.jsonl has a time stamp that can't be read."]


@pytest.mark.parametrize(
    ("off", "seen", "method", "skewed"),
    [
        # Twice the scatter of what the edges say, √0.81 = 0.9 u of the length; never shorter.
        (1.79, 0.81, "four_edge", False),
        (1.81, 0.81, "four_edge", True),
        (-3.0, 0.81, "four_edge", False),
        (1.81, 0.81, "two_edge", False),
        (0.5, 0.0, "four_edge", False),
    ],
)
def test_a_bag_is_askew_when_it_is_longer(
    off: float, seen: float, method: Any, skewed: bool
) -> None:
    found = solved(found={"length_off": (off, seen)}, method=method)
    assert is_skewed(found) is skewed


def test_what_the_laws_do_not_explain_widens_the_budget_by_what_was_corrected() -> None:
    # All edges fit but the last, which is 60 ms late: no edge that may be left out explains it.
    true = slide(0.45, 0.4, 1.0, [8.0, 58.0, 160.0, 210.0])
    times = [*true.edges_s[:3], true.edges_s[3] + 0.06]
    analysis = analyse_run(run_file(1.0, two_beams(times), beams=2))
    assert analysis.result.flags == ["creep"]
    assert analysis.result.valid
    assert analysis.budget is not None
    part = analysis.budget.components[-1]
    assert (part.name, part.layer, part.distribution) == (
        *("misfit of the law", "series", "rectangular"),
    )
    # From the onset to the break the board turned by 1°/s; as a rectangle over √3.
    corrected_deg = (analysis.result.angle_at_break_deg or 0.0) - (
        analysis.result.onset_angle_deg or 0.0
    )
    assert part.u_theta_deg == pytest.approx(corrected_deg / math.sqrt(3.0), abs=1e-6)
    assert part.u_theta_deg < (analysis.result.u_onset_angle_deg or 0.0)


@pytest.mark.parametrize(("early_s", "flags"), [(0.0, []), (0.5, ["slumped"]), (0.1, ["slumped"])])
def test_fill_that_slumped_into_the_first_of_two_beams(early_s: float, flags: list[Flag]) -> None:
    # The edge then hangs 1 mm over the first beam, as it slides past the second.
    leading = -1.0 if early_s else 8.0
    true = slide(0.45, 0.38, 1.0, [abs(leading), leading + 50.0, 160.0, 210.0])
    times = [true.onset_s - early_s if early_s else true.edges_s[0], *true.edges_s[1:]]
    row = analyse_run(run_file(1.0, two_beams(times), beams=2)).result
    assert row.flags == flags
    assert row.valid is (not flags)
    # What the other edges say is right all the same.
    assert row.onset_angle_deg is not None
    assert row.u_onset_angle_deg is not None
    assert abs(row.onset_angle_deg - true.onset_deg) < 2.0 * row.u_onset_angle_deg


def test_fill_that_slumped_into_the_only_beam() -> None:
    # Half a second before the slide, and the bag clears the beam as it should.
    true = slide(0.45, 0.44, 1.0, [8.0, 160.0])
    row = analyse_run(run_file(1.0, one_beam([true.onset_s, true.edges_s[1]]))).result
    assert (row.flags, row.valid) == (["slumped"], False)


@pytest.mark.parametrize(("early_s", "flags"), [(0.1, []), (0.2, ["slumped"])])
def test_one_beam_notices_fill_that_came_a_little_early(early_s: float, flags: list[Flag]) -> None:
    """Between the misfit that 1 % of good slides exceed and ten times of it."""
    true = slide(0.45, 0.44, 1.0, [8.0, 160.0])
    row = analyse_run(run_file(1.0, one_beam([true.edges_s[0] - early_s, true.edges_s[1]]))).result
    assert (row.flags, row.valid) == (flags, not flags)


def tilted_across(run: RunFile, cross_deg: float) -> RunFile:
    """The same raise on a hinge that does not lie level."""
    lines = [
        msgspec.structs.replace(
            line,
            counts=[
                tuple(
                    round(16393.0 * float(part))
                    for part in gravity(math.degrees(math.atan2(x, z)), cross_deg)
                )
                for x, _, z in line.counts
            ],
        )
        for line in run.samples
    ]
    return msgspec.structs.replace(run, samples=lines)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(("cross_deg", "flags"), [(0.99, []), (1.01, ["cross_slope"])])
def test_cross_slope(sign: float, cross_deg: float, flags: list[Flag]) -> None:
    row = analyse_run(tilted_across(run_file(1.0, SLID), sign * cross_deg)).result
    assert row.flags == flags
    assert row.valid
    assert row.cross_slope_deg == pytest.approx(sign * cross_deg, abs=0.003)


def air(t_s: float, temperature_c: float) -> Climate:
    return Climate(
        t_s=t_s, temperature_c=temperature_c, relative_humidity_pct=50.0, pressure_hpa=1010.0
    )


def test_the_climate_is_read_from_five_seconds_before_the_raise_to_its_end() -> None:
    end_s = RAISE_S + 3.0
    lines = [
        air(RAISE_S - 5.1, 60.0),
        air(RAISE_S - 4.9, 20.0),
        air(end_s - 0.1, 20.6),
        air(end_s + 0.1, 80.0),
    ]
    row = analyse_run(run_file(1.0, [], end_s=3.0, climate=lines, outcome="no_slide")).result
    assert row.temperature_c == pytest.approx(20.3)
    assert row.flags == ["no_slide"]


@pytest.mark.parametrize(("temperature_c", "flags"), [(21.0, []), (21.1, ["climate_drift"])])
def test_air_that_changes_is_flagged(temperature_c: float, flags: list[Flag]) -> None:
    lines = [air(RAISE_S, temperature_c), air(RAISE_S + 1.0, 20.0)]
    row = analyse_run(run_file(1.0, [], end_s=3.0, climate=lines, outcome="no_slide")).result
    assert row.flags == ["no_slide", *flags]


@pytest.mark.parametrize(
    ("outcome", "flags", "expected"),
    [
        ("slid", [], []),
        ("no_slide", [], ["no_slide"]),
        ("stopped", [], ["halted"]),
        ("fault", [], ["halted"]),
        ("fault", ["step_loss"], ["step_loss"]),
        ("slid", ["climate_drift"], ["climate_drift"]),
        ("stopped", ["climate_drift"], ["climate_drift", "halted"]),
    ],
)
def test_how_a_run_ended(outcome: Outcome, flags: list[Flag], expected: list[Flag]) -> None:
    row = analyse_run(run_file(1.0, SLID, outcome=outcome, flags=flags)).result
    assert row.flags == expected
    assert row.valid is (not {"no_slide", "halted", "step_loss"} & set(expected))


@pytest.mark.parametrize(
    ("lasts_s", "flags", "method"),
    [
        # At 24° a pass takes 0.22 s without friction, 1.09 s with µk = µs from a start 8 mm before
        # the beam, and 1.72 s from a start at it.
        (0.160, ["edge_crept", "stalled_in_slide", "no_slide"], None),
        (0.190, ["beam_fault"], None),
        (0.500, [], "two_edge"),
        (1.500, ["slumped"], "one_edge"),
        (1.790, ["edge_crept", "gap_unknown", "beam_fault"], "one_edge"),
    ],
)
def test_a_pass_that_no_slide_makes(lasts_s: float, flags: list[Flag], method: str | None) -> None:
    row = analyse_run(run_file(1.0, one_beam([24.0, 24.0 + lasts_s]))).result
    assert (row.flags, row.onset_method) == (flags, method)
    assert row.valid is not bool({"beam_fault", "no_slide", "slumped"} & set(flags))
    assert row.angle_at_break_deg == pytest.approx(24.0, abs=0.01)


@pytest.mark.parametrize(
    ("u_gap_mm", "flags"), [(2.6, ["edge_crept", "beam_fault"]), (2.7, ["edge_crept"])]
)
def test_slumped_fill_counts_as_such_where_it_can_reach(u_gap_mm: float, flags: list[Flag]) -> None:
    # Fill that hangs 2 mm beyond the first beam broke it two seconds early; three times 2.67 mm
    # reach over a gap of 8 mm.
    true = slide(0.45, 0.4, 1.0, [48.0, 160.0, 210.0])
    second, clear, last = true.edges_s
    edges = two_beams([true.onset_s - 2.0, second, clear, last])
    row = analyse_run(run_file(1.0, edges, beams=2, u_gap_mm=u_gap_mm)).result
    assert row.flags == flags
    assert row.valid is ("beam_fault" not in flags)
    assert row.onset_angle_deg is not None
    assert row.u_onset_angle_deg is not None
    assert abs(row.onset_angle_deg - true.onset_deg) < 2.0 * row.u_onset_angle_deg


def test_a_run_that_was_never_raised_is_halted() -> None:
    run = run_file(1.0, [], end_s=3.0)
    run.events = [event for event in run.events if event.t_s < RAISE_S]
    row = analyse_run(run).result
    assert (row.flags, row.valid) == (["halted"], False)


def swept(wave_g: float = 0.0) -> RunFile:
    """The sensor through a raise at 1 °/s that begins at 0 s, its hinge along y.

    From 1 s on, each block of 21 samples is off along the hinge by so much, to and fro.
    """
    t_s = np.arange(0.0, 24.0, 1.0 / RATE_HZ)
    vectors = np.array([gravity(float(t)) for t in t_s])
    blocks = np.arange(len(t_s) - 209) // 21
    vectors[209:, 1] += wave_g * (-1.0) ** blocks
    counts = np.rint(16393.0 * vectors).astype(int)
    run = bare_run()
    run.samples = [
        Samples(t_s=0.0, dt_s=1.0 / RATE_HZ, counts=[tuple(row) for row in counts.tolist()])
    ]
    return run


def hinge_flags(
    run: RunFile, *, turned_deg: float = 0.0, tipped_deg: float = 0.0, edge_s: float = 24.0
) -> list[Flag]:
    """For a hinge that lay otherwise at the calibration, along the chord and square to it.

    From 1° to 24° the chord points 12.5° down from the board's uphill direction.
    """
    chord = gravity(12.5 + 90.0)
    axis = np.array([0.0, 1.0, 0.0]) + math.radians(turned_deg) * chord
    axis = axis + math.radians(tipped_deg) * gravity(12.5)
    axis /= np.linalg.norm(axis)
    flags: list[Flag] = []
    used = calibration(axis=tuple(axis.tolist()))
    check_hinge(run, used, 0.0, edge_s, flags)
    return flags


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("way", ["turned_deg", "tipped_deg"])
@pytest.mark.parametrize(("by_deg", "flags"), [(0.29, []), (0.31, ["angle_sensor_fault"])])
def test_a_sensor_that_slipped(sign: float, way: str, by_deg: float, flags: list[Flag]) -> None:
    assert hinge_flags(swept(), **{way: sign * by_deg}) == flags


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(("by_deg", "flags"), [(0.39, []), (0.41, ["angle_sensor_fault"])])
def test_scatter_widens_the_limit_of_a_slip(sign: float, by_deg: float, flags: list[Flag]) -> None:
    # 227 blocks spread evenly over the arc's chord of 0.4 g are a root sum of squares of 1.74 g;
    # ±0.003 g across it are 0.0993° of doubt about the axis, and four times that is 0.397°.
    assert hinge_flags(swept(0.003), turned_deg=sign * by_deg) == flags


def test_a_raise_that_is_too_short_shows_no_hinge() -> None:
    # Five degrees must be swept, after the first second; eight blocks must be there.
    assert hinge_flags(swept(), turned_deg=5.0, edge_s=5.8) == []
    assert hinge_flags(swept(), turned_deg=5.0, edge_s=6.4) == ["angle_sensor_fault"]
    assert hinge_flags(swept(), turned_deg=5.0, edge_s=0.5) == []


def test_the_hinge_is_seen_in_blocks_after_the_first_second() -> None:
    found = raise_gravity(swept(), calibration(), 0.0, 24.0)
    # 23 s of 208 samples/s are 4784, 227 blocks of 21; the first is centred at 1.05 s.
    assert found.shape == (227, 3)
    assert math.degrees(math.atan2(found[0, 0], found[0, 2])) == pytest.approx(1.053, abs=0.003)
