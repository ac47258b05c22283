"""Each of the twin's teeth does what it says, and nothing else."""

from dataclasses import replace
from math import atan, cos, degrees, exp, log, radians, sin, sqrt, tan
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rig.analysis.friction import RunAnalysis, analyse_run
from rig.calibration.apply import cross_slope_deg, gravity_g, inclination_deg
from rig.settings.model import Pins, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_placing, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.friction import make_law
from rig.twin.ground import Ground, Shake, crown_slope_rad, ground_of
from rig.twin.mechanics import Incline
from rig.twin.path import BagPath
from rig.twin.placed import incline_of, linkage_of
from rig.twin.scenario import BoardTruth, Scenario, Spot, Truth
from rig.twin.sensor import Motion, Sensor
from rig.twin.slide import BagEdge, SlideMotion
from tests.bench.coverage import in_memory
from tests.fastsim.run import simulate_run
from tests.teeth import TEETH, without

SETTINGS = Settings(pins=Pins(beam_2=18))
STATIC, KINETIC = 0.4, 0.36
RATE = radians(0.3)
FIELDS = {
    "sticky spots": {"sticky_share"},
    "creep before the slide": {"crept_mm", "gap_mm"},
    "bag that turns as it slides": {"turn_deg"},
    "fill that shifts": {"slump_follows", "slump_is_sudden", "late_slump_mm", "length_mm"},
    "vibration that reaches the bag": {"vibration_loss"},
    "crowned board": {"local_slope_deg", "level_slope_deg"},
    "yaw of board and sensor": {"board_yaw_deg", "sensor_yaw_deg"},
}
"""What each tooth may change in the truth, beside the onset's time and a hair of its angle."""


def raised(
    ground: Ground | None = None, incline: Incline | None = None, **path: Any
) -> tuple[SlideMotion, list[BagEdge]]:
    """A Coulomb bag on a board that rises at 0.3 °/s until it is past its beam."""
    places: dict[str, Any] = {"gap_mm": 8.0, "length_mm": 152.0, "catch_travel_mm": 1e6} | path
    slide = SlideMotion(
        make_law("coulomb", STATIC, KINETIC),
        incline or Incline.of(0.0, 0.0),
        BagPath(**places),
        60.0,
        ground or Ground(),
    )
    return slide, slide.advance(80.0, lambda t: RATE * t)


def world(seed: int = 3, **sections: Any) -> Scenario:
    return changed(without(draw_scenario(seed, face=plain_face(STATIC, KINETIC))), **sections)


def made(scenario: Scenario, seed: int = 3, **more: Any) -> tuple[Truth, RunAnalysis]:
    lines, truth = simulate_run(SETTINGS, scenario, seed, rate_deg_s=0.3, dwell_s=1.0, **more)
    return truth, analyse_run(in_memory(lines))


@pytest.mark.parametrize("name", TEETH)
def test_a_tooth_changes_its_own_part_of_the_truth(name: str) -> None:
    # The third rig has two sticky spots, one of them under the bag.
    whole = changed(
        draw_scenario(3, face=plain_face(STATIC, KINETIC)),
        board={"spots": (Spot(place_mm=640.0, width_mm=40.0, gain=0.01),)},
        bag={"slump_is_sudden": True},
    )
    with_it, without_it = (
        simulate_run(SETTINGS, one, 3, rate_deg_s=0.3, approach_deg=16.0)[1]
        for one in (whole, without(whole, name))
    )
    old, new = ({f: getattr(t, f) for f in t.__struct_fields__} for t in (without_it, with_it))
    differ = {field for field in old if old[field] != new[field]}
    assert FIELDS[name] <= differ
    allowed = FIELDS[name] | {"onset_time_s", "onset_angle_deg"}
    # Where it wakes, vibration and creep move each other by a hair, and the spot is left earlier.
    hair = differ - allowed
    assert {abs(old[field] - new[field]) < 0.01 for field in hair} <= {True}
    assert hair <= {"crept_mm", "gap_mm", "vibration_loss"}


def test_a_sticky_spot_holds_by_how_much_of_it_lies_under_the_bag() -> None:
    board = BoardTruth(spots=(Spot(place_mm=500.0, width_mm=50.0, gain=0.05),))
    linkage = linkage_of(Scenario(), SETTINGS)

    def ground(leading_mm: float) -> Ground:
        return ground_of(
            board, SETTINGS, linkage, vibration_g=0.0, leading_mm=leading_mm, length_mm=150.0
        )

    # The bag, 450 to 600 mm up the board, has its middle on the spot's.
    assert ground(450.0).grip(0.0) == pytest.approx(1.05)
    assert ground(551.0).grip(0.0) == 1.0
    assert ground(551.0).grip(0.002) > 1.0
    assert ground(551.0).grip(0.101) == pytest.approx(1.05)
    assert ground(551.0).grip(0.202) == 1.0
    slide, _ = raised(Ground(spots=((-50.0, 50.0, 0.05),)))
    assert slide.onset_deg == pytest.approx(degrees(atan(1.05 * STATIC)), abs=1e-6)


