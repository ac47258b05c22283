"""Invented studies of which the truth is known, as slide tables; nothing here is the model's code.

A `World` holds the quantities of one owner's bags, drawn from what is believed beforehand or fixed;
`Layout` says who is measured and treated when. Options turn the world into one that the model does
not assume. All angles are in degrees, humidities in %RH.
"""

from dataclasses import dataclass, field, replace
from math import atan, degrees, exp, inf, radians, tan

import numpy as np

from rig.study.model.data import Facts
from rig.study.model.history import Played
from rig.study.slides.slide import Applied, Slide
from rig.twin.fabric import Face, humidity_factor, moisture_after, wetting_moisture

FACE = ("slick", "grip")
AT = "2026-03-{day:02d}T{hour:02d}:{minute:02d}:00Z"


@dataclass(frozen=True)
class Layout:
    """Who is measured, treated and thrown when."""

    bags: dict[str, str | None]
    """Bag → the recipe that it gets between stages; None for a control."""
    models: tuple[str, ...] = ("heron",)
    """Dealt out to the bags in turn."""
    faces: tuple[str, ...] = FACE
    stages: int = 2
    sessions_each: int = 1
    slides: int = 3
    airs: tuple[float, float] = (40.0, 60.0)
    by_hand: bool = False
    throws: int = 0
    """Of every bag before each stage after the first."""
    is_approach_noted: bool = False
    """Bags come to each session from dry or damp air, mostly noted; else nobody knows of it."""


@dataclass(frozen=True)
class World:
    """The truth; see `draw_world` for what is believed of each beforehand."""

    run: float = 0.25
    series: float = 0.2
    session: float = 0.4
    bag: float = 1.0
    bag_face: float = 0.5
    response: float = 0.35
    range: float = 4.0
    slide_dose: float = 0.0005
    throw_dose: float = 0.0005
    slope: float = 0.0
    slope_face_sd: float = 0.25
    temperature: float = 0.0
    damp_shift: float = 0.9
    """In 10 %RH, where the approach is noted."""
    from_damp_sd: float = 0.3
    approach_sd: float = 0.3
    settle: float = 0.0
    board_residue_sd: float = 0.2
    residue_sd: float = 0.3
    level_sd: float = 8.0
    range_face_sd: float = 0.4
    effect_face_sd: float = 0.8
    kinds: dict[str, str] = field(default_factory=dict)
    """Recipe → nothing, linear or saturates."""
    effects: dict[str, float] = field(default_factory=dict)
    """Recipe → linear effect, of either sign."""
    doses: dict[str, float] = field(default_factory=dict)
    # Ways in which the world may differ from what the model assumes.
    tails: float = 0.0
    """Degrees of freedom of all scatter where it is not normal."""
    weather: str = "linear"
    """Or sigmoid; or branches: higher from the damp side; or twin: its fabric, with a lag."""
    uneven_bags: float = 0.0
    """Sd of the log of how strongly a bag responds, always."""
    drift: float = 0.0
    """Of the controls at each session."""
    memory: float = 0.0
    """Of the sessions, one to the next."""
    saturates_never: bool = False
    """Each application of a recipe that should saturate takes as much as the first one."""
    step_deg: float = 0.0
    """What readings are rounded to."""


def draw_world(rng: np.random.Generator, recipes: tuple[str, ...], **options: object) -> World:
    """A world drawn from what is believed beforehand.

    The scales have heavy tails: the log is the median's plus 0.5 (slides 0.6) times 2·sinh(z/2) for
    a standard normal z.
    """

    def scale(median: float, spread: float = 0.5) -> float:
        return float(median * exp(spread * 2.0 * np.sinh(rng.normal() / 2.0)))

    by_hand = bool(options.pop("by_hand", False))
    names = ("nothing", "linear", "saturates")
    kinds = {name: names[rng.integers(3)] for name in recipes}
    world = World(
        run=scale(0.4 if by_hand else 0.25, 0.6),
        series=scale(0.2),
        session=scale(0.4),
        bag=scale(1.0),
        bag_face=scale(0.5),
        response=scale(0.35),
        range=float(4.0 * exp(0.5 * rng.normal())),
        slide_dose=float(0.0005 * exp(rng.normal())),
        throw_dose=float(0.0005 * exp(rng.normal())),
        slope=float(0.5 * rng.normal()),
        temperature=float(0.3 * rng.normal()),
        settle=float(0.3 * rng.normal()),
        kinds=kinds,
        effects={name: float(2.0 * rng.normal()) for name in recipes},
        doses={name: float(0.4 * exp(0.8 * rng.normal())) for name in recipes},
    )
    return replace(world, **options)  # type: ignore[arg-type]


