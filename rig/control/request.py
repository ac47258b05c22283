"""What is asked of one run, in plain words of the machine; control knows nothing of studies."""

from typing import Literal

from rig.runfile.model import AskedRun


class RunRequest(AskedRun, frozen=True, kw_only=True):
    """One raise to one slide by a machine, which needs the distances.

    `rate_deg_s` and `dwell_s` are what the machine does; the rest goes into the file's header.
    """

    gap_mm: float
    u_gap_mm: float
    bag_length_mm: float
    u_bag_length_mm: float
    source: Literal["rig", "twin"] = "rig"