def test_creep_moves_the_bag_as_its_law_integrates() -> None:
    slide, edges = raised(creep_mm_s=0.4, creep_tangent=0.01)
    plain, plain_edges = raised()
    assert slide.onset_deg == pytest.approx(plain.onset_deg, abs=1e-6)
    # ∫ v₀·exp((tan θ − µs)/c) dt over a tangent that grows by ω/cos²θ = ω·(1 + µs²).
    whole = 0.4 * 0.01 / (RATE * (1.0 + STATIC**2))
    assert 1000.0 * slide.crept_m == pytest.approx(whole * (1.0 - exp(-4.0)), rel=0.01)
    assert edges[0].time_s < plain_edges[0].time_s
    found = solve_ivp(
        lambda t, s: [0.0004 * exp((tan(RATE * t) - STATIC) / 0.01)],
        (atan(STATIC - 0.04) / RATE, atan(STATIC) / RATE),
        [0.0],
        rtol=1e-9,
    )
    assert slide.crept_m == pytest.approx(found.y[0, -1], rel=1e-3)


def test_a_bag_may_creep_into_the_beam_and_the_slide_is_not_taken_back() -> None:
    slide, edges = raised(gap_mm=0.3, creep_mm_s=0.4, creep_tangent=0.01)
    assert slide.onset_time_s is not None
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (1, False)]
    # e-fold per 0.01 of the tangent: 0.3 of 0.66 mm are done 0.01·ln(0.66/0.3) before the hold.
    total = 0.4 * 0.01 / (RATE * (1.0 + STATIC**2))
    early = STATIC - 0.01 * log(total / (0.3 + total * exp(-4.0)))
    assert edges[0].time_s == pytest.approx(atan(early) / RATE, abs=0.03)
    assert edges[0].time_s < slide.onset_time_s


def test_a_board_that_is_lowered_stops_the_creep() -> None:
    slide, _ = raised()
    slide = SlideMotion(
        make_law("coulomb", STATIC, KINETIC),
        Incline.of(0.0, 0.0),
        BagPath(gap_mm=8.0, length_mm=152.0, creep_mm_s=0.4),
        0.0,
    )
    near, far = atan(STATIC - 0.01), atan(STATIC - 0.05)
    slide.advance(10.0, lambda _: near)
    assert slide.is_sliding
    crept = slide.travel_m
    assert crept == pytest.approx(0.01 * 0.4 * exp(-0.01 / 0.008), rel=0.01)
    slide.advance(20.0, lambda t: near + (far - near) * (t - 10.0) / 10.0)
    assert not slide.is_sliding
    assert slide.onset_time_s is None
    stays = slide.travel_m
    slide.advance(30.0, lambda _: far)
    assert slide.travel_m == stays


def test_a_law_with_a_bristle_creeps_by_itself_alone() -> None:
    law = make_law("lugre", STATIC, KINETIC)
    slides = [
        SlideMotion(
            law, Incline.of(0.0, 0.0), BagPath(gap_mm=8.0, length_mm=152.0, creep_mm_s=v), 60.0
        )
        for v in (0.0, 0.4)
    ]
    edges = [slide.advance(80.0, lambda t: RATE * t) for slide in slides]
    assert edges[0] == edges[1]


def test_fill_that_shifts_moves_its_own_edges() -> None:
    plain = BagPath(gap_mm=8.0, length_mm=152.0, slump_mm=2.0)
    follows, late = replace(plain, slump_follows=0.25), replace(plain, late_slump_mm=1.0)
    assert [p.travel_mm(8.0, True) for p in (plain, follows)] == [6.0, 6.0]
    assert plain.travel_mm(160.0, False) == 160.0
    assert follows.travel_mm(160.0, False) == 159.5
    # s + 1 mm·(1 − exp(−s/15 mm)) = 6 mm.
    s = late.travel_mm(8.0, True)
    assert s + 1.0 - exp(-s / 15.0) == pytest.approx(6.0)
    assert late.travel_mm(160.0, False) == 160.0