@dataclass
class Truth:
    """What an answer is compared with."""

    air: float
    """Mean humidity of the slides."""
    temperature: float
    effects: dict[tuple[str, str, str], float]
    """(recipe, model, face) → of a first application."""
    angles: dict[tuple[str, str], float]
    """(bag, face) → now, in that air."""
    next_angles: dict[tuple[str, str], float]
    """(bag, face) → after one more application of its own recipe."""
    throws: dict[tuple[str, str], tuple[float, float]]
    """(bag, face) → a target, and the throws to it."""
    slopes: dict[tuple[str, str], float]
    """(model, face) → per 10 %RH, where the weather is linear."""
    of_damp: dict[tuple[str, str], float]
    """(model, face) → bags from damp against those from dry, in one air."""
    damp_shift: float
    new_bags: dict[tuple[str, str], float]
    """(model, face) → a bag to come, before anything."""
    world: World


class _Making:
    """One study being made."""

    def __init__(self, world: World, layout: Layout, rng: np.random.Generator) -> None:
        self.world, self.layout, self.rng = world, layout, rng
        bags = list(layout.bags)
        self.model = {bag: layout.models[i % len(layout.models)] for i, bag in enumerate(bags)}
        w = world
        kinds_of_face = [(m, f) for m in layout.models for f in layout.faces]
        self.level = {mf: 24.0 + w.level_sd * rng.normal() for mf in kinds_of_face}
        self.slope = {mf: w.slope + w.slope_face_sd * rng.normal() for mf in kinds_of_face}
        self.range = {mf: w.range * (1.0 + w.range_face_sd * rng.normal()) for mf in kinds_of_face}
        self.effect = {
            (name, *mf): w.effects[name] + w.effect_face_sd * rng.normal()
            for name in w.kinds
            for mf in kinds_of_face
        }
        self.residue = {name: w.residue_sd * rng.normal() for name in w.kinds}
        self.own = {bag: w.bag * self.noise() for bag in bags}
        self.own_face = {(b, f): w.bag_face * self.noise() for b in bags for f in layout.faces}
        self.strength = {bag: exp(w.uneven_bags * rng.normal()) for bag in bags}
        self.deviations: dict[str, list[float]] = {bag: [] for bag in bags}
        self.done: dict[str, tuple[Applied, ...]] = dict.fromkeys(bags, ())
        self.slid = dict.fromkeys(self.own_face, 0)
        self.thrown = dict.fromkeys(bags, 0)
        self.mark = dict.fromkeys(self.own_face, 0)
        self.drifted = 0.0
        self.came = 0.0
        """Half of the hysteresis, below 0 from dry air."""
        self.shift = 0.0
        self.from_damp = dict.fromkeys(kinds_of_face, 0.0)
        if layout.is_approach_noted:
            self.shift = float(w.damp_shift * exp(0.5 * rng.normal()))
            self.from_damp = {mf: w.from_damp_sd * rng.normal() for mf in kinds_of_face}
        self.damp = 50.0
        self.moisture = wetting_moisture(50.0)

    def noise(self) -> float:
        """Standard scatter, normal or with heavier tails."""
        df = self.world.tails
        if not df:
            return float(self.rng.normal())
        spread = (df / (df - 2.0)) ** 0.5 if df > 2.0 else 1.0
        return float(self.rng.standard_t(df)) / spread

    def apply(self, bag: str, at: str, line: int) -> None:
        recipe = self.layout.bags[bag]
        assert recipe is not None
        self.done[bag] += (Applied(recipe, (), at, line),)
        self.deviations[bag].append(self.world.response * self.noise())
        for face in self.layout.faces:
            self.mark[bag, face] = self.slid[bag, face] + self.thrown[bag]

    def weather(self, bag: str, face: str, humidity: float) -> float:
        slope = self.slope[self.model[bag], face]
        if self.world.weather == "linear":
            return slope * (humidity - 50.0) / 10.0
        if self.world.weather == "sigmoid":
            return slope * 3.0 / (1.0 + exp(-(humidity - 55.0) / 6.0))
        if self.world.weather == "twin":
            return self._as_twin(slope, self.level[self.model[bag], face])
        # Regain by a Hailwood-Horrobin-like curve, higher from the damp side by a sixth.
        x = humidity / 100.0
        regain = 12.0 * x / (1.0 + 4.0 * x - 4.0 * x * x)
        return slope * (regain * (1.17 if self.damp > humidity else 1.0) - 3.0)

    def condition(self, humidity: float) -> None:
        """Let the bags lie in the air of a session for some hours, where they remember."""
        if self.world.weather == "twin":
            hours = float(self.rng.uniform(1.0, 12.0))
            self.moisture = moisture_after(Face(), self.moisture, humidity, hours)

    def _as_twin(self, slope: float, level: float) -> float:
        """The twin's fabric: friction a sigmoid of moisture, as steep as the slope is large."""
        fabric = Face(humidity_gain=0.25 * slope / 0.5)
        usual = humidity_factor(fabric, wetting_moisture(50.0))
        factor = humidity_factor(fabric, self.moisture) / usual
        return degrees(atan(tan(radians(level)) * factor)) - level

    def response(
        self,
        bag: str,
        face: str,
        *,
        more: float = 0.0,
        extra: tuple[float, ...] = (),
        is_rested: bool = False,
    ) -> float:
        """What treatments and use have added.

        Args:
            bag: treated and used.
            face: of it.
            more: throws to come.
            extra: deviations of applications to come.
            is_rested: leave out what a fresh application leaves on the fabric.
        """
        w, mf = self.world, (self.model[bag], face)
        dose, uneven, linear = 0.0, 0.0, 0.0
        recipe = self.layout.bags[bag] or ""
        kind = w.kinds.get(recipe, "nothing")
        deviations = [*self.deviations[bag], *extra]
        for deviation in deviations:
            if kind == "linear":
                linear += self.effect[recipe, *mf] * self.strength[bag] + deviation
            elif kind == "saturates":
                each = w.doses[recipe] * self.strength[bag]
                if w.saturates_never:
                    share = 1.0 - exp(-each)
                    linear -= self.range[mf] * share * (1.0 + deviation / 1.5)
                else:
                    dose += each
                    uneven += each * deviation / 1.5
        throws = self.thrown[bag] + more
        dose += w.slide_dose * self.slid[bag, face] + w.throw_dose * throws
        added = linear - self.range[mf] * (1.0 - exp(-dose)) - w.range * exp(-dose) * uneven
        if deviations and kind != "nothing" and not is_rested:
            use = self.slid[bag, face] + throws - self.mark[bag, face]
            added += self.residue[recipe] * (1.0 if extra else exp(-use / 20.0))
        return added

    def plain(self, bag: str, face: str, humidity: float, temperature: float) -> float:
        """The angle before treatments and use."""
        level = self.level[self.model[bag], face] + self.own[bag] + self.own_face[bag, face]
        warmer = self.world.temperature * (temperature - 22.0) / 10.0
        plain = level + self.weather(bag, face, humidity) + warmer
        return plain + self.came * self.of_damp(self.model[bag], face)

    def of_damp(self, model: str, face: str) -> float:
        """What bags from damp slide above those from dry, in one air."""
        return self.slope[model, face] * self.shift + self.from_damp[model, face]

    def approach(self) -> tuple[str, float]:
        """How the bags come to a session, as it is noted, and what nobody noted adds to it."""
        if not self.layout.is_approach_noted:
            return "unknown", 0.0
        is_first, self.came = self.came == 0.0 and not any(self.slid.values()), 0.0
        if not is_first and self.rng.random() < 0.25:
            return "unknown", self.world.approach_sd * self.noise()
        is_damp = bool(self.rng.random() < 0.5)
        self.came = 0.5 if is_damp else -0.5
        return "from_damp" if is_damp else "from_dry", 0.0


