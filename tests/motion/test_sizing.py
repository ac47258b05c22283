import json
import math
from typing import Any

import numpy as np
import pytest

from rig.commands.sizing import sizing
from rig.motion.clearances import pivots_mm
from rig.motion.sizing import Sizing, size
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from tests.motion.changed import changed


def value(found: Sizing, name: str) -> float:
    return next(figure.value for figure in found.figures if figure.name == name)


def test_the_reference_rig_keeps_all_its_margins() -> None:
    found = size(Settings())
    assert found.warnings == []
    assert [s.angle_deg for s in found.stations] == [*range(0, 50, 5)]
    for name in ("raising", "raising fast", "lowering"):
        assert value(found, f"motor margin, {name}") >= 2


@pytest.mark.parametrize(
    ("settings", "warned"),
    [
        (changed(mechanics={"least_thread_friction": 0.10}), "self-locking"),
        (changed(screw={"lead_mm": 8.0}), "self-locking"),
        (changed(mechanics={"moving_mass_kg": 30.0}), "motor margin, raising"),
        (changed(mechanics={"pull_out_500_n_m": 1.0}), "motor margin, raising fast"),
        (changed(mechanics={"supply_a": 3.0}), "supply margin"),
        (
            changed(mechanics={"screw_diameter_mm": 8.0}, screw={"lead_mm": 2.0}),
            "buckling",
        ),
        (changed(linkage={"base_pivot_mm": 600.0}), "length ratio"),
        (changed(mechanics={"tube_length_mm": 425.0}), "nut above bearing, lowered"),
        (changed(mechanics={"screw_length_mm": 400.0}), "screw tip below plug, lowered"),
        (changed(mechanics={"screw_length_mm": 380.0}), "screw beyond nut, at the upper switch"),
        (changed(mechanics={"hinge_height_mm": 485.0}), "motor above the floor"),
        (changed(mechanics={"lowered_gap_mm": 100.0}), "gap under the lowered cradle"),
        (changed(beam={"height_mm": 4.0}), "beam above a warped board"),
        (changed(mechanics={"frame_stiffness_n_m2": 500.0}), "bend from bag to sensor"),
        (changed(mechanics={"hinge_play_mm": 1.0}), "cross slope by hinge play"),
        (changed(mechanics={"base_mass_kg": 10.0}), "push that tips it sideways"),
        (
            changed(mechanics={"base_mass_kg": 60.0, "base_centre_mm": -170.0}),
            "push that tips it downhill",
        ),
        (changed(mechanics={"moving_mass_kg": 100.0}), "yield of the base, at level"),
        (changed(mechanics={"screw_play_mm": 5.0}), "error of the angle by steps"),
    ],
)
def test_too_little_is_warned_of(settings: Settings, warned: str) -> None:
    assert warned in [figure.name for figure in size(settings).warnings]


def test_push_against_moments_about_the_hinge_in_coordinates() -> None:
    """The screw's line and the weight, as vectors from the hinge, must balance."""
    still = changed(motion={"acceleration_deg_s2": 0.2})
    m = still.mechanics
    inertia = m.moving_mass_kg * (0.540**2 + 1.219**2 / 12) * math.radians(0.2)
    for station in size(still).stations:
        cradle, base = (np.array(p) / 1000 for p in pivots_mm(still, station.angle_deg))
        push = station.force_n * (cradle - base) / np.linalg.norm(cradle - base)
        turn = math.radians(station.angle_deg)
        centre = 0.540 * np.array([math.cos(turn), math.sin(turn)])
        lift = cradle[0] * push[1] - cradle[1] * push[0]
        weight = centre[0] * m.moving_mass_kg * 9.80665
        assert lift == pytest.approx(weight + inertia, rel=1e-9)


def test_the_pivots_are_as_far_apart_as_the_screw_is_long() -> None:
    for settings in (Settings(), changed(mechanics={"pivot_drop_mm": 40.0})):
        linkage = Kinematics(settings.linkage, settings.screw)
        for angle in (0.0, 20.0, 46.0):
            cradle, base = pivots_mm(settings, angle)
            assert math.dist(cradle, base) == pytest.approx(linkage.length_mm(angle), rel=1e-12)


def test_pull_out_torque_is_read_from_the_typed_points() -> None:
    """At 40° and 1 °/s: 785.4 pulses/s, 392.7 full steps/s, between 2.7 and 2.3 N·m."""
    station = next(s for s in size(Settings()).stations if s.angle_deg == 40)
    assert station.pull_out_n_m == pytest.approx(2.7 - 0.4 * (392.7 - 250) / 250, abs=1e-4)
    beyond = changed(screw={"max_pulse_rate_hz": 20000.0, "microsteps": 1, "lead_mm": 1.0})
    assert value(size(beyond), "motor margin, raising fast") == 0


def test_a_push_of_about_385_n_at_level() -> None:
    """Worked by hand: 20 kg · 9.81 · 0.54 m / 0.276 m = 383 N, and 2 N to start the board."""
    assert size(Settings()).stations[0].force_n == pytest.approx(385.6, abs=1)


def test_command_prints_a_table_and_a_warning(
    capsys: pytest.CaptureFixture[str], tmp_path: Any
) -> None:
    sizing(rig=None, json=False)
    out = capsys.readouterr().out
    assert "WARNING" not in out
    assert "good  self-locking" in out
    file = tmp_path / "rig.toml"
    file.write_text("[mechanics]\nleast_thread_friction = 0.1\n")
    sizing(rig=file, json=False)
    out = capsys.readouterr().out
    assert "LOW   self-locking" in out
    assert "WARNING: not as it should be: self-locking." in out


def test_command_gives_one_json_document(capsys: pytest.CaptureFixture[str]) -> None:
    sizing(rig=None, json=True)
    found = json.loads(capsys.readouterr().out)
    assert found["warnings"] == []
    assert len(found["stations"]) == 10
    assert all(figure["is_enough"] for figure in found["figures"])
