"""Run files of a board that a hand raises, without pins: the twin's hand, sensors and bag."""

from dataclasses import dataclass
from math import degrees
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from rig.calibration.apply import along_slope_deg, cross_slope_deg, gravity_g
from rig.calibration.model import Calibration
from rig.clock import QuietCollector
from rig.control.recorder import HELD_S
from rig.runfile.model import Climate, End, Event, Header, Line, Samples, Steps
from rig.runfile.reader import RunFile
from rig.settings.model import Settings
from rig.sliding import longest_pass_s
from rig.twin.calibration import calibration_for
from rig.twin.draws import air_at
from rig.twin.fitted import fitted_chip
from rig.twin.gyro import Gyro
from rig.twin.hand import HandPath
from rig.twin.placed import PlacedBag, bag_radius_m, incline_of
from rig.twin.receivers import Receivers
from rig.twin.scenario import Scenario, Truth
from rig.twin.sensor import Sensor
from rig.twin.slide import BagEdge
from rig.twin.streams import stream
from tests.fastsim.passage import judge
from tests.fastsim.recording import Timed, climate_lines, make_header

PLACED_S, READY_S, REACTS_S = 2.0, 0.8, 0.4
"""The bag lies; from the end of the rest to the first move; from the last edge to the stop."""
LINE_SAMPLES = 52
TOP_DEG = 45.0


@dataclass(frozen=True)
class HandRun:
    """One raise: what is written of it, and what was true."""

    lines: list[Line]
    truth: Truth
    path: HandPath

    @property
    def run(self) -> RunFile:
        """As the reader would give it."""
        return as_run(self.lines)


def as_run(lines: list[Line]) -> RunFile:
    """The lines as the reader would give them."""
    header, *body = lines
    assert isinstance(header, Header)
    return RunFile(
        path=Path(f"{header.run_id}.run.jsonl"),
        header=header,
        events=[line for line in body if isinstance(line, Event)],
        samples=[line for line in body if isinstance(line, Samples)],
        climate=[line for line in body if isinstance(line, Climate)],
        steps=[line for line in body if isinstance(line, Steps)],
        end=next(line for line in body if isinstance(line, End)),
    )


def simulate_hand_run(
    settings: Settings,
    scenario: Scenario,
    seed: int,
    *,
    number: int = 1,
    rate_deg_s: float = 1.0,
    dwell_s: float = 10.0,
    jitter_ms: float = 0.0,
    calibration: Calibration | None = None,
    **header: Any,
) -> HandRun:
    """One raise by hand.

    Args:
        settings: the rig's settings, raised by hand.
        scenario: what is true.
        seed: of all draws.
        number: of the placing, from 1.
        rate_deg_s: pace that the hand is to keep.
        dwell_s: rest before the raise.
        jitter_ms: standard deviation of a delay of each edge of a beam, and of the time that each
            line of samples states.
        calibration: of the sensor; drawn by `calibration_for` if not given.
        header: further fields of the header.
    """
    with QuietCollector():
        return _make(
            settings,
            scenario,
            seed,
            number,
            rate_deg_s,
            dwell_s,
            jitter_ms,
            calibration or calibration_for(scenario, settings, seed),
            header,
        )


