"""What the unmodified command line says when a node is missing, forbidden or in use."""

import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from far_pins import SimChip
from stub_keeper import AIR
from test_chips import EXACT, KEEPER

from rig.calibration.file import save_calibration
from rig.settings.model import Pins

PINS = Pins()
USER, GPIO_GROUP, I2C_GROUP = 65534, 986, 987
START = "from rig.commands.main import main; main()"
PATIENCE_S = 240.0


def write_settings(folder: Path, number: int) -> None:
    text = f'[bus]\nnumber = {number}\nimu_mode = "polled"\n[interlocks]\nimu_silence_s = 5.0\n'
    (folder / "rig.toml").write_text(text)


@pytest.fixture
def folder() -> Path:
    """A place that every user may read, with settings for the stub's bus."""
    made = Path(tempfile.mkdtemp())
    made.chmod(0o755)
    write_settings(made, 0)
    (made / "lgpio").mkdir()
    os.chown(made / "lgpio", USER, USER)
    return made


@pytest.fixture
def nodes(chip: SimChip) -> Iterator[list[Path]]:
    """Header and bus, as the usual rules of a Pi give them to their groups."""
    both = [chip.node, Path("/dev/i2c-0")]
    for node, group in zip(both, (GPIO_GROUP, I2C_GROUP), strict=True):
        os.chown(node, 0, group)
        node.chmod(0o660)
    yield both
    os.chown(both[1], 0, 0)


def rig(
    folder: Path, *arguments: str, groups: tuple[int, ...] = (GPIO_GROUP, I2C_GROUP)
) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", START, *arguments],
        cwd=folder,
        env={**os.environ, "LG_WD": str(folder / "lgpio")},
        user=USER,
        group=USER,
        extra_groups=groups,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


def one_sentence(done: "subprocess.CompletedProcess[str]") -> str:
    """The message of a command that refused: exit code 2, one line."""
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    return line


def test_a_user_who_is_not_in_the_group_gpio(folder: Path, nodes: list[Path]) -> None:
    line = one_sentence(rig(folder, "watch", groups=(I2C_GROUP,)))
    assert line.startswith(f"rig: You may not use {nodes[0]}: add the user to the group gpio")


def test_a_user_who_is_not_in_the_group_i2c(folder: Path, nodes: list[Path]) -> None:
    line = one_sentence(rig(folder, "watch", groups=(GPIO_GROUP,)))
    assert line.startswith("rig: You may not use /dev/i2c-0: add the user to the group i2c")


@pytest.mark.usefixtures("nodes")
def test_no_such_bus(folder: Path) -> None:
    write_settings(folder, 9)
    assert one_sentence(rig(folder, "watch")).startswith("rig: There is no I2C bus /dev/i2c-9")


def test_no_header(folder: Path) -> None:
    with SimChip("other-chip") as other:
        other.node.chmod(0o666)
        line = one_sentence(rig(folder, "watch"))
    assert "no Raspberry Pi header" in line
    assert "other-chip" in line


def test_no_chip_of_any_kind(folder: Path) -> None:
    assert "no Raspberry Pi header;" in one_sentence(rig(folder, "safe"))


@pytest.mark.usefixtures("nodes")
def test_a_line_that_another_process_holds(folder: Path, chip: SimChip) -> None:
    number = chip.node.name.removeprefix("gpiochip")
    hold = f"""
import sys, lgpio
lgpio.gpio_claim_input(lgpio.gpiochip_open({number}), {PINS.limit_lower})
print("held", flush=True)
sys.stdin.read()
"""
    with subprocess.Popen(
        [sys.executable, "-c", hold], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        line = one_sentence(rig(folder, "watch"))
        other.stdin.close()
    assert "GPIO 5 (limit_lower under [pins] in rig.toml) cannot be used" in line
    assert "busy" in line


@pytest.mark.usefixtures("nodes")
def test_an_ordinary_user_of_both_groups_sees_angle_air_and_inputs(
    folder: Path, chip: SimChip
) -> None:
    save_calibration(folder / "calibration/2026-01-01.json", EXACT)
    over = threading.Event()

    def hold_contacts_closed() -> None:
        """Claiming a line sets its pull; a closed contact is stronger than that."""
        while not over.wait(0.01):
            for gpio in (PINS.emergency_stop, PINS.limit_lower, PINS.limit_upper, PINS.beam_1):
                if chip.level(gpio):
                    chip.drive(gpio, False)

    holder = threading.Thread(target=hold_contacts_closed)
    with subprocess.Popen(
        [sys.executable, str(KEEPER)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as keeper:
        assert keeper.stdin is not None
        assert keeper.stdout is not None
        assert keeper.stdout.readline() == "ready\n"
        holder.start()
        try:
            done = rig(folder, "watch", "--seconds", "3", "--json")
        finally:
            over.set()
            holder.join()
            keeper.stdin.close()
    assert done.returncode == 0, done.stdout + done.stderr
    seen = json.loads(done.stdout)
    assert seen["angle_deg"] == pytest.approx(20.0, abs=0.02)
    assert seen["temperature_c"] == pytest.approx(AIR[0], abs=0.02)
    assert seen["relative_humidity_pct"] == pytest.approx(AIR[1], abs=0.05)
    assert seen["pressure_hpa"] == pytest.approx(AIR[2], abs=0.05)
    assert set(seen["inputs"]) >= {"emergency_stop", "limit_lower", "limit_upper", "beam_1"}
    assert not any(seen["inputs"].values())
