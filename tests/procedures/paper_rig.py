"""A rig on paper: it moves as it is told, and its sensor shows what the test wants.

It stands for machine and mover together, so that limits can be met exactly and in no time.
"""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np

from rig.calibration.captures import Rest
from rig.calibration.model import Calibration
from rig.calibration.plan import SpanPoint, Way
from rig.calibration.reference import SineBar
from rig.clock import At, Task, VirtualClock
from rig.control.live import Live
from rig.devices.imu import ImuBatch
from rig.procedures.level.person import Answer, LevelPerson, Where
from rig.runfile.model import ImuSetup, State
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from tests.calibration.example import SENSOR
from tests.calibration.invented_rig import SCALE, InventedRig

RATE_HZ = 104.0
TICK_S = 0.05
START_S, START_DEG = 0.5, 0.2
"""So long after the start of a move, and before its end, the sensor is off by so much."""
Counts = tuple[float, float, float]


class Move(NamedTuple):
    """A move that was asked for."""

    to_deg: float
    rate_deg_s: float


class PaperRig:
    """An opened machine and its mover.

    Args:
        settings: the rig's.
        truth: what the sensor on the board shows.
        delay_s: how late it shows it.
        backlash_deg: lost motion of the screw.
    """

    def __init__(
        self,
        settings: Settings | None = None,
        truth: InventedRig | None = None,
        *,
        delay_s: float = 0.0,
        backlash_deg: float = 0.0,
    ) -> None:
        self.settings = settings or Settings()
        self.clock = VirtualClock(utc=datetime(2026, 11, 25, 8, tzinfo=UTC))
        self.events = self.clock.queue()
        self.linkage = Kinematics(self.settings.linkage, self.settings.screw)
        self.live = Live(imu_temperature_c=25.0)
        self.truth = truth or InventedRig(noise_counts=0.0)
        setup = ImuSetup(model="lsm6dsox", rate_hz=RATE_HZ, lowpass_hz=20.8, mode="fifo")
        self.imu = SimpleNamespace(counts_per_g=SCALE, identity=SENSOR, setup=setup)
        self.stepper = SimpleNamespace(
            count=0, latest=(0.0, 0), disable=self._off, take_worst_late_us=lambda: 50.0
        )
        self.inputs: Any = None
        self.bus: Any = None
        self.host: Any = None
        self.calibration: Calibration | None = None
        self.home_check: Any = None
        self.latched: Any = None
        self.has_blade, self.has_motor = False, True
        self.lowering_rate_deg_s = 3.0
        self.moves: list[Move] = []
        self.states: list[State] = []
        self.off_deg = 0.0
        """How much further than the steps the board truly is at its span points."""
        self.shake: Callable[[int], Counts] = lambda _: (0.0, 0.0, 0.0)
        """Counts that are added to each sample of a wait, by its number."""
        self.seen_deg: Callable[[float], float] = lambda steps_deg: steps_deg
        """What a calibrated sensor makes of an inclination by the steps."""
        self.is_off = False
        self.rested_off: list[bool] = []
        """For each rest whether the driver was off."""
        self.in_hand = False
        self.ended: list[str] = []
        self._delay_s, self._backlash_deg = delay_s, backlash_deg
        self._hears: list[Callable[[ImuBatch], None]] = []
        up, flat, down = (self.truth.counts(turn) for turn in (0.0, 90.0, 180.0))
        self._middle, self._cosine = (up + down) / 2.0, (up - down) / 2.0
        self._sine = flat - self._middle

    # -- machine --------------------------------------------------------------------------------

    def enter(self, state: State) -> None:
        """Go to a state."""
        self.states.append(state)

    def step_angle_deg(self) -> float:
        """Inclination by the steps."""
        return float(self.linkage.angle_deg(self.stepper.count))

    def plan(self, to_deg: float, rate_deg_s: float) -> Move:
        """A move."""
        return Move(to_deg, rate_deg_s)

    def start_watching(self, _: Any) -> list[Any]:
        """The tasks that watch, so that their end can be seen."""
        return [SimpleNamespace(cancel=lambda: self.ended.append("watcher"))]

    def watch_angle(self, samples: int, period_s: float) -> Task[None]:
        """Task: let the sensor at rest be heard."""
        while True:
            true = self._shown(np.full(samples, self.step_angle_deg()))
            self._say(self.clock.time_s(), true + np.array([self.shake(i) for i in range(samples)]))
            yield At(self.clock.time_s() + period_s)

    def _off(self) -> None:
        self.is_off = True

    def motors_off(self) -> None:
        """All drivers off."""
        self.is_off = True

    def latch(self, fault: Any) -> None:
        """Keep the first fault."""
        self.latched = self.latched or fault

    @contextmanager
    def sensor_in_hand(self) -> Iterator[None]:
        """Nothing here looks at the sensor by itself."""
        self.in_hand = True
        yield
        self.in_hand = False

    @contextmanager
    def listening(self, hear: Callable[[ImuBatch], None]) -> Iterator[None]:
        """As the machine's."""
        self._hears.append(hear)
        try:
            yield
        finally:
            self._hears.remove(hear)

    @contextmanager
    def listening_to_counts(self, counts: list[Any]) -> Iterator[None]:
        """As the machine's."""
        with self.listening(lambda batch: counts.extend(batch.counts)):
            yield

    # -- mover ----------------------------------------------------------------------------------

    def home(self, *_: Any) -> Task[None]:
        """The board goes to its lower switch."""
        yield from ()
        self.enter("homing")
        self.stepper.count = 0

    def time_s(self) -> float:
        """Now."""
        return self.clock.time_s()

    def ask(self, what: str) -> None:
        """Show what is waited for."""
        self.live.wants = what

    def wait_s(self, seconds: float) -> Task[list[Any]]:
        """Rest, while the sensor is heard."""
        now_s, n = self.clock.time_s(), round(seconds * RATE_HZ)
        self.rested_off.append(self.is_off)
        if self._hears:
            steps_deg = self.step_angle_deg()
            true = self._shown(np.full(n, steps_deg + (self.off_deg if steps_deg > 5.0 else 0.0)))
            self._say(now_s, true + np.array([self.shake(i) for i in range(n)]).reshape(n, 3))
        if self.calibration is not None:
            self.live.angle_deg = self.seen_deg(self.step_angle_deg())
        yield At(now_s + seconds)
        return []

    def move(self, plan: Move, look: Callable[[Any], None] | None = None) -> Task[None]:
        """Move at the plan's rate from the start to the end."""
        self.moves.append(plan)
        self.is_off = False
        from_deg, began_s = self.step_angle_deg(), self.clock.time_s()
        way = math.copysign(1.0, plan.to_deg - from_deg)
        lasts_s = abs(plan.to_deg - from_deg) / plan.rate_deg_s

        def steps_deg(at_s: Any) -> Any:
            gone = np.clip(at_s - began_s, 0.0, lasts_s) * plan.rate_deg_s
            return from_deg + way * gone

        if look is not None and lasts_s > 0.0:
            for k in range(math.ceil(lasts_s / TICK_S) + 1):
                now_s = began_s + k * TICK_S
                # A pulse comes when the wanted angle passes half-way between two counts.
                self.stepper.latest = (
                    now_s,
                    float(self.linkage.count_at(float(steps_deg(now_s)))) + way / 2.0,
                )
                at_s = now_s + np.arange(round(TICK_S * RATE_HZ)) / RATE_HZ
                late = steps_deg(at_s - self._delay_s) - way * self._backlash_deg / 2.0
                is_near = np.minimum(at_s - began_s, began_s + lasts_s - at_s) < START_S
                late = late - way * START_DEG * is_near
                self._say(now_s, self._shown(late))
                look(None)
                yield At(now_s + TICK_S)
        yield At(began_s + lasts_s)
        self.stepper.count = round(float(self.linkage.count_at(plan.to_deg)))

    def _shown(self, turn_deg: Any) -> Any:
        """Counts at inclinations, shape (n, 3)."""
        turn = np.radians(turn_deg)[:, None]
        return self._middle + np.cos(turn) * self._cosine + np.sin(turn) * self._sine

    def _say(self, at_s: float, counts: Any) -> None:
        batch = ImuBatch(at_s, 1.0 / RATE_HZ, [tuple(row) for row in counts.tolist()])
        for hear in self._hears:
            hear(batch)


