"""Run files without pins: the same physics and sensor as the full twin, at many runs a second."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import msgspec
import numpy as np

from rig.calibration.apply import along_slope_deg, cross_slope_deg, gravity_g
from rig.calibration.model import Calibration
from rig.clock import QuietCollector
from rig.motion.profile import braking, rest_to_rest
from rig.runfile.model import End, Event, Header, Line, Outcome
from rig.settings.checks import quick_rate_deg_s
from rig.settings.kinematics import Kinematics
from rig.settings.model import Settings
from rig.sliding import longest_pass_s
from rig.twin.blade import pushed_placing, stated_gap_mm
from rig.twin.calibration import calibration_for
from rig.twin.draws import air_at
from rig.twin.fitted import fitted_chip
from rig.twin.person import PRESS_AFTER_S, WAIT_S
from rig.twin.placed import PlacedBag, incline_of, linkage_of
from rig.twin.receivers import Receivers
from rig.twin.scenario import Scenario, Truth
from rig.twin.sensor import Sensor
from rig.twin.streams import stream
from tests.fastsim.passage import Passage, edge_event, judge, watch, watch_lowering
from tests.fastsim.recording import (
    Record,
    Timed,
    climate_lines,
    make_header,
    sample_lines,
    step_lines,
)
from tests.fastsim.timeline import Move, Timeline

HOME_RETREAT_DEG, LOWERED_DEG = 0.5, 0.3
PUSH_S = 36.0
"""The blade's way there and back."""
READING_S, ENABLE_S, NOTICE_S, REST_S = 1.6, 0.021, 0.06, 0.3
"""Times of the machine's cycle: home reading, driver on before a move, button to its notice, rest
between a quick approach and the measured raise."""


def simulate_run(
    settings: Settings,
    scenario: Scenario,
    seed: int,
    *,
    number: int = 1,
    rate_deg_s: float | None = None,
    dwell_s: float | None = None,
    approach_deg: float | None = None,
    beams: Literal[1, 2] | None = None,
    calibration: Calibration | None = None,
    hours: float = 0.0,
    **header: Any,
) -> tuple[list[Line], Truth]:
    """One run of the simulated rig, as the lines of its file and the truth about it.

    Args:
        settings: the rig's settings, which the run believes in.
        scenario: what is true.
        seed: of all random draws.
        number: of the placing, from 1; each has its own gap, skew, slump and scatter.
        rate_deg_s: raise rate; the settings' if not given.
        dwell_s: rest before the raise; the settings' if not given.
        approach_deg: a quick start to here, where the board rests before the measured raise; the
            raise is whole if not given.
        beams: 1 or 2; as wired by the settings if not given.
        calibration: of the sensor; drawn by `calibration_for` if not given.
        hours: since the rig was switched on, for air and moisture.
        header: further fields of the header, over what is made up here.

    Returns:
        The lines, header first and end last, and the truth.
    """
    run = _Run(
        settings,
        scenario,
        seed,
        number,
        settings.motion.rate_deg_s if rate_deg_s is None else rate_deg_s,
        settings.cycle.dwell_s if dwell_s is None else dwell_s,
        approach_deg,
        beams or (1 if settings.pins.beam_2 is None else 2),
        hours,
    )
    # Thousands of small tuples would set off the collector again and again.
    with QuietCollector():
        return run.make(calibration or calibration_for(scenario, settings, seed), header)


def encode_lines(lines: Iterable[Line]) -> bytes:
    """The bytes of a run file."""
    encode = msgspec.json.Encoder().encode
    return b"\n".join([*map(encode, lines), b""])


def write_run(folder: Path, lines: list[Line], truth: Truth) -> Path:
    """Write a run file and the truth beside it; returns the path of the run file."""
    header = lines[0]
    assert isinstance(header, Header)
    path = folder / f"{header.run_id}.run.jsonl"
    path.write_bytes(encode_lines(lines))
    (folder / f"{header.run_id}.truth.json").write_bytes(msgspec.json.encode(truth))
    return path


