"""Humid air against published values and independent programs."""

import psychrolib
import pytest

from rig.analysis.climate import (
    absolute_humidity_g_m3,
    dew_point_c,
    saturation_pressure_pa,
    surface_humidity_pct,
)

psychrolib.SetUnitSystem(psychrolib.SI)


# IAPWS-IF97 saturation line, computed with the package iapws 1.5.5.
@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa"),
    [(0.01, 611.657), (10.0, 1228.184), (20.0, 2339.215), (25.0, 3169.747), (40.0, 7384.427)],
)
def test_saturation_pressure_against_iapws(temperature_c: float, pressure_pa: float) -> None:
    assert saturation_pressure_pa(temperature_c) == pytest.approx(pressure_pa, rel=3e-4)


# ASHRAE Handbook of Fundamentals 2017, chapter 1, table 3, as quoted in PsychroLib's own tests.
@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa"),
    [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)],
)
def test_saturation_pressure_against_ashrae(temperature_c: float, pressure_pa: float) -> None:
    assert saturation_pressure_pa(temperature_c) == pytest.approx(pressure_pa, rel=3e-4)


@pytest.mark.parametrize("temperature_c", [10.0, 20.0, 25.0, 40.0])
@pytest.mark.parametrize("humidity_pct", [50.0, 65.0, 80.0])
def test_dew_point_against_psychrolib(temperature_c: float, humidity_pct: float) -> None:
    expected = psychrolib.GetTDewPointFromRelHum(temperature_c, humidity_pct / 100.0)
    assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(expected, abs=0.02)


# The standard climates of ISO 139 and ISO 187; PsychroLib 2.5.0 at 101,325 Pa.
@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "dew_c", "absolute_g_m3"),
    [(20.0, 65.0, 13.227, 11.237), (23.0, 50.0, 12.028, 10.282), (21.0, 65.0, 14.176, 11.911)],
)
def test_standard_climates(
    temperature_c: float, humidity_pct: float, dew_c: float, absolute_g_m3: float
) -> None:
    assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(dew_c, abs=0.02)
    assert absolute_humidity_g_m3(temperature_c, humidity_pct) == pytest.approx(
        absolute_g_m3, rel=1e-3
    )


# Vaisala, Humidity Conversion Formulas (B210973EN), the examples of chapters 3 and 7: from memory;
# they follow from its constants A 6.116441, m 7.591386 and Tn 240.7263, which were read.
def test_the_examples_of_the_conversion_formulas() -> None:
    assert dew_point_c(40.0, 50.0) == pytest.approx(27.6, abs=0.05)
    assert absolute_humidity_g_m3(20.0, 80.0) == pytest.approx(13.82, abs=0.03)


# Mass of water in saturated air: 17.3, 23.0, 30.4, 51.1 mg/L by the table of The Medical Algorithms
# Project, "Measured and Relative Humidity at a Specified Temperature" (medicalalgorithms.com).
@pytest.mark.parametrize(
    ("temperature_c", "mg_per_l"), [(20.0, 17.3), (25.0, 23.0), (30.0, 30.4), (40.0, 51.1)]
)
def test_saturated_air(temperature_c: float, mg_per_l: float) -> None:
    assert absolute_humidity_g_m3(temperature_c, 100.0) == pytest.approx(mg_per_l, abs=0.06)


def test_air_over_a_warm_board() -> None:
    # Half of 4246 Pa (30 °C) over 12351 Pa (50 °C), by the table of ASHRAE above; the first of them
    # is from memory.
    assert surface_humidity_pct(30.0, 50.0, 50.0) == pytest.approx(17.19, abs=0.02)
    assert surface_humidity_pct(23.0, 50.0, 23.0) == pytest.approx(50.0)


def test_dry_air_has_no_dew_point() -> None:
    assert dew_point_c(20.0, 0.0) is None
