"""What the firmware notes say is what the code does."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from hardware.tools.wiring import contact_ma, filter_ms
from rig.control.faults.table import BY_CAUSE
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


def test_set_up_is_short_and_reads_as_shell() -> None:
    assert f"({len(SETUP.splitlines())} lines" in PAGE
    assert len(SETUP.splitlines()) <= 50
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


def test_set_up_adds_its_lines_for_every_model_whatever_stands_before(tmp_path: Path) -> None:
    """Run that part of it on a stock file that ends in another model's section, twice."""
    config = tmp_path / "config.txt"
    config.write_text("dtparam=audio=on\n\n[cm5]\ndtoverlay=dwc2\n")
    part = SETUP[SETUP.index('if [ -f "$config" ]') : SETUP.index("echo i2c-dev")]
    shell = shutil.which("sh")
    if shell is None:
        pytest.skip("no shell here")
    for _ in range(2):
        subprocess.run([shell, "-eu", "-c", f"config={config}\n{part}"], check=True)
    added = config.read_text().split("[cm5]")[1].split("[all]")
    assert len(added) == 2, "once"
    assert "strict_gpiod" not in added[0]
    wanted = {"dtparam=i2c_arm=on", "dtparam=i2c_arm_baudrate=100000", "dtparam=strict_gpiod"}
    assert wanted < set(added[1].split())


def test_set_up_installs_the_page_and_waits_for_the_clock_but_not_for_ever() -> None:
    assert '"${source}[pi,panel]"' in SETUP
    assert "$unit --page > /etc/systemd/system/rig-page.service" in SETUP
    assert "systemctl enable systemd-time-wait-sync" in SETUP
    assert "TimeoutStartSec=120" in SETUP
    assert "rig=/opt/rig/bin/rig" in SETUP
    assert not re.search(r"(?<![/\w$-])rig (sizing|check|settings|service)", SETUP.split("echo")[0])


def test_contacts_and_filters_are_those_of_the_wiring() -> None:
    closing, opening = filter_ms()
    assert f"{contact_ma():.1f} mA" in PAGE
    assert f"{closing:g} ms closing, {opening:g} ms opening" in PAGE
    assert 1.5 <= contact_ma() <= 3.3
    assert opening < 1.0


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