class _Run:
    def __init__(
        self,
        settings: Settings,
        scenario: Scenario,
        seed: int,
        number: int,
        rate_deg_s: float,
        dwell_s: float,
        approach_deg: float | None,
        beams: Literal[1, 2],
        hours: float,
    ) -> None:
        self.approach_deg = approach_deg
        self.settings, self.scenario, self.seed, self.number = settings, scenario, seed, number
        self.rate_deg_s, self.dwell_s, self.beams, self.hours = rate_deg_s, dwell_s, beams, hours
        linkage = settings.linkage
        self.timeline = Timeline(
            Kinematics(linkage, settings.screw),
            linkage_of(scenario, settings),
            linkage.home_angle_deg,
            linkage.home_angle_deg + LOWERED_DEG,
        )
        self.chip = fitted_chip(settings, scenario.imu)
        self.response_s = scenario.beam.response_ms / 1000.0
        self.home_deg = linkage.home_angle_deg
        self.events: list[Event] = []
        self.outcome: Outcome = "slid"
        self.end_s = 0.0

    def make(self, calibration: Calibration, header: dict[str, Any]) -> tuple[list[Line], Truth]:
        home_s = self._home()
        begin_s = self._place(home_s)
        if self.approach_deg is not None:
            header = {"approach_deg": self.approach_deg} | header
        random = stream(self.seed, "sensor", self.number)
        sensor = Sensor(
            self.scenario.imu,
            incline_of(self.scenario),
            self.chip.rate_hz,
            self.chip.lowpass_hz,
            self.timeline.motion,
            random,
        )
        passage = self._raise(begin_s)
        raised_s = self.timeline.moves[-1].end_s
        self._lower(raised_s)
        record = self._record(sensor, calibration.counts_per_g)
        self._home_reading(home_s, calibration, record)
        idle_hz = self.settings.cycle.idle_sample_rate_hz
        climate_s = np.arange(0.05, self.end_s, self.settings.cycle.climate_interval_s).tolist()
        jitter = stream(self.seed, "jitter", self.number)
        lines: list[Timed] = [(e.t_s, e) for e in self.events]
        lines += sample_lines(record, begin_s, raised_s, self.end_s, idle_hz)
        lines += step_lines(self.timeline, self.end_s, jitter)
        lines += climate_lines(self.scenario, climate_s, self.hours, random)
        lines.sort(key=lambda item: item[0])
        body: list[Line] = [self._header(calibration, header), *(line for _, line in lines)]
        end = End(
            outcome=self.outcome,
            flags=passage.flags,
            samples_lost=0,
            bus_retries=0,
            lines=len(body),
        )
        return [*body, end], self.bag.truth()

    def _header(self, calibration: Calibration, given: dict[str, Any]) -> Header:
        return make_header(
            self.settings,
            self.scenario,
            self.chip,
            calibration,
            seed=self.seed,
            number=self.number,
            hours=self.hours,
            beams=self.beams,
            rate_deg_s=self.rate_deg_s,
            dwell_s=self.dwell_s,
            given=given,
        )

    def _event(self, t_s: float, event: str, **detail: Any) -> None:
        self.events.append(Event(t_s=round(t_s, 6), event=event, detail=detail))

    def _state(self, t_s: float, state: str) -> None:
        self._event(t_s, "state", state=state)

    def _move(
        self, start_s: float, from_deg: float, to_deg: float, rate: float, *, cut: bool = False
    ) -> float:
        """Add a move; one that the switch cuts short is planned further than it gets."""
        motion, direction = self.settings.motion, 1 if to_deg >= from_deg else -1
        way = abs(to_deg - from_deg)
        limits = (rate, motion.acceleration_deg_s2, motion.ramp_jerk_deg_s3)
        profile = rest_to_rest(way + (3.0 if cut else 0.0), *limits)
        cut_s = start_s + float(profile.time_at(np.array([way]))[0]) if cut else None
        self.timeline.moves.append(Move(start_s, from_deg, direction, profile, cut_s))
        return self.timeline.moves[-1].end_s

    def _home(self) -> float:
        """Find the lower switch, retreat, find it again slowly; returns when it is found."""
        self._state(0.001, "homing")
        rate, home = self.settings.motion.homing_rate_deg_s, self.home_deg
        at = self._move(ENABLE_S, home + LOWERED_DEG, home, rate, cut=True)
        self._event(at, "limit_lower")
        at = self._move(at + 0.06, home, home + HOME_RETREAT_DEG, rate)
        at = self._move(at + 0.06, home + HOME_RETREAT_DEG, home, 0.25 * rate, cut=True)
        self._event(at, "limit_lower")
        return at

    def _place(self, home_s: float) -> float:
        """Bag, start button, dwell; returns when the raise begins."""
        settings = self.settings
        placing_s = home_s + READING_S
        self._state(placing_s + 0.001, "placing")
        put_s = max(placing_s, home_s + WAIT_S)
        self.bag = PlacedBag.put(self.seed, self.scenario, settings, self.number, put_s, self.beams)
        placed_s = put_s + PRESS_AFTER_S + NOTICE_S
        gap_mm, u_gap_mm, clear = settings.bag.gap_mm, settings.bag.u_gap_mm, None
        if settings.blade.fitted:
            placing = pushed_placing(self.seed, self.scenario, settings, self.number)
            self.bag = replace(self.bag, placing=placing)
            placed_s = put_s + PUSH_S
            gap_mm, u_gap_mm, clear = stated_gap_mm(settings, self.scenario.blade)
        self._event(
            placed_s,
            "placed",
            gap_mm=gap_mm,
            u_gap_mm=u_gap_mm,
            blade_steps=clear,
            tries=1,
            pushes=0 if clear is None else 1,
        )
        self._state(placed_s, "dwelling")
        begin_s = placed_s + self.dwell_s
        self._state(begin_s, "raising")
        return begin_s

    def _raise(self, begin_s: float) -> Passage:
        """Raise through the slide; the raise ends a little after the bag has cleared."""
        settings, timeline = self.settings, self.timeline
        begun_s, end_s, angle = self._plan_raise(begin_s)
        first = timeline.moves[-1 if self.approach_deg is None else -2]
        half_pulse_deg = 0.5 * float(timeline.nominal.deg_per_pulse(self.home_deg))
        first_pulse_s = float(first.profile.time_at(np.array([half_pulse_deg]))[0])
        slide = self.bag.raise_from(first.start_s + first_pulse_s, self.hours)
        self.receivers = Receivers(self.scenario.beam, self.beams, self.seed, self.number)
        edges = watch(slide, self.receivers, angle, end_s, self.response_s)
        longest_s = longest_pass_s(
            gap_mm=settings.bag.gap_mm,
            length_mm=settings.bag.length_mm,
            rate_deg_s=self.rate_deg_s,
        )
        passage = judge(edges, end_s, settings.cycle, self.beams, longest_s, begun_s)
        self.events += passage.events
        if passage.cleared_s is not None:
            stop_s = passage.cleared_s + settings.cycle.after_clear_s
            if passage.cleared_s < begun_s:
                # It slid in the quick part: there is no measured raise.
                timeline.moves.pop()
                if stop_s < timeline.moves[-1].end_s:
                    begun_s = self._brake(timeline.moves[-1], stop_s) + REST_S
                end_s = begun_s
            elif stop_s < end_s:
                end_s = self._brake(timeline.moves[-1], stop_s)
                if slide.onset_time_s is not None and slide.onset_time_s > end_s:
                    # The board never got there.
                    slide.onset_time_s = slide.onset_deg = None
        detail = {} if self.approach_deg is None else {"approach_deg": self.approach_deg}
        self._event(begun_s, "raise_started", dwell_s=self.dwell_s, **detail)
        self._event(end_s + 0.01, "raise_ended")
        self.outcome = "no_slide" if passage.cleared_s is None else "slid"
        return passage

    def _plan_raise(self, begin_s: float) -> tuple[float, float, Callable[[float], float]]:
        """Plan its moves: when the measured one is begun, when it ends, the true angle (rad)."""
        settings, timeline, begun_s, quick = self.settings, self.timeline, begin_s, None
        from_deg = self.home_deg
        if self.approach_deg is not None:
            rate = quick_rate_deg_s(settings)
            rests_s = self._move(begin_s + ENABLE_S, from_deg, self.approach_deg, rate)
            begun_s = timeline.pulses(np.array([rests_s]))[-1][0] + REST_S
            quick, from_deg = timeline.true_angle(timeline.moves[-1]), self.approach_deg
        start_s = begun_s + ENABLE_S
        end_s = self._move(start_s, from_deg, settings.linkage.soft_limit_deg, self.rate_deg_s)
        slow = timeline.true_angle(timeline.moves[-1])
        if quick is None:
            return begun_s, end_s, slow
        first = quick
        return begun_s, end_s, lambda time_s: first(time_s) if time_s < start_s else slow(time_s)

    def _brake(self, move: Move, stop_s: float) -> float:
        """Replace the end of a move by a smooth stop that begins at a time."""
        motion, p = self.settings.motion, move.profile
        at = stop_s - move.start_s
        x, v, a = (float(value) for value in p.at(at))
        stop = braking(at, x, v, a, motion.acceleration_deg_s2, motion.ramp_jerk_deg_s3)
        kept = p.time_s < at
        joined = type(p)(
            *(
                np.concatenate((getattr(p, name)[kept], getattr(stop, name)))
                for name in ("time_s", "distance", "speed", "acceleration", "jerk")
            )
        )
        self.timeline.moves[-1] = Move(move.start_s, move.from_deg, move.direction, joined)
        return self.timeline.moves[-1].end_s

    def _lower(self, raised_s: float) -> None:
        top = self.timeline.moves[-1].from_deg + self.timeline.moves[-1].profile.end
        self._state(raised_s + 0.02, "lowering")
        linkage, screw = self.timeline.nominal, self.settings.screw
        steepest = linkage.steepest_deg(self.home_deg, self.settings.linkage.travel_deg)
        fastest = screw.max_pulse_rate_hz * float(linkage.deg_per_pulse(steepest))
        rate = min(self.settings.motion.lowering_rate_deg_s, fastest)
        at = self._move(raised_s + 0.02 + ENABLE_S, top, self.home_deg + LOWERED_DEG, rate)
        begun_s, angle = raised_s, self.timeline.true_angle(self.timeline.moves[-1])
        for edge in watch_lowering(self.receivers, angle, begun_s, at, self.response_s):
            self.events.append(edge_event(edge))
        self._state(at + 0.02, "parked")
        self.end_s = at + 0.03

    def _record(self, sensor: Sensor, counts_per_g: float) -> Record:
        """All samples of the run, from a chance phase of the chip's own clock on."""
        dt_s = 1.0 / sensor.rate_hz
        offset = float(stream(self.seed, "phase", self.number).random())
        times = np.add(np.arange(int(self.end_s / dt_s)), offset) * dt_s
        air = self.scenario.air
        at_start = air_at(air, self.hours)[0] + air.board_offset_k
        at_start += self.scenario.imu.self_heating_k
        temperatures = at_start + air.temperature_drift_k_h * times / 3600.0
        raw = sensor.measure(times, temperatures)
        counts = np.clip(np.rint(raw * counts_per_g), -32768, 32767).astype(np.int64)
        return Record(times, dt_s, temperatures, counts)

    def _home_reading(self, home_s: float, calibration: Calibration, record: Record) -> None:
        mean, temperature_c = record.mean_between(home_s + 0.6, home_s + READING_S)
        gravity = gravity_g(calibration, mean, temperature_c)
        self._event(
            home_s + READING_S,
            "home_reading",
            angle_deg=float(along_slope_deg(calibration, gravity)),
            cross_deg=float(cross_slope_deg(calibration, gravity)),
        )
