from math import atan, cos, degrees, radians, sin, tan
from typing import Any

import pytest

from rig.twin.friction import LAW_NAMES, LawName, make_law
from rig.twin.mechanics import G0_M_S2, Incline, TrueLinkage
from rig.twin.path import BagPath
from rig.twin.slide import SlideMotion

LEVEL = Incline.of(0.0, 0.0)
RATE = radians(1.0)


def ramp(time_s: float) -> float:
    return RATE * time_s


def slide_of(
    law: LawName = "coulomb", mu: tuple[float, float] = (0.4, 0.36), **path: Any
) -> SlideMotion:
    places: dict[str, Any] = {"gap_mm": 8.0, "length_mm": 155.0, **path}
    return SlideMotion(make_law(law, *mu), LEVEL, BagPath(**places), 0.0)


@pytest.mark.parametrize("law", LAW_NAMES)
def test_edges_do_not_depend_on_how_time_is_cut(law: LawName) -> None:
    whole, pieces = slide_of(law), slide_of(law)
    expected = whole.advance(24.0, ramp)
    got = []
    time_s = 0.0
    while time_s < 24.0:
        time_s += 0.0137
        got += pieces.advance(time_s, ramp)
    assert [(e.beam, e.broken) for e in got] == [(1, True), (1, False)]
    assert [e.time_s for e in got] == pytest.approx([e.time_s for e in expected], abs=2e-5)


def test_onset_is_where_the_tangent_reaches_the_static_coefficient() -> None:
    slide = slide_of()
    slide.advance(24.0, ramp)
    assert slide.onset_deg == pytest.approx(degrees(atan(0.4)), abs=1e-9)
    assert slide.onset_time_s == pytest.approx(degrees(atan(0.4)), abs=1e-9)


def test_energy_is_conserved() -> None:
    slide = slide_of(catch_travel_mm=1e9)
    angle = atan(0.4)
    slide.advance(0.6, lambda _: angle)
    work = G0_M_S2 * (sin(angle) - 0.36 * cos(angle)) * slide.travel_m
    assert 0.5 * slide.speed_m_s**2 == pytest.approx(work, rel=1e-9)
    assert slide.travel_m > 0.01


def test_without_loss_of_friction_it_starts_all_the_same() -> None:
    slide = slide_of(mu=(0.4, 0.4))
    edges = slide.advance(24.0, ramp)
    assert len(edges) == 2
    assert slide.onset_deg == pytest.approx(degrees(atan(0.4)), abs=1e-9)


def test_on_a_board_that_stays_below_nothing_happens() -> None:
    slide = slide_of()
    assert slide.advance(100.0, lambda _: atan(0.399)) == []
    assert slide.onset_deg is None
    assert slide.travel_m == 0.0


def test_two_beams_see_two_edges_each() -> None:
    edges = slide_of(beam_offsets_mm=(0.0, 50.0)).advance(24.0, ramp)
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (2, True), (1, False), (2, False)]


def test_slump_brings_the_edge_nearer_but_not_the_tail() -> None:
    stiff, soft = slide_of(), slide_of(slump_mm=3.0)
    (broken, clear), (soft_broken, soft_clear) = (s.advance(24.0, ramp) for s in (stiff, soft))
    assert soft_broken.time_s < broken.time_s - 0.02
    assert soft_clear.time_s == pytest.approx(clear.time_s, abs=1e-6)


def test_slump_larger_than_the_gap_breaks_the_beam_before_the_slide() -> None:
    slide = slide_of(gap_mm=2.0, slump_mm=3.5)
    edges = slide.advance(24.0, ramp)
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (1, False)]
    assert slide.onset_time_s is not None
    assert edges[0].time_s < slide.onset_time_s - 2.0
    assert edges[1].time_s > slide.onset_time_s


@pytest.mark.parametrize("done", [0.6, 0.95, 0.999])
def test_fill_that_gives_way_at_once_may_do_so_just_before_the_slide(done: float) -> None:
    slide = slide_of(gap_mm=2.0, slump_mm=3.5, slump_done=done, slump_is_sudden=True)
    edges = slide.advance(24.0, ramp)
    assert [(e.beam, e.broken) for e in edges] == [(1, True), (1, False)]
    assert tan(ramp(edges[0].time_s)) == pytest.approx(done * 0.4, abs=1e-6)
    assert slide.onset_time_s is not None
    assert edges[0].time_s < slide.onset_time_s


def test_sticky_spot_stalls_the_bag_until_the_board_is_steeper() -> None:
    slide = slide_of(stall_at_mm=60.0, stall_width_mm=40.0, stall_gain=1.0)
    edges = slide.advance(44.0, ramp)
    free = slide_of().advance(44.0, ramp)
    assert edges[0].time_s == pytest.approx(free[0].time_s, abs=1e-6)
    assert edges[1].time_s > free[1].time_s + 3.0
    # It starts again where the spot's own static friction is met, at most µs·2.
    assert 0.4 < tan(ramp(edges[1].time_s)) < 0.4 * 2.0 + 0.03


def test_catch_before_the_clear_edge_holds_the_bag() -> None:
    slide = slide_of(catch_travel_mm=100.0)
    edges = slide.advance(40.0, ramp)
    assert [(e.beam, e.broken) for e in edges] == [(1, True)]
    assert slide.is_caught
    assert slide.travel_m == pytest.approx(0.1)


def test_a_board_that_is_lowered_stops_the_bag() -> None:
    slide = slide_of(mu=(0.4, 0.39), catch_travel_mm=1e9)
    start = degrees(atan(0.4))

    def up_and_down(time_s: float) -> float:
        return radians(start + 0.5 - abs(time_s - 1.0))

    slide.advance(8.0, up_and_down)
    assert slide.onset_time_s is not None
    assert not slide.is_sliding
    assert 0.0 < slide.travel_m < 1.0


def test_nothing_happens_below_the_wake_tangent() -> None:
    slide = slide_of(gap_mm=2.0, slump_mm=3.5)
    wake = slide.wake_tangent()
    assert slide.advance(10.0, lambda _: atan(wake - 1e-6)) == []
    assert len(slide.advance(10.1, lambda _: atan(wake + 1e-6))) == 1


def test_inclination_adds_floor_tilt_and_cross_slope() -> None:
    assert Incline.of(0.7, 0.0).total_deg(radians(20.0)) == pytest.approx(20.7, abs=1e-9)
    # 1, 2, 3° of cross slope are worth 0.02, 0.10 (0.095), 0.22 (0.21)° at 20°.
    for cross, more in ((1.0, 0.024), (2.0, 0.095), (3.0, 0.213)):
        total = Incline.of(0.0, cross).total_deg(radians(20.0))
        assert total - 20.0 == pytest.approx(more, abs=0.002)
    for incline in (Incline.of(0.3, 1.5), Incline.of(-0.4, -2.0)):
        angle = incline.angle_for(0.45)
        assert angle is not None
        assert incline.tangent(angle) == pytest.approx(0.45)


def test_linkage_closes_the_triangle_both_ways() -> None:
    linkage = TrueLinkage.of(900.0, 450.0, 20.0)
    for angle_deg in (-1.0, 0.0, 17.3, 45.0):
        length = linkage.length_mm(radians(angle_deg))
        assert degrees(linkage.angle_rad(length)) == pytest.approx(angle_deg, abs=1e-9)
    assert linkage.length_mm(radians(45)) - linkage.length_mm(0.0) == pytest.approx(317, abs=1)
