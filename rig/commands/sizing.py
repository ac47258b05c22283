"""`rig sizing`: what the mechanics carry, and the margins that are left."""

from rig.commands.options import Json, RigFile, print_json, settings_of


def sizing(rig: RigFile = None, json: Json = False) -> None:
    """Work out loads over the travel and margins of the mechanics; warn where one is too small."""
    from rig.motion.sizing import Figure, size

    found = size(settings_of(rig))
    if json:
        print_json(
            {
                "stations": [station._asdict() for station in found.stations],
                "figures": [
                    {**figure._asdict(), "is_enough": figure.is_enough} for figure in found.figures
                ],
                "warnings": [figure.name for figure in found.warnings],
            }
        )
        return

    def line(figure: Figure) -> str:
        bound = ""
        if figure.least is not None:
            bound = f"at least {figure.least:g}"
        elif figure.most is not None:
            bound = f"at most {figure.most:g}"
        mark = "good" if bound and figure.is_enough else "LOW " if figure.least else "HIGH"
        remark = "; ".join(text for text in (bound, figure.about) if text)
        value = f"{figure.value:>9.4g} {figure.unit:<8}"
        return f"{mark if bound else '    '}  {figure.name:<38} {value} {remark}".rstrip()

    print("angle  screw  lever  push  torque  pulses/s  pull-out  motor  buckling   one pulse")
    for s in found.stations:
        print(
            f"{s.angle_deg:4.0f}°{s.screw_mm:6.0f} mm{s.lever_mm:4.0f} mm{s.force_n:4.0f} N"
            f"{s.torque_n_m:6.2f} N·m{s.pulse_rate_hz:6.0f}  {s.pull_out_n_m:7.2f} N·m"
            f"{s.motor_margin:6.1f}×{s.buckling_margin:8.1f}×{1e3 * s.deg_per_pulse:9.2f} m°"
        )
    print()
    for figure in found.figures:
        print(line(figure))
    if found.warnings:
        names = ", ".join(figure.name for figure in found.warnings)
        print(f"\nWARNING: not as it should be: {names}.")
