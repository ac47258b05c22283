"""The other side of the pins: a simulated GPIO chip, and the record of what is written to it."""

import os
import re
from pathlib import Path
from typing import NamedTuple, Self

CONFIG = Path("/sys/kernel/config/gpio-sim")
TRACING = Path("/sys/kernel/tracing")
HEADER_LABEL = "pinctrl-bcm2711"
LINES = 58

_WRITE = re.compile(rb"\s(\d+\.\d+): gpio_value: (\d+) set ([01])")


def base_of_header(label: str = HEADER_LABEL) -> int:
    """The kernel's own number of the first line of the chip with this label."""
    return next(
        int((folder / "base").read_text())
        for folder in Path("/sys/class/gpio").glob("gpiochip*")
        if (folder / "label").read_text().strip() == label
    )


class SimChip:
    """One GPIO chip; an input's level is set by its pull, an output's can be read.

    Args:
        label: what the kernel calls it.
    """

    def __init__(self, label: str = HEADER_LABEL) -> None:
        self._label = label
        self._folder = CONFIG / f"rig-{os.getpid()}"
        self.node = Path()
        self.base = 0
        """The kernel's number of line 0."""
        self._lines = Path()

    def __enter__(self) -> Self:
        bank = self._folder / "bank"
        bank.mkdir(parents=True)
        (bank / "num_lines").write_text(str(LINES))
        (bank / "label").write_text(self._label)
        (self._folder / "live").write_text("1")
        chip = (bank / "chip_name").read_text().strip()
        device = (self._folder / "dev_name").read_text().strip()
        self.node = Path("/dev") / chip
        self._lines = Path("/sys/devices/platform") / device / chip
        self.base = base_of_header(self._label)
        return self

    def __exit__(self, *_: object) -> None:
        (self._folder / "live").write_text("0")
        (self._folder / "bank").rmdir()
        self._folder.rmdir()

    def drive(self, gpio: int, level: bool) -> None:
        """Put an input to a level; of an output, what it falls back to when it is let go."""
        pull = "pull-up" if level else "pull-down"
        (self._lines / f"sim_gpio{gpio}/pull").write_text(pull)

    def level(self, gpio: int) -> bool:
        """Level of a line, whoever drives it."""
        return (self._lines / f"sim_gpio{gpio}/value").read_text().strip() == "1"


class Write(NamedTuple):
    """One write to an output line."""

    t_s: float
    """Of the monotonic clock."""
    gpio: int
    level: bool


class Writes:
    """The kernel's record of writes to the lines of a chip, in order.

    Args:
        base: the kernel's number of line 0.
        name: of the record; several can be kept at once.
    """

    def __init__(self, base: int, name: str) -> None:
        self._base = base
        self._folder = TRACING / "instances" / f"{name}-{os.getpid()}"
        self._pipe = -1
        self._rest = b""

    def __enter__(self) -> Self:
        self._folder.mkdir()
        (self._folder / "trace_clock").write_text("mono")
        (self._folder / "buffer_size_kb").write_text("16384")
        event = self._folder / "events/gpio/gpio_value"
        (event / "filter").write_text("get == 0")
        (event / "enable").write_text("1")
        self._pipe = os.open(self._folder / "trace_pipe", os.O_RDONLY | os.O_NONBLOCK)
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._pipe)
        self._folder.rmdir()

    def take(self) -> list[Write]:
        """The writes since the last call."""
        found: list[Write] = []
        while True:
            try:
                data = os.read(self._pipe, 65536)
            except BlockingIOError:
                return found
            lines = (self._rest + data).split(b"\n")
            self._rest = lines.pop()
            for line in lines:
                match = _WRITE.search(line)
                if match:
                    t_s, number, level = match.groups()
                    found.append(Write(float(t_s), int(number) - self._base, level == b"1"))
