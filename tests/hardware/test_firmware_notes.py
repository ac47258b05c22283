"""What the firmware notes say is what the code does."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from rig.control.faults import BY_CAUSE
from rig.devices.bus import PAUSES_S
from rig.devices.lsm6 import KNOWN, bandwidth_divisor, rate_hz
from rig.devices.pins import HEADER_LABELS
from rig.devices.stepper import PRIORITY
from rig.motion.sizing import size
from rig.settings.checks import blade_pulses_per_mm
from rig.settings.keys import keys
from rig.settings.model import Settings

NOTES = Path(__file__).parents[2] / "firmware_notes"
PAGE = (NOTES / "README.md").read_text(encoding="utf-8")
SETUP = (NOTES / "setup.sh").read_text(encoding="utf-8")
UNIT = (NOTES / "rig.service").read_text(encoding="utf-8")


def test_set_up_has_at_most_32_lines_and_reads_as_shell() -> None:
    assert f"({len(SETUP.splitlines())} lines" in PAGE
    assert len(SETUP.splitlines()) <= 32
    shell = shutil.which("sh")
    if shell is None:
        pytest.skip("no shell here")
    subprocess.run([shell, "-n", str(NOTES / "setup.sh")], check=True)


def test_the_enable_line_is_the_same_everywhere() -> None:
    enable = Settings().pins.enable
    assert f"gpio={enable}=op,dl" in SETUP
    assert f"gpio={enable}=op,dl" in PAGE
    assert "ExecStopPost=/opt/rig/bin/rig safe" in UNIT, "the line goes low after any end"
    assert f"pinctrl set {enable} op dl" in PAGE


def test_motor_lines_lie_where_the_pi_pulls_down_at_power_on() -> None:
    """BCM2835 ARM Peripherals, table 6-31: GPIO 0 to 8 pulled high, 9 to 27 low at reset."""
    pins = Settings().pins
    assert min(pins.step, pins.direction, pins.enable) >= 9


def test_settings_that_the_notes_name_exist() -> None:
    known = {key.path for key in keys()} | {key.section for key in keys()}
    named = set(re.findall(r"`((?:pins|bus|imu|screw|beam|files|interlocks)\.\w+)`", PAGE))
    assert named
    assert named <= known


def test_causes_that_the_notes_name_exist() -> None:
    table = PAGE.split("## What is wrong?")[1].split("##")[0]
    named = set(re.findall(r"`([a-z]+_[a-z_]+)`", table))
    assert {"imu_reset", "beam_flicker", "late_pulse"} <= named
    assert named <= set(BY_CAUSE)


def test_figures_of_chips_and_bus() -> None:
    imu = Settings().imu
    assert all(label in PAGE for label in HEADER_LABELS)
    assert all(f"0x{identity:02X}" in PAGE for identity in KNOWN.values())
    rate = rate_hz(imu.rate_hz, 0)
    corner = rate / bandwidth_divisor(rate, imu.lowpass_hz)
    assert f"({corner:.1f} Hz)" in PAGE
    assert f"{imu.filter_delay_ms:g} ± {imu.u_filter_delay_ms:g} ms" in PAGE
    assert [round(1e3 * pause) for pause in PAUSES_S] == [2, 5, 10, 10]
    assert f"SCHED_FIFO {PRIORITY}" in PAGE


def test_figures_of_pulses() -> None:
    settings = Settings()
    rates = [station.pulse_rate_hz for station in size(settings).stations]
    assert f"({min(rates):.0f} to {max(rates):.0f}\npulses/s" in PAGE
    assert f"`screw.max_pulse_rate_hz`, {settings.screw.max_pulse_rate_hz:,.0f}" in PAGE
    assert f"({settings.interlocks.late_pulse_ms:g} ms) ends the move" in PAGE


def test_figures_of_the_blades_pulses() -> None:
    settings = Settings()
    per_mm = blade_pulses_per_mm(settings)
    rate = settings.blade.speed_mm_s * per_mm
    assert f"{rate:.0f} pulses/s at `blade.speed_mm_s` ({per_mm:g} pulses\na mm" in PAGE
    assert f"{1 / per_mm:g} mm each" in PAGE
    way_mm = settings.blade.speed_mm_s * settings.beam.response_ms / 1000
    assert f"{way_mm:g} mm of way" in PAGE


def test_files_that_the_notes_link_to_exist() -> None:
    for target in re.findall(r"\]\(([^)]+)\)", PAGE):
        file, _, place = target.partition("#")
        assert (NOTES / file).exists(), target
        if place:
            assert f"## {place}" in (NOTES / file).read_text(encoding="utf-8").lower()
