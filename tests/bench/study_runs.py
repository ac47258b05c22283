"""Do the intervals of treatment effects hold the truth when every row comes from a simulated run?

Each study is a rig of its own (sensor, mounting, floor, linkage, climate sensor, calibration). Each
run goes through the fast simulator and the analysis of run files; friction follows the twin's law
of fabric and climate (isotherm with two branches and a lag, sigmoid of the moisture), which is not
the model's. Bags differ in level, in how they take the air, and in how they answer a treatment.

The truth is the mean over all bags of that kind of what the treatment does to the slide angle in
the air of the later sessions, worked out from the law.

Run: python -m tests.bench.study_runs [--studies 200] [--first-seed 1] [--rows FILE]
[--write]; with FILE studies that it holds are not made again.
"""

import argparse
from collections.abc import Iterator
from math import atan, degrees, exp
from pathlib import Path
from statistics import median
from time import process_time

import msgspec
import numpy as np

from rig.runfile.reader import read_run
from rig.settings.model import Settings
from rig.study.gather import rows_of
from rig.study.rows import CONTROLS, BagInfo
from rig.study.slides.look import Kept, kept_of
from rig.study.slides.table import SlideTable, slide_of
from rig.twin.calibration import calibration_for
from rig.twin.draws import draw_scenario, moisture_at
from rig.twin.fabric import Face, coefficients
from rig.twin.scenario import AirTruth, Scenario
from tests.bench.coverage import in_memory
from tests.bench.heading import Table, columns
from tests.bench.inputs import EFFECTS, ONSET, SIMULATOR
from tests.bench.study_effects import core_effects
from tests.bench.study_world import share
from tests.fastsim.run import simulate_run, write_run

TABLE = Table(
    "tests/bench/STUDY.md",
    "effects through whole runs",
    (*ONSET, *SIMULATOR, "rig/study/gather.py", *EFFECTS, "tests/bench/study_runs.py"),
)
FACTORS = {"soak": 0.94, "starch": 1.03, "": 1.0}
"""What a treatment makes of the coefficients, in the mean over bags."""
BAGS_EACH, SESSIONS, RUNS = 2, 2, 2
RESPONSE_SD, LEVEL_SD, GAIN_SPREAD = 0.012, 0.03, 0.2
STAGES = ("baseline", "after 1")
WORLDS = ("sittings shared", "each group in sittings of its own")
POPULATION = 300
"""Bags of one kind that the truth is averaged over."""


class Effect(msgspec.Struct, frozen=True):
    """One effect of a study against its truth, in degrees."""

    seed: int
    world: str
    treatment: str
    against: str
    error: float
    half: float
    family_half: float
    scope: str


def draw_bag(kind: Face, random: np.random.Generator) -> Face:
    """A bag of a kind."""
    mu = kind.mu_static_dry + random.normal(0.0, LEVEL_SD)
    return msgspec.structs.replace(
        kind,
        mu_static_dry=mu,
        mu_kinetic_dry=0.88 * mu,
        humidity_gain=kind.humidity_gain * random.uniform(1.0 - GAIN_SPREAD, 1.0 + GAIN_SPREAD),
    )


def treated(face: Face, factor: float) -> Face:
    """The face after a treatment."""
    return msgspec.structs.replace(
        face,
        mu_static_dry=factor * face.mu_static_dry,
        mu_kinetic_dry=factor * face.mu_kinetic_dry,
        ageing_per_e_fold=factor * face.ageing_per_e_fold,
    )


def draw_air(random: np.random.Generator, number: int, humidity_error_pct: float) -> AirTruth:
    """Dry and damp sittings in turn, never quite alike; the bags always come from dry."""
    return AirTruth(
        temperature_c=random.uniform(18.0, 27.0),
        relative_humidity_pct=random.uniform(*((30.0, 45.0), (55.0, 70.0))[number % 2]),
        pressure_hpa=1008.0,
        temperature_drift_k_h=random.normal(0.0, 0.3),
        humidity_drift_pct_h=random.normal(0.0, 1.0),
        sensor_temperature_error_k=0.3,
        sensor_humidity_error_pct=humidity_error_pct,
        humidity_before_pct=15.0,
        conditioned_h=random.uniform(4.0, 12.0),
    )


def angle_deg(face: Face, scenario: Scenario) -> float:
    """The slide angle of a face without any scatter, in a sitting's air."""
    here = msgspec.structs.replace(scenario, face=face)
    mu, _ = coefficients(
        face, moisture=moisture_at(here, 0.5), dwell_s=10.0, slides_before=30, scatter=0.0
    )
    return degrees(atan(mu))


