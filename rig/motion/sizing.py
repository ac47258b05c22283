"""Loads on the mechanics of a rig over the travel, and margins.

Every force is a worst case: highest thread friction for the motor, lowest for self-locking, and
the screw taken as a bare core over its whole length although a tube stiffens most of it.
"""

from collections.abc import Iterator
from itertools import pairwise
from math import cos, pi, radians, sin, sqrt
from typing import NamedTuple

from rig.motion import base_frame
from rig.motion.clearances import clearances
from rig.motion.columns import critical_force_n, round_bar
from rig.motion.frame import Cradle, unloading
from rig.motion.lead_screw import LeadScrew, trapezoidal
from rig.settings.checks import MAX_LENGTH_RATIO, lowering_rate_deg_s, max_rate_deg_s
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings

G0_M_S2 = 9.80665
MARGIN = 2.0
SELF_LOCKING_MARGIN = 1.5
HIGHEST_RATE_DEG_S = 3.0
"""Highest rate of a run, whatever the pulse rate allows."""

BAG_FLEX_DEG = 0.05
"""Largest bend allowed between angle sensor and bag over the travel."""

STATION_STEP_DEG = 5.0


class Station(NamedTuple):
    """The loads at one inclination, raising at the run's rate."""

    angle_deg: float
    screw_mm: float
    """Between its pivots."""
    lever_mm: float
    force_n: float
    torque_n_m: float
    pulse_rate_hz: float
    pull_out_n_m: float
    motor_margin: float
    buckling_margin: float
    deg_per_pulse: float


class Figure(NamedTuple):
    """One result; `least` or `most` is its bound, None where it only informs."""

    name: str
    value: float
    unit: str
    least: float | None = None
    most: float | None = None
    about: str = ""

    @property
    def is_enough(self) -> bool:
        """Whether the value keeps its bounds."""
        return (self.least is None or self.value >= self.least) and (
            self.most is None or self.value <= self.most
        )


class Sizing(NamedTuple):
    """All of it."""

    stations: list[Station]
    figures: list[Figure]

    @property
    def warnings(self) -> list[Figure]:
        """Figures outside their bounds."""
        return [figure for figure in self.figures if not figure.is_enough]


def size(settings: Settings) -> Sizing:
    """Compute loads and margins of a rig."""
    mechanics = _Loads(settings)
    top = settings.linkage.soft_limit_deg
    home = settings.linkage.home_angle_deg
    angles = [home, *_between(home, top), top]
    stations = [mechanics.station(angle) for angle in angles]
    return Sizing(stations, list(_figures(settings, mechanics, stations)))


