"""`rig safe`: motor off, now, whoever holds its pin."""

import sys

from rig.commands.options import Json, RigFile, print_json, settings_of, tell


def safe(rig: RigFile = None, json: Json = False) -> None:
    """Switch the motor's driver off, also when another process has died or holds the pin.

    A process that uses the rig is asked to end, and killed if it does not. Exit code 1 if the
    driver could not be switched off: then use the emergency stop.
    """
    from rig.clock import RealClock
    from rig.control.process.lock import lock_path
    from rig.control.process.safe import make_safe
    from rig.devices.pins import header_chip, real_factory

    settings = settings_of(rig)
    header_chip()
    lock = lock_path(settings.bus.number)
    steps, is_off = [], True
    for enable in (settings.pins.enable, settings.pins.blade_enable):
        if enable is not None:
            steps += make_safe(RealClock(), enable, lock, real_factory)
            is_off = is_off and steps[-1].is_done
    if json:
        print_json({"is_off": is_off, "steps": [step._asdict() for step in steps]})
    else:
        for way, is_done, text in steps:
            tell(text, f"{'done' if is_done else 'NOT '}  {way:<16} ")
    if not is_off:
        sys.exit(1)
