"""The computer's own state: supply, disk, clocks."""

import shutil
from pathlib import Path

from rig.clock import Clock

PERIOD_S = 1.5
"""Interval of the checks; each costs a system call."""

THROTTLED = Path("sys/devices/platform/soc/soc:firmware/get_throttled")
COMPATIBLE = Path("proc/device-tree/compatible")
PERSISTS = "sys/module/{driver}/parameters/persist_gpio_outputs"
"""Parameter of the drivers of a Pi's pins (raspberrypi/linux pull requests 6117 and 6150); what
`dtparam=strict_gpiod` switches off."""
UNDER_VOLTAGE_NOW = 0x1
"""Bit 0 of the firmware's word: the supply is too low now (from memory)."""


class Host:
    """The computer that the program runs on.

    Args:
        clock: tells monotonic and wall time.
        root: where the kernel's file tree begins.
    """

    def __init__(self, clock: Clock, root: Path = Path("/")) -> None:
        self.folder: Path | None = None
        """Folder for run files; None while nothing is written."""
        self.is_supply_low = False
        self.free_mb: float | None = None
        self.clock_jump_s = 0.0
        """Divergence of wall time from monotonic time since the last `mark`."""
        self._clock = clock
        self.root = root
        self._due_s = float("-inf")
        self._mark_s = self._apart_s()

    def mark(self) -> None:
        """Take the present difference of the two clocks as the reference."""
        self._mark_s = self._apart_s()
        self.clock_jump_s = 0.0

    def look(self) -> None:
        """Check again if the interval is over."""
        now_s = self._clock.time_s()
        if now_s < self._due_s:
            return
        self._due_s = now_s + PERIOD_S
        self.is_supply_low = self._supply_low()
        self.clock_jump_s = self._apart_s() - self._mark_s
        self.free_mb = None if self.folder is None else free_mb(self.folder)

    def _apart_s(self) -> float:
        return self._clock.utc_now().timestamp() - self._clock.time_s()

    def _supply_low(self) -> bool:
        """Read the firmware's word where there is one, else the kernel's alarm."""
        try:
            word = int((self.root / THROTTLED).read_text("ascii"), 16)
        except (OSError, ValueError):
            return any(_is_alarm(chip) for chip in self.root.glob("sys/class/hwmon/hwmon*"))
        return bool(word & UNDER_VOLTAGE_NOW)


def _is_alarm(chip: Path) -> bool:
    """Whether this is the Pi's own supply monitor, and it raises its alarm."""
    try:
        is_pi = (chip / "name").read_text("ascii").strip() == "rpi_volt"
        return is_pi and (chip / "in0_lcrit_alarm").read_text("ascii").strip() == "1"
    except OSError:
        return False


def free_mb(folder: Path) -> float | None:
    """Free space where `folder` is or will be, in MB; None if unknown."""
    place = folder.absolute()
    while not place.exists():
        place = place.parent
    try:
        return shutil.disk_usage(place).free / 1e6
    except OSError:
        return None


def keeps_outputs(root: Path) -> bool | None:
    """Whether an output stays driven after its program has ended; None where the kernel won't say.

    Args:
        root: where the kernel's file tree begins.
    """
    try:
        is_five = b"bcm2712" in (root / COMPATIBLE).read_bytes()
        driver = "pinctrl_rp1" if is_five else "pinctrl_bcm2835"
        text = (root / PERSISTS.format(driver=driver)).read_text("ascii")
    except (OSError, ValueError):
        return None
    return text.strip() in ("Y", "1")
