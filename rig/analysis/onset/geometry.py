"""The distances of one run: what was placed counts before what was planned."""

import math

from rig.analysis.onset.estimate import Geometry
from rig.analysis.row import number
from rig.runfile.model import Flag
from rig.runfile.reader import RunFile

BAG_LENGTH_MM, U_BAG_LENGTH_MM = 152.0, 10.0
GAP_MM, U_GAP_MM = 8.0, 4.0
"""Taken, with a wide uncertainty, where neither plan nor event says more."""

ONE_SIDED = math.sqrt(3.0) / 2.0
"""A bag that was laid down askew is longer along the slide, never shorter. If its lengthening lies
anywhere between 0 and √3·u, its root mean square is u and its mean is this part of u."""


def run_geometry(run: RunFile, flags: list[Flag]) -> Geometry:
    """The distances; an unknown gap is flagged."""
    header = run.header
    placed = [event.detail for event in run.events if event.event == "placed"]
    detail = placed[-1] if placed else {}
    gap = number(detail.get("gap_mm"))
    u_gap = number(detail.get("u_gap_mm"))
    if gap is None:
        gap, u_gap = header.gap_mm, header.u_gap_mm if u_gap is None else u_gap
    if gap is None:
        flags.append("gap_unknown")
        gap, u_gap = GAP_MM, U_GAP_MM
    settings = header.settings
    length, u_length = header.bag_length_mm, header.u_bag_length_mm
    if length is None:
        length, u_length = BAG_LENGTH_MM, U_BAG_LENGTH_MM
    u_length = 4.0 if u_length is None else u_length
    if header.placing == "hand":
        length += ONE_SIDED * u_length
    return Geometry(
        gap_mm=gap,
        u_gap_mm=1.0 if u_gap is None else u_gap,
        slump_mm=settings.slump_mm,
        u_slump_mm=settings.u_slump_mm,
        length_mm=length,
        u_length_mm=u_length,
        spacing_mm=settings.beam.second_spacing_mm,
        u_spacing_mm=settings.beam.u_second_spacing_mm,
    )
