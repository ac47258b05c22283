"""The angle sensor's signal against the formulas of its parts: filter, axes, motion, vibration."""

from collections.abc import Callable
from math import cos, pi, radians, sin, sqrt
from typing import Any

import numpy as np
import pytest

from rig.twin.mechanics import Incline
from rig.twin.scenario import ImuTruth
from rig.twin.sensor import Array, Motion, Sensor, rotation
from rig.twin.streams import stream

G = 9.80665
RATE_HZ, CORNER_HZ = 208.0, 20.8
TIMES = np.arange(624) / RATE_HZ
SILENT: dict[str, Any] = {"noise_g_rthz": 0.0, "vibration_g": 0.0, "radius_mm": 0.0}


def motion_of(**parts: float | Callable[[Array], Array]) -> Callable[[Array], Motion]:
    """A motion from functions of time or constants; what is not given is zero."""

    def motion(times_s: Array) -> Motion:
        columns = []
        for name in Motion.__dataclass_fields__:
            part = parts.get(name, 0.0)
            columns.append(part(times_s) if callable(part) else np.full(times_s.size, part))
        return Motion(*columns)

    return motion


def raw_of(
    motion: Callable[[Array], Motion], lowpass_hz: float = CORNER_HZ, **imu: Any
) -> tuple[Array, Sensor]:
    truth = ImuTruth(**(SILENT | imu))
    level = Incline.of(0.0, 0.0)
    sensor = Sensor(truth, level, RATE_HZ, lowpass_hz, motion, stream(1, "test"))
    return sensor.measure(TIMES, 23.0), sensor


def amplitude(values: Array, hz: float) -> float:
    """Of the line in the last two thirds of the samples, which hold whole periods of 1 Hz."""
    part, times = values[-416:], TIMES[-416:]
    return 2.0 * abs(complex(np.mean(part * np.exp(-2j * pi * hz * times))))


def butterworth(hz: float, corner_hz: float = CORNER_HZ) -> float:
    return 1.0 / sqrt(1.0 + (hz / corner_hz) ** 4)


@pytest.mark.parametrize("hz", [3.0, 10.0, 21.0, 42.0])
def test_a_swing_is_weakened_as_by_a_butterworth_filter(hz: float) -> None:
    raw, _ = raw_of(motion_of(angle_rad=lambda t: 1e-3 * np.sin(2 * pi * hz * t)))
    # The sampled filter is a little wider than the one that it stands for.
    assert amplitude(raw[:, 0], hz) == pytest.approx(1e-3 * butterworth(hz), abs=0.06e-3)


def test_a_filter_above_the_sampling_does_nothing() -> None:
    swing = motion_of(angle_rad=lambda t: 1e-3 * np.sin(2 * pi * 40.0 * t))
    raw, sensor = raw_of(swing, lowpass_hz=400.0, digital_delay_ms=10.0)
    assert sensor.filter_delay_s == pytest.approx(0.010)
    assert raw[:, 0] == pytest.approx(np.sin(1e-3 * np.sin(2 * pi * 40.0 * (TIMES - 0.010))))


def test_axes_that_are_not_square_see_each_other() -> None:
    raw, _ = raw_of(
        motion_of(angle_rad=radians(30.0)),
        mounting_deg=(-90.0, 0.0, 0.0),
        shear=(0.01, 0.02, 0.03),
        gain=(2.0, 1.0, 0.5),
        bias_g=(0.1, 0.2, 0.3),
    )
    # Turned by -90° about x: the chip's y axis points along the board's z, its z along -y.
    x, y, z = sin(radians(30.0)), cos(radians(30.0)), 0.0
    expected = [(x + 0.01 * y + 0.02 * z) / 2.0 + 0.1, y + 0.03 * z + 0.2, z / 0.5 + 0.3]
    assert raw[-1] == pytest.approx(expected)


