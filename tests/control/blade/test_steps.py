"""Placing with the blade, step by step: what it states, what it refuses, and when it gives up."""

from dataclasses import replace
from math import sqrt
from typing import Any

import msgspec
import pytest

from rig.clock import Task
from rig.control.blade.placing import BladePlacing, _wrong_length
from rig.control.mover import Mover, StoppedError
from rig.control.placing import Placed
from rig.control.request import RunRequest
from rig.errors import MachineFaultError
from rig.settings.model import Settings
from rig.twin.blade import Pusher
from rig.twin.draws import changed
from tests.control.conftest import MakeBench
from tests.control.machine_bench import BEAM, BLADE, EXACT, PER_MM, Bench

REQUEST = RunRequest(
    rate_deg_s=3.0, dwell_s=0.5, gap_mm=8.0, u_gap_mm=1.0, bag_length_mm=62.0, u_bag_length_mm=4.0
)


def with_blade(**blade: Any) -> Settings:
    return msgspec.structs.replace(BLADE, blade=msgspec.structs.replace(BLADE.blade, **blade))


class Placer:
    """Placings on a bench; the end of each is noted."""

    def __init__(self, bench: Bench, *, is_ready: bool = True) -> None:
        assert bench.world.pusher is not None
        self.bench = bench
        self.pusher: Pusher = bench.world.pusher
        self.mover = Mover(bench.machine, bench.recorder("placing"))
        self.placing = BladePlacing(bench.machine, is_ready=is_ready)
        self.end_s = 0.0
        self.board_was_on: set[bool] = set()
        """Whether the board's driver was on at the blade's pulses."""
        bench.on_pulse = self._look

    def _look(self) -> None:
        blade = self.bench.machine.blade
        if blade is not None and blade.moving:
            self.board_was_on.add(self.bench.world.motor.is_enabled)

    def place(self, *beside: Task[Any]) -> Placed:
        def task() -> Task[Placed]:
            try:
                return (yield from self.placing.place(self.mover, REQUEST))
            finally:
                self.end_s = self.bench.clock.time_s()

        return self.bench.run(task(), *beside)

    def fails(self, *beside: Task[Any]) -> MachineFaultError:
        with pytest.raises(MachineFaultError) as error:
            self.place(*beside)
        return error.value

    def troubles(self) -> list[str | None]:
        return [e.detail["trouble"] for e in self.bench.lines.events("blade_passed")]

    def turning(self, act: Any) -> Task[None]:
        """Do something while the blade rests at its top."""
        blade = self.bench.machine.blade
        assert blade is not None
        return self.bench.when(lambda: blade.count == BEAM + 30 and not blade.moving, act)


# -- what it states ---------------------------------------------------------------------------


def test_the_gap_and_its_uncertainty_are_those_of_the_sum(make_bench: MakeBench) -> None:
    settings = with_blade(u_thickness_mm=0.3, u_springback_mm=0.5, springback_mm=1.2)
    placer = Placer(make_bench(settings, changed(EXACT, blade={"play_mm": 0.8}), reads=False))
    placed = placer.place()
    # With 0.8 mm of play, 4 steps, the blade clears the beam later than it breaks it.
    assert placed.beam_hysteresis_steps == pytest.approx(4, abs=1)
    assert placed.blade_steps == pytest.approx(BEAM + 4, abs=1)
    assert placed.beam_steps is not None
    assert placed.beam_hysteresis_steps is not None
    top = max(n for _, n in placer.bench.blade_pulses)
    assert placed.gap_mm == pytest.approx(3.0 + (top - placed.beam_steps) / 5.0 - 1.2, abs=0.001)
    difference_mm = placed.beam_hysteresis_steps / PER_MM
    u_mm = sqrt(0.3**2 + 0.5**2 + difference_mm**2 / 12.0 + 0.2**2)
    assert placed.u_gap_mm == pytest.approx(u_mm, abs=0.001)
    assert placer.pusher.draw is not None
    assert placed.pushed_length_mm == pytest.approx(placer.pusher.draw.length_mm, abs=0.7)
    assert (placed.tries, placed.pushes, placer.mover.pushes) == (1, 1, 1)


def test_it_looks_at_the_beam_half_a_second_after_the_blade_has_gone(
    make_bench: MakeBench,
) -> None:
    placer = Placer(make_bench(BLADE, EXACT, reads=False))
    placer.place()
    assert placer.end_s - placer.bench.blade_pulses[-1][0] == pytest.approx(0.5, abs=0.06)


def test_after_a_settle_tilt_the_board_is_level_off_and_at_rest(make_bench: MakeBench) -> None:
    placer = Placer(make_bench(with_blade(settle_deg=2.0), EXACT, reads=False))
    placer.bench.put_at(0.0)
    placer.bench.world.motor.position = 0
    placer.place()
    angles = [angle for _, angle in placer.bench.pulses]
    assert max(angles) == pytest.approx(2.0, abs=0.02)
    assert angles[-1] == pytest.approx(0.0, abs=0.02)
    assert not placer.bench.world.motor.is_enabled
    assert placer.end_s - placer.bench.pulses[-1][0] == pytest.approx(0.5, abs=0.06)


# -- what it refuses --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "part"),
    [
        (None, "broken before"),
        (45.0, "met no bag"),
        (46.0, "folded"),
        (129.9, "folded"),
        (130.1, None),
        (173.9, None),
        (174.1, "not alone"),
    ],
)
def test_the_pushed_length_must_match_the_bag(length_mm: float | None, part: str | None) -> None:
    # 0.3 of 152 mm are 45.6 mm; the tolerance is 22 mm.
    request = msgspec.structs.replace(REQUEST, bag_length_mm=152.0)
    trouble = _wrong_length(length_mm, request, 22.0)
    if part is None:
        assert trouble is None
    else:
        assert trouble is not None
        assert part in trouble.what
        assert trouble.must_come_down


