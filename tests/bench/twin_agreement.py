"""The fast simulator against the full twin on 50 seeds, and how fast each of them is.

    python -m tests.bench.twin_agreement [--seeds 50] [--write]

The full twin goes through pins, registers and the cycle; the fast one writes the same run file
from the same physics. Both draw the same truth from a seed, so their true angles must agree to
the length of a pulse, and their analysed ones to the noise of the sensor. Raises are whole at
1 °/s, and at 0.3 °/s with a quick start that ends 3° below the slide, or 1° above it.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from rig.analysis.friction import analyse_run
from rig.calibration.model import Calibration
from rig.opening import open_twin
from rig.procedures.requests import plan_series
from rig.procedures.runs import make_runs
from rig.runfile.reader import read_run
from rig.runfile.writer import SUFFIX
from rig.settings.model import Pins, Screw, Settings
from rig.twin.draws import draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.scenario import Scenario, Truth
from tests.bench.heading import Table, columns
from tests.bench.inputs import CYCLE, SIMULATOR
from tests.fastsim.run import simulate_run
from tests.twin_of import twin_of

TABLE = Table(
    "tests/bench/README.md",
    "two simulators",
    (
        *CYCLE,
        *SIMULATOR,
        *(f"rig/twin/{name}.py" for name in ("ground", "path", "placed")),
        "rig/twin/motor.py",
        "rig/twin/rig.py",
        "rig/twin/world.py",
        "tests/bench/twin_agreement.py",
    ),
)

ENDS_ABOVE_DEG = (-3.0, 1.0)
"""Where a quick start ends, beside the slide."""

Made = tuple[Path, Truth, float]
"""File, truth, CPU seconds."""


def full(
    settings: Settings, seed: int, folder: Path, scenario: Scenario | None = None, **asked: Any
) -> Made:
    """One run on the full twin: its file, its truth, the CPU seconds it took.

    Args:
        settings: of the rig.
        seed: of all draws.
        folder: of its file.
        scenario: what is true; drawn if not given.
        asked: fields of its request.
    """
    began = time.process_time()
    rig = open_twin(settings, scenario or draw_scenario(seed), seed)
    requests = plan_series(settings, 1, source="twin", started=rig.machine.clock.utc_now())
    requests = [msgspec.structs.replace(one, **asked) for one in requests]
    with rig:
        (made,) = rig.run(make_runs(rig.machine, requests, folder, start_now=False))
        truth = twin_of(rig).truths[-1]
    return made.path, truth, time.process_time() - began


def fast(
    settings: Settings, seed: int, folder: Path, calibration: Calibration | None, **asked: Any
) -> Made:
    """The same run by the fast simulator."""
    began = time.process_time()
    lines, truth = simulate_run(
        settings, draw_scenario(seed), seed, calibration=calibration, **asked
    )
    path = folder / f"fast-{seed}{SUFFIX}"
    encoder = msgspec.json.Encoder()
    path.write_bytes(b"".join(encoder.encode(line) + b"\n" for line in lines))
    return path, truth, time.process_time() - began


def agreement(n_seeds: int, folder: Path) -> Iterator[str]:
    """How far the two are apart, for one beam and for two, as Markdown."""
    yield from columns(
        *("raise", "beams", "runs", "other flags", "true angle: worst difference"),
        *("analysed angle: mean, sd", "µk: mean, sd"),
    )
    times: dict[str, list[float]] = {"full": [], "fast": []}
    for above_deg, beams in [(way, beams) for way in (None, *ENDS_ABOVE_DEG) for beams in (1, 2)]:
        settings = Settings() if beams == 1 else Settings(pins=Pins(beam_2=4))
        truths, angles, kinetic = [], [], []
        n_odd = 0
        for seed in range(1, n_seeds + 1):
            asked = started(settings, seed, above_deg)
            name = f"{beams}-{above_deg}-{seed}"
            full_path, full_truth, full_s = full(settings, seed, folder / name, **asked)
            slow = analyse_run(read_run(full_path))
            known = slow.run.header.calibration
            path, truth, fast_s = fast(settings, seed, folder, known, **asked)
            quick = analyse_run(read_run(path)).result
            if above_deg is None:
                times["full"].append(full_s)
                times["fast"].append(fast_s)
            assert full_truth.onset_angle_deg is not None
            assert truth.onset_angle_deg is not None
            truths.append(full_truth.onset_angle_deg - truth.onset_angle_deg)
            n_odd += slow.result.flags != quick.flags
            if quick.onset_angle_deg is None or slow.result.flags != quick.flags:
                continue
            assert slow.result.onset_angle_deg is not None
            angles.append(slow.result.onset_angle_deg - quick.onset_angle_deg)
            kinetic.append((slow.result.mu_kinetic or 0) - (quick.mu_kinetic or 0))
        way = "whole" if above_deg is None else f"quick, ends at {above_deg:+g}°"
        found = (
            f"{statistics.mean(angles):+.4f}°, {statistics.stdev(angles):.4f}° |"
            f" {statistics.mean(kinetic):+.5f}, {statistics.stdev(kinetic):.5f}"
            if len(angles) > 1
            else "none: `slid_early` | none"
        )
        yield f"| {way} | {beams} | {n_seeds} | {n_odd} | {max(map(abs, truths)):.4f}° | {found} |"
    yield ""
    yield f"- full twin: median {statistics.median(times['full']):.2f} s of CPU time a run"
    yield f"- fast simulator with writing: {1 / statistics.median(times['fast']):.0f} runs/s of it"


def started(settings: Settings, seed: int, above_deg: float | None) -> dict[str, Any]:
    """What a raise is asked for: a quick start that ends so far above the slide, or none."""
    if above_deg is None:
        return {}
    truth = simulate_run(settings, draw_scenario(seed), seed)[1]
    assert truth.onset_angle_deg is not None
    return {"approach_deg": truth.onset_angle_deg + above_deg, "rate_deg_s": 0.3}


def raise_of_30_s(folder: Path) -> Iterator[str]:
    """A raise of 30 s, at the reference screw's pulse rate and at about 2,000 pulses/s."""
    scenario = msgspec.structs.replace(draw_scenario(1), face=plain_face(0.577, 0.52))
    for name, screw in (
        ("reference screw", Screw()),
        ("2.5 times the pulses", Screw(lead_mm=1.6)),
    ):
        settings = Settings(screw=screw)
        whole = [full(settings, 1, folder / f"{name}-{i}", scenario)[2] for i in range(3)]
        yield f"- whole cycle with a raise of 30 s, {name}: {min(whole):.2f} s of CPU time"


def lines_of(n_seeds: int) -> Iterator[str]:
    """Make the runs; the lines of the table in Markdown."""
    with tempfile.TemporaryDirectory() as made:
        yield from agreement(n_seeds, Path(made))
        yield from raise_of_30_s(Path(made))


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=50)
    parser.add_argument("--write", action="store_true", help="put the table into README.md")
    given = parser.parse_args()
    TABLE.show(lines_of(given.seeds), seed=f"1 … {given.seeds}", write=given.write)


if __name__ == "__main__":
    main()
