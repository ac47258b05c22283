import fcntl
import os
import struct
import sys
from pathlib import Path
from typing import Any

import pytest

from rig.devices import pins
from rig.errors import BadInputError


@pytest.fixture
def labels(monkeypatch):
    """GPIO chips by number: a label, or the error that asking gives."""
    table: dict[str, str | Exception] = {}

    def chip_label(device):
        answer = table[device.name]
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr(pins, "chip_label", chip_label)
    return table


def nodes(table):
    return [Path("/dev") / name for name in table]


@pytest.mark.parametrize("label", ["pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835"])
def test_the_header_is_found_by_its_label(labels, label):
    labels.update(gpiochip0="raspberrypi-exp-gpio", gpiochip10="gpio-brcmstb", gpiochip4=label)
    assert pins.header_chip(nodes(labels)) == 4


def test_no_chip_at_all_names_the_twin(labels):
    with pytest.raises(BadInputError, match=r"no Raspberry Pi header; .*--twin"):
        pins.header_chip([])


def test_chips_of_another_machine_are_named(labels):
    labels.update(gpiochip0="INT34C5:00")
    with pytest.raises(BadInputError, match=r"chips found: INT34C5:00.*--twin"):
        pins.header_chip(nodes(labels))


def test_no_permission_names_the_group(labels):
    labels.update(gpiochip0=PermissionError())
    with pytest.raises(BadInputError, match=r"/dev/gpiochip0.*usermod -aG gpio"):
        pins.header_chip(nodes(labels))


def test_what_is_no_gpio_chip_is_passed_by(tmp_path):
    node = tmp_path / "gpiochip0"
    node.write_bytes(b"")
    with pytest.raises(BadInputError, match="no Raspberry Pi header"):
        pins.header_chip([node, tmp_path / "gpiochip1"])


def test_the_label_is_asked_from_the_kernel(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """linux/gpio.h: _IOR(0xB4, 0x01, struct gpiochip_info) with name[32], label[32], __u32 lines.

    _IOR puts direction 2 at bit 30, the size at bit 16, the type at bit 8 (asm-generic/ioctl.h).
    """

    def ioctl(handle: int, request: int, info: bytearray) -> int:
        assert request == 2 << 30 | (32 + 32 + 4) << 16 | 0xB4 << 8 | 0x01
        assert len(info) == 68
        info[:] = struct.pack("32s32sI", b"gpiochip0", b"pinctrl-rp1", 54)
        return 0

    monkeypatch.setattr(fcntl, "ioctl", ioctl)
    node = tmp_path / "gpiochip0"
    node.write_bytes(b"")
    assert pins.chip_label(node) == "pinctrl-rp1"


def test_without_a_list_all_nodes_of_the_machine_are_looked_at(
    labels: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    labels.update(gpiochip0="gpio-brcmstb", gpiochip2="pinctrl-bcm2711")
    monkeypatch.setattr(Path, "glob", lambda folder, pattern: nodes(labels))
    assert pins.header_chip() == 2


def test_a_chip_that_may_not_be_used_hides_none_that_may(labels: dict[str, Any]) -> None:
    labels.update(gpiochip0=PermissionError(), gpiochip4="pinctrl-rp1")
    assert pins.header_chip(nodes(labels)) == 4


def test_a_missing_lgpio_names_the_extra(monkeypatch):
    monkeypatch.setattr(pins, "header_chip", lambda: 0)
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "/tmp")  # noqa: S108 - lgpio is not loaded here
    with pytest.raises(BadInputError, match=r"\.\[pi\]"):
        pins.real_factory()


class FakeLgpio:
    """A stand-in for the module gpiozero.pins.lgpio."""

    def __init__(self, error=None):
        self.error = error

    def LGPIOFactory(self, chip):  # noqa: N802 - the library's name
        """Open a chip, or fail."""
        if self.error:
            raise self.error
        return ("factory", chip)


def test_the_factory_is_made_on_that_chip(monkeypatch):
    monkeypatch.setattr(pins, "header_chip", lambda: 4)
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", FakeLgpio())
    monkeypatch.setenv("LG_WD", "")  # noted, so that what the factory sets is undone
    monkeypatch.delenv("LG_WD")
    before = Path.cwd()
    assert pins.real_factory() == ("factory", 4)
    assert Path.cwd() == before
    assert Path(os.environ["LG_WD"]).is_absolute()


@pytest.mark.parametrize("runtime", ["", "here"])
def test_lgpio_leaves_no_pipe_in_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, runtime: str
) -> None:
    """As it loads, lgpio goes to the folder that LG_WD names; a relative one is none."""

    class Loading:
        def __getattr__(self, name: str) -> Any:
            os.chdir(os.environ["LG_WD"])
            return FakeLgpio().LGPIOFactory

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(pins, "header_chip", lambda: 0)
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", Loading())
    monkeypatch.setenv("XDG_RUNTIME_DIR", runtime)
    monkeypatch.setenv("LG_WD", "")
    monkeypatch.delenv("LG_WD")
    pins.real_factory()
    assert Path(os.environ["LG_WD"]).is_absolute()
    assert Path.cwd() == tmp_path


def test_a_chip_that_does_not_open_is_told(monkeypatch):
    monkeypatch.setattr(pins, "header_chip", lambda: 4)
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", FakeLgpio(Exception("no access")))
    monkeypatch.setenv("LG_WD", "/tmp")  # noqa: S108 - lgpio is not loaded here
    with pytest.raises(BadInputError, match=r"cannot be opened \(no access\)"):
        pins.real_factory()
