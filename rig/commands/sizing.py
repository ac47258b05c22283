"""`rig sizing`: what the mechanics carry, and the margins that are left."""

from rig.commands.options import (
    Json,
    RigFile,
    columns,
    folded,
    print_json,
    print_table,
    settings_of,
    tell,
)


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
        value = f"{figure.value:>9.4g} {figure.unit}"
        text = f"{mark if bound else '    '}  {figure.name:<{min(38, columns() - 26)}} {value}"
        whole = f"{text:<64} {remark}".rstrip()
        return whole if len(whole) <= columns() else f"{text}\n{folded(remark, ' ' * 8)}"

    stations = (
        ("angle", "°", "angle_deg", ".0f"),
        ("screw", "mm", "screw_mm", ".0f"),
        ("lever", "mm", "lever_mm", ".0f"),
        ("push", "N", "force_n", ".0f"),
        ("torque", "N·m", "torque_n_m", ".2f"),
        ("pulses", "1/s", "pulse_rate_hz", ".0f"),
        ("pull-out", "N·m", "pull_out_n_m", ".2f"),
        ("motor", "margin", "motor_margin", ".1f"),
        ("buckling", "margin", "buckling_margin", ".1f"),
        ("one pulse", "°", "deg_per_pulse", ".5f"),
    )
    rows = [[f"{name} {unit}" for name, unit, _, _ in stations]]
    rows += [
        [f"{getattr(at, name):{form}}" for _, _, name, form in stations] for at in found.stations
    ]
    print_table(rows)
    print()
    for figure in found.figures:
        print(line(figure))
    if found.warnings:
        names = ", ".join(figure.name for figure in found.warnings)
        print()
        tell(f"WARNING: not as it should be: {names}.")
    else:
        print("\nAll margins are kept.")