def make_study(
    world: World, layout: Layout, rng: np.random.Generator
) -> tuple[list[Slide], Facts, Truth]:
    """Slides, what catalogue and journal add to them, and the truth."""
    making = _Making(world, layout, rng)
    slides: list[Slide] = []
    plays: list[Played] = []
    shift, day = 0.0, 1
    for stage in range(layout.stages):
        if stage:
            for number, (bag, recipe) in enumerate(layout.bags.items()):
                if layout.throws:
                    plays.append(Played(bag, AT.format(day=day, hour=20, minute=0), layout.throws))
                    making.thrown[bag] += layout.throws
                if recipe is not None:
                    making.apply(bag, AT.format(day=day, hour=21, minute=0), 100 * day + number)
            day += 1
        for _ in range(layout.sessions_each):
            shift = world.memory * shift + (1 - world.memory**2) ** 0.5 * making.noise()
            _sit(making, slides, day, world.session * shift)
            day += 1
    facts = Facts(
        recipes=tuple(world.kinds), models=making.model, done=making.done, plays=tuple(plays)
    )
    return slides, facts, _truth(making, slides)


def _sit(making: _Making, slides: list[Slide], day: int, shift: float) -> None:
    """One session: every bag, every face, in an order of its own."""
    world, layout, rng = making.world, making.layout, making.rng
    humidity = float(rng.uniform(*layout.airs))
    temperature = float(rng.normal(22.0, 2.0))
    making.condition(humidity)
    approach, unnoted = making.approach()
    shift += unnoted
    residue, soiled, minute = world.board_residue_sd * rng.normal(), 0, 0
    for i in rng.permutation(len(layout.bags)):
        bag = list(layout.bags)[int(i)]
        is_control = layout.bags[bag] is None
        for face in layout.faces:
            series = world.series * making.noise() + (making.drifted if is_control else 0.0)
            # The board's residue and the use of the face are taken at the series' middle.
            treated = bool(making.done[bag])
            for k in range(1, layout.slides + 1):
                angle = making.plain(bag, face, humidity, temperature) + shift + series
                angle += residue * (1.0 - exp(-soiled / 10.0)) + making.response(bag, face)
                angle += world.settle * (1.0 / k - 1.0 / 3.0) + world.run * making.noise()
                if world.step_deg:
                    angle = world.step_deg * round(angle / world.step_deg)
                slides.append(
                    Slide(
                        slide_id=f"slide {len(slides)}",
                        source="hand" if layout.by_hand else "rig",
                        at=AT.format(day=day, hour=9 + minute // 60, minute=minute % 60),
                        rig=None if layout.by_hand else "rig 1",
                        reader="reader 1" if layout.by_hand else None,
                        bag=bag,
                        model=making.model[bag],
                        face=face,
                        board="board",
                        session=f"day {day}",
                        series=f"day {day} {bag} {face}",
                        slide_number=k,
                        slides_before=making.slid[bag, face],
                        treatments=making.done[bag],
                        approach=approach,  # type: ignore[arg-type]
                        temperature_c=temperature,
                        surface_humidity_pct=humidity,
                        rate_deg_s=None if layout.by_hand else 1.0,
                        onset_angle_deg=angle,
                        outcome="slid",
                        valid=True,
                        slid=True,
                    )
                )
                making.slid[bag, face] += 1
                soiled += treated
            minute += 1
    making.drifted += world.drift
    making.damp = humidity


def _truth(making: _Making, slides: list[Slide]) -> Truth:
    world, layout = making.world, making.layout
    air = float(np.mean([s.surface_humidity_pct or 0.0 for s in slides]))
    warmth = float(np.mean([s.temperature_c or 0.0 for s in slides]))
    making.damp, making.moisture = air - 1.0, wetting_moisture(air)
    making.came = 0.0
    plain = {bf: making.plain(*bf, air, warmth) for bf in making.own_face}
    angles = {bf: plain[bf] + making.response(*bf) for bf in plain}
    effects = {key: _effect(making, key) for key in making.effect}
    return Truth(
        air=air,
        temperature=warmth,
        effects=effects,
        angles=angles,
        next_angles={
            bf: plain[bf] + making.response(*bf, extra=(world.response * making.noise(),))
            for bf in plain
            if layout.bags[bf[0]] is not None
        },
        throws={bf: _throws(making, bf, plain[bf], slides) for bf in plain},
        slopes=making.slope,
        of_damp={mf: making.of_damp(*mf) for mf in making.slope},
        damp_shift=making.shift,
        new_bags={
            (model, face): making.plain(bag, face, air, warmth)
            - making.own[bag]
            - making.own_face[bag, face]
            + world.bag * making.noise()
            + world.bag_face * making.noise()
            for bag, model in making.model.items()
            for face in layout.faces
        },
        world=world,
    )


def _effect(making: _Making, key: tuple[str, str, str]) -> float:
    """Of a first application, the mean over bags."""
    recipe, *mf = key
    kind = making.world.kinds[recipe]
    if kind == "nothing":
        return 0.0
    # Of how strongly bags respond: nodes and weights of Gauss and Hermite.
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    strengths, shares = np.exp(making.world.uneven_bags * nodes), weights / weights.sum()
    lasting = making.effect[key] * float(shares @ strengths)
    if kind == "saturates":
        left = float(shares @ np.exp(-making.world.doses[recipe] * strengths))
        lasting = -making.range[mf[0], mf[1]] * (1.0 - left)
    return lasting + making.residue[recipe]


def _throws(
    making: _Making, bag_face: tuple[str, str], plain: float, slides: list[Slide]
) -> tuple[float, float]:
    """A target half a degree below the last series, and the throws to it once residue is gone.

    The target hangs on what was measured alone, so that asking for it tells nothing of the truth.
    """
    mine = [s.onset_angle_deg or 0.0 for s in slides if (s.bag, s.face) == bag_face]
    target = float(np.mean(mine[-making.layout.slides :])) - 0.5

    def is_there(more: float) -> bool:
        return plain + making.response(*bag_face, more=more, is_rested=True) <= target

    low, high = 0.0, 1e9
    if is_there(low):
        return target, 0.0
    if not is_there(high):
        return target, inf
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if is_there(middle) else (middle, high)
    return target, high
