"""What the computer reports of itself, from a file tree of our own."""

from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import pytest

from rig.clock import VirtualClock
from rig.control.process.host import COMPATIBLE, PERIOD_S, THROTTLED, Host, free_mb, keeps_outputs


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


def test_the_computer_is_asked_every_1_5_s(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    free = iter((10.0, 20.0, 30.0))
    monkeypatch.setattr("rig.control.process.host.free_mb", lambda folder: next(free))
    clock = VirtualClock()
    host = Host(clock, tmp_path)
    host.folder = tmp_path
    seen = []
    for at_s in (0.0, 1.4, 1.6, 3.0, 3.2):
        clock.advance_to(at_s)
        host.look()
        seen.append(host.free_mb)
    assert seen == [10.0, 10.0, 20.0, 20.0, 30.0]


def test_where_nothing_is_written_no_free_space_is_known(tmp_path: Path) -> None:
    clock = VirtualClock()
    assert looked(Host(clock, tmp_path), clock).free_mb is None


def test_free_space_is_in_megabytes_and_may_be_unknown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Usage(NamedTuple):
        free: int

    monkeypatch.setattr("shutil.disk_usage", lambda place: Usage(123_400_000))
    assert free_mb(tmp_path) == pytest.approx(123.4)

    def refuse(place: Path) -> Usage:
        raise OSError

    monkeypatch.setattr("shutil.disk_usage", refuse)
    assert free_mb(tmp_path) is None


@pytest.mark.parametrize(
    ("soc", "driver", "word", "keeps"),
    [
        (b"raspberrypi,4-model-b\0brcm,bcm2711\0", "pinctrl_bcm2835", "Y\n", True),
        (b"raspberrypi,4-model-b\0brcm,bcm2711\0", "pinctrl_bcm2835", "N\n", False),
        (b"raspberrypi,5-model-b\0brcm,bcm2712\0", "pinctrl_rp1", "Y\n", True),
        (b"raspberrypi,5-model-b\0brcm,bcm2712\0", "pinctrl_bcm2835", "Y\n", None),
        (None, "pinctrl_bcm2835", "Y\n", None),
    ],
)
def test_what_the_kernel_does_with_outputs_of_a_program_that_ended(
    tmp_path: Path, soc: bytes | None, driver: str, word: str, keeps: bool | None
) -> None:
    """On a Pi 5 both drivers are there, and the header's is the other one."""
    if soc is not None:
        (tmp_path / COMPATIBLE).parent.mkdir(parents=True)
        (tmp_path / COMPATIBLE).write_bytes(soc)
    file = tmp_path / "sys/module" / driver / "parameters/persist_gpio_outputs"
    file.parent.mkdir(parents=True)
    file.write_text(word)
    assert keeps_outputs(tmp_path) is keeps
