"""The conditions that are looked for at any time, each at its limit from both sides."""

import msgspec
import pytest

from rig.control.faults.kinds import ALL
from rig.control.faults.table import BY_CAUSE
from rig.control.interlocks import check_interlocks
from rig.control.machine import Machine
from rig.control.states import STATES
from rig.errors import Cause, MachineFaultError
from rig.runfile.model import Flag, State
from rig.settings.model import Interlocks, Linkage
from tests.control.conftest import MakeBench
from tests.control.machine_bench import SETTINGS, Bench

MOVING = ("homing", "placing", "raising", "sliding", "lowering")
HOMED = ("placing", "dwelling", "raising", "sliding", "lowering")


def states_of(bench: Bench, cause: str) -> set[State]:
    """The states in which the interlocks raise it."""
    return {state for state in STATES if bench.met(state) == cause}


def test_a_rig_at_rest_meets_no_condition(bench: Bench) -> None:
    assert [bench.met(state) for state in STATES] == [None] * len(STATES)
    assert bench.last_run() is None


def test_the_emergency_stop_counts_in_every_state_but_halted(bench: Bench) -> None:
    bench.world.press("emergency_stop", True)
    assert states_of(bench, "emergency_stop") == set(STATES) - {"halted"} == ALL


def test_the_upper_switch_counts_where_something_moves(bench: Bench) -> None:
    bench.drive("limit_upper", True)
    assert states_of(bench, "limit_upper") == set(MOVING)


@pytest.mark.parametrize("home_deg", [0.0, -1.0])
@pytest.mark.parametrize(("above_deg", "is_met"), [(1.45, False), (1.55, True), (-2.0, False)])
def test_the_lower_switch_must_have_closed_1_5_deg_above_home(
    make_bench: MakeBench, home_deg: float, above_deg: float, is_met: bool
) -> None:
    linkage = Linkage(home_angle_deg=home_deg)
    bench = make_bench(msgspec.structs.replace(SETTINGS, linkage=linkage))
    bench.put_at(home_deg + above_deg)
    assert bench.met() is None
    bench.drive("limit_lower", True)
    assert (bench.met() == "limit_lower_stuck") == is_met
    bench.machine.is_homed = False
    assert bench.met() is None


@pytest.mark.parametrize(("silent_s", "is_met"), [(0.49, False), (0.51, True)])
def test_a_silent_angle_sensor_is_noticed_from_opening_on(
    bench: Bench, silent_s: float, is_met: bool
) -> None:
    bench.clock.advance_to(bench.clock.time_s() + silent_s)
    assert (bench.met("parked") == "imu_silent") == is_met


@pytest.mark.parametrize(("silent_s", "is_met"), [(0.49, False), (0.51, True)])
def test_a_silent_angle_sensor_is_noticed_after_its_last_sample(
    bench: Bench, silent_s: float, is_met: bool
) -> None:
    bench.clock.advance_to(bench.clock.time_s() + 10.0)
    bench.machine.live.angle_seen_s = bench.clock.time_s() - silent_s
    assert states_of(bench, "imu_silent") == (ALL if is_met else set())


def differs(bench: Bench, by_deg: float, seconds: float, state: State = "raising") -> str | None:
    """What is met while sensor and steps differ for some seconds."""
    machine, clock = bench.machine, bench.clock
    until_s = clock.time_s() + seconds
    while True:
        machine.live.angle_seen_s = clock.time_s()
        machine.live.angle_deg = machine.step_angle_deg() + by_deg
        found = bench.met(state)
        if found is not None or clock.time_s() >= until_s - 1e-9:
            return found
        clock.advance_to(clock.time_s() + 0.01)


@pytest.mark.parametrize("sign", [1, -1])
def test_sensor_and_steps_may_differ_by_1_5_deg(bench: Bench, sign: int) -> None:
    bench.put_at(20.0)
    assert differs(bench, sign * 1.49, 2.0) is None
    assert differs(bench, sign * 1.51, 0.29) is None
    assert differs(bench, sign * 1.49, 0.0) is None
    assert differs(bench, sign * 1.51, 0.29) is None
    assert differs(bench, sign * 1.51, 0.02) == "angle_mismatch"
    assert states_of(bench, "angle_mismatch") == set(HOMED)


