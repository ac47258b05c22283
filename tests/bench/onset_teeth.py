"""What each tooth of the twin does to a slide's angle, and what the analysis makes of it.

    python -m tests.bench.onset_teeth [--n 200] [--write]

Whole run files by the fast simulator, at 0.3 °/s with a quick start to 3° below the slide, and with
two beams; the same files without their second beam are the rows with one. A row has the same rigs,
placings, noise and calibrations as the row without teeth, so what it adds to each error is the
tooth's alone. Coulomb, slip weakening and Stribeck take turns.
"""

import argparse
import math
import statistics
from collections.abc import Iterator
from typing import NamedTuple

import msgspec
import numpy as np

from rig.analysis.friction import analyse_run
from rig.analysis.row import RunResult
from rig.runfile.model import Event, Header, Line
from rig.settings.model import CycleSettings, Pins, Settings
from rig.twin.draws import changed, draw_placing, draw_scenario
from rig.twin.fabric import plain_face
from rig.twin.friction import LawName
from rig.twin.scenario import Scenario, Truth
from tests.bench.coverage import in_memory
from tests.bench.heading import Table, columns
from tests.bench.inputs import ONSET, SIMULATOR
from tests.fastsim.run import simulate_run
from tests.teeth import TEETH, without

SETTINGS = Settings(cycle=CycleSettings(dwell_s=1.0), pins=Pins(beam_2=18))
FIRST_SEED, RATE_DEG_S, BELOW_DEG = 7000, 0.3, 3.0
LAWS: tuple[LawName, ...] = ("coulomb", "slip_weakening", "stribeck")
LARGE = 3.0
TABLE = Table(
    "tests/bench/ONSET.md",
    "teeth",
    (
        *ONSET,
        *SIMULATOR,
        *(f"rig/twin/{name}.py" for name in ("calibration", "ground", "path", "placed")),
        "tests/bench/onset_teeth.py",
        "tests/teeth.py",
    ),
)


class Slide(NamedTuple):
    """One slide as seen with one and with two beams, and its truth."""

    truth: Truth
    rows: tuple[RunResult, RunResult]

    def error(self, beams: int) -> float:
        """Result less truth, in degrees; NaN where there is none."""
        found, true = self.rows[beams - 1].onset_angle_deg, self.truth.onset_angle_deg
        return math.nan if found is None or true is None else found - true


def world(seed: int) -> Scenario:
    """A rig with all its teeth, and a face whose friction falls as it may."""
    random = np.random.default_rng([seed, 31])
    static = float(random.uniform(0.25, 0.6))
    fall = float(random.uniform(0.0, 0.12))
    law = LAWS[seed % len(LAWS)]
    return draw_scenario(seed, face=plain_face(static, static - fall), law=law)


def larger(scenario: Scenario, seed: int) -> Scenario:
    """The same world with each tooth larger; shares of the slump as large as they can be."""
    board, placing = scenario.board, draw_placing(seed, scenario, SETTINGS, 1)
    return changed(
        scenario,
        board={
            "crown_mm": LARGE * board.crown_mm,
            "yaw_deg": LARGE * board.yaw_deg,
            "shake_share": LARGE * board.shake_share,
            "spots": tuple(
                msgspec.structs.replace(spot, gain=LARGE * spot.gain) for spot in board.spots
            ),
        },
        bag={
            "turn_deg": LARGE * placing.turn_deg,
            "creep_mm_s": LARGE * placing.creep_mm_s,
            "slump_follows": 2.0 * placing.slump_follows,
            "late_slump_mm": LARGE * placing.late_slump_mm,
            "slump_is_sudden": True,
        },
        imu={"yaw_deg": LARGE * scenario.imu.yaw_deg},
    )


def only(scenario: Scenario, name: str | None) -> Scenario:
    """Without all teeth but one; None: without any."""
    return without(scenario, *(other for other in TEETH if other != name))


def slid(scenario: Scenario, seed: int) -> Slide:
    """Simulate and analyse one slide."""
    face = scenario.face
    expected = math.degrees(math.atan(face.mu_static_dry))
    lines, truth = simulate_run(
        SETTINGS, scenario, seed, rate_deg_s=RATE_DEG_S, approach_deg=expected - BELOW_DEG
    )
    one, two = (analyse_run(in_memory(made)).result for made in (one_beam(lines), lines))
    return Slide(truth, (one, two))