def _make(
    settings: Settings,
    scenario: Scenario,
    seed: int,
    number: int,
    rate_deg_s: float,
    dwell_s: float,
    jitter_ms: float,
    calibration: Calibration,
    header: dict[str, Any],
) -> HandRun:
    beams = 1 if settings.pins.beam_2 is None else 2
    raising_s = PLACED_S + dwell_s
    begin_s = raising_s + READY_S
    path = HandPath(0.0)
    path.begin(begin_s, rate_deg_s, TOP_DEG, scenario.hand, stream(seed, "hand", number))
    bag = PlacedBag.put(seed, scenario, settings, number, PLACED_S, beams)
    slide = bag.raise_from(begin_s)
    radius_m = bag_radius_m(settings)
    receivers = Receivers(scenario.beam, beams, seed, number)
    jitter = stream(seed, "edges", number)
    edges: list[BagEdge] = []
    end_s = begin_s + 90.0 / rate_deg_s + 8.0
    while slide.time_s < end_s and not slide.is_over:
        for edge in slide.advance(slide.time_s + 0.01, lambda t: path.felt_rad(t, radius_m)):
            late_s = scenario.beam.response_ms / 1e3
            late_s += abs(float(jitter.normal(0.0, jitter_ms))) / 1e3
            at_deg = degrees(path.angle_rad(edge.time_s))
            edges += [
                BagEdge(edge.time_s + late_s, beam, broken)
                for beam, broken in receivers.bag(edge.beam, edge.broken, at_deg)
            ]
        if path.is_at_rest(slide.time_s) and not slide.is_sliding:
            break
    longest_s = longest_pass_s(settings.bag.gap_mm, settings.bag.length_mm, rate_deg_s)
    passage = judge(edges, end_s, settings.cycle, beams, longest_s)
    last_s = slide.time_s if passage.cleared_s is None else passage.cleared_s
    raised_s = last_s + settings.cycle.after_clear_s
    path.lower(last_s + REACTS_S)

    events = [_state(0.01, "placing"), _event(PLACED_S, "placed", gap_mm=settings.bag.gap_mm)]
    events[-1].detail["u_gap_mm"] = settings.bag.u_gap_mm
    events += [_state(PLACED_S, "dwelling"), _state(raising_s, "raising")]
    events.append(_event(begin_s, "raise_started", dwell_s=begin_s - PLACED_S))
    events += passage.events
    events.append(_event(raised_s, "raise_ended"))
    events.append(_state(raised_s + 0.02, "lowering"))
    events.append(_state(raised_s + 1.0, "parked"))

    chip = fitted_chip(settings, scenario.imu)
    corner_hz = gyro_corner_hz(settings)
    air = scenario.air
    chip_c = air_at(air, 0.0)[0] + air.board_offset_k + scenario.imu.self_heating_k
    sensor = Sensor(
        scenario.imu,
        incline_of(scenario),
        chip.rate_hz,
        chip.lowpass_hz,
        path.motion,
        stream(seed, "sensor", number),
    )
    gyro = Gyro(
        scenario.imu, chip.rate_hz, corner_hz, path.motion, stream(seed, "gyro noise", number)
    )
    dt_s = 1.0 / chip.rate_hz
    phase = float(stream(seed, "phase", number).random())
    times = np.add(np.arange(int((raised_s + 0.5) / dt_s)), phase) * dt_s
    counts = _counts(sensor.measure(times, chip_c) * calibration.counts_per_g)
    turns = _counts(gyro.measure(times, chip_c) * gyro_counts(settings))
    home = (times > PLACED_S + 0.6) & (times < PLACED_S + 1.6)
    gravity = gravity_g(calibration, counts[home].mean(axis=0), chip_c)
    events.append(
        _event(
            PLACED_S + 1.6,
            "home_reading",
            angle_deg=float(along_slope_deg(calibration, gravity)),
            cross_deg=float(cross_slope_deg(calibration, gravity)),
        )
    )
    lines: list[Timed] = [(event.t_s, event) for event in events]
    broken_s = raised_s if passage.broken_s is None else passage.broken_s
    full_s = max(raising_s, broken_s - HELD_S)
    idle = np.searchsorted(times, np.arange(0.0, full_s, 0.1))
    full = np.arange(np.searchsorted(times, full_s), times.size)
    for indices, step_s in ((idle, 0.1), (full, dt_s)):
        for i in range(0, indices.size, LINE_SAMPLES):
            part = indices[i : i + LINE_SAMPLES]
            line = Samples(
                t_s=round(float(times[part[0]] + jitter.normal(0.0, jitter_ms) / 1e3), 6),
                dt_s=round(step_s, 9),
                counts=[tuple(row) for row in counts[part].tolist()],
                gyro_counts=[tuple(row) for row in turns[part].tolist()],
                imu_temperature_c=round(chip_c, 2),
            )
            lines.append((line.t_s + step_s * part.size, line))
    random = stream(seed, "climate noise", number)
    lines += climate_lines(scenario, np.arange(0.1, raised_s, 2.0).tolist(), 0.0, random)
    lines.sort(key=lambda item: item[0])
    head = make_header(
        settings,
        scenario,
        chip,
        calibration,
        seed=seed,
        number=number,
        hours=0.0,
        beams=1 if beams == 1 else 2,
        rate_deg_s=rate_deg_s,
        dwell_s=dwell_s,
        given={"raised_by": "hand", **header},
    )
    imu = msgspec.structs.replace(
        head.settings.imu, gyro_counts_per_deg_s=gyro_counts(settings), gyro_lowpass_hz=corner_hz
    )
    head = msgspec.structs.replace(head, settings=msgspec.structs.replace(head.settings, imu=imu))
    body: list[Line] = [head, *(line for _, line in lines)]
    end = End(
        outcome="no_slide" if passage.broken_s is None else "slid",
        flags=passage.flags,
        samples_lost=0,
        bus_retries=0,
        lines=len(body),
    )
    return HandRun([*body, end], bag.truth(), path)


def gyro_counts(settings: Settings) -> float:
    """Sensitivity of the fitted gyroscope."""
    return 131.0 if settings.bus.imu_model == "mpu6050" else 1000 / 4.375


def gyro_corner_hz(settings: Settings) -> float:
    """Corner of its filter at the settings' rate."""
    if settings.bus.imu_model == "mpu6050":
        return 20.0
    return {104: 33.0, 208: 66.8, 416: 135.9}[settings.imu.rate_hz]


def _counts(values: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.asarray(np.clip(np.rint(values), -32768, 32767).astype(np.int64))


def _event(t_s: float, event: str, **detail: Any) -> Event:
    return Event(t_s=round(t_s, 6), event=event, detail=detail)


def _state(t_s: float, state: str) -> Event:
    return _event(t_s, "state", state=state)
