"""An invented world for the statistics: known effects, layers of scatter, a law of climate.

The law is none that the models here fit: a sigmoid of the humidity.
"""

from collections.abc import Sequence
from math import exp

import numpy as np
from msgspec import Struct

from rig.study.rows import BagInfo, Row


class World(Struct, frozen=True, kw_only=True):
    """How a study is laid out and how much everything scatters (standard deviations in degrees)."""

    treatments: int = 2
    bags_each: int = 3
    controls: int = 3
    effect_deg: tuple[float, ...] = (1.0, -0.5)
    bag_sd: float = 1.0
    bag_stage_sd: float = 0.25
    session_sd: float = 0.5
    bag_session_sd: float = 0.2
    series_sd: float = 0.2
    run_sd: float = 0.2
    sessions_per_stage: int = 2
    series: tuple[int, int] = (2, 2)
    """Fewest and most series of a bag in a session."""
    runs: tuple[int, int] = (4, 4)
    humidity: tuple[float, float] = (35.0, 65.0)
    climate_gain_deg: float = 3.0
    """Angle between the dry and the damp end of the sigmoid."""
    matched: bool = True
    """Before and after in the same humidities."""
    own_sessions: bool = False
    """Each group is measured in sittings of its own."""
    wear_deg: float = -0.2
    """What happens to every bag between the stages."""
    reference: bool = False
    residue_deg: float = 0.0
    """Shift of the board after the treated bags of each session of the later stage."""


def sigmoid_deg(world: World, humidity_pct: float) -> float:
    """What the air adds to the angle."""
    return world.climate_gain_deg / (1.0 + exp(-(humidity_pct - 55.0) / 9.0))


def _sitting(world: World, info: BagInfo) -> str:
    return (info.group() or "") if world.own_sessions else ""


def make_study(
    world: World, rng: np.random.Generator
) -> tuple[list[Row], dict[str, BagInfo], dict[str, float]]:
    """Rows, bags, and the true effect of each treatment against the controls, in degrees."""
    bags: dict[str, BagInfo] = {}
    for t in range(world.treatments):
        for i in range(world.bags_each):
            bags[f"T{t} bag {i}"] = BagInfo(treatment=f"T{t}")
    for i in range(world.controls):
        bags[f"control {i}"] = BagInfo(role="control")
    truth = {f"T{t}": world.effect_deg[t % len(world.effect_deg)] for t in range(world.treatments)}
    level = {bag: rng.normal(22.0, world.bag_sd) for bag in bags}
    rows: list[Row] = []
    low, high = world.humidity
    grid = np.linspace(low, high, world.sessions_per_stage + 2)[1:-1]
    reference_level = rng.normal(22.0, world.bag_sd)
    for stage in ("baseline", "after 1"):
        later = stage != "baseline"
        response = {bag: rng.normal(0.0, world.bag_stage_sd) for bag in bags}
        for number in range(world.sessions_per_stage):
            shift = rng.normal(0.0, 1.5) if world.matched else rng.uniform(-12.0, 12.0)
            sessions: dict[str, tuple[str, float, float]] = {}
            for info in bags.values():
                sitting = _sitting(world, info)
                if sitting not in sessions:
                    name = f"{stage} {number} {sitting}"
                    humidity = float(np.clip(grid[number] + shift, low - 5, high + 5))
                    sessions[sitting] = (name, humidity, rng.normal(0.0, world.session_sd))
            first = next(iter(sessions.values()))
            if world.reference:
                own = rng.normal(0.0, world.bag_session_sd)
                _reference(world, rows, rng, stage, first, "start", reference_level + own)
            for bag, info in bags.items():
                session, humidity, common = sessions[_sitting(world, info)]
                mean = level[bag] + common + sigmoid_deg(world, humidity)
                mean += response[bag] + rng.normal(0.0, world.bag_session_sd)
                if later:
                    mean += world.wear_deg + truth.get(info.treatment or "", 0.0)
                for k in range(rng.integers(world.series[0], world.series[1] + 1)):
                    _series(
                        world,
                        rows,
                        rng,
                        bag,
                        stage,
                        session,
                        f"{session} {bag} {k}",
                        humidity,
                        mean,
                    )
            if world.reference:
                moved = reference_level + own + (world.residue_deg if later else 0.0)
                _reference(world, rows, rng, stage, first, "end", moved)
    if world.reference:
        bags["reference"] = BagInfo(role="reference")
    return rows, bags, truth


def _reference(
    world: World,
    rows: list[Row],
    rng: np.random.Generator,
    stage: str,
    session: tuple[str, float, float],
    when: str,
    level: float,
) -> None:
    name, humidity, common = session
    mean = level + common + sigmoid_deg(world, humidity)
    _series(world, rows, rng, "reference", stage, name, f"{name} {when}", humidity, mean)


def _series(
    world: World,
    rows: list[Row],
    rng: np.random.Generator,
    bag: str,
    stage: str,
    session: str,
    series: str,
    humidity_pct: float,
    mean: float,
) -> None:
    own = mean + rng.normal(0.0, world.series_sd)
    n = int(rng.integers(world.runs[0], world.runs[1] + 1))
    for i, angle in enumerate((own + rng.normal(0.0, world.run_sd, n)).tolist()):
        rows.append(
            Row(
                bag=bag,
                face="slick",
                board="board",
                stage=stage,
                session=session,
                series=series,
                onset_angle_deg=angle,
                slide_number=i + 1,
                order=len(rows),
                surface_humidity_pct=humidity_pct,
                temperature_c=22.0,
            )
        )


def share(hits: Sequence[bool]) -> float:
    """The part of them that is true."""
    return sum(hits) / len(hits) if hits else float("nan")