def test_an_input_whose_edge_was_lost_is_trusted_no_more(bench: Bench) -> None:
    bench.lose_an_edge()
    assert states_of(bench, "edges_lost") == ALL


@pytest.mark.parametrize(("free_mb", "is_last"), [(50.1, False), (49.9, True), (None, False)])
def test_a_nearly_full_disk_lets_the_run_finish(
    bench: Bench, free_mb: float | None, is_last: bool
) -> None:
    bench.machine.host.free_mb = free_mb
    assert bench.met() is None
    assert bench.last_run() == ("disk_nearly_full" if is_last else None)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("jump_s", "is_met"), [(4.9, False), (5.1, True)])
def test_a_clock_that_jumps_counts_in_a_move(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, jump_s: float, sign: int, is_met: bool
) -> None:
    bench.machine.host.clock_jump_s = sign * jump_s
    assert states_of(bench, "clock_jump") == set()
    monkeypatch.setattr(Machine, "is_moving", True)
    assert states_of(bench, "clock_jump") == (set(MOVING) if is_met else set())


def test_a_supply_that_is_low_counts_in_every_state(bench: Bench) -> None:
    bench.machine.host.is_supply_low = True
    assert states_of(bench, "low_supply") == ALL


def test_the_third_doubtful_climate_reading_lets_the_run_finish(bench: Bench) -> None:
    bench.machine.doubtful_climates = 2
    assert bench.met() is None
    assert bench.last_run() is None
    bench.machine.doubtful_climates = 3
    assert bench.met() is None
    assert bench.last_run() == "climate_doubtful"


def test_the_first_reason_for_a_last_run_is_kept(bench: Bench) -> None:
    bench.machine.host.free_mb = 1.0
    bench.met()
    bench.machine.doubtful_climates = 3
    bench.met()
    assert bench.last_run() == "disk_nearly_full"


def test_the_most_urgent_cause_is_told(bench: Bench) -> None:
    bench.machine.host.is_supply_low = True
    bench.lose_an_edge()
    bench.drive("limit_upper", True)
    assert bench.met() == "limit_upper"
    bench.world.press("emergency_stop", True)
    assert bench.met() == "emergency_stop"


def test_what_the_sensors_samples_show_counts_unless_halted(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = MachineFaultError("imu_frozen", "The samples are all the same.")
    monkeypatch.setattr(bench.machine, "sensor_problem", lambda: shown)
    assert states_of(bench, "imu_frozen") == ALL


@pytest.mark.parametrize(
    ("cause", "flag"),
    [
        ("angle_mismatch", "step_loss"),
        ("no_progress", "step_loss"),
        ("wrong_direction", "step_loss"),
        ("edges_lost", "beam_fault"),
        ("beam_broken_before_raise", "beam_fault"),
        ("blade_unseen", "beam_fault"),
        ("beam_flicker", "beam_fault"),
        ("imu_silent", "angle_sensor_fault"),
        ("imu_frozen", "angle_sensor_fault"),
        ("imu_saturated", "angle_sensor_fault"),
        ("imu_absurd", "angle_sensor_fault"),
        ("imu_reset", "angle_sensor_fault"),
        ("home_mismatch", "floor_tilt"),
        ("emergency_stop", None),
    ],
)
def test_a_fault_puts_its_flag_on_the_run(cause: Cause, flag: Flag | None) -> None:
    assert BY_CAUSE[cause].flag == flag


def test_the_limits_are_those_of_the_settings(make_bench: MakeBench) -> None:
    limits = Interlocks(angle_mismatch_deg=0.5, imu_silence_s=2.0, min_free_mb=80.0)
    bench = make_bench(msgspec.structs.replace(SETTINGS, interlocks=limits))
    bench.put_at(20.0)
    assert differs(bench, 0.51, 0.31) == "angle_mismatch"
    bench.machine.live.angle_seen_s = bench.clock.time_s() - 1.9
    bench.machine.live.angle_deg = None
    bench.machine.host.free_mb = 79.0
    check_interlocks(bench.machine, "raising")
    assert bench.last_run() == "disk_nearly_full"