class PaperPerson(LevelPerson):
    """Reads a perfect level, and does as it is told.

    Args:
        rig: whose board it reads.
    """

    def __init__(self, rig: PaperRig) -> None:
        self.rig = rig
        self.own_error_deg = 0.0
        """Of the level."""
        self.nudges: list[float] = []
        """What the bubble is off by, in turn; centred after that."""
        self.answers: list[Answer] = []
        """In turn; on after that."""
        self.steps: list[str] = []
        self.shown: float | None = None
        """By the digital level, if it is wrong."""

    def level_deg(self, where: Where, turned: bool) -> float:
        """True but for its own error."""
        along, across, _ = self.rig.truth.slopes_deg(self.rig.step_angle_deg())
        own = -self.own_error_deg if turned else self.own_error_deg
        return (along if where == "along" else across) + own

    def bubble_deg(self, bar: SineBar, point: SpanPoint, steps_deg: float) -> float:
        """As scripted."""
        return self.nudges.pop(0) if self.nudges else 0.0

    def shown_deg(self, point: SpanPoint, steps_deg: float) -> float:
        """True, unless the test says otherwise."""
        return steps_deg if self.shown is None else self.shown

    def across_deg(self, point: SpanPoint) -> float | None:
        """Not read."""
        return None

    def position(self, way: Way) -> Rest | None:
        """Not moved."""
        return None

    def screw_on(self) -> None:
        """Nothing to do."""
        self.steps.append("screw on")

    def warmed(self, first_c: float) -> Rest | None:
        """Nothing to do."""
        return None

    def go_on(self, step: str, found: str) -> Answer:
        """As scripted."""
        self.steps.append(step)
        return self.answers.pop(0) if self.answers else "on"


OnPaper = Callable[..., tuple[PaperRig, PaperPerson]]
"""Makes both; its keywords are those of `PaperRig`."""