def test_a_cross_axis_in_z_goes_into_x_and_y() -> None:
    raw, _ = raw_of(motion_of(), shear=(0.01, 0.02, 0.03))
    assert raw[-1] == pytest.approx([0.02, 0.03, 1.0])


def test_turning_pulls_towards_the_hinge_and_speeding_up_pushes_off_the_board() -> None:
    steady, _ = raw_of(motion_of(rate_rad_s=0.5), radius_mm=550.0)
    assert steady[-1] == pytest.approx([-0.55 * 0.25 / G, 0.0, 1.0])
    faster, _ = raw_of(motion_of(acceleration_rad_s2=0.5), radius_mm=550.0)
    assert faster[-1] == pytest.approx([0.0, 0.0, 1.0 + 0.55 * 0.5 / G])


def test_both_lines_of_the_stepper_have_their_size_along_and_across() -> None:
    hz = 13.0
    raw, _ = raw_of(
        motion_of(pulses=lambda t: hz * t, pulse_rate_hz=hz), vibration_g=0.02, digital_delay_ms=0.0
    )
    # Weakened before the sampling, and once more by the taps; half as strong along the board.
    for line_hz, strength in ((hz, 0.02), (2 * hz, 0.01)):
        seen = strength * butterworth(line_hz) ** 2
        assert amplitude(raw[:, 2], line_hz) == pytest.approx(seen, rel=0.08)
        assert amplitude(raw[:, 0], line_hz) == pytest.approx(
            0.5 * amplitude(raw[:, 2], line_hz), rel=1e-9
        )
    assert np.abs(raw[:, 1]).max() < 1e-12
    still, _ = raw_of(motion_of(pulses=lambda t: hz * t), vibration_g=0.02)
    assert still[:, 2] == pytest.approx(1.0)


def test_a_rotation_vector_turns_by_its_length_about_its_axis() -> None:
    quarter = rotation((0.0, 0.0, 90.0))
    assert quarter @ [1.0, 0.0, 0.0] == pytest.approx([0.0, 1.0, 0.0])
    assert rotation((90.0, 0.0, 0.0)) @ [0.0, 1.0, 0.0] == pytest.approx([0.0, 0.0, 1.0])
    assert rotation((0.0, 90.0, 0.0)) @ [0.0, 0.0, 1.0] == pytest.approx([1.0, 0.0, 0.0])
    # A third of a turn about the diagonal changes the axes round.
    third = rotation([120.0 / sqrt(3.0)] * 3)
    assert third == pytest.approx(np.array([[0, 0, 1], [1, 0, 0], [0, 1, 0]]))
    assert rotation((0.0, 0.0, 0.0)) == pytest.approx(np.eye(3))


def test_white_noise_has_its_density_before_the_filter() -> None:
    truth = ImuTruth(**(SILENT | {"noise_g_rthz": 100e-6}))
    sensor = Sensor(truth, Incline.of(0, 0), RATE_HZ, 400.0, motion_of(), stream(1, "test"))
    # 100 µg/√Hz over the 104 Hz that the sampling holds.
    assert sensor.noise_g == pytest.approx(100e-6 * sqrt(104.0))
    assert sensor.measure(TIMES, 23.0).std(axis=0) == pytest.approx(1.02e-3, rel=0.1)


def test_each_sample_has_its_own_warmth() -> None:
    truth = ImuTruth(
        **(SILENT | {"drift_g_per_k": (1e-3, 2e-3, -1e-3), "reference_temperature_c": 20.0})
    )
    made = [
        Sensor(truth, Incline.of(0, 0), RATE_HZ, 400.0, motion_of(), stream(1, "t")) for _ in "ab"
    ]
    warm = made[0].measure(TIMES, np.linspace(20.0, 30.0, TIMES.size))
    assert warm[0] == pytest.approx([0.0, 0.0, 1.0])
    assert warm[-1] == pytest.approx([0.01, 0.02, 0.99])
    assert made[1].measure(TIMES, 30.0)[0] == pytest.approx([0.01, 0.02, 0.99])