def one_beam(lines: list[Line]) -> list[Line]:
    """The same run as a rig without the second beam has it in its file."""
    header = lines[0]
    assert isinstance(header, Header)
    settings = msgspec.structs.replace(header.settings, beams=1)
    return [
        msgspec.structs.replace(header, settings=settings),
        *(
            line
            for line in lines[1:]
            if not (isinstance(line, Event) and line.detail.get("beam") == 2)
        ),
    ]


def summary(name: str, beams: int, made: list[Slide], bare: list[Slide]) -> str:
    """One line of the table."""
    pairs = [
        (one, other)
        for one, other in zip(made, bare, strict=True)
        if one.rows[beams - 1].valid and other.rows[beams - 1].valid
    ]
    rows = [one.rows[beams - 1] for one, _ in pairs]
    errors = np.array([one.error(beams) for one, _ in pairs])
    added = errors - np.array([other.error(beams) for _, other in pairs])
    moved = [
        (one.truth.onset_angle_deg or math.nan) - (other.truth.onset_angle_deg or math.nan)
        for one, other in pairs
    ]
    u = np.array([row.u_onset_angle_deg or math.nan for row in rows])
    whole = np.array([row.u_onset_angle_absolute_deg or math.nan for row in rows])
    flags = [
        f"{flag} {count}"
        for flag, count in sorted(_counts(made, beams).items())
        if count != _counts(bare, beams).get(flag, 0)
    ]
    cells = (
        name,
        str(beams),
        f"{sum(one.rows[beams - 1].valid for one in made)}/{len(made)}",
        f"{statistics.mean(moved):+.3f} ± {statistics.stdev(moved):.3f}",
        f"{added.mean():+.3f} ± {added.std(ddof=1):.3f}",
        f"{np.abs(added).max():.3f}",
        f"{np.sqrt(np.mean(errors**2)):.3f}",
        f"{np.median(u):.3f}",
        f"{np.sqrt(np.mean(errors**2)) / np.sqrt(np.mean(u**2)):.2f}",
        f"{100.0 * np.mean(np.abs(errors) <= 2.0 * u):.1f}",
        f"{100.0 * np.mean(np.abs(errors) <= 2.0 * whole):.1f}",
        ", ".join(flags) or "as before",
    )
    return f"| {' | '.join(cells)} |"


def _counts(made: list[Slide], beams: int) -> dict[str, int]:
    found: dict[str, int] = {}
    for one in made:
        for flag in one.rows[beams - 1].flags:
            found[flag] = found.get(flag, 0) + 1
    return found


def lines_of(n: int) -> Iterator[str]:
    """Make the slides; the lines of the table in Markdown."""
    yield from columns(
        *("teeth", "beams", "valid", "true angle moved °", "added to the error °", "most °"),
        *("rms error °", "median u °", "error/u", "in ± 2 u %", "in ± 2 u in itself %"),
        "flags (another number than without)",
    )
    seeds = range(FIRST_SEED, FIRST_SEED + n)
    worlds = [world(seed) for seed in seeds]
    large = [larger(one, seed) for one, seed in zip(worlds, seeds, strict=True)]
    bare = [slid(only(one, None), seed) for one, seed in zip(worlds, seeds, strict=True)]
    for beams in (1, 2):
        yield summary("none", beams, bare, bare)
    for name in (*TEETH, None):
        for size, some in (("", worlds), (", large", large)):
            chosen = some if name is None else [only(one, name) for one in some]
            made = [slid(one, seed) for one, seed in zip(chosen, seeds, strict=True)]
            for beams in (1, 2):
                yield summary(f"{name or 'all'}{size}", beams, made, bare)


def main() -> None:
    """Print the table in Markdown, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=200, help="slides of each row")
    parser.add_argument("--write", action="store_true", help="put the table into ONSET.md")
    options = parser.parse_args()
    TABLE.show(lines_of(options.n), seed=f"{FIRST_SEED} …", write=options.write)


if __name__ == "__main__":
    main()
