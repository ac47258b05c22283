"""What the unloaded sweeps find, on paper where it is known exactly."""

from typing import Any

import pytest

from rig.procedures.level.progress import SweepFindings
from rig.procedures.level.sweep import sweep_findings
from rig.settings.model import Linkage, Screw, Settings
from tests.calibration.example import calibration
from tests.calibration.invented_rig import InventedRig
from tests.procedures.paper_rig import Move, PaperRig

EXACT = InventedRig(bias_g=(0.0, 0.0, 0.0), gain=(1.0, 1.0, 1.0), noise_counts=0.0)
LOW = Settings(linkage=Linkage(soft_limit_deg=13.0), screw=Screw(microsteps=1))
"""So that half a pulse is worth something."""


@pytest.fixture(autouse=True)
def _without_advice(monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes its time, and has tests of its own."""
    monkeypatch.setattr("rig.procedures.level.sweep.advice", lambda *_: ("so",))


def swept(
    settings: Settings = LOW, lowering: float = 3.0, **made_of: Any
) -> tuple[PaperRig, SweepFindings]:
    rig = PaperRig(settings, EXACT, **made_of)
    rig.lowering_rate_deg_s = lowering
    machine: Any = rig
    return rig, rig.clock.run(sweep_findings(machine, machine, calibration()))


def test_delay_and_backlash_are_found_with_their_signs() -> None:
    _, found = swept(delay_s=0.024, backlash_deg=0.05)
    assert found.delay_ms == pytest.approx(24.0, abs=0.2)
    assert found.backlash_deg == pytest.approx(0.05, abs=5e-4)
    assert found.axis_off_deg < 0.02
    assert found.vibration is not None
    assert found.vibration.suggests == ("so",)
    assert found.vibration.pulse_hz[1] == pytest.approx(2.0 * found.vibration.pulse_hz[0])


def test_the_board_sweeps_slowly_and_fast_within_its_limits() -> None:
    rig, _ = swept()
    ways = [(13.0, 0.5), (3.0, 0.5), (13.0, 2.0), (3.0, 2.0)]
    assert rig.moves == [Move(3.0, 1.0), *(Move(*way) for way in ways)]
    assert rig.states == ["raising", "raising", "lowering", "raising", "lowering"]


def test_no_sweep_is_faster_than_the_board_may_be_lowered() -> None:
    rig, _ = swept(lowering=1.5)
    assert max(move.rate_deg_s for move in rig.moves) == 1.5


@pytest.mark.parametrize(("soft_limit_deg", "top_deg"), [(37.0, 37.0), (45.0, 38.0)])
def test_the_top_is_38_degrees_or_the_highest_that_is_allowed(
    monkeypatch: pytest.MonkeyPatch, soft_limit_deg: float, top_deg: float
) -> None:
    monkeypatch.setattr("rig.procedures.level.sweep.RATES_DEG_S", (2.0,))
    rig, _ = swept(Settings(linkage=Linkage(soft_limit_deg=soft_limit_deg)))
    assert max(move.to_deg for move in rig.moves) == top_deg


def test_a_hinge_that_moved_since_the_span_points_is_seen() -> None:
    turned = calibration(axis=(0.02, 0.9998, 0.0))
    rig = PaperRig(LOW, EXACT)
    machine: Any = rig
    found = rig.clock.run(sweep_findings(machine, machine, turned))
    # asin 0.02 is 1.146°.
    assert found.axis_off_deg == pytest.approx(1.146, abs=0.02)
    found = rig.clock.run(sweep_findings(machine, machine, calibration(axis=(0.0, 1.0005, 0.0))))
    assert found.axis_off_deg == 0.0
