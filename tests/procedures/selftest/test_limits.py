"""The self-test on paper: each finding from both sides, and when nothing moves."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rig.clock import Task
from rig.control.mover import StoppedError
from rig.errors import MachineFaultError
from rig.procedures.selftest.moves import Finding, try_moves
from rig.procedures.selftest.selftest import self_test
from tests.calibration.example import calibration
from tests.calibration.invented_rig import SCALE, InventedRig
from tests.procedures.paper_rig import Move, OnPaper, PaperRig

EXACT = InventedRig(bias_g=(0.0, 0.0, 0.0), gain=(1.0, 1.0, 1.0), noise_counts=0.0)
HELD = {"start_button": False, "stop_button": False, "emergency_stop": True}


def sound(monkeypatch: pytest.MonkeyPatch, free_mb: float = 50.0, size_g: float = 1.0) -> PaperRig:
    """A rig that has nothing wrong with it, just so."""
    gain = 1.0 / size_g
    rig = PaperRig(truth=InventedRig(bias_g=(0.0, 0.0, 0.0), gain=(gain, gain, gain)))
    rig.calibration = calibration()
    rig.live.temperature_c, rig.live.relative_humidity_pct = 21.0, 45.0
    rig.inputs = SimpleNamespace(
        emergency_stop_pressed=False,
        limit_upper_reached=False,
        limit_lower_reached=True,
        beams=2,
        beam_broken=lambda n: False,
        levels=lambda: dict(HELD),
    )
    rig.host = SimpleNamespace(root=Path("/nowhere"))
    rig.bus = SimpleNamespace(scan=lambda: [0x6A, 0x76])
    rig.shake = lambda i: (0.0, SCALE * 0.001 * (-1.0) ** i, 0.0)
    monkeypatch.setattr(
        "rig.control.process.host.shutil.disk_usage",
        lambda _: SimpleNamespace(free=free_mb * 1e6),
    )
    return rig


def examined(
    rig: PaperRig, *, move: bool = False, samples: int = 20, period_s: float = 0.2
) -> dict[str, Finding]:
    machine: Any = rig
    rig.clock.spawn(rig.watch_angle(samples, period_s), "angle")
    found = rig.clock.run(self_test(machine, move=move))
    return {finding.name: finding for finding in found}


def bad(found: dict[str, Finding]) -> list[str]:
    return [name for name, finding in found.items() if not finding.is_good]


@pytest.mark.parametrize(("keeps", "is_bad"), [(None, False), (False, False), (True, True)])
def test_pins_that_stay_driven_after_a_kill_are_told(
    monkeypatch: pytest.MonkeyPatch, keeps: bool | None, is_bad: bool
) -> None:
    monkeypatch.setattr("rig.procedures.selftest.selftest.keeps_outputs", lambda _: keeps)
    found = examined(sound(monkeypatch))
    assert bad(found) == ["released pins"] * is_bad
    assert ("released pins" in found) is (keeps is not None)
    if is_bad:
        assert "dtparam=strict_gpiod" in found["released pins"].text


def test_a_sound_rig_has_nothing_to_find(monkeypatch: pytest.MonkeyPatch) -> None:
    found = examined(sound(monkeypatch))
    assert bad(found) == []
    assert "noise 1.00 mg" in found["angle sensor (lsm6dsox)"].text
    assert "gravity 1.000 g" in found["angle sensor (lsm6dsox)"].text
    assert found["disk"].text.startswith("50 MB free")
    assert "movement" not in found


def press(name: str) -> Callable[[Any], None]:
    def act(rig: Any) -> None:
        rig.inputs.levels = lambda: HELD | {name: True}

    return act


@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("emergency stop", lambda rig: setattr(rig.inputs, "emergency_stop_pressed", True)),
        ("upper switch", lambda rig: setattr(rig.inputs, "limit_upper_reached", True)),
        ("beam 1", lambda rig: setattr(rig.inputs, "beam_broken", lambda n: n == 1)),
        ("beam 2", lambda rig: setattr(rig.inputs, "beam_broken", lambda n: n == 2)),
        ("buttons", press("start_button")),
        ("buttons", press("stop_button")),
        ("bus", lambda rig: setattr(rig.bus, "scan", lambda: [0x6A])),
        ("bus", lambda rig: setattr(rig.bus, "scan", lambda: [0x76])),
        ("calibration", lambda rig: setattr(rig, "calibration", None)),
        ("climate sensor", lambda rig: setattr(rig.live, "temperature_c", None)),
        ("climate sensor", lambda rig: setattr(rig.live, "relative_humidity_pct", None)),
    ],
)
def test_what_is_wrong_is_found_and_then_nothing_moves(
    monkeypatch: pytest.MonkeyPatch, name: str, spoil: Callable[[Any], None]
) -> None:
    rig = sound(monkeypatch)
    spoil(rig)
    found = examined(rig, move=True)
    assert bad(found) == [name, "movement"]
    assert "not tried" in found["movement"].text
    assert rig.states == []


@pytest.mark.parametrize(("free_mb", "is_good"), [(50.0, True), (49.9, False)])
def test_the_disk_must_have_room(
    monkeypatch: pytest.MonkeyPatch, free_mb: float, is_good: bool
) -> None:
    assert examined(sound(monkeypatch, free_mb))["disk"].is_good is is_good


@pytest.mark.parametrize(
    ("size_g", "is_good"), [(0.91, True), (0.89, False), (1.09, True), (1.11, False)]
)
def test_gravity_must_be_about_as_large_as_it_is(
    monkeypatch: pytest.MonkeyPatch, size_g: float, is_good: bool
) -> None:
    found = examined(sound(monkeypatch, size_g=size_g))
    assert found["angle sensor (lsm6dsox)"].is_good is is_good


@pytest.mark.parametrize(
    ("noise_mg", "is_good"), [(0.0, False), (0.01, True), (19.8, True), (20.2, False)]
)
@pytest.mark.parametrize("axis", [0, 2])
def test_a_sensor_that_is_dead_or_shaken_is_found(
    monkeypatch: pytest.MonkeyPatch, noise_mg: float, is_good: bool, axis: int
) -> None:
    rig = sound(monkeypatch)

    def shake(number: int) -> Any:
        counts = np.zeros(3)
        counts[axis] = 1e-3 * noise_mg * SCALE * (-1.0) ** number
        return tuple(counts.tolist())

    rig.shake = shake
    assert examined(rig)["angle sensor (lsm6dsox)"].is_good is is_good


@pytest.mark.parametrize(("samples", "is_heard"), [(20, True), (19, False)])
def test_the_sensor_must_be_heard_for_a_second_and_a_half(
    monkeypatch: pytest.MonkeyPatch, samples: int, is_heard: bool
) -> None:
    """Every 0.8 s, so once in the time."""
    found = examined(sound(monkeypatch), samples=samples, period_s=0.8)
    assert found["angle sensor (lsm6dsox)"].is_good is is_heard
    if not is_heard:
        assert "only 19 samples in 1.5 s" in found["angle sensor (lsm6dsox)"].text
        assert "calibration" not in found


# -- what moves --------------------------------------------------------------------------------


def moved(rig: PaperRig, axis: Any = None) -> tuple[dict[str, Finding], list[float]]:
    """What was found, and how far the blade was sent."""
    pushed: list[float] = []

    class Axis:
        def __init__(self, _: Any) -> None:
            pass

        def try_out(self, _: Any, way_mm: float) -> Task[float | None]:
            pushed.append(way_mm)
            yield from ()
            return 0.2

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("rig.procedures.selftest.moves.BladeAxis", axis or Axis)
        machine: Any = rig
        found = rig.clock.run(try_moves(machine, None))
    assert rig.is_off
    return {finding.name: finding for finding in found}, pushed


@pytest.mark.parametrize(
    ("rise_deg", "is_good"), [(1.81, True), (1.79, False), (2.19, True), (2.21, False)]
)
def test_sensor_and_steps_must_rise_alike_or_the_blade_stays(
    on_paper: OnPaper, rise_deg: float, is_good: bool
) -> None:
    rig, _ = on_paper(truth=EXACT)
    rig.calibration, rig.has_blade = calibration(), True
    rig.seen_deg = lambda steps_deg: 0.7 + steps_deg * rise_deg / 2.0
    found, pushed = moved(rig)
    assert found["movement"].is_good is is_good
    assert f"2° by steps, {rise_deg:.2f}° by the sensor" in found["movement"].text
    assert pushed == ([30.0] if is_good else [])
    rate = rig.settings.motion.homing_rate_deg_s
    assert rig.moves == [Move(2.0, rate), Move(0.0, rate)]
    # Three rests of half a second, for filters and screw.
    assert rig.clock.time_s() == pytest.approx(2.0 * 2.0 / rate + 1.5, abs=0.3)
    assert rig.states[-1] == "parked"


def test_without_a_calibrated_angle_nothing_is_tried(on_paper: OnPaper) -> None:
    rig, _ = on_paper(truth=EXACT)
    machine: Any = rig
    (found,) = rig.clock.run(try_moves(machine, None))
    assert not found.is_good
    assert rig.states == []


@pytest.mark.parametrize(
    ("error", "state", "is_latched"),
    [
        (StoppedError("Stopped by the stop button."), "parked", False),
        (MachineFaultError("limit_lower_missing", "It is not there."), "halted", True),
    ],
)
def test_what_ends_a_move_ends_the_test_with_the_motors_off(
    on_paper: OnPaper,
    monkeypatch: pytest.MonkeyPatch,
    error: Exception,
    state: str,
    is_latched: bool,
) -> None:
    rig, _ = on_paper(truth=EXACT)
    rig.calibration, rig.has_blade = calibration(), True

    def fails(*_: Any) -> Task[None]:
        yield from ()
        raise error

    monkeypatch.setattr("rig.procedures.selftest.moves.home", fails)
    found, pushed = moved(rig)
    assert str(error) in found["movement"].text
    assert not found["movement"].is_good
    assert rig.moves == []
    assert pushed == []
    assert rig.states[-1] == state
    assert (rig.latched is error) is is_latched
