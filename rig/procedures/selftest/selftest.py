"""Self-test: each part is checked in turn, with one line of result."""

from collections.abc import Callable
from pathlib import Path
from statistics import mean, stdev

from rig.clock import At, Task
from rig.control.machine import Machine
from rig.control.process.host import free_mb, keeps_outputs
from rig.devices.imu import Counts
from rig.procedures.selftest.moves import Finding, try_moves

LISTEN_S = 1.5
MOST_BIAS_DEG_S = 25.0
"""Zero-rate level: ±20 °/s at most by PS-MPU-6000A, ±1 °/s by DS12814."""
MOST_NOISE_DEG_S = 0.5
"""At rest; the sensors' own is below 0.1 °/s."""


def self_test(
    machine: Machine, *, move: bool, ask: Callable[[str], None] | None = None
) -> Task[list[Finding]]:
    """Task: test an opened machine.

    Args:
        machine: opened; its watching tasks must be running.
        move: also home the board and move it, and the blade, a little.
        ask: asks a person to press start before anything moves; None: the person has already
            confirmed that nobody is near.
    """
    findings = [*_disk(machine), *_released(machine), *_inputs(machine), *_bus(machine)]
    findings += yield from _angle(machine)
    findings += _climate(machine)
    if not machine.has_motor:
        findings += yield from _gyroscope(machine)
        text = "raised by hand: no motor, switches, stop circuit or movement to test"
        findings.append(Finding("board", True, text))
    elif move:
        if all(finding.is_good for finding in findings):
            findings += yield from try_moves(machine, ask)
        else:
            findings.append(
                Finding("movement", False, "not tried, because something above is not right")
            )
    return findings


def _disk(machine: Machine) -> list[Finding]:
    place = Path(machine.settings.files.runs).absolute()
    free = free_mb(place)
    if free is None:
        return [Finding("disk", False, f"free space where {place} lies can't be read")]
    good = free >= machine.settings.interlocks.min_free_mb
    return [Finding("disk", good, f"{free:,.0f} MB free for {place}")]


def _released(machine: Machine) -> list[Finding]:
    """Look at what the kernel does with an output whose program was killed, if it says so."""
    keeps = keeps_outputs(machine.host.root)
    if keeps is None:
        return []
    text = "become inputs when a program ends, however it ends"
    if keeps:
        text = (
            "stay driven when a program is killed, so the motor may stay on: add"
            " `dtparam=strict_gpiod` under [all] in config.txt and restart"
        )
    return [Finding("released pins", not keeps, text)]


def _inputs(machine: Machine) -> list[Finding]:
    inputs = machine.inputs
    findings = (
        []
        if not machine.has_motor
        else [
            Finding(
                "emergency stop",
                not inputs.emergency_stop_pressed,
                "pressed, or its wire is broken" if inputs.emergency_stop_pressed else "released",
            ),
            Finding(
                "upper switch",
                not inputs.limit_upper_reached,
                "open: board at the top, or wire broken"
                if inputs.limit_upper_reached
                else "closed",
            ),
            Finding(
                "lower switch",
                True,
                "open: board at home" if inputs.limit_lower_reached else "closed: board above home",
            ),
        ]
    )
    for n in range(1, machine.inputs.beams + 1):
        broken = inputs.beam_broken(n)
        text = "broken: something stands in it, or it is not aimed" if broken else "clear"
        findings.append(Finding(f"beam {n}", not broken, text))
    held = [name for name in ("start_button", "stop_button") if inputs.levels()[name]]
    findings.append(
        Finding("buttons", not held, f"held: {', '.join(held)}" if held else "not pressed")
    )
    return findings


def _bus(machine: Machine) -> list[Finding]:
    found = machine.bus.scan()
    wanted = {machine.settings.bus.imu_address, machine.settings.bus.climate_address}
    names = ", ".join(f"0x{address:02X}" for address in found) or "no chip"
    return [Finding("bus", wanted <= set(found), f"answers from {names}")]


def _angle(machine: Machine) -> Task[list[Finding]]:
    """Check the sensor at rest: rate, noise, and size of gravity."""
    counts: list[tuple[int, int, int]] = []
    began_s = machine.clock.time_s()
    with machine.listening_to_counts(counts):
        yield At(began_s + LISTEN_S)
    setup = machine.imu.setup
    name = f"angle sensor ({setup.model})"
    if len(counts) < 20:
        return [Finding(name, False, f"only {len(counts)} samples in {LISTEN_S:g} s")]
    scale = machine.imu.counts_per_g
    axes = [[sample[i] / scale for sample in counts] for i in range(3)]
    size_g = sum(mean(axis) ** 2 for axis in axes) ** 0.5
    noise_mg = 1e3 * max(stdev(axis) for axis in axes)
    good = abs(size_g - 1.0) < 0.1 and 0 < noise_mg < 20
    text = f"{setup.rate_hz:.1f} samples/s, gravity {size_g:.3f} g, noise {noise_mg:.2f} mg"
    findings = [Finding(name, good, text)]
    if machine.calibration is None:
        findings.append(Finding("calibration", False, "none: make one with `rig level`"))
    else:
        findings.append(Finding("calibration", True, f"made {machine.calibration.made_at}"))
    return findings


def _gyroscope(machine: Machine) -> Task[list[Finding]]:
    """Check that the gyroscope is alive, and at rest with the board."""
    turns: list[Counts] = []
    with machine.listening(lambda batch: turns.extend(batch.gyro_counts)):
        yield At(machine.clock.time_s() + LISTEN_S)
    per_deg_s = machine.imu.setup.gyro_counts_per_deg_s
    if len(turns) < 20 or per_deg_s is None:
        return [Finding("gyroscope", False, f"only {len(turns)} samples in {LISTEN_S:g} s")]
    axes = [[turn[i] / per_deg_s for turn in turns] for i in range(3)]
    most, noise = max(abs(mean(axis)) for axis in axes), max(stdev(axis) for axis in axes)
    good = most < MOST_BIAS_DEG_S and 0.0 < noise < MOST_NOISE_DEG_S
    text = f"at rest up to {most:.2f} °/s, noise {noise:.3f} °/s"
    return [Finding("gyroscope", good, text if good else f"{text}: does the board lie still?")]


def _climate(machine: Machine) -> list[Finding]:
    live = machine.live
    if live.temperature_c is None or live.relative_humidity_pct is None:
        return [Finding("climate sensor", False, "has not answered")]
    text = f"{live.temperature_c:.1f} °C, {live.relative_humidity_pct:.0f} %RH"
    return [Finding("climate sensor", True, f"{text}, {live.pressure_hpa or 0:.0f} hPa")]
