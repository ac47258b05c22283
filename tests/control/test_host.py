"""What the computer reports of itself, from a file tree of our own."""

from datetime import timedelta
from pathlib import Path

import pytest

from rig.clock import VirtualClock
from rig.control.host import PERIOD_S, THROTTLED, Host, free_mb


def looked(host: Host, clock: VirtualClock) -> Host:
    clock.advance_to(clock.time_s() + PERIOD_S)
    host.look()
    return host


@pytest.mark.parametrize(
    ("word", "is_low"), [("0", False), ("50005", True), ("50000", False), ("1", True), ("", False)]
)
def test_only_a_supply_that_is_low_now_counts(tmp_path: Path, word: str, is_low: bool) -> None:
    file = tmp_path / THROTTLED
    file.parent.mkdir(parents=True)
    file.write_text(f"{word}\n")
    clock = VirtualClock()
    assert looked(Host(clock, tmp_path), clock).is_supply_low == is_low


@pytest.mark.parametrize(
    ("name", "alarm", "is_low"),
    [("rpi_volt", "1", True), ("rpi_volt", "0", False), ("nct", "1", False)],
)
def test_the_kernels_alarm_counts_when_it_is_the_pis(
    tmp_path: Path, name: str, alarm: str, is_low: bool
) -> None:
    chip = tmp_path / "sys/class/hwmon/hwmon3"
    chip.mkdir(parents=True)
    (chip / "name").write_text(f"{name}\n")
    (chip / "in0_lcrit_alarm").write_text(f"{alarm}\n")
    clock = VirtualClock()
    assert looked(Host(clock, tmp_path), clock).is_supply_low == is_low


def test_a_computer_without_a_report_has_no_low_supply(tmp_path: Path) -> None:
    clock = VirtualClock()
    assert not looked(Host(clock, tmp_path), clock).is_supply_low


def test_wall_time_that_jumps_is_seen_until_it_is_marked(tmp_path: Path) -> None:
    clock = VirtualClock()
    host = Host(clock, tmp_path)
    assert abs(looked(host, clock).clock_jump_s) < 1e-3
    clock._utc += timedelta(seconds=-90)  # noqa: SLF001 - nobody else can set it
    assert looked(host, clock).clock_jump_s == pytest.approx(-90, abs=1e-3)
    host.mark()
    assert abs(looked(host, clock).clock_jump_s) < 1e-3


def test_free_space_of_a_folder_that_is_not_there_yet(tmp_path: Path) -> None:
    assert free_mb(tmp_path / "a" / "b") == pytest.approx(free_mb(tmp_path), rel=0.1)
