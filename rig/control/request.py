"""Request for one run, in terms of the machine; control knows nothing of studies."""

from typing import Literal

from rig.runfile.model import AskedRun


class RunRequest(AskedRun, frozen=True, kw_only=True):
    """Request for one raise to one slide, with the distances that the machine needs.

    `rate_deg_s` and `dwell_s` control the machine; the rest goes into the file's header.
    """

    gap_mm: float
    u_gap_mm: float
    bag_length_mm: float
    u_bag_length_mm: float
    source: Literal["rig", "twin"] = "rig"
