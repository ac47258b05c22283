import os
import sys
from pathlib import Path

import pytest

from rig.devices import pins
from rig.errors import BadInputError


@pytest.fixture
def labels(monkeypatch):
    """GPIO chips by number: a label, or the error that asking gives."""
    table = {}

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


def test_a_missing_lgpio_names_the_extra(monkeypatch):
    monkeypatch.setattr(pins, "header_chip", lambda: 0)
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "/tmp")  # noqa: S108 - lgpio is not loaded here
    with pytest.raises(BadInputError, match=r"rig\[pi\]"):
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


def test_a_chip_that_does_not_open_is_told(monkeypatch):
    monkeypatch.setattr(pins, "header_chip", lambda: 4)
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", FakeLgpio(Exception("no access")))
    monkeypatch.setenv("LG_WD", "/tmp")  # noqa: S108 - lgpio is not loaded here
    with pytest.raises(BadInputError, match=r"cannot be opened \(no access\)"):
        pins.real_factory()