def test_a_bag_that_springs_back_is_pushed_again_with_the_length_of_before(
    make_bench: MakeBench,
) -> None:
    placer = Placer(make_bench(BLADE, changed(EXACT, blade={"springback_mm": 12.0}), reads=False))
    world, pusher = placer.bench.world, placer.pusher

    def stiffen() -> None:
        world.bag = replace(world.bag, scenario=EXACT)

    is_back = placer.bench.when(lambda: pusher.pushes == 1 and pusher.body.is_parked, stiffen)
    placed = placer.place(is_back)
    assert placer.troubles() == ["the bag sprang back into the beam", None]
    first, second = placer.bench.lines.events("blade_passed")
    assert second.detail["bag_length_mm"] is None
    assert placed.pushed_length_mm == first.detail["bag_length_mm"]
    assert (placed.tries, placed.pushes, placer.mover.pushes) == (2, 2, 2)
    assert placer.mover.brought_down == 0


def test_a_blade_that_lost_steps_at_its_top_is_found_out(make_bench: MakeBench) -> None:
    placer = Placer(make_bench(BLADE, EXACT, reads=False))
    blade = placer.bench.machine.blade
    assert blade is not None

    def slip() -> None:
        blade.count = blade.count + 9

    assert placer.fails(placer.turning(slip)).cause == "blade_lost"


def test_a_bag_that_creeps_into_the_beam_in_the_tilt_is_not_placed(make_bench: MakeBench) -> None:
    placer = Placer(make_bench(with_blade(settle_deg=2.0, tries=1), EXACT, reads=False))
    placer.bench.put_at(0.0)
    placer.bench.world.motor.position = 0
    creeps = placer.bench.when(
        lambda: placer.bench.machine.step_angle_deg() > 1.0,
        lambda: placer.bench.hold("beam_1", True),
    )
    assert placer.fails(creeps).cause == "bag_not_placed"


def test_a_person_is_asked_once(make_bench: MakeBench) -> None:
    cycle = msgspec.structs.replace(BLADE.cycle, placing_timeout_s=3.0)
    settings = msgspec.structs.replace(BLADE, cycle=cycle)
    placer = Placer(make_bench(settings, EXACT, reads=False), is_ready=False)
    with pytest.raises(StoppedError, match="Nobody pressed start within 3 s"):
        placer.place()
    assert placer.bench.blade_pulses == []
    world = placer.bench.world
    press = placer.bench.after(1.0, lambda: world.press("start_button", True))
    placer.place(press)
    assert placer.bench.machine.live.wants == ""
    placer.place()


def test_it_parks_before_it_pushes(make_bench: MakeBench) -> None:
    placer = Placer(make_bench(BLADE, changed(EXACT, blade={"start_mm": 12.0}), reads=False))
    assert placer.place().blade_steps == pytest.approx(BEAM, abs=1)


# -- when it gives up -------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folds() -> Placer:
    """A bag that folds at each push, and two tries."""
    settings = with_blade(tries=2, bag_tolerance_mm=5.0)
    bench = Bench(settings, changed(EXACT, blade={"fold_share": 1.0}), reads=False)
    with bench.rig:
        bench.put_at(0.0)
        bench.world.motor.position = 0
        placer = Placer(bench)
        error = placer.fails()
        assert error.cause == "bag_not_placed"
        assert "After 2 pushes" in error.what
    return placer


def test_a_bag_that_folds_is_brought_down_before_the_next_push(folds: Placer) -> None:
    first, second = folds.troubles()
    assert "folded" in str(first)
    assert "folded" in str(second)
    assert folds.mover.pushes == 2
    assert folds.mover.brought_down == 1
    assert len(folds.bench.lines.events("bag_brought_down")) == 1


def test_the_board_goes_up_until_0_6_s_after_the_bag_has_passed(folds: Placer) -> None:
    pulses = folds.bench.pulses
    highest = max(range(len(pulses)), key=lambda i: pulses[i][1])
    cleared_s = max(
        folds.bench.file_s + e.t_s
        for e in folds.bench.lines.events("beam_clear")
        if folds.bench.file_s + e.t_s < pulses[highest][0]
    )
    # A smooth stop from 3°/s takes 3/4 + 4/40 s, the pulses a little less, and begins when the
    # control loop looks, within 0.05 s, and 0.02 s after that.
    assert pulses[highest][0] - cleared_s == pytest.approx(0.6 + 0.85, abs=0.07)


def test_the_board_is_level_and_its_driver_off_while_the_blade_moves(folds: Placer) -> None:
    assert folds.board_was_on == {False}
    assert folds.bench.pulses[-1][1] == pytest.approx(0.0, abs=0.02)


def test_a_bag_that_is_not_there_is_looked_for_up_to_the_soft_limit(make_bench: MakeBench) -> None:
    linkage = msgspec.structs.replace(BLADE.linkage, soft_limit_deg=5.5)
    placer = Placer(make_bench(msgspec.structs.replace(BLADE, linkage=linkage), EXACT, reads=False))
    placer.bench.put_at(0.0)
    placer.bench.world.motor.position = 0
    placer.pusher._is_gone = True  # noqa: SLF001 - the bag is off the board
    assert placer.fails().cause == "bag_missing"
    angles = [angle for _, angle in placer.bench.pulses]
    assert max(angles) == pytest.approx(5.5, abs=0.02)
    assert angles[-1] == pytest.approx(0.0, abs=0.02)
    assert not placer.bench.world.motor.is_enabled
    assert placer.mover.brought_down == 0