def test_a_bag_that_turns_reaches_ahead_and_lags_behind_alike() -> None:
    path = BagPath(
        gap_mm=50.0,
        length_mm=157.0,
        body_mm=(152.0, 152.0),
        skew_deg=2.0,
        turn_deg=3.0,
        turn_travel_mm=200.0,
    )

    def along(skew_deg: float) -> float:
        skew = radians(abs(skew_deg))
        return 152.0 * cos(skew) + 152.0 * sin(skew)

    for place, is_leading, sign in ((50.0, True, 1.0), (50.0, False, -1.0), (150.0, True, 1.0)):
        s = path.travel_mm(place, is_leading)
        half = 0.5 * (along(2.0 + 3.0 * sin(2.0 * np.pi * s / 200.0)) - along(2.0))
        assert s + sign * half == pytest.approx(place, abs=1e-6)
        assert abs(half) > 1.0
    # After one turn there and back it lies as it did.
    assert path.travel_mm(200.0, True) == pytest.approx(200.0)


def test_vibration_takes_friction_at_the_resonance_and_less_above_it() -> None:
    linkage = linkage_of(Scenario(), SETTINGS)
    shake = Shake(0.1, 0.02, 100.0, 4.0, linkage, 100.0)
    angle = atan(STATIC)

    def loss(pulse_hz: float) -> float:
        return shake.loss(angle, pulse_hz / (100.0 * linkage.mm_per_rad(angle)))

    # |H| of one mass on a spring: 1 far below, Q at the resonance, (f₀/f)² far above.
    assert loss(2.0) == pytest.approx(0.002, rel=1e-3)
    assert loss(100.0) == pytest.approx(0.008)
    assert loss(1000.0) == pytest.approx(0.002 / 99.0, rel=1e-2)
    assert loss(0.0) == 0.0
    assert max(loss(f) for f in np.linspace(50.0, 150.0, 101)) < shake.most
    slide, _ = raised(Ground(shake=shake))
    at = 100.0 * linkage.mm_per_rad(angle) * RATE
    expected = STATIC * (1.0 - loss(at))
    assert tan(radians(slide.onset_deg or 0.0)) == pytest.approx(expected, rel=1e-5)
    assert slide.lost_share == pytest.approx(loss(at), rel=3e-3)


def test_vibration_falls_away_with_the_motor() -> None:
    scenario = world(board={"shake_share": 0.15, "frame_hz": 180.0})
    still = world(board={"shake_share": 0.15}, imu={"vibration_g": 0.0})
    assert made(scenario)[0].vibration_loss > 1e-3
    assert made(still)[0].vibration_loss == 0.0


def test_a_crown_is_a_parabola_and_the_bag_slides_by_its_own_slope() -> None:
    board = BoardTruth(crown_mm=2.0)
    # The design's figure: 2 mm are worth 0.1° at 170 mm off the middle.
    assert degrees(crown_slope_rad(board, SETTINGS, 609.5 - 170.0)) == pytest.approx(0.1, abs=0.01)
    assert crown_slope_rad(board, SETTINGS, 609.5) == 0.0
    assert crown_slope_rad(board, SETTINGS, 609.5 + 170.0) < 0.0
    ends = [2.0 * (1.0 - (2.0 * x / 1219.0) ** 2) for x in (169.5, 170.5)]
    slope = crown_slope_rad(board, SETTINGS, 609.5 + 170.0)
    assert slope == pytest.approx(ends[1] - ends[0], rel=1e-9)
    ground = ground_of(
        board,
        SETTINGS,
        linkage_of(Scenario(), SETTINGS),
        vibration_g=0.0,
        leading_mm=598.0,
        length_mm=152.0,
    )
    # It grows downhill as the slope of the parabola does.
    assert ground.bend_rad(0.1) == pytest.approx(crown_slope_rad(board, SETTINGS, 574.0))
    slide, edges = raised(Ground(slope_rad=radians(0.5)))
    assert slide.onset_deg == pytest.approx(degrees(atan(STATIC)), abs=1e-6)
    assert slide.onset_time_s == pytest.approx((degrees(atan(STATIC)) - 0.5) / 0.3, abs=1e-6)
    steeper, sooner = raised(Ground(slope_rad_m=0.05))
    _, plain = raised()
    assert sooner[1].time_s < plain[1].time_s

    def motion(t: float, y: "np.ndarray[Any, Any]") -> list[float]:
        angle = RATE * t + 0.05 * y[0]
        return [y[1], 9.80665 * (sin(angle) - KINETIC * cos(angle))]

    onset = steeper.onset_time_s or 0.0
    clear = sooner[1].time_s
    found = solve_ivp(motion, (onset, clear), [0.0, 0.0], rtol=1e-10, atol=1e-12)
    assert found.y[0, -1] == pytest.approx(0.160, abs=2e-6)
    assert edges


