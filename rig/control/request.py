"""What is asked of one run, in plain words of the machine; control knows nothing of studies."""

from typing import Literal

from msgspec import Struct


class RunRequest(Struct, frozen=True, kw_only=True):
    """One raise to one slide.

    `rate_deg_s` and `dwell_s` are what the machine does; the rest goes into the file's header.
    """

    rate_deg_s: float
    dwell_s: float
    gap_mm: float
    u_gap_mm: float
    bag_length_mm: float
    u_bag_length_mm: float
    bag: str | None = None
    face: str | None = None
    leading_edge: str | None = None
    set: str | None = None
    bag_mass_g: float | None = None
    board: str | None = None
    board_cleaned_at: str | None = None
    treatment_stage: str | None = None
    operator: str | None = None
    session: str | None = None
    series: str | None = None
    repeat: int | None = None
    slide_number: int | None = None
    slides_before: int | None = None
    approach: Literal["from_dry", "from_damp", "unknown"] = "unknown"
    conditioned_h: float | None = None
    approach_deg: float | None = None
    """Go fast up to here, then on at the measuring rate; None: measure from level on."""
    source: Literal["rig", "twin"] = "rig"
