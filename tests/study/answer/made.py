"""Draws of a posterior made by hand, so that what the answer says of them is known."""

import numpy as np
from numpy.typing import NDArray

from rig.study.answer.answer import DayAir
from rig.study.answer.question import Aim, Question
from rig.study.model.draws import Draws
from rig.study.model.history import Application, State
from rig.study.model.posterior import LINEAR, About, Quality
from rig.study.model.posterior import Air as ModelAir

N = 4000
MILD = DayAir(temperature_c=22.0, relative_humidity_pct=50.0, surface_humidity_pct=50.0)
F = NDArray[np.float64]


def question(**targets: tuple[float, float]) -> Question:
    """In mild air, with a target and a tolerance for each face."""
    return Question(
        air=MILD,
        targets={
            face: Aim(angle_deg=angle, tolerance_deg=near)
            for face, (angle, near) in targets.items()
        },
    )


def made(
    bags: dict[str, tuple[float, float]],
    *,
    effect: tuple[float, float] = (-1.5, 0.3),
    slope: tuple[float, float] = (0.4, 0.1),
    treated: tuple[str, ...] = (),
    has_play: bool = False,
    seed: int = 1,
) -> Draws:
    """Bags with a mean and a standard deviation of the angle, all grip faces of one model.

    Args:
        bags: name → angle and its standard deviation, without treatment, in degrees.
        effect: of the recipe `soak`, linear, and its standard deviation.
        slope: per 10 %RH.
        treated: bags that have had one soak.
        has_play: throws were noted.
        seed: of the draws.
    """
    rng = np.random.default_rng(seed)

    def normal(mean: float, sd: float) -> F:
        z = rng.standard_normal(N)
        return mean + sd * (z - z.mean()) / z.std()

    columns: dict[tuple[str, ...], F] = {
        ("level", "Quay", "grip"): np.zeros(N),
        ("slope",): normal(*slope),
        ("slope_face", "Quay", "grip"): np.zeros(N),
        ("effect", "soak"): normal(*effect),
        ("effect_face", "soak", "Quay", "grip"): np.zeros(N),
        ("residue", "soak"): np.zeros(N),
        ("range_face", "Quay", "grip"): np.zeros(N),
        ("temperature",): np.zeros(N),
    }
    applications = tuple(Application(bag, "soak", line) for line, bag in enumerate(treated, 2))
    for place in range(len(applications)):
        columns["application", str(place)] = np.zeros(N)
    draws = Draws(
        About(
            columns=tuple(columns),
            now=tuple(
                (bag, "grip", State(tuple(i for i, a in enumerate(applications) if a.bag == bag)))
                for bag in bags
            ),
            applications=applications,
            models=dict.fromkeys(bags, "Quay"),
            recipes=("soak",),
            usual_board="ash",
            instrument="rig one",
            usual_air=ModelAir(50.0, 22.0),
            has_play=has_play,
            seed=seed,
            quality=Quality(pareto_k=0.2, ess=3000.0, prior_carried=(), p_kinds={}),
        ),
        values={
            name: np.full(N, value)
            for name, value in {
                "run": 0.4,
                "reader_run": 0.5,
                "series": 0.3,
                "session": 0.3,
                "bag": 0.8,
                "bag_face": 0.4,
                "response": 0.0,
                "slide_dose": 0.0,
                "throw_dose": 0.001,
                "range": 4.0,
                "dose soak": 0.4,
                "kind soak": float(LINEAR),
            }.items()
        },
        linear=np.array(list(columns.values())),
    )
    centre = draws.new_bag("Quay", "grip", None, ModelAir(50.0, 22.0)) - draws.term("bag", "")
    centre = centre - draws.term("bag_face", "", "grip")
    for bag, (mean, sd) in bags.items():
        columns["bag", bag] = normal(mean, sd) - centre
        columns["bag_face", bag, "grip"] = np.zeros(N)
    about = draws.about
    return Draws(
        About(
            **{name: getattr(about, name) for name in About.__struct_fields__ if name != "columns"},
            columns=tuple(columns),
        ),
        values=draws.values,
        linear=np.array(list(columns.values())),
    )
