"""Slides on a board that a hand raises: error by stated u for each law and pace, and refusals.

`python -m tests.bench.raised_by_hand [--raises N] [--seed S] [--doubled] [--write]` from the
project's folder. A raise of each law at each pace, with everything drawn: rig, sensor, bag,
placing, and the hand's ripple, drift, tremor, pauses and jerks (`rig.twin.hand`, which names its
sources). The calibration is exact, since its errors are the same for all slides of a rig; `u` is
the one for comparing them. The same bags are then measured by the motor rig, and each disturbance
is doubled. The error is that of the angle that the bag felt at its onset, whose tangent is the
coefficient.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from rig.analysis.budget.run import LAW
from rig.analysis.friction import RunAnalysis, analyse_run
from rig.analysis.row import RunResult
from rig.settings.model import MotionSettings, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import draw_scenario
from rig.twin.friction import LAW_NAMES
from rig.twin.scenario import Scenario, Truth
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET
from tests.fastsim.hand_run import as_run, simulate_hand_run
from tests.fastsim.run import simulate_run

LAWS = LAW_NAMES
RATES = (0.5, 1.0, 2.0, 3.0)
HAND = Settings(motion=MotionSettings(raised_by="hand"))
MOTOR = Settings()
JITTER_MS = 0.5
WRONG = 4.0
SEED = 29
MOST_JERKED = 152
INPUTS = (
    *ONSET,
    "rig/analysis/angle/smoother.py",
    "rig/analysis/raised_by_hand.py",
    "rig/twin/hand.py",
    "rig/twin/gyro.py",
    "tests/fastsim/hand_run.py",
    "tests/bench/raised_by_hand.py",
)
PLAIN = Table("tests/bench/HAND.md", "raised by hand", INPUTS)
DOUBLED = Table("tests/bench/HAND.md", "doubled", INPUTS)


@dataclass(frozen=True)
class Slide:
    """One raise: what it gave, and its error."""

    law: str
    rate_deg_s: float
    row: RunResult
    error_deg: float | None
    law_deg: float
    """What is stated for the law of friction."""

    @property
    def score(self) -> float:
        """Error by its own stated u."""
        assert self.error_deg is not None
        return self.error_deg / (self.row.u_onset_angle_deg or 1.0)


def doubled(scenario: Scenario, what: str) -> tuple[Scenario, float]:
    """The scenario with one disturbance twice as large, and the jitter of times in ms."""
    replace, imu, hand = msgspec.structs.replace, scenario.imu, scenario.hand
    gyro, jitter_ms = imu.gyro, JITTER_MS
    if what == "noise":
        gyro = replace(gyro, noise_deg_s_rthz=2.0 * gyro.noise_deg_s_rthz)
        imu = replace(imu, noise_g_rthz=2.0 * imu.noise_g_rthz)
    elif what == "bias":
        bias, drift = gyro.bias_deg_s, gyro.drift_deg_s_per_k
        gain = tuple(1.0 + 2.0 * (g - 1.0) for g in gyro.gain)
        gyro = replace(
            gyro,
            bias_deg_s=tuple(2.0 * b for b in bias),
            gain=gain,
            drift_deg_s_per_k=tuple(2.0 * d for d in drift),
        )
    elif what == "tremor":
        hand = replace(hand, tremor_g=2.0 * hand.tremor_g)
    elif what == "ripple and drift":
        hand = replace(hand, ripple=2.0 * hand.ripple, pace_sd=2.0 * hand.pace_sd)
    elif what == "event times":
        jitter_ms *= 2.0
    return replace(scenario, imu=replace(imu, gyro=gyro), hand=hand), jitter_ms


def scenario_of(k: int, first: int) -> tuple[Scenario, int]:
    """The k-th bag on its rig, and its seed."""
    seed = first * 100_000 + k
    return draw_scenario(seed, law=LAWS[k % 4]), seed


def slide_of(law: str, rate: float, found: RunAnalysis, truth: Truth) -> Slide:
    """A result with its error."""
    row, budget = found.result, found.budget
    parts = [] if budget is None else budget.components
    law_deg = next((part.u_theta_deg for part in parts if part.name == LAW), 0.0)
    known = row.onset_angle_deg is not None and truth.onset_angle_deg is not None
    error = (row.onset_angle_deg or 0.0) - (truth.onset_angle_deg or 0.0) if known else None
    return Slide(law, rate, row, error, law_deg)


def by_hand(k: int, what: str = "", first: int = SEED, **hand: Any) -> Slide:
    """One raise by hand."""
    drawn, seed = scenario_of(k, first)
    scenario, jitter_ms = doubled(drawn, what)
    if hand:
        changed = msgspec.structs.replace(scenario.hand, **hand)
        scenario = msgspec.structs.replace(scenario, hand=changed)
    rate = RATES[k // 4 % 4]
    exact = calibration_for(scenario, HAND, seed, is_exact=True)
    made = simulate_hand_run(
        HAND, scenario, seed, rate_deg_s=rate, calibration=exact, jitter_ms=jitter_ms
    )
    return slide_of(scenario.law, rate, analyse_run(made.run), made.truth)


def by_motor(k: int, first: int = SEED) -> Slide:
    """The same bag on the motor rig."""
    scenario, seed = scenario_of(k, first)
    rate = RATES[k // 4 % 4]
    exact = calibration_for(scenario, MOTOR, seed, is_exact=True)
    lines, truth = simulate_run(MOTOR, scenario, seed, rate_deg_s=rate, calibration=exact)
    return slide_of(scenario.law, rate, analyse_run(as_run(lines)), truth)


def line(name: str, slides: list[Slide]) -> str:
    """One row of the table."""
    good = [one for one in slides if one.row.valid and one.error_deg is not None]
    refused = {
        flag: sum(flag in one.row.flags for one in slides)
        for flag in ("pace_off", "jerked", "slumped")
    }
    if not good:
        return f"| {name} | {len(slides)} | 0 | – | – | – | – | – | – | – |"
    errors = np.array([one.error_deg for one in good])
    u = np.array([one.row.u_onset_angle_deg for one in good])
    rms, stated = float(np.sqrt(np.mean(errors**2))), float(np.sqrt(np.mean(u**2)))
    law = float(np.mean([one.law_deg**2 for one in good])) / stated**2
    worst = max(abs(one.score) for one in good)
    wrong = sum(abs(one.score) > WRONG for one in good)
    return (
        f"| {name} | {len(slides)} | {len(good)} | {'/'.join(map(str, refused.values()))}"
        f" | {errors.mean():+.3f}° | {rms:.3f}° | {stated:.3f}° | {100.0 * law:.0f} %"
        f" | {rms / stated:.2f}"
        f" | {worst:.1f}, {wrong} |"
    )


HEAD = (
    "raises",
    "n",
    "valid",
    "pace_off/jerked/slumped",
    "bias",
    "rms error",
    "stated u",
    "of u² the law",
    "error/u",
    f"worst error/u, more than {WRONG:g}",
)


def by_law(name: str, slides: list[Slide]) -> Iterator[str]:
    """A row over all laws, and one for each."""
    yield line(f"**{name}**", slides)
    for law in LAWS:
        yield line(f"{name}, {law}", [one for one in slides if one.law == law])


def plain(n: int, first: int) -> Iterator[str]:
    """By hand and by motor, row by row."""
    yield from columns(*HEAD)
    hand = [by_hand(k, first=first) for k in range(n)]
    motor = [by_motor(k, first) for k in range(n)]
    for name, slides in (("by hand", hand), ("by motor, same bags", motor)):
        yield from by_law(name, slides)
        for rate in RATES:
            yield line(f"{name}, {rate:g} °/s", [one for one in slides if one.rate_deg_s == rate])


def disturbed(n: int, first: int) -> Iterator[str]:
    """With one disturbance doubled, or one more jerk, row by row."""
    yield from columns(*HEAD)
    drawn = [by_hand(k, first=first) for k in range(n)]
    yield from by_law("as drawn", drawn)
    for what in ("noise", "bias", "tremor", "ripple and drift", "event times"):
        yield from by_law(f"{what} doubled", [by_hand(k, what, first) for k in range(n)])
    for height in (0.5, 1.0, 2.0, 4.0):
        jerked = []
        for k in range(min(n // 2, MOST_JERKED)):
            onset = drawn[k].row.onset_angle_deg
            if onset is not None:
                at = onset - 0.8 * ((k * 0.618) % 1.0)
                jerked.append(by_hand(k, first=first, jerk_at_deg=at, jerk_deg_s=height))
        yield line(f"one more jerk of {height:g} °/s within 0.8° before the onset", jerked)


def main() -> None:
    """Print a table, or write it into HAND.md."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.raised_by_hand")
    parser.add_argument("--raises", type=int, default=1200, help="of each kind")
    parser.add_argument("--seed", type=int, default=SEED, help="of all draws")
    parser.add_argument("--doubled", action="store_true", help="the table of disturbances")
    parser.add_argument("--write", action="store_true", help="into HAND.md")
    asked = parser.parse_args()
    table, lines = (DOUBLED, disturbed) if asked.doubled else (PLAIN, plain)
    table.show(lines(asked.raises, asked.seed), seed=asked.seed, write=asked.write)


if __name__ == "__main__":
    main()
