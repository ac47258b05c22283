"""What is believed of a new angle sensor against its data sheet."""

import math

import pytest

from rig.calibration.sensors import CLASSES, prior_of


@pytest.mark.parametrize(
    ("model", "offset_mg", "sensitivity_pct", "drift_mg_k"),
    [
        # ST DS12140, typical: ±20 mg, ±1 %, ±0.1 mg/K; soldering and mounting add to the offset.
        ("lsm6dsox", (20.0, 20.0, 20.0), 1.0, 0.1),
        # ST DS13012 (from memory), limits: ±65 mg, ±2 %; rectangular.
        ("ism330dhcx", (65.0 / math.sqrt(3), 65.0 / math.sqrt(3), 65.0 / math.sqrt(3)), 1.155, 0.1),
        # InvenSense PS-MPU-6000A, 6.2: ±50 and ±80 mg, ±3 %; ±35 mg over 70 K.
        ("mpu6050", (50.0, 50.0, 80.0), 3.0, 0.5),
    ],
)
def test_a_new_sensor_is_believed_as_far_as_its_sheet(
    model: str, offset_mg: tuple[float, float, float], sensitivity_pct: float, drift_mg_k: float
) -> None:
    sensor = CLASSES[model]
    for u_g, stated_mg in zip(sensor.u_bias_g, offset_mg, strict=True):
        assert 0.95 * stated_mg <= 1e3 * u_g <= 1.6 * stated_mg
    assert 100.0 * sensor.u_gain == pytest.approx(sensitivity_pct, rel=0.05)
    assert 1e3 * sensor.u_drift_g_per_k == pytest.approx(drift_mg_k)
    prior = prior_of(sensor)
    assert prior.bias_g == (0.0, 0.0, 0.0)
    assert prior.gain == (1.0, 1.0, 1.0)
    variances = [u * u for u in (*sensor.u_bias_g, *[sensor.u_gain] * 3)]
    assert prior.covariance.diagonal().tolist() == pytest.approx(variances)