def one_study(seed: int, world: str, check: Path | None = None) -> list[Effect]:
    """Make a study run by run, compare it, and set each effect beside its truth.

    Args:
        seed: of the rig, its bags and its days.
        world: one of `WORLDS`.
        check: a folder; each run is written there and read back, and must give the same result.
    """
    random, settings = np.random.default_rng([seed, WORLDS.index(world)]), Settings()
    kind = Face(mu_static_dry=0.36, humidity_gain=random.uniform(0.1, 0.4))
    groups = list(FACTORS)
    bags = {f"{g or 'control'} {i}": g for g in groups for i in range(BAGS_EACH)}
    faces = {bag: draw_bag(kind, random) for bag in bags}
    calibration = calibration_for(draw_scenario(seed), settings, seed)
    humidity_error = random.normal(0.0, 1.7)
    kept: list[Kept] = []
    later: dict[str, dict[str, Scenario]] = {}
    for stage in STAGES:
        after = stage != STAGES[0]
        for bag, group in bags.items():
            factor = (FACTORS[group] if after else 1.0) * exp(random.normal(0.0, RESPONSE_SD))
            faces[bag] = treated(faces[bag], factor)
        for number in range(SESSIONS):
            own: dict[str, Scenario] = {}
            for k, (bag, group) in enumerate(bags.items()):
                sitting = group if world != WORLDS[0] else ""
                if sitting not in own:
                    name = f"{stage} {number} {sitting}".strip()
                    air = draw_air(random, number, humidity_error)
                    own[sitting] = draw_scenario(seed, air=air, session=name)
                if after:
                    later.setdefault(group, {})[own[sitting].session] = own[sitting]
                series = f"{own[sitting].session} {bag}"
                slides = 20 + RUNS * (SESSIONS * STAGES.index(stage) + number)
                scenario = msgspec.structs.replace(
                    own[sitting], face=faces[bag], series=series, slides_before=slides
                )
                for i in range(1, RUNS + 1):
                    lines, truth = simulate_run(
                        settings,
                        scenario,
                        seed,
                        number=i,
                        calibration=calibration,
                        hours=0.1 * k + 0.04 * i,
                        run_id=f"{series} {i}",
                        bag=bag,
                        face="slick",
                        board="A",
                        treatment_stage=stage,
                        approach="from_dry",
                    )
                    kept.append(kept_of(in_memory(lines)))
                    if check is not None:
                        read = kept_of(read_run(write_run(check, lines, truth)))
                        assert read.result is not None
                        assert kept[-1].result is not None
                        same = msgspec.structs.replace(read.result, run_file="")
                        assert same == msgspec.structs.replace(kept[-1].result, run_file="")
    table = [slide_of(Path(one.result.run_file), one) for one in kept if one.result is not None]
    rows, _ = rows_of(SlideTable(table, [], {}))
    infos = {
        bag: BagInfo(treatment=group) if group else BagInfo(role="control")
        for bag, group in bags.items()
    }
    truth_of = {
        group: _true_effect(kind, FACTORS[group], list(sittings.values()), random)
        for group, sittings in later.items()
        if group
    }
    found = []
    for e in core_effects(rows, infos):
        true = truth_of[e.treatment] - truth_of.get(e.against, 0.0)
        found.append(
            Effect(
                seed,
                world,
                e.treatment,
                e.against,
                e.effect_deg - true,
                e.upper_deg - e.effect_deg,
                e.family_upper_deg - e.effect_deg,
                e.scope,
            )
        )
    return found


def _true_effect(
    kind: Face, factor: float, sittings: list[Scenario], random: np.random.Generator
) -> float:
    population = [draw_bag(kind, random) for _ in range(POPULATION)]
    return float(
        np.mean(
            [
                angle_deg(treated(face, factor), air) - angle_deg(face, air)
                for face in population
                for air in sittings
            ]
        )
    )


def summary(world: str, rows: list[Effect]) -> str:
    """A line of the table."""
    alone = [row for row in rows if row.against == CONTROLS]
    studies: dict[int, bool] = {}
    for row in rows:
        inside = abs(row.error) <= row.family_half
        studies[row.seed] = studies.get(row.seed, True) and inside
    n = len(alone)
    held = share([abs(row.error) <= row.half for row in alone])
    bound = 100 * (held * (1 - held) / (n / 2)) ** 0.5
    return " | ".join(
        [
            world,
            f"{len(studies)}",
            f"{100 * held:.1f} ± {bound:.1f} %",
            f"{100 * share(list(studies.values())):.1f} %",
            f"{median(row.half for row in alone):.2f}",
            f"{np.mean([row.error for row in alone]):+.3f}",
            f"{np.std([row.error for row in alone]):.2f}",
            ", ".join(sorted({row.scope for row in rows})),
        ]
    )


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--studies", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--rows", type=Path, help="keep a line per effect here, and go on")
    parser.add_argument("--write", action="store_true", help="put the table into STUDY.md")
    given = parser.parse_args()
    TABLE.show(lines_of(given), seed=f"{given.first_seed} …", write=given.write)


def lines_of(given: argparse.Namespace) -> Iterator[str]:
    """Make the studies; the lines of the table in Markdown."""
    rows: list[Effect] = []
    if given.rows is not None and given.rows.exists():
        lines = given.rows.read_bytes().splitlines()
        rows = [msgspec.json.decode(line, type=Effect) for line in lines]
    done = {(row.seed, row.world) for row in rows}
    began = process_time()
    for seed in range(given.first_seed, given.first_seed + given.studies):
        for world in WORLDS:
            if (seed, world) in done:
                continue
            found = one_study(seed, world)
            rows += found
            if given.rows is not None:
                with given.rows.open("ab") as file:
                    file.write(b"".join(msgspec.json.encode(row) + b"\n" for row in found))
    yield from columns(
        *("sittings", "studies", "truth held", "per family", "median half width, °"),
        *("mean error, °", "scatter of the error, °", "claimed for"),
    )
    for world in WORLDS:
        yield f"| {summary(world, [row for row in rows if row.world == world])} |"
    yield ""
    yield f"{process_time() - began:.0f} s of processor time."


if __name__ == "__main__":
    main()
