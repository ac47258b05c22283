"""Opens the pins of a real Raspberry Pi's header."""

import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rig.errors import BadInputError

HEADER_LABELS = ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")
"""What the kernel calls the chip behind the 40-pin header (Pi 5; Pi 4; older ones)."""

_GET_CHIP_INFO = 0x8044B401
"""ioctl GPIO_GET_CHIPINFO of linux/gpio.h: name[32], label[32], number of lines."""


def chip_label(device: Path) -> str:
    """The label of one GPIO chip; no more than asking is done to it.

    Raises:
        OSError: if the node cannot be opened or is no GPIO chip.
    """
    import fcntl

    info = bytearray(68)
    handle = os.open(device, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.ioctl(handle, _GET_CHIP_INFO, info)
    finally:
        os.close(handle)
    return info[32:64].split(b"\0")[0].decode()


def header_chip(devices: Iterable[Path] | None = None) -> int:
    """The number of the GPIO chip behind the header, found by its label.

    Chip numbers differ between models and kernels; labels don't.

    Args:
        devices: the nodes to look at; all `/dev/gpiochip*`, if not given.

    Raises:
        BadInputError: if there is none, or it may not be used.
    """
    nodes = sorted(Path("/dev").glob("gpiochip*") if devices is None else devices)
    refused = None
    labels = []
    for node in nodes:
        try:
            label = chip_label(node)
        except PermissionError:
            refused = node
        except OSError:
            continue
        else:
            if label in HEADER_LABELS:
                return int(node.name.removeprefix("gpiochip"))
            labels.append(label)
    if refused is not None:
        raise BadInputError(
            f"You may not use {refused}: add the user to the group gpio (`sudo usermod -aG gpio "
            f"$USER`) and log in again."
        )
    found = f" (GPIO chips found: {', '.join(labels)})" if labels else ""
    raise BadInputError(
        f"This machine has no Raspberry Pi header{found}; run this on the rig's Pi, or add --twin "
        f"to use the simulated rig."
    )


def real_factory() -> Any:
    """A `gpiozero` pin factory on the header's chip.

    Raises:
        BadInputError: if there is no such chip, it may not be used, or lgpio is not installed.
    """
    chip = header_chip()
    with _quiet_folder():
        try:
            from gpiozero.pins.lgpio import LGPIOFactory
        except ImportError as error:
            raise BadInputError(
                "The package lgpio is not installed; in the source folder: `pip install '.[pi]'`."
            ) from error
    try:
        return LGPIOFactory(chip=chip)
    except Exception as error:  # lgpio.error derives from Exception alone
        raise BadInputError(
            f"The GPIO chip {chip} cannot be opened ({error}); add the user to the group gpio "
            f"(`sudo usermod -aG gpio $USER`) and end other programs that use the pins."
        ) from error


@contextmanager
def _quiet_folder() -> Iterator[None]:
    """Where lgpio may leave the pipe that it makes on loading: it would use the working folder.

    With LG_WD set, lgpio changes the working folder as it loads; it is changed back.
    """
    if "LG_WD" not in os.environ:
        own = os.environ.get("XDG_RUNTIME_DIR", "")
        os.environ["LG_WD"] = own if Path(own).is_absolute() else tempfile.gettempdir()
    before = Path.cwd()
    try:
        yield
    finally:
        os.chdir(before)
