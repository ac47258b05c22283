"""Figures of one run: the whole raise, and the moment of the onset with the motion fitted to it."""

import math
from typing import TYPE_CHECKING

import numpy as np

from rig.analysis.angle.plane import Array
from rig.analysis.angle.ramp import BLOCK_S, steps_angle
from rig.analysis.friction import RunAnalysis
from rig.analysis.onset.geometry import run_geometry
from rig.calibration.apply import along_slope_deg, gravity_g, inclination_deg
from rig.calibration.model import Calibration
from rig.quantities.shown import Shown
from rig.report.style import (
    DASHES,
    FAINT,
    GRID,
    INK,
    KNOWN,
    RECKONED,
    WASH,
    finish,
    legend_above,
    new_figure,
    value_axis,
)
from rig.runfile.reader import RunFile

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LETTER_SHARE, SHORTEST_SHARE = 0.0165, 0.01
"""Parts of the whole time: what a letter takes, and the shortest state that is named."""


def run_figure(analysis: RunAnalysis, calibration: Calibration | None = None) -> "Figure | None":
    """Angle, step angle, beam and states over time; None for a run without samples."""
    run = analysis.run
    calibration = calibration or run.header.calibration
    t_s, angle = sensor_blocks(run, calibration, along=True)
    if not len(t_s):
        return None
    steps_s, steps_deg = steps_angle(run)
    figure = new_figure(5.0)
    axes = figure.subplots(3, 1, sharex=True, height_ratios=(3.2, 1.4, 1.1))
    top, middle, bottom = axes
    top.plot(t_s, angle, ".", color=KNOWN, markersize=2.6, label="angle sensor")
    if len(steps_s):
        top.plot(steps_s, steps_deg, color=RECKONED, linewidth=1.2, label="step count")
    result, solved = analysis.result, analysis.solved
    if solved is not None and result.onset_angle_deg is not None:
        onset = result.onset_angle_deg
        top.plot([solved.onset_s], [onset], "D", color=RECKONED, markeredgecolor=INK, zorder=5)
        top.annotate(
            f"starts to slide at {onset:.2f}°",
            (solved.onset_s, onset),
            (-8, 4),
            textcoords="offset points",
            ha="right",
        )
    value_axis(top, "inclination, °", "y")
    legend_above(top)
    _differences(middle, t_s, angle, steps_s, steps_deg)
    _states(bottom, run, float(t_s[-1]))
    bottom.set_xlabel("time since the run began, s")
    bottom.set_xlim(0.0, float(t_s[-1]) * 1.01)
    header = run.header
    who = " ".join(part for part in (header.bag, header.face) if part) or header.run_id
    finish(
        figure,
        f"One run: {who}, raised at {header.rate_deg_s:g} °/s",
        f"Points: means over {BLOCK_S:g} s of the angle sensor, n = {len(t_s)}; line: angle from "
        "the count of steps. No bars: one run.",
    )
    return figure


def sensor_blocks(
    run: RunFile, calibration: Calibration | None, *, along: bool = False
) -> tuple[Array, Array]:
    """Times in s and angles in °, by the angle sensor, averaged over blocks.

    Args:
        run: the run as read.
        calibration: of its sensor.
        along: the slope along the board instead of the inclination, which has no sign at level.
    """
    t_s, counts = run.samples_arrays()
    if calibration is None or not len(t_s):
        return np.empty(0), np.empty(0)
    angle_of = along_slope_deg if along else inclination_deg
    angle = angle_of(calibration, gravity_g(calibration, counts, None))
    t_s = t_s - calibration.filter_delay_ms / 1000.0
    place = np.floor((t_s - t_s[0]) / BLOCK_S).astype(int)
    n = np.bincount(place)
    filled = n > 0
    times = np.bincount(place, t_s)[filled] / n[filled]
    means = np.bincount(place, angle)[filled] / n[filled]
    return times, means


def _differences(axes: "Axes", t_s: Array, angle: Array, steps_s: Array, steps_deg: Array) -> None:
    value_axis(axes, "sensor −\nsteps, °", "y")
    if not len(steps_s):
        axes.text(0.5, 0.5, "no step count", transform=axes.transAxes, ha="center", color=FAINT)
        return
    inside = (t_s >= steps_s[0]) & (t_s <= steps_s[-1])
    off = angle[inside] - np.interp(t_s[inside], steps_s, steps_deg)
    axes.axhline(0.0, color=FAINT, linewidth=0.8)
    axes.plot(t_s[inside], off, ".", color=KNOWN, markersize=2.6)
    # Starting and stopping shakes the sensor; that must not hide what lies between.
    limit = max(0.1, 1.5 * float(np.percentile(np.abs(off), 95)))
    axes.set_ylim(-limit, limit)