def _between(low: float, high: float) -> list[float]:
    """The multiples of the step that lie between two angles."""
    first = int(low // STATION_STEP_DEG) + 1
    last = -int(-high // STATION_STEP_DEG)
    return [i * STATION_STEP_DEG for i in range(first, last)]


class _Loads:
    """Forces and torques at any inclination."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        m = self._mechanics = settings.mechanics
        self.linkage = Kinematics(settings.linkage, settings.screw)
        mean_mm, self._core_mm = trapezoidal(m.screw_diameter_mm, settings.screw.lead_mm)
        shape = (mean_mm, settings.screw.lead_mm, m.flank_angle_deg)
        bearing = (m.bearing_friction, m.bearing_diameter_mm)
        self.rough = LeadScrew(*shape, m.most_thread_friction, *bearing)
        self.slippery = LeadScrew(*shape, m.least_thread_friction)
        radius_m, length_m = m.centre_of_mass_mm / 1000, settings.board.length_mm / 1000
        self.inertia_kg_m2 = m.moving_mass_kg * (radius_m**2 + length_m**2 / 12)
        self.moment_n_m = m.moving_mass_kg * G0_M_S2 * radius_m

    def force_n(self, angle_deg: float) -> float:
        """Push of the screw: weight about the hinge, and the board's inertia at the start."""
        gain = radians(self._settings.motion.acceleration_deg_s2) * self.inertia_kg_m2
        moment = self.moment_n_m * cos(radians(angle_deg)) + gain
        return moment / (self.linkage.lever_arm_mm(angle_deg) / 1000)

    def pull_out_n_m(self, angle_deg: float, rate_deg_s: float) -> float:
        """Pull-out torque, interpolated linearly between the given points."""
        m = self._mechanics
        curve = [
            (0.0, m.holding_n_m),
            (250.0, m.pull_out_250_n_m),
            (500.0, m.pull_out_500_n_m),
            (1000.0, m.pull_out_1000_n_m),
            (2000.0, m.pull_out_2000_n_m),
        ]
        steps_hz = self.full_steps_hz(angle_deg, rate_deg_s)
        for (low, torque), (high, next_torque) in pairwise(curve):
            if steps_hz <= high:
                return torque + (next_torque - torque) * (steps_hz - low) / (high - low)
        return 0.0

    def full_steps_hz(self, angle_deg: float, rate_deg_s: float) -> float:
        """Full steps per second of the motor."""
        return self.linkage.pulse_rate_hz(angle_deg, rate_deg_s) / self._settings.screw.microsteps

    def motor_margin(self, angle_deg: float, rate_deg_s: float) -> float:
        """Pull-out torque over the torque that raising takes."""
        wanted = self.rough.raise_torque_n_m(self.force_n(angle_deg))
        return self.pull_out_n_m(angle_deg, rate_deg_s) / wanted

    def lowering_margin(self, angle_deg: float, rate_deg_s: float) -> float:
        """Pull-out torque over the torque that lowering takes, either way of friction."""
        force = self.force_n(angle_deg)
        wanted = max(
            abs(self.rough.lower_torque_n_m(force)), abs(self.slippery.lower_torque_n_m(force))
        )
        return self.pull_out_n_m(angle_deg, rate_deg_s) / wanted

    def buckling_margin(self, angle_deg: float) -> float:
        """Critical load of the bare core, pinned at both pivots, over the push."""
        m = self._mechanics
        length = self.linkage.length_mm(angle_deg)
        section = round_bar(self._core_mm)
        critical = critical_force_n(length, *section, m.screw_modulus_gpa, m.screw_yield_mpa)
        return critical / self.force_n(angle_deg)

    def supply_a(self, angle_deg: float, rate_deg_s: float) -> float:
        """Current from the supply: both windings' loss and the work on the shaft."""
        m = self._mechanics
        turns_hz = self.full_steps_hz(angle_deg, rate_deg_s)
        turns_hz /= self._settings.screw.full_steps_per_turn
        # two phases with an effective value of I/√2 each
        winding_w = m.motor_current_a**2 * m.motor_resistance_ohm
        shaft_w = self.rough.raise_torque_n_m(self.force_n(angle_deg)) * 2 * pi * turns_hz
        return (winding_w + shaft_w) / (m.driver_efficiency * m.supply_v)

    def station(self, angle_deg: float) -> Station:
        """The loads at one inclination."""
        rate = self._settings.motion.rate_deg_s
        force = self.force_n(angle_deg)
        return Station(
            angle_deg=angle_deg,
            screw_mm=self.linkage.length_mm(angle_deg),
            lever_mm=self.linkage.lever_arm_mm(angle_deg),
            force_n=force,
            torque_n_m=self.rough.raise_torque_n_m(force),
            pulse_rate_hz=self.linkage.pulse_rate_hz(angle_deg, rate),
            pull_out_n_m=self.pull_out_n_m(angle_deg, rate),
            motor_margin=self.motor_margin(angle_deg, rate),
            buckling_margin=self.buckling_margin(angle_deg),
            deg_per_pulse=self.linkage.deg_per_pulse(angle_deg),
        )


def _figures(settings: Settings, loads: _Loads, stations: list[Station]) -> Iterator[Figure]:
    angles = [station.angle_deg for station in stations]
    rate = settings.motion.rate_deg_s
    fastest = min(max_rate_deg_s(settings), HIGHEST_RATE_DEG_S)
    lowering = lowering_rate_deg_s(settings)
    yield Figure("push of the screw, most", max(s.force_n for s in stations), "N")
    yield Figure("torque to raise, most", max(s.torque_n_m for s in stations), "N·m")
    yield Figure(
        "pulse rate, most",
        max(s.pulse_rate_hz for s in stations),
        "pulses/s",
        most=settings.screw.max_pulse_rate_hz,
        about=f"at {rate:g} °/s",
    )
    yield Figure("angle of a pulse, most", 1e3 * max(s.deg_per_pulse for s in stations), "m°")
    yield Figure(
        "motor margin, raising",
        min(s.motor_margin for s in stations),
        "",
        least=MARGIN,
        about=f"at {rate:g} °/s",
    )
    yield Figure(
        "motor margin, raising fast",
        min(loads.motor_margin(angle, fastest) for angle in angles),
        "",
        least=MARGIN,
        about=f"at {fastest:.2f} °/s, the fastest run",
    )
    yield Figure(
        "motor margin, lowering",
        min(loads.lowering_margin(angle, lowering) for angle in angles),
        "",
        least=MARGIN,
        about=f"at {lowering:.2f} °/s",
    )
    yield Figure("screw efficiency, raising", 100 * loads.rough.efficiency, "%")
    yield Figure(
        "self-locking",
        loads.slippery.self_locking,
        "",
        least=SELF_LOCKING_MARGIN,
        about="by the thread alone, at its least friction; else add a brake",
    )
    yield Figure(
        "buckling", min(s.buckling_margin for s in stations), "", least=MARGIN, about="bare core"
    )
    current = max(loads.supply_a(angle, fastest) for angle in angles)
    yield Figure("supply current, most", current, "A", about=f"at {fastest:.2f} °/s")
    yield Figure("supply margin", settings.mechanics.supply_a / current, "", least=MARGIN)
    yield from _geometry(settings, loads)
    weight_n = settings.mechanics.moving_mass_kg * G0_M_S2
    along, uplift, yields = base_frame.figures_of(settings, loads.force_n, weight_n, angles)
    yield Figure("hinge along the floor, most", along, "N", about="both bearings together")
    yield Figure("uplift on the hinge, most", uplift, "N", about="both bearings together")
    yield Figure(
        "yield of the base, at level",
        abs(yields[0]),
        "°",
        most=base_frame.YIELD_DEG,
        about="for the base of the drawings",
    )
    yield from _angle_errors(settings, loads, max(yields) - min(yields))
    yield from _tipping(settings)
    yield from _pinch(settings, loads, lowering)


def _geometry(settings: Settings, loads: _Loads) -> Iterator[Figure]:
    place = settings.linkage
    ends = [loads.linkage.length_mm(a) for a in (place.home_angle_deg, place.travel_deg)]
    yield Figure("stroke", ends[1] - ends[0], "mm", about=f"up to {place.travel_deg:g}°")
    yield Figure("length ratio", ends[1] / ends[0], "", most=MAX_LENGTH_RATIO)
    for name, value, least in clearances(settings):
        yield Figure(name, value, "mm", least=least)


def _angle_errors(settings: Settings, loads: _Loads, base_deg: float) -> Iterator[Figure]:
    """What parts bag, sensor and step count; `base_deg` is the change of the base's yield."""
    m, beam, bag = settings.mechanics, settings.beam, settings.bag
    cradle = Cradle(
        settings.board.length_mm,
        settings.linkage.cradle_pivot_mm,
        m.moving_mass_kg * G0_M_S2 / settings.board.length_mm,
        m.frame_stiffness_n_m2 * 1e6,
    )
    at_bag = beam.position_mm + bag.gap_mm + bag.length_mm / 2
    at_sensor = at_bag + m.sensor_offset_mm
    part = unloading(settings.linkage.soft_limit_deg)
    yield Figure(
        "bend from bag to sensor",
        abs(cradle.bend_deg(at_bag, at_sensor)) * part,
        "°",
        most=BAG_FLEX_DEG,
        about="change over the travel, before calibration",
    )
    cross = m.hinge_play_mm / m.hinge_spacing_mm * (180 / pi)
    yield Figure("cross slope by hinge play", cross, "°", most=BAG_FLEX_DEG)
    lever = min(
        loads.linkage.lever_arm_mm(a)
        for a in (settings.linkage.home_angle_deg, settings.linkage.soft_limit_deg)
    )
    play = (m.hinge_play_mm + m.screw_play_mm) / lever * (180 / pi)
    by_steps = play + abs(cradle.slope_deg(at_sensor)) * part + base_deg
    yield Figure(
        "error of the angle by steps",
        by_steps,
        "°",
        most=settings.interlocks.angle_mismatch_deg / MARGIN,
        about="play, bend and base; half of `interlocks.angle_mismatch_deg` is allowed",
    )


def _tipping(settings: Settings) -> Iterator[Figure]:
    """A push at the board's edge, raised to the soft limit."""
    sideways, downhill = base_frame.tipping_n(settings, G0_M_S2)
    least = base_frame.TIPPING_N
    yield Figure(
        "push that tips it sideways", sideways, "N", least=least, about="at the raised edge"
    )
    yield Figure(
        "push that tips it downhill", downhill, "N", least=least, about="at the raised edge"
    )


def _pinch(settings: Settings, loads: _Loads, lowering_deg_s: float) -> Iterator[Figure]:
    """The tube below the cradle only pushes, so the most that presses down is the weight.

    That holds while its pin has way in the slots of the lugs.
    """
    m, length_m = settings.mechanics, settings.board.length_mm / 1000
    top = radians(settings.linkage.soft_limit_deg)
    yield Figure("weight on a hand at the free end", loads.moment_n_m / length_m, "N")
    at_pivot = loads.moment_n_m / (settings.linkage.cradle_pivot_mm / 1000)
    yield Figure("weight on a hand at the cradle pivot", at_pivot, "N")
    speed = radians(lowering_deg_s)
    yield Figure(
        "energy of the lowering board",
        1e3 * loads.inertia_kg_m2 * speed**2 / 2,
        "mJ",
        most=4000.0,
        about="powered guards may carry 4 J (ISO 14120:2015, from memory)",
    )
    drop_j = m.moving_mass_kg * G0_M_S2 * m.centre_of_mass_mm / 1000 * sin(top)
    yield Figure("energy of a fall from the top", drop_j, "J", about="why the prop is set first")
    edge_m_s = length_m * sqrt(2 * drop_j / loads.inertia_kg_m2)
    yield Figure("speed of the free end in such a fall", edge_m_s, "m/s")
