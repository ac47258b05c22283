"""A run on one line."""

from rig.analysis.row import RunResult

HEAD = (
    f"{'slide':>5}  {'angle':>14}  {'at break':>8}  {'µ static':>15}  {'µ kinetic':>9}"
    f"  {'°C':>5}  {'%RH':>4}  outcome, flags"
)


def row_of(result: RunResult) -> str:
    """One run on one line, under `HEAD`; ± is the standard uncertainty (k = 1)."""

    def figure(value: float | None, form: str, unit: str = "") -> str:
        return "–" if value is None else f"{value:{form}}{unit}"

    angle = figure(result.onset_angle_deg, ".2f")
    if result.u_onset_angle_deg is not None:
        angle += f" ± {result.u_onset_angle_deg:.2f}°"
    mu = figure(result.mu_static, ".4f")
    if result.u_mu_static is not None:
        mu += f" ± {result.u_mu_static:.4f}"
    words = " ".join((result.outcome or "interrupted", *result.flags))
    return (
        f"{figure(result.slide_number, 'd'):>5}  {angle:>14}"
        f"  {figure(result.angle_at_break_deg, '.2f', '°'):>8}  {mu:>15}"
        f"  {figure(result.mu_kinetic, '.3f'):>9}  {figure(result.temperature_c, '.1f'):>5}"
        f"  {figure(result.relative_humidity_pct, '.0f'):>4}  {words}"
    )
