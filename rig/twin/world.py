"""What is behind the pins and chips: motor, cradle, switches, beams, bag, air; moved lazily.

Nothing here ticks. Each step pulse moves the motor, and only at a *border* (a switch, the angle at
which the bag starts, a warp in the beam) is more looked at; while the bag slides, every pulse
is. Whoever reads a sensor brings the world up to its time first.
"""

import threading
from bisect import bisect_right
from collections import deque
from math import degrees, inf, radians
from typing import TYPE_CHECKING

from rig.calibration.model import Vector
from rig.clock import Clock
from rig.settings.model import Settings
from rig.twin.blade import Pusher
from rig.twin.draws import air_at
from rig.twin.motor import Motor
from rig.twin.placed import PlacedBag, linkage_of
from rig.twin.receivers import Receivers
from rig.twin.scenario import Scenario, Truth
from rig.twin.sensor import Array, Motion
from rig.twin.slide import SlideMotion
from rig.twin.streams import stream

if TYPE_CHECKING:
    from rig.twin.pins import TwinPin

RAISED_DEG = 1.0
"""Above this the board is being raised for a run, and not only off its switch."""
SWITCH_PLAY = 3
"""A switch closes again this many pulses after the place where it opened."""
STOP_DEG = 1.0
"""The hard stops lie this far beyond the switches."""
REST_S = 0.2
"""A pause this long between two pulses ends a move."""