def test_the_level_stands_where_the_board_slopes_otherwise() -> None:
    """A reading is the slope at the level's place; the bag slides by that at its own."""
    bent = world(board={"crown_mm": 3.0, "level_at_mm": 780.0}, imu={"noise_g_rthz": 0.0})
    flat = world(imu={"noise_g_rthz": 0.0})
    found = []
    for scenario in (bent, flat):
        calibration = calibration_for(scenario, SETTINGS, 3, is_exact=True)
        truth, analysis = made(scenario, calibration=calibration)
        found.append((truth, analysis.result, calibration))
    (truth, row, calibration), (_, plain, straight) = found
    off = truth.level_slope_deg - truth.local_slope_deg
    assert off < -0.09
    assert row.onset_angle_deg is not None
    assert plain.onset_angle_deg is not None
    error = row.onset_angle_deg - (truth.onset_angle_deg or 0.0)
    assert error - off == pytest.approx(
        plain.onset_angle_deg - (found[1][0].onset_angle_deg or 0.0), abs=0.01
    )
    # Nothing in the run tells it: home reading and steps agree with the calibration.
    assert row.flags == plain.flags == []
    assert calibration.home_angle_deg - straight.home_angle_deg == pytest.approx(
        truth.level_slope_deg
    )


def test_yaw_lengthens_the_way_and_tips_the_cross_slope_only() -> None:
    cross = Incline.of(0.0, 2.0)
    angle = radians(20.0)
    # Downhill lies at atan(tan 2°/sin 20°) from the board's axis on a floor that leans by 2°.
    aside = atan(sin(radians(2.0)) / (sqrt(1.0 - sin(radians(2.0)) ** 2) * sin(angle)))
    assert cross.downhill_cosine(angle) == pytest.approx(cos(aside), abs=1e-9)
    assert cross.downhill_cosine(angle, aside) == pytest.approx(1.0)
    assert Incline.of(0.0, 0.0).downhill_cosine(angle, 0.1) == pytest.approx(cos(0.1))
    assert Incline.of(0.0, 0.0).downhill_cosine(0.0, 0.1) == 1.0
    slide, edges = raised(yaw_rad=0.2)
    _, plain = raised()
    assert edges[0].time_s > plain[0].time_s
    assert slide.onset_deg == pytest.approx(degrees(atan(STATIC)), abs=1e-6)

    turned = world(
        imu={"yaw_deg": 2.0, "noise_g_rthz": 0.0, "vibration_g": 0.0, "shear": (0.0,) * 3}
    )
    calibration = calibration_for(turned, SETTINGS, 3, is_exact=True)
    still = np.zeros(1)
    incline = incline_of(turned)

    def motion(times: "np.ndarray[Any, Any]") -> Any:
        zero = np.zeros(times.size)
        return Motion(zero + angle, zero, zero, zero, zero)

    sensor = Sensor(turned.imu, incline, 208.0, 20.8, motion, np.random.default_rng(1))
    raw = sensor.measure(still, turned.imu.reference_temperature_c)[0]
    gravity = gravity_g(
        calibration, raw * calibration.counts_per_g, turned.imu.reference_temperature_c
    )
    assert inclination_deg(calibration, gravity) == pytest.approx(
        incline.total_deg(angle), abs=1e-6
    )
    # sin(cross slope) gains sin(yaw)·sin(angle).
    plain_cross = incline.up_y
    tipped = float(sin(radians(float(cross_slope_deg(calibration, gravity)))))
    assert abs(tipped - plain_cross * cos(radians(2.0))) == pytest.approx(
        sin(radians(2.0)) * sin(angle), abs=2e-3
    )


def test_what_a_placing_has_is_drawn_anew_and_creep_for_the_series() -> None:
    scenario = draw_scenario(1)
    drawn = [draw_placing(1, scenario, SETTINGS, n) for n in range(1, 401)]
    follows, late, turn = (
        np.array([getattr(one, name) for one in drawn])
        for name in ("slump_follows", "late_slump_mm", "turn_deg")
    )
    for values, high in ((follows, 0.5), (late, 1.0)):
        assert 0.0 <= values.min() < 0.02 * high
        assert 0.98 * high < values.max() <= high
    assert turn.std() == pytest.approx(0.5, rel=0.2)
    assert np.mean([one.slump_is_sudden for one in drawn]) == pytest.approx(0.125, abs=0.06)
    assert len({one.creep_mm_s for one in drawn}) == 1
    creeps = [
        draw_placing(1, draw_scenario(1, series=str(n)), SETTINGS, 1).creep_mm_s for n in range(300)
    ]
    assert 0.02 <= min(creeps) < 0.022
    assert 0.18 < max(creeps) <= 0.2
    assert np.median(creeps) == pytest.approx(sqrt(0.02 * 0.2), rel=0.2)
    assert abs(float(np.corrcoef(follows, late)[0, 1])) < 0.2
