"""The climate of a run by arithmetic, at its limits."""

import math

import pytest

from rig.analysis.climate import GAS_CONSTANT_VAPOUR, RunClimate, run_climate
from rig.runfile.model import Climate


def air(
    t_s: float,
    temperature_c: float | None,
    humidity_pct: float | None,
    board_c: float | None = None,
) -> Climate:
    return Climate(
        t_s=t_s,
        temperature_c=temperature_c,
        relative_humidity_pct=humidity_pct,
        pressure_hpa=1010.0,
        board_temperature_c=board_c,
    )


def two(
    first: tuple[float | None, float | None], second: tuple[float | None, float | None]
) -> RunClimate:
    return run_climate([air(1.0, *first), air(2.0, *second)], 0.0, 9.0)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "drifted"),
    [
        (21.0, 50.0, False),
        (21.1, 50.0, True),
        (19.0, 50.0, False),
        (18.9, 50.0, True),
        (20.0, 54.0, False),
        (20.0, 54.1, True),
        (20.0, 46.0, False),
        (20.0, 45.9, True),
    ],
)
def test_air_drifts_by_more_than_one_kelvin_or_four_percent(
    temperature_c: float, humidity_pct: float, drifted: bool
) -> None:
    assert two((20.0, 50.0), (temperature_c, humidity_pct)).drifted is drifted


def test_means_with_the_sensors_uncertainty_and_the_scatter() -> None:
    found = two((20.0, 50.0), (20.8, 53.0))
    assert found.temperature_c == pytest.approx(20.4)
    assert found.relative_humidity_pct == pytest.approx(51.5)
    # ±1 K and ±3 % as rectangles are 1/3 and 3 squared; two readings 0.8 K and 3 % apart leave
    # 0.4² and 1.5² in their mean.
    assert found.u_temperature_c == pytest.approx(math.sqrt(1.0 / 3.0 + 0.16))
    assert found.u_relative_humidity_pct == pytest.approx(math.sqrt(3.0 + 2.25))


def test_both_ends_of_the_span_count_and_without_a_reading_in_it_all_do() -> None:
    lines = [air(t, 10.0 * t, 50.0) for t in (1.0, 2.0, 3.0, 4.0)]
    assert run_climate(lines, 2.0, 3.0).temperature_c == pytest.approx(25.0)
    assert run_climate(lines, 2.1, 2.9).temperature_c == pytest.approx(25.0)
    assert run_climate(lines, 2.1, 3.0).temperature_c == pytest.approx(30.0)


def test_what_was_not_measured_stays_open() -> None:
    found = two((20.0, None), (None, None))
    assert (found.temperature_c, found.relative_humidity_pct) == (20.0, None)
    assert (found.dew_point_c, found.absolute_humidity_g_m3) == (None, None)
    assert two((20.0, 50.0), (20.0, 50.0)).surface_humidity_pct is None


def test_the_board_counts_by_its_mean() -> None:
    lines = [air(1.0, 30.0, 50.0, 49.0), air(2.0, 30.0, 50.0, 51.0)]
    # ASHRAE's pressures: half of 4246 Pa (30 °C) over 12351 Pa (50 °C).
    assert run_climate(lines, 0.0, 9.0).surface_humidity_pct == pytest.approx(17.19, abs=0.02)


def test_gas_constant_of_water_vapour() -> None:
    # R and the molar mass of water, CODATA 2018 and CIAAW: 8.314462618 J/(mol·K), 18.01528 g/mol.
    assert GAS_CONSTANT_VAPOUR == pytest.approx(8314.462618 / 18.01528, rel=2e-4)