class World:
    """One simulated rig; every public method may be called from any thread.

    Args:
        clock: the rig's clock.
        settings: how it is wired and what it is said to be.
        scenario: how it is.
        seed: of all draws.
    """

    def __init__(self, clock: Clock, settings: Settings, scenario: Scenario, seed: int) -> None:
        self.clock = clock
        self.settings = settings
        self.scenario = scenario
        self.seed = seed
        self.lock = threading.RLock()
        self.pins: dict[int, TwinPin] = {}
        self.held_deg: Vector | None = None
        """Rotation vector of a sensor held off its board by hand; None: screwed on."""
        self.warmed_k = 0.0
        """Warming of the sensor by hand."""
        self.truths: list[Truth] = []
        """Of the placings that are over; the present one's is `truth()`."""
        self.driver_off_s = self._start_s = clock.time_s()
        self.motor = Motor(settings, linkage_of(scenario, settings), scenario.board)
        self._wiring = settings.pins
        self._n_beams = 1 if settings.pins.beam_2 is None else 2
        self.bag: PlacedBag
        self._raised_deg = RAISED_DEG
        self.pusher: Pusher | None = None
        if settings.blade.fitted:
            self.pusher = Pusher(seed, scenario, settings, self._n_beams)
            self._raised_deg = max(RAISED_DEG, settings.blade.settle_deg + 0.5)
        self._levels = self._rest_levels()
        self._pending: deque[tuple[float, int, bool]] = deque()
        self._low, self._high = inf, -inf
        self._bottom, self._top = -inf, inf
        self._move_s = -inf
        self._noise = stream(seed, "climate noise")
        self._put(1)
        self._look(self._start_s)

    # -- pins -----------------------------------------------------------------------------------

    def level(self, gpio: int) -> bool:
        """Level of a line as the world drives it; False for one that it does not drive."""
        return self._levels.get(gpio, False)

    def on_output(self, gpio: int, level: bool) -> None:
        """The program has set an output."""
        with self.lock:
            if gpio == self._wiring.direction:
                up = level == self._wiring.direction_raises_high
                self.motor.direction = 1 if up else -1
            elif self.pusher is not None and gpio == self._wiring.blade_direction:
                uphill = level == self._wiring.blade_uphill_is_high
                self.pusher.body.direction = 1 if uphill else -1
            elif self.pusher is not None and gpio == self._wiring.blade_enable:
                self.pusher.body.is_enabled = level
            elif gpio == self._wiring.enable and level != self.motor.is_enabled:
                self.motor.is_enabled = level
                if not level:
                    self.driver_off_s = self.clock.time_s()

    def on_step(self) -> None:
        """A rising edge on the step line."""
        now_s = self.clock.time_s()
        with self.lock:
            motor = self.motor
            before_s = motor.last_s
            if motor.step(now_s):
                if now_s - before_s > REST_S:
                    self._move_s = now_s
                if not self._low < motor.position < self._high:
                    self._at_border(now_s, before_s)

    def on_blade_step(self) -> None:
        """A rising edge on the blade's step line."""
        now_s, pusher = self.clock.time_s(), self.pusher
        if pusher is None:
            return
        with self.lock:
            if not pusher.body.step(now_s):
                self._report(now_s)
                return
            if self.bag.slide is not None:
                self.truths.append(self.bag.truth())
                self.bag = pusher.come_to_rest(self.bag, now_s)
                self._look(now_s)
            let_go = pusher.push(self.bag, now_s)
            if let_go is not None:
                self.bag = let_go
                self._look(now_s)
            self._look_at_beams(pusher, now_s)
            if self._wiring.blade_park is not None:
                self._set(self._wiring.blade_park, pusher.body.is_parked)
            self._report(now_s)

    def _look_at_beams(self, pusher: Pusher, now_s: float) -> None:
        """Bag and blade on the level board."""
        receivers = self.receivers
        for beam in range(1, self._n_beams + 1):
            was = receivers.stands_in(beam)
            if pusher.covers(beam, was) != was:
                self._queue(now_s, receivers.bag(beam, not was, self.motor.angle_deg))

    def press(self, button: str, down: bool) -> None:
        """Hold or let go "start_button", "stop_button" or "emergency_stop"."""
        with self.lock:
            self._set(getattr(self._wiring, button), down == (button == "emergency_stop"))

    def _rest_levels(self) -> dict[int, bool]:
        pins = self._wiring
        levels = {
            pins.emergency_stop: False,
            pins.limit_lower: False,
            pins.limit_upper: False,
            pins.start_button: True,
            pins.stop_button: True,
            pins.beam_1: not pins.beam_broken_is_high,
        }
        if pins.beam_2 is not None:
            levels[pins.beam_2] = not pins.beam_broken_is_high
        if pins.blade_park is not None:
            levels[pins.blade_park] = self.pusher is None or self.pusher.body.is_parked
        return levels

    def _set(self, gpio: int, level: bool, time_s: float | None = None) -> None:
        if self._levels[gpio] != level:
            self._levels[gpio] = level
            pin = self.pins.get(gpio)
            if pin is not None:
                pin.drive(level, self.clock.time_s() if time_s is None else time_s)

    @property
    def board_deg(self) -> float:
        """Cradle angle now."""
        return self.motor.angle_deg

    # -- motion ---------------------------------------------------------------------------------

    def advance(self, now_s: float) -> None:
        """Let a bag that slides while the motor stands go on, and report edges that are due."""
        with self.lock:
            slide = self.bag.slide
            if slide is not None and slide.is_sliding and now_s > self.motor.last_s + REST_S / 10:
                self._slide_on(slide, now_s)
            self._report(now_s)

    def motion(self, times_s: Array) -> Motion:
        """The cradle's motion at increasing times of the last few seconds."""
        with self.lock:
            now_s = self.clock.time_s()
            self.advance(now_s)
            return self.motor.motion(times_s, now_s)

    def _at_border(self, now_s: float, before_s: float) -> None:
        """The motor has come to a place where something may happen."""
        motor = self.motor
        if not self._bottom <= motor.position <= self._top:
            motor.push_back()
        angle_deg = motor.angle_deg
        bag = self.bag
        if bag.slide is None and motor.direction > 0 and angle_deg >= self._raised_deg:
            bag.raise_from(self._move_s, self.hours(now_s)).time_s = now_s
            self._knot = (now_s, radians(angle_deg))
        elif bag.slide is not None:
            if not bag.slide.is_sliding:
                # Nothing has happened since it was last looked at, up to the last pulse.
                was = motor.angle_rad(motor.position - motor.direction)
                self._knot = (max(self._knot[0], before_s), was)
                bag.slide.time_s = max(bag.slide.time_s, before_s)
            self._slide_on(bag.slide, now_s)
        self._look(now_s)

    def _slide_on(self, slide: SlideMotion, now_s: float) -> None:
        """Move the bag from the last pulse to this one; the cradle turns evenly in between."""
        (t0, a0), a1 = self._knot, self.motor.angle_rad(self.motor.position)
        if now_s <= t0:
            return
        rate = (a1 - a0) / (now_s - t0)
        edges = slide.advance(now_s, lambda t: a0 + rate * (t - t0))
        self._knot = (now_s, a1)
        for edge in edges:
            at_deg = self.motor.angle_deg
            self._queue(edge.time_s, self.receivers.bag(edge.beam, edge.broken, at_deg))

    def _look(self, now_s: float) -> None:
        """Bring switches and beams up to date, and find the next places to look again."""
        motor, pins = self.motor, self._wiring
        position = motor.position
        self._queue(now_s, self.receivers.look(motor.angle_deg))
        upper = motor.position_at(self.settings.linkage.travel_deg)
        places = []
        for pin, is_open, opens, closes in (
            (pins.limit_lower, position <= 0, 0.5, SWITCH_PLAY),
            (pins.limit_upper, position >= upper, upper, upper - SWITCH_PLAY),
        ):
            was_open = self._levels[pin]
            stays_open = position < closes if pin == pins.limit_lower else position > closes
            self._set(pin, is_open or (was_open and stays_open))
            places += [opens, closes]
        self._report(now_s)
        slide = self.bag.slide
        if self._pending or (slide is not None and slide.is_sliding):
            self._low, self._high = inf, -inf
            return
        if slide is None:
            # From above that angle, as after power-on, the next pulse upward raises.
            places.append(max(motor.position_at(self._raised_deg), position + 0.5))
        elif not slide.is_caught:
            wake = slide.wake_angle_rad()
            if wake is not None:
                # Where it may wake at any moment, the next pulse upward is looked at.
                places.append(max(motor.position_at(degrees(wake)), position + 0.5))
        places += self._fixed
        places.sort()
        i = bisect_right(places, position)
        self._low = max(places[i - 1], self._bottom) if i else self._bottom
        self._high = min(places[i], self._top) if i < len(places) else self._top

    def _queue(self, time_s: float, changes: list[tuple[int, bool]]) -> None:
        response_s = self.scenario.beam.response_ms / 1000.0
        for beam, broken in changes:
            self._pending.append((time_s + response_s, beam, broken))

    def _report(self, now_s: float) -> None:
        """Drive the beam's pins whose receivers have responded by now."""
        pins = self._wiring
        while self._pending and self._pending[0][0] <= now_s:
            time_s, beam, broken = self._pending.popleft()
            gpio = pins.beam_1 if beam == 1 else pins.beam_2
            if gpio is not None:
                self._set(gpio, broken == pins.beam_broken_is_high, time_s)

    # -- the bag --------------------------------------------------------------------------------

    def _put(self, number: int) -> None:
        now_s = self.clock.time_s()
        self.bag = PlacedBag.put(
            self.seed, self.scenario, self.settings, number, now_s, self._n_beams
        )
        if self.pusher is not None:
            self.bag = self.pusher.laid(self.bag)
        self.receivers = Receivers(self.scenario.beam, self._n_beams, self.seed, number)
        self._pending.clear()
        motor, linkage, board = self.motor, self.settings.linkage, self.scenario.board
        self._bottom = motor.position_at(linkage.home_angle_deg - STOP_DEG)
        top_deg = min(linkage.travel_deg + STOP_DEG, board.jam_deg or inf)
        self._top = motor.position_at(top_deg)
        self._fixed = [motor.position_at(border) for border in self.receivers.borders_deg]

    def place_bag(self, scenario: Scenario | None = None) -> None:
        """Put the bag back at its start, with a new draw if it was raised since the last time.

        Args:
            scenario: what holds from now on, as when another bag is taken; its bag, face, air and
                beams count, the machine stays as it is.
        """
        with self.lock:
            now_s = self.clock.time_s()
            if self.bag.slide is not None:
                self.truths.append(self.bag.truth())
            number = self.bag.placing.number + (self.bag.slide is not None)
            if scenario is not None:
                self.scenario, number = scenario, 1
            broken = [n for n in range(1, self._n_beams + 1) if self.receivers.is_broken(n)]
            self._put(number)
            for beam in broken:
                self._queue(now_s - self.scenario.beam.response_ms / 1000.0, [(beam, False)])
            if self.bag.placing.gap_mm <= 0.0:
                self._queue(now_s, self.receivers.bag(1, True, self.motor.angle_deg))
            self._look(now_s)

    def truth(self) -> Truth | None:
        """The truth about the latest placing that was raised; None before the first raise."""
        with self.lock:
            if self.bag.slide is not None:
                return self.bag.truth()
            return self.truths[-1] if self.truths else None

    @property
    def is_placed_by_blade(self) -> bool:
        """Whether a blade is fitted; the bag lay against it when the power came on."""
        return self.pusher is not None

    @property
    def has_blade_moved(self) -> bool:
        """Whether the blade has made any pulse."""
        return self.pusher is not None and self.pusher.body.last_s > 0.0

    @property
    def is_bag_sliding(self) -> bool:
        """Whether the bag moves, or an edge of it is yet to be reported."""
        slide = self.bag.slide
        return bool(self._pending) or (slide is not None and slide.is_sliding)

    # -- air and temperatures -------------------------------------------------------------------

    def hours(self, time_s: float) -> float:
        """Hours since the rig was switched on."""
        return max(0.0, time_s - self._start_s) / 3600.0

    def air_seen(self, time_s: float) -> tuple[float, float, float]:
        """Temperature (°C), humidity (%) and pressure (hPa) as the climate sensor meets them."""
        air = self.scenario.air
        temperature, humidity = air_at(air, self.hours(time_s))
        noise = self._noise.normal(0.0, (0.01, 0.04, 0.02)).tolist()
        return (
            temperature + air.sensor_temperature_error_k + noise[0],
            humidity + air.sensor_humidity_error_pct + noise[1],
            air.pressure_hpa + noise[2],
        )

    def imu_temperature_c(self, time_s: float) -> float:
        """Temperature of the angle sensor's chip, on the cradle."""
        scenario = self.scenario
        temperature, _ = air_at(scenario.air, self.hours(time_s))
        warmer = scenario.air.board_offset_k + scenario.imu.self_heating_k + self.warmed_k
        return temperature + warmer
