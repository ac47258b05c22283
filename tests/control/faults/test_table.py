"""The table of faults: complete, plain, and the same in the notes."""

import ast
import math
import re
from pathlib import Path
from typing import get_args

import pytest

from rig.control import (
    homing,
    interlocks,
    machine,
    mover,
    progress_watch,
    senses,
    sensor_health,
)
from rig.control.blade import axis as blade_axis
from rig.control.faults.kinds import Fault
from rig.control.faults.table import BY_CAUSE, FAULTS, as_markdown, told
from rig.control.interlocks import CONDITIONS
from rig.control.mover import CUT_BECAUSE
from rig.control.process import host
from rig.devices import bus, imu_checks
from rig.errors import BadInputError, Cause, MachineFaultError
from rig.procedures.level import options as level_options
from rig.procedures.level import steadiness

ROOT = Path(__file__).parents[3]
WORDS = {1.0: "a", 3: "three", 4.0: "four"}


def test_the_notes_show_the_table_as_it_is() -> None:
    assert (ROOT / "firmware_notes" / "INTERLOCKS.md").read_text("utf-8") == as_markdown()


def test_every_cause_has_one_row() -> None:
    """The type checker keeps raises to these causes, so each of them has a remedy."""
    assert sorted(entry.cause for entry in FAULTS) == sorted(get_args(Cause))


def test_a_fault_is_told_with_the_remedy_of_the_table() -> None:
    assert told(MachineFaultError("disk", "The disk is full.")) == (
        "The disk is full. Free space, or change the disk or the folder (--out); lines"
        " already written are kept."
    )
    assert told(BadInputError("No such bag.")) == "No such bag."


def _raised_causes() -> set[str]:
    """The first argument of every MachineFaultError below the commands."""
    found: set[str] = set()
    for folder in ("devices", "motion", "control", "procedures", "runfile"):
        for path in (ROOT / "rig" / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Name)
                    and node.func.id == "MachineFaultError"
                    and node.args
                    and isinstance(node.args[0], ast.Constant)
                ):
                    cause = node.args[0].value
                    assert isinstance(cause, str)
                    found.add(cause)
    return found


def test_every_cause_is_raised_somewhere() -> None:
    named = {*_raised_causes(), *CONDITIONS, *CUT_BECAUSE}
    # `BusyError` has no cause; the drivers name `imu_reset` where they compare registers.
    assert set(BY_CAUSE) - named == {"busy", "imu_reset"}


LOOKS = f"within {math.ceil(host.PERIOD_S)} s"
FIGURES: dict[str, tuple[str, ...]] = {
    "control_silent": (f"{machine.CONTROL_SILENCE_S:g} s after",),
    "suspended": (f"more than {machine.HELD_UP_S:g} s",),
    "edges_lost": (f"within {1e3 * mover.POLL_S:g} ms",),
    "disk_nearly_full": (LOOKS,),
    "clock_jump": (LOOKS, f"a difference of {interlocks.CLOCK_JUMP_S:g} s"),
    "low_supply": (LOOKS,),
    "limit_lower_missing": (f"{homing.OVERRUN_DEG:g}° beyond",),
    "limit_lower_stuck": (
        f"after {homing.OVERRUN_DEG:g}° of raising",
        f"{interlocks.CLEAR_OF_HOME_DEG:g}° above home",
    ),
    "angle_mismatch": (f"for {interlocks.MISMATCH_LASTS_S:g} s",),
    "no_progress": (
        f"after {progress_watch.NO_PROGRESS_DEG:g}° by steps and {progress_watch.LASTS_S:g} s",
    ),
    "wrong_direction": (
        f"after {progress_watch.WRONG_WAY_DEG:g}° by steps and {progress_watch.LASTS_S:g} s",
    ),
    "imu_frozen": (f"after {imu_checks.FROZEN_SAMPLES} equal samples",),
    "imu_saturated": (f"after {sensor_health.SATURATED_S:g} s",),
    "imu_absurd": (f"after {sensor_health.WINDOW_S:g} s",),
    "imu_reset": (f"every {senses.IMU_TEMPERATURE_PERIOD_S:g} s",),
    "bus": (f"about {round(1e3 * sum(bus.PAUSES_S), -1):.0f} ms",),
    "climate_doubtful": (f"after {WORDS[interlocks.DOUBTFUL_READINGS]} such readings",),
    "not_steady": (f"after {WORDS[steadiness.PATIENCE_S / 60.0]} minute",),
    "not_warmed": (f"after {WORDS[level_options.PATIENCE_S / 3600.0]} hours",),
    "blade_stalled": (
        f"{blade_axis.FIRST_TOLERANCE_MM:g} mm beyond that position the first time",
        f"{blade_axis.LATER_TOLERANCE_MM:g} mm later",
    ),
    "blade_park": (
        f"{blade_axis.PARK_OVERRUN_MM:g} mm beyond",
        f"{blade_axis.PARK_NEAR_MM:g} mm before it",
        f"{blade_axis.LEFT_MM:g} mm after it",
    ),
    "beam_flicker": (f"{mover.FLICKER_EDGES}th edge", f"within {WORDS[mover.FLICKER_S]} second"),
}
"""What the rows say in figures, from the constants that the machine goes by."""


@pytest.mark.parametrize("entry", FAULTS, ids=lambda entry: entry.cause)
def test_figures_of_an_entry_are_those_that_the_machine_goes_by(entry: Fault) -> None:
    text = f"{entry.condition}; {entry.notice}"
    for figure in FIGURES.get(entry.cause, ()):
        assert figure in text
        text = text.replace(figure, "")
    left = re.findall(r"\d+|\b(?:three|four|minute|hour|second)s?\b(?! temperature)", text)
    assert left == [], "a figure that is compared with nothing"


@pytest.mark.parametrize("entry", FAULTS, ids=lambda entry: entry.cause)
def test_an_entry_says_what_and_how_to_mend_it(entry) -> None:
    assert entry.states
    assert len(entry.condition) > 15
    assert entry.action.endswith(".")
    assert entry.notice
