"""Invented leagues of which the truth is known: many owners, ten rigs, bags that travel.

All owners have bags of one model. Each study has bags of its own, half of them treated between its
two sessions, and two that travel: neighbours along a ring know them, so that every rig hangs
together with every other. Scales, slope and effect are drawn from what the model believes; rigs lie
up to 0.5° off, evenly. Nothing here is the model's code.
"""

from dataclasses import dataclass
from math import exp

import numpy as np

from rig.study.model.data import Facts
from rig.study.model.others import SHARED
from rig.study.slides.slide import Applied, Slide

MODEL, FACE = "heron", "slick"
N_STUDIES, N_BAGS, N_RIGS, N_TRAVELLING = 30, 8, 10, 10
SLIDES = 3
MOST_OFFSET_DEG = 0.5
AT = "2026-03-{day:02d}T{hour:02d}:{minute:02d}:00Z"


@dataclass
class League:
    """A league's truth."""

    run: float
    series: float
    session: float
    bag: float
    response: float
    level: float
    slope: float
    effect: float
    rigs: list[float]
    boards: list[float]
    """Of each study."""
    own: dict[str, float]
    """Bag → what it adds to its model's level, both of its parts."""


@dataclass
class Made:
    """A study of a league."""

    number: int
    slides: list[Slide]
    facts: Facts
    air: float
    """Mean humidity."""
    present: dict[str, float]
    """Bag → its angle now, in that air, on the study's rig and board."""


def draw_league(rng: np.random.Generator) -> League:
    """Scales have heavy tails, as the model believes."""

    def scale(median: float, spread: float = 0.5) -> float:
        return float(median * exp(spread * 2.0 * np.sinh(rng.normal() / 2.0)))

    bag, bag_face = scale(1.0), scale(0.5)
    league = League(
        run=scale(0.25, 0.6),
        series=scale(0.2),
        session=scale(0.4),
        bag=float(np.hypot(bag, bag_face)),
        response=scale(0.35),
        level=float(24.0 + 8.0 * rng.normal()),
        slope=float(np.hypot(0.5, 0.25) * rng.normal()),
        effect=float(np.hypot(2.0, 0.8) * rng.normal()),
        rigs=rng.uniform(-MOST_OFFSET_DEG, MOST_OFFSET_DEG, N_RIGS).tolist(),
        boards=(np.hypot(1.0, 0.3) * rng.normal(size=N_STUDIES)).tolist(),
        own={},
    )
    for study in range(N_STUDIES):
        for name in bags_of(study):
            league.own.setdefault(name, league.bag * float(rng.normal()))
    return league


def bags_of(study: int) -> list[str]:
    """Two that travel and six of its own."""
    travelling = [f"{SHARED}T{(study + i) % N_TRAVELLING}" for i in range(2)]
    return travelling + [f"{study}-{i}" for i in range(N_BAGS - 2)]


def make_study(league: League, number: int, rng: np.random.Generator) -> Made:
    """The slides of a study, in two sessions; half of its own bags are treated in between."""
    bags = bags_of(number)
    treated = bags[2 : 2 + (N_BAGS - 2) // 2]
    airs = rng.uniform(35.0, 65.0, 2)
    fixed = league.level + league.rigs[number % N_RIGS] + league.boards[number]
    slides: list[Slide] = []
    done: dict[str, tuple[Applied, ...]] = {}
    response = {bag: league.effect + league.response * rng.normal() for bag in treated}
    for session in range(2):
        shift = league.session * rng.normal()
        for i, bag in enumerate(bags):
            mean = fixed + shift + league.own[bag] + league.series * rng.normal()
            mean += league.slope * (airs[session] - 50.0) / 10.0
            if session and bag in treated:
                done[bag] = (Applied("soak", (), AT.format(day=2, hour=1, minute=i), 10 + i),)
                mean += response[bag]
            for n in range(SLIDES):
                slides.append(
                    Slide(
                        slide_id=f"{number} {session} {bag} {n}",
                        source="rig",
                        at=AT.format(day=1 + 2 * session, hour=9 + i, minute=n),
                        rig=f"rig {number % N_RIGS}",
                        bag=bag,
                        model=MODEL,
                        face=FACE,
                        board=f"board {number}",
                        session=f"{session}",
                        series=f"{session} {bag}",
                        slide_number=n + 1,
                        slides_before=SLIDES * session + n,
                        slid=True,
                        treatments=done.get(bag, ()),
                        surface_humidity_pct=float(airs[session]),
                        temperature_c=22.0,
                        onset_angle_deg=float(mean + league.run * rng.normal()),
                        method="whole 1 °/s",
                        outcome="slid",
                        valid=True,
                    )
                )
    air = float(airs.mean())
    weather = league.slope * (air - 50.0) / 10.0
    present = {
        bag: float(fixed + league.own[bag] + weather + response.get(bag, 0.0)) for bag in bags
    }
    facts = Facts(recipes=("soak",), models=dict.fromkeys(bags, MODEL), done=done)
    return Made(number, slides, facts, air, present)
