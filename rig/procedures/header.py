"""Header of a run file, from the request and the machine."""

from importlib.metadata import version
from pathlib import Path
from typing import Literal

from msgspec import structs

from rig.control.machine import Machine
from rig.control.process.host import free_mb
from rig.control.request import RunRequest
from rig.errors import BadInputError
from rig.runfile.model import Header, RunSettings

CLOCK_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
TIMESYNC = Path("/run/systemd/timesync")


def make_header(
    machine: Machine,
    request: RunRequest,
    run_id: str,
    started_at: str,
    placing: Literal["blade", "hand"],
) -> Header:
    """Make the header of one run from the request's plan and the machine's state."""
    settings = machine.settings
    return Header(
        run_id=run_id,
        started_at=started_at,
        clock_synchronised=clock_is_synchronised() if request.source == "rig" else True,
        rig=settings.name,
        settings=RunSettings(
            linkage=settings.linkage,
            screw=settings.screw,
            beam=settings.beam,
            beams=2 if machine.inputs.beams == 2 else 1,
            imu=machine.imu.setup,
            slump_mm=settings.bag.slump_mm,
            u_slump_mm=settings.bag.u_slump_mm,
        ),
        calibration=machine.calibration,
        software=f"rig {version('rig')}",
        placing=placing,
        raised_by=settings.motion.raised_by,
        **structs.asdict(request),
    )


def clock_is_synchronised() -> bool | None:
    """Whether the wall clock was set from the network since boot; None if unknown."""
    return CLOCK_SYNCHRONISED.exists() if TIMESYNC.exists() else None


def check_free_space(folder: Path, min_free_mb: float) -> None:
    """Raise BadInputError if the disk for the run is nearly full."""
    free = free_mb(folder)
    if free is not None and free < min_free_mb:
        raise BadInputError(
            f"Only {free:.0f} MB are free where {folder} lies, and a run needs"
            f" {min_free_mb:g} MB (`interlocks.min_free_mb`); free some space or"
            " choose another folder with --out."
        )