def _states(axes: "Axes", run: RunFile, end_s: float) -> None:
    events = [e for e in run.events if e.event == "state"]
    ends = [*(e.t_s for e in events[1:]), end_s]
    for place, (event, until) in enumerate(zip(events, ends, strict=False)):
        width = max(until - event.t_s, 0.0)
        colour = WASH if place % 2 else GRID
        axes.barh(1.0, width, 0.8, event.t_s, color=colour, edgecolor=FAINT, linewidth=0.6)
        name = str(event.detail.get("state", ""))
        inside = width >= LETTER_SHARE * len(name) * end_s
        if inside or width >= SHORTEST_SHARE * end_s:
            middle = event.t_s + width / 2.0
            height = 1.0 if inside else 1.5
            axes.text(
                middle, height, name, ha="center", va="center" if inside else "bottom", fontsize=7.5
            )
    beams = run.header.settings.beams
    for beam in range(1, beams + 1):
        height = -(beam - 1) * 1.0
        since: float | None = None
        for event in run.events:
            if event.event not in ("beam_broken", "beam_clear"):
                continue
            if event.detail.get("beam", 1) != beam:
                continue
            if event.event == "beam_broken":
                since = event.t_s if since is None else since
            elif since is not None:
                axes.barh(height, event.t_s - since, 0.6, since, color=INK, edgecolor=INK)
                since = None
        if since is not None:
            axes.barh(height, end_s - since, 0.6, since, color=INK, edgecolor=INK)
        axes.axhline(height - 0.3, color=FAINT, linewidth=0.6)
    names = ["state", *(f"beam {b} broken" if beams > 1 else "beam broken" for b in (1, 2)[:beams])]
    axes.set_yticks([1.0, 0.0, -1.0][: beams + 1], names)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(visible=False, axis="y")
    axes.set_ylim(-0.5 - (beams - 1), 2.1)


def onset_figure(
    analysis: RunAnalysis, length: Shown, calibration: Calibration | None = None
) -> "Figure | None":
    """The onset close up: the bag's way by the fitted motion, and the ramp; None without one."""
    solved, case, ramp = analysis.solved, analysis.case, analysis.ramp
    result, run = analysis.result, analysis.run
    if solved is None or case is None or ramp is None or result.onset_angle_deg is None:
        return None
    last_s = case.last_edge_s
    span = max(last_s - solved.onset_s, 0.2)
    low, high = solved.onset_s - 0.6 * span, last_s + 0.25 * span
    figure = new_figure(4.8)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(1.5, 1.0))
    _motion(top, analysis, length, high)
    times, angles = sensor_blocks(run, calibration or run.header.calibration)
    near = (times >= low) & (times <= high)
    bottom.plot(times[near], angles[near], "o", color=KNOWN, markersize=3.2, label="sensor")
    grid = np.linspace(low, high, 120)
    bottom.plot(grid, ramp.angle_deg(grid), color=RECKONED, linewidth=1.3, label="fitted ramp")
    onset, broken = result.onset_angle_deg, result.angle_at_break_deg
    _level(bottom, low, solved.onset_s, onset, f"onset {onset:.2f}°", is_below=True)
    if broken is not None:
        _level(bottom, low, case.first.broken_s, broken, f"at the break {broken:.2f}°")
    value_axis(bottom, "inclination, °", "y")
    bottom.legend(loc="lower right")
    bottom.set_xlim(low, high)
    bottom.set_xlabel("time since the run began, s")
    for axes in (top, bottom):
        axes.axvline(solved.onset_s, color=INK, linewidth=0.9, linestyle=DASHES[2])
        axes.axvline(case.first.broken_s, color=FAINT, linewidth=0.9, linestyle=DASHES[1])
    u = result.u_onset_angle_deg
    said = "" if u is None else f" ± {u:.2f}° (standard uncertainty, k = 1)"
    finish(
        figure,
        "The onset: where the fitted motion starts from rest",
        f"Slide angle {onset:.2f}°{said}. One run; bars on the edges: standard uncertainty of "
        "where gap and length put the bag.",
    )
    return figure


def _level(
    axes: "Axes", left_s: float, t_s: float, value: float, text: str, *, is_below: bool = False
) -> None:
    axes.plot([left_s, t_s], [value, value], color=FAINT, linewidth=0.9)
    axes.annotate(
        text,
        (left_s, value),
        (4, -3 if is_below else 2),
        textcoords="offset points",
        fontsize=8,
        va="top" if is_below else "bottom",
    )


def _motion(axes: "Axes", analysis: RunAnalysis, length: Shown, high: float) -> None:
    solved, case = analysis.solved, analysis.case
    assert solved is not None and case is not None  # noqa: S101, PT018
    value_axis(axes, f"path of the bag, {length.unit}", "y")
    axes.axhline(0.0, color=FAINT, linewidth=0.8)
    place = run_geometry(analysis.run, [])
    gap = solved.found.to_break_mm
    clear = gap + place.to_clear_mm - place.to_break_mm
    u_clear = math.hypot(place.u_gap_mm, place.u_length_mm)
    edges = [(case.first.broken_s, gap, place.u_to_break_mm, "beam breaks", (9, -7, "left", "top"))]
    if case.first.clear_s is not None:
        at = (-9, 3, "right", "bottom")
        edges.append((case.first.clear_s, clear, u_clear, "beam clears", at))
    if solved.mu_kinetic is None:
        axes.set_title("No motion fitted: only one edge is known", fontweight="normal")
    else:
        grid = np.linspace(solved.onset_s, max(edges[-1][0] + 0.06, solved.onset_s + 0.1), 90)
        way = [length.of(float(mm)) for mm in solved.found.motion_mm(grid)]
        axes.plot(grid, way, color=RECKONED, label=f"fit, µk = {solved.mu_kinetic:.3f}")
    for t, value, u, text, (x, y, across, along) in edges:
        axes.errorbar(
            [t],
            [length.of(value)],
            [length.of(u)],
            fmt="s",
            color=KNOWN,
            markersize=3.2,
            elinewidth=1.2,
            capsize=5,
            label="edges of the beam" if t == edges[0][0] else None,
        )
        where = (t, length.of(value))
        axes.annotate(
            text, where, (x, y), textcoords="offset points", ha=across, va=along, fontsize=8
        )
    where = (solved.onset_s, 0.0)
    axes.annotate("onset", where, (-4, 3), textcoords="offset points", ha="right", fontsize=8)
    axes.margins(y=0.12)
    axes.legend(loc="upper left")
