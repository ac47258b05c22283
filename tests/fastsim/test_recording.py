"""The lines of a simulated run: which samples, which counts, what air, what header."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from rig.runfile.model import Climate, Samples
from rig.settings.model import Blade, Settings
from rig.twin.calibration import calibration_for
from rig.twin.draws import changed, draw_scenario
from rig.twin.fitted import fitted_chip
from rig.twin.scenario import AirTruth
from rig.twin.streams import stream
from tests.fastsim.recording import Record, climate_lines, make_header, sample_lines

HZ = 200.0
N = 4000
RECORD = Record(
    times_s=np.arange(N) / HZ,
    dt_s=1 / HZ,
    temperatures_c=20.0 + np.arange(N) / 1000.0,
    counts=np.stack([np.arange(N), -np.arange(N), np.full(N, 7)], axis=1),
)


def test_the_mean_of_a_stretch() -> None:
    mean, temperature_c = RECORD.mean_between(1.0, 2.0)
    # Samples 200 to 399.
    assert mean == pytest.approx([299.5, -299.5, 7.0])
    assert temperature_c == pytest.approx(20.2995)


def test_the_raise_is_kept_whole_and_the_rest_at_ten_a_second() -> None:
    made = sample_lines(RECORD, 8.0, 12.0, 20.0, 10.0)
    lines = [line for _, line in made if isinstance(line, Samples)]
    dense = [line for line in lines if line.dt_s == pytest.approx(1 / HZ)]
    sparse = [line for line in lines if line.dt_s == pytest.approx(0.1)]
    assert len(dense) + len(sparse) == len(lines)
    kept = [row[0] for line in dense for row in line.counts]
    assert kept == list(range(1600, 2400))
    thinned = [row[0] for line in sparse for row in line.counts]
    assert len(thinned) == pytest.approx(160, abs=2)
    assert all(not 1600 <= row < 2400 for row in thinned)
    assert {b - a for a, b in pairwise(thinned)} <= {19, 20, 21, *range(800, 841)}
    assert thinned[0] == 0
    assert thinned[-1] == pytest.approx(3999, abs=21)
    assert {len(line.counts) for line in dense[:-1]} == {52}
    assert max(len(line.counts) for line in sparse) == 20
    for written_s, line in made:
        assert isinstance(line, Samples)
        first = line.counts[0][0]
        assert line.t_s == pytest.approx(first / HZ)
        assert line.counts[0] == (first, -first, 7)
        assert line.imu_temperature_c == pytest.approx(20.0 + first / 1000.0, abs=0.006)
        # Written when its last sample is there.
        assert written_s == pytest.approx(line.t_s + len(line.counts) * line.dt_s)


def test_the_climate_drifts_and_is_read_with_the_sensors_error_and_noise() -> None:
    air = AirTruth(
        temperature_c=20.0,
        relative_humidity_pct=50.0,
        pressure_hpa=1000.0,
        temperature_drift_k_h=3.6,
        humidity_drift_pct_h=-7.2,
        board_offset_k=1.5,
        sensor_temperature_error_k=0.3,
        sensor_humidity_error_pct=-1.0,
    )
    scenario = changed(draw_scenario(1, air=air), imu={"self_heating_k": 2.0})
    times = [0.5 * i for i in range(2000)]
    made = climate_lines(scenario, times, 2.0, stream(1, "test"))
    assert [t_s for t_s, _ in made] == times
    lines = [line for _, line in made]
    left: list[list[float]] = []
    for t_s, line in made:
        assert isinstance(line, Climate)
        # 3.6 K/h are 1 mK a second.
        warm, damp = 27.2 + 0.001 * t_s, 35.6 - 0.002 * t_s
        assert line.board_temperature_c == pytest.approx(warm + 3.5, abs=0.006)
        assert line.temperature_c is not None
        assert line.relative_humidity_pct is not None
        assert line.pressure_hpa is not None
        left.append(
            [
                line.temperature_c - warm - 0.3,
                line.relative_humidity_pct - damp + 1.0,
                line.pressure_hpa - 1000.0,
            ]
        )
    spread = np.array(left)
    assert spread.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.004)
    assert spread.std(axis=0) == pytest.approx([0.01, 0.04, 0.02], rel=0.1)
    assert len(lines) == 2000


def header(settings: Settings, **given: Any) -> Any:
    scenario = draw_scenario(3, session="spring", series="dry", slides_before=4)
    return make_header(
        settings,
        scenario,
        fitted_chip(settings, scenario.imu),
        calibration_for(scenario, settings, 3),
        seed=3,
        number=5,
        hours=2.0,
        beams=2,
        rate_deg_s=0.5,
        dwell_s=12.0,
        given=given,
    )


def test_the_header_says_what_was_asked_for() -> None:
    found = header(Settings(name="attic"), dwell_s=13.0)
    # 2026-01-01 09:00, 2 hours and 5 minutes later.
    assert found.started_at == "2026-01-01T11:05:00.000Z"
    assert (found.rig, found.session, found.series) == ("attic", "spring", "dry")
    assert (found.repeat, found.slide_number, found.slides_before) == (5, 5, 8)
    assert (found.rate_deg_s, found.dwell_s, found.settings.beams) == (0.5, 13.0, 2)
    assert found.clock_synchronised is True
    assert (found.placing, found.source) == ("hand", "twin")
    assert header(Settings(blade=Blade(fitted=True))).placing == "blade"
