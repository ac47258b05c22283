"""A calibration and its home readings as text."""

from collections.abc import Callable, Sequence
from textwrap import fill, wrap
from typing import Any

import msgspec
import numpy as np

from rig.calibration.apply import u_inclination_deg
from rig.calibration.history import HomeDrift, HomeRecord
from rig.calibration.model import Calibration, Vibration
from rig.quantities.shown import System, system

ANGLES_DEG = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0)
BAR = 40


def u_over_range(calibration: Calibration) -> list[tuple[float, float]]:
    """Inclinations and their standard uncertainty due to the calibration, both in degrees."""
    level, axis = np.array(calibration.level), np.array(calibration.axis)
    turned = np.cross(axis, level)
    turned /= np.linalg.norm(turned)
    rows = []
    for angle in ANGLES_DEG:
        gravity = np.cos(np.radians(angle)) * level + np.sin(np.radians(angle)) * turned
        rows.append((angle, float(np.hypot(*u_inclination_deg(calibration, gravity)))))
    return rows


def calibration_document(calibration: Calibration) -> dict[str, Any]:
    """The calibration as plain data, with its uncertainty over the range."""
    document: dict[str, Any] = msgspec.to_builtins(calibration)
    document["u_inclination"] = [
        {"angle_deg": angle, "u_angle_deg": u} for angle, u in u_over_range(calibration)
    ]
    return document


def calibration_text(calibration: Calibration, units: System = "metric", columns: int = 80) -> str:
    """Values, residuals and uncertainty as text for so many columns."""

    def folded(text: str) -> str:
        return fill(text, min(columns, 80), break_on_hyphens=False)

    sensor, u = calibration.sensor, np.sqrt(np.diag(np.array(calibration.covariance)))
    lines = [
        f"made {calibration.made_at}, due again {calibration.due_at}",
        f"sensor {sensor.model} {sensor.identity} at 0x{sensor.address:02x},"
        f" {system(units)['c'].text(calibration.temperature_c, 1)}",
        folded(
            f"reference {calibration.reference or 'not named'},"
            f" u = {calibration.u_reference_deg:.3f}°"
        ),
        "",
        f"{'':<8} {'x':>20} {'y':>20} {'z':>20}",
    ]
    for name, values, first in (("bias g", calibration.bias_g, 0), ("gain", calibration.gain, 3)):
        cells = " ".join(
            f"{f'{value:+.5f} ± {u[first + i]:.5f}':>20}" for i, value in enumerate(values)
        )
        lines.append(f"{name:<8} {cells}")
    for name, vector in (("level", calibration.level), ("hinge", calibration.axis)):
        lines.append(f"{name:<8} " + " ".join(f"{value:>+20.5f}" for value in vector))
    lines += [
        "",
        folded(
            f"filter delay {calibration.filter_delay_ms:.1f} ±"
            f" {calibration.u_filter_delay_ms:.1f} ms, noise {1e3 * calibration.noise_g:.2f} mg,"
            f" home {calibration.home_angle_deg:+.2f}° along and"
            f" {calibration.home_cross_deg:+.2f}° across"
        ),
    ]
    if calibration.residuals_deg:
        lines += ["", "residuals, reference minus sensor:"]
        angles = calibration.angles_deg or (0.0,) * len(calibration.residuals_deg)
        for angle, residual in zip(angles, calibration.residuals_deg, strict=True):
            lines.append(f"  {angle:6.2f}°  {residual:+.3f}°  {_mark(residual, 0.1)}")
    rows = u_over_range(calibration)
    top = max(value for _, value in rows)
    lines += ["", "standard uncertainty of the inclination due to the calibration:"]
    for angle, value in rows:
        lines.append(f"  {angle:5.0f}°  {value:.3f}°  {'#' * round(BAR * value / top)}")
    if calibration.vibration is not None:
        lines += ["", *_spectrum(calibration.vibration, folded)]
    lines += [folded(f"note: {note}") for note in calibration.notes]
    return "\n".join(lines)


def _spectrum(found: Vibration, folded: Callable[[str], str]) -> list[str]:
    """Bars of the sweep's spectrum, two lines per bar, and the motor's lines in it."""
    lines = [
        folded(
            f"vibration in the sweep, mg, at {found.sample_rate_hz:.1f} samples/s after a low-pass"
            f" of {found.lowpass_hz:.1f} Hz:"
        )
    ]
    # Below the first bar lies the turning of the board itself.
    pairs = list(zip(found.frequency_hz[2:], found.amplitude_g[2:], strict=True))
    bars = [max(pairs[k : k + 2], key=lambda pair: pair[1]) for k in range(0, len(pairs), 2)]
    top = max((amplitude for _, amplitude in bars), default=0.0) or 1.0
    for frequency, amplitude in bars:
        bar = "#" * round(BAR * amplitude / top)
        lines.append(f"  {frequency:6.1f} Hz  {1e3 * amplitude:7.3f}  {bar}".rstrip())
    for name, hz, seen_hz, line in zip(
        ("pulses", "second harmonic"), found.pulse_hz, found.folded_hz, found.line_g, strict=True
    ):
        seen = "folded to near 0, not seen" if line is None else f"{1e3 * line:.3f} mg"
        lines.append(f"  the motor's {name} at {hz:.0f} Hz, folded to {seen_hz:.0f} Hz: {seen}")
    return [*lines, *map(folded, found.suggests)]


def history_text(
    made_at: str, records: Sequence[HomeRecord], trend: HomeDrift, columns: int = 80
) -> str:
    """The home readings as a chart in so many columns, and their likely causes."""
    span = max(0.1, *(abs(record.angle_deg) for record in records))
    head = f"{'run':<16} {'along':>8} {'across':>8} {'hinge':>7} {'bend':>7}"
    room = min(BAR, (columns - len(head) - 3) // 2 * 2)
    has_chart = room >= BAR // 3
    lines = [
        *wrap(f"home readings minus those of the calibration of {made_at[:16]}", columns),
        f"{head}  along, ±{span:.2f}°" if has_chart else head,
    ]
    for record in records:
        figures = (
            f"{record.started_at[:16].replace('T', ' '):<16} {record.angle_deg:>+7.3f}°"
            f" {record.cross_deg:>+7.3f}°"
            f" {_or_dash(record.axis_shift_deg)} {_or_dash(record.bend_deg)}"
        )
        lines.append(f"{figures}  {_mark(record.angle_deg, span, room)}" if has_chart else figures)
    words = (fill(one, min(columns, 80), break_on_hyphens=False) for one in trend.words)
    return "\n".join([*lines, "", *words])


def _or_dash(value: float | None) -> str:
    return f"{'–':>7}" if value is None else f"{value:>+6.2f}°"


def _mark(value: float, span: float, wide: int = BAR) -> str:
    """A mark on a line whose middle is zero."""
    half = wide // 2
    place = round(half * max(-1.0, min(1.0, value / span)))
    cells = [" "] * (wide + 1)
    cells[half] = "|"
    cells[half + place] = "o"
    return "".join(cells).rstrip()
