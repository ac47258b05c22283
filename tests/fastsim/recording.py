"""What a simulated run leaves in its file: samples, steps, climate and the header."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from rig.calibration.model import Calibration
from rig.files.stamps import utc_text
from rig.runfile.model import Climate, Header, ImuSetup, Line, RunSettings, Samples, Steps
from rig.runfile.writer import new_run_id
from rig.settings.model import Settings
from rig.twin.draws import air_at
from rig.twin.fitted import FittedChip
from rig.twin.scenario import Scenario
from rig.twin.sensor import Array
from tests.fastsim.timeline import Timeline

SAMPLES_PER_LINE, IDLE_LINE_SAMPLES = 52, 20
STEP_LINE_S = 0.05
SOFTWARE = f"rig {version('rig')}"
START = datetime(2026, 1, 1, 9, 0, tzinfo=UTC)

Timed = tuple[float, Line]
"""A line and the time when it is written."""


@dataclass(frozen=True)
class Record:
    """All samples that the chip takes in a run."""

    times_s: Array
    dt_s: float
    temperatures_c: Array
    counts: NDArray[np.int64]

    def mean_between(self, from_s: float, to_s: float) -> tuple[Array, float]:
        """Mean counts and temperature between two times."""
        part = slice(*np.searchsorted(self.times_s, [from_s, to_s]))
        mean = np.asarray(self.counts[part].mean(axis=0))
        return mean, float(self.temperatures_c[part].mean())


def sample_lines(
    record: Record, begin_s: float, raised_s: float, end_s: float, idle_hz: float
) -> list[Timed]:
    """All samples from the beginning of the raise to its end, a few a second otherwise."""
    lines: list[Timed] = []
    times = record.times_s

    def add(indices: NDArray[np.int64], dt_s: float, size: int) -> None:
        rows = list(map(tuple, record.counts[indices].tolist()))
        for i in range(0, len(rows), size):
            k = int(indices[i])
            line = Samples(
                t_s=round(float(times[k]), 6),
                dt_s=round(dt_s, 9),
                counts=rows[i : i + size],
                imu_temperature_c=round(float(record.temperatures_c[k]), 2),
            )
            lines.append((line.t_s + dt_s * len(line.counts), line))

    first, last = np.searchsorted(times, [begin_s, raised_s])
    idle_s = 1.0 / idle_hz
    for low, high in ((0.0, times[first]), (times[last - 1], end_s)):
        grid = np.searchsorted(times, np.arange(low, high, idle_s))
        is_idle = (grid < first) | ((grid >= last) & (grid < times.size))
        add(grid[is_idle], idle_s, IDLE_LINE_SAMPLES)
    add(np.arange(first, last), record.dt_s, SAMPLES_PER_LINE)
    return lines


def step_lines(timeline: Timeline, end_s: float, random: np.random.Generator) -> list[Timed]:
    """The count as often as the machine looks while the board moves, and where it comes to rest."""
    ends = [move.end_s for move in timeline.moves]
    grid = np.union1d(np.arange(0.0, end_s, STEP_LINE_S), ends)
    jitter_us = random.gamma(2.0, 15.0, grid.size).round(1).tolist()
    return [
        (t_s, Steps(t_s=round(t_s, 6), count=count, jitter_us=jitter_us[i]))
        for i, (t_s, count) in enumerate(timeline.pulses(grid))
    ]


def climate_lines(
    scenario: Scenario, times_s: Sequence[float], hours: float, random: np.random.Generator
) -> list[Timed]:
    """The climate as the sensor reads it, at some times of the run."""
    air, imu = scenario.air, scenario.imu
    lines: list[Timed] = []
    for t_s in times_s:
        temperature, humidity = air_at(air, hours + t_s / 3600.0)
        noise = random.normal(0.0, (0.01, 0.04, 0.02)).tolist()
        line = Climate(
            t_s=t_s,
            temperature_c=round(temperature + air.sensor_temperature_error_k + noise[0], 3),
            relative_humidity_pct=round(humidity + air.sensor_humidity_error_pct + noise[1], 3),
            pressure_hpa=round(air.pressure_hpa + noise[2], 3),
            board_temperature_c=round(temperature + air.board_offset_k + imu.self_heating_k, 2),
            board_temperature_source="imu",
        )
        lines.append((t_s, line))
    return lines


def make_header(
    settings: Settings,
    scenario: Scenario,
    chip: FittedChip,
    calibration: Calibration,
    *,
    seed: int,
    number: int,
    hours: float,
    beams: Literal[1, 2],
    rate_deg_s: float,
    dwell_s: float,
    given: dict[str, Any],
) -> Header:
    """The header; `given` goes over what is made up here."""
    bag, started = settings.bag, START + timedelta(hours=hours, minutes=number)
    fields: dict[str, Any] = {
        "run_id": new_run_id(started, f"{seed & 0xFFFFFF:06x}{number:02x}"),
        "started_at": utc_text(started, "milliseconds"),
        "clock_synchronised": True,
        "rig": settings.name,
        "settings": RunSettings(
            linkage=settings.linkage,
            screw=settings.screw,
            beam=settings.beam,
            beams=beams,
            imu=ImuSetup(
                model=chip.model,
                rate_hz=chip.stated_rate_hz,
                lowpass_hz=chip.lowpass_hz,
                mode=settings.bus.imu_mode,
            ),
            slump_mm=bag.slump_mm,
            u_slump_mm=bag.u_slump_mm,
        ),
        "calibration": calibration,
        "session": scenario.session,
        "series": scenario.series,
        "repeat": number,
        "slide_number": number,
        "slides_before": scenario.slides_before + number - 1,
        "rate_deg_s": rate_deg_s,
        "dwell_s": dwell_s,
        "gap_mm": bag.gap_mm,
        "u_gap_mm": bag.u_gap_mm,
        "bag_length_mm": bag.length_mm,
        "u_bag_length_mm": bag.u_length_mm,
        "placing": "blade" if settings.blade.fitted else "hand",
        "source": "twin",
        "software": SOFTWARE,
    }
    return Header(**(fields | given))
