"""The guest is what the other tests take it for."""

import platform
from pathlib import Path


def test_the_kernel_has_the_device_nodes() -> None:
    assert platform.system() == "Linux"
    for node in ("/dev/i2c-0", "/dev/cuse", "/sys/kernel/config/gpio-sim"):
        assert Path(node).exists(), node
