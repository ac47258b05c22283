"""Draws of scenarios and placings from a seed; the full twin and the fast simulator share them."""

from math import cos, radians, sin
from typing import Any, TypeVar

import msgspec
import numpy as np

from rig.settings.model import Settings
from rig.twin.fabric import Face, moisture_after, surface_humidity_pct, wetting_moisture
from rig.twin.friction import LawName
from rig.twin.scenario import (
    AirTruth,
    BagTruth,
    BeamTruth,
    BladeTruth,
    BoardTruth,
    GyroTruth,
    ImuTruth,
    PlacingDraw,
    Scenario,
    Spot,
)
from rig.twin.streams import stream

T = TypeVar("T")

MAX_SKEW_DEG = 4.0
MAX_SLUMP_MM = 3.0
GAP_SD_MM, HAND_SD_MM = 0.85, 0.45
"""How a person misses the gap: from placing to placing, and always to one side."""
TURN_SD_DEG = 0.5
MAX_FOLLOWS, MAX_LATE_MM, SUDDEN_SHARE = 0.5, 1.0, 0.125
CREEP_MM_S = (0.02, 0.2)
"""Even in its logarithm. A creep of e-fold in 0.008 of the tangent then moves the bag by 0.03 to
0.3 mm at 0.3 °/s before it slides."""
CROWN_SD_MM, YAW_SD_DEG, SENSOR_YAW_SD_DEG = 0.8, 0.3, 0.06
LEVEL_AT_MM = (440.0, 780.0)
SPOTS_AT_MM, SPOT_WIDTH_MM, MAX_SPOTS, MAX_GAIN = (250.0, 850.0), (20.0, 60.0), 3, 0.01
SHAKE_SHARE, FRAME_HZ, FRAME_QUALITY = (0.05, 0.15), (60.0, 180.0), (3.0, 6.0)


def draw_imu(seed: int, sensor: str = "lsm6dsox") -> ImuTruth:
    """A chip as it comes, mounted in any way: errors of the size that data sheets state."""
    random = stream(seed, "imu")
    turn = random.normal(size=3)
    turn *= np.degrees(random.uniform(0.0, np.pi)) / np.linalg.norm(turn)
    drift = 5e-4 if sensor == "mpu6050" else 1e-4
    return ImuTruth(
        mounting_deg=_vector(turn),
        bias_g=_vector(random.normal(0.0, 0.02, 3)),
        gain=_vector(1.0 + random.normal(0.0, 0.005, 3)),
        shear=_vector(random.normal(0.0, 1.5e-4, 3)),
        drift_g_per_k=_vector(random.normal(0.0, drift, 3)),
        noise_g_rthz=float(random.uniform(60e-6, 110e-6)),
        digital_delay_ms=float(random.uniform(9.0, 13.0)),
        rate_error=float(random.normal(0.0, 0.01)),
        yaw_deg=float(stream(seed, "imu yaw").normal(0.0, SENSOR_YAW_SD_DEG)),
        vibration_g=float(random.uniform(0.005, 0.03)),
        gyro=draw_gyro(seed, sensor),
    )


def draw_gyro(seed: int, sensor: str = "lsm6dsox") -> GyroTruth:
    """A gyroscope as it comes; by PS-MPU-6000A the older one is off by ±20 °/s, and by 3 %."""
    random, is_older = stream(seed, "gyro"), sensor == "mpu6050"
    return GyroTruth(
        bias_deg_s=_vector(random.normal(0.0, 7.0 if is_older else 0.6, 3)),
        gain=_vector(1.0 + random.normal(0.0, 0.015 if is_older else 0.005, 3)),
        drift_deg_s_per_k=_vector(random.normal(0.0, 0.1 if is_older else 0.01, 3)),
        noise_deg_s_rthz=5e-3 if is_older else float(random.uniform(3.5e-3, 5e-3)),
    )


def draw_scenario(
    seed: int,
    *,
    face: Face | None = None,
    law: LawName = "coulomb",
    air: AirTruth | None = None,
    bag: BagTruth | None = None,
    session: str = "session 1",
    series: str = "series 1",
    slides_before: int = 0,
) -> Scenario:
    """A rig with ordinary faults under a bag; everything not given is drawn from the seed."""
    random, shape = stream(seed, "rig"), stream(seed, "board's shape")
    board = BoardTruth(
        floor_along_deg=float(random.normal(0.0, 0.05)),
        floor_across_deg=float(random.normal(0.0, 0.15)),
        hinge_cross_deg=float(random.normal(0.0, 0.1)),
        base_pivot_error_mm=float(random.normal(0.0, 0.5)),
        cradle_pivot_error_mm=float(random.normal(0.0, 0.3)),
        start_angle_deg=float(random.uniform(0.8, 2.5)),
        crown_mm=float(shape.normal(0.0, CROWN_SD_MM)),
        level_at_mm=float(shape.uniform(*LEVEL_AT_MM)),
        yaw_deg=float(shape.normal(0.0, YAW_SD_DEG)),
        shake_share=float(shape.uniform(*SHAKE_SHARE)),
        frame_hz=float(shape.uniform(*FRAME_HZ)),
        frame_quality=float(shape.uniform(*FRAME_QUALITY)),
        spots=_spots(seed),
    )
    beam = BeamTruth(
        response_ms=float(np.clip(random.normal(0.5, 0.15), 0.1, 1.0)),
        spacing_error_mm=float(random.normal(0.0, 0.2)),
    )
    blade = BladeTruth(
        thickness_error_mm=float(stream(seed, "blade").normal(0.0, 0.05)),
        play_mm=float(stream(seed, "blade play").uniform(0.05, 0.3)),
    )
    random = stream(seed, "face")
    mu_static = float(random.uniform(0.25, 0.6))
    return Scenario(
        face=face
        or Face(
            mu_static_dry=mu_static,
            mu_kinetic_dry=mu_static - float(random.uniform(0.01, 0.1)),
            humidity_gain=float(random.uniform(0.05, 0.35)),
        ),
        law=law,
        bag=bag or BagTruth(),
        board=board,
        beam=beam,
        blade=blade,
        imu=draw_imu(seed),
        air=air or draw_air(seed, session),
        session=session,
        series=series,
        slides_before=slides_before,
    )


def draw_air(seed: int, session: str) -> AirTruth:
    """The air of one session; the climate sensor's own error stays that of the rig."""
    sensor, room = stream(seed, "climate sensor"), stream(seed, "air", session)
    return AirTruth(
        temperature_c=float(room.uniform(18.0, 28.0)),
        relative_humidity_pct=float(room.uniform(30.0, 70.0)),
        pressure_hpa=float(room.normal(1008.0, 8.0)),
        temperature_drift_k_h=float(room.normal(0.0, 0.4)),
        humidity_drift_pct_h=float(room.normal(0.0, 1.5)),
        board_offset_k=float(room.normal(0.0, 0.5)),
        sensor_temperature_error_k=float(sensor.normal(0.0, 0.3)),
        sensor_humidity_error_pct=float(sensor.normal(0.0, 1.7)),
    )


def draw_placing(seed: int, scenario: Scenario, settings: Settings, number: int) -> PlacingDraw:
    """What a person makes of placing the bag for the `number`-th time (from 1)."""
    bag = scenario.bag
    # Two series of one name on two faces, or two sessions of one name in two airs, are not one.
    face, air = scenario.face, scenario.air
    room = f"{air.temperature_c:.3f} {air.relative_humidity_pct:.3f}"
    session = (scenario.session, "" if scenario.is_session_named else room)
    series = (*session, scenario.series, f"{face.mu_static_dry:.6f} {face.mu_kinetic_dry:.6f}")
    random = stream(seed, "placing", *series, number)
    gap_error, skew, slump, scatter = random.normal(), random.random(), random.random(), 0.0
    scatter += face.scatter_run * random.normal()
    scatter += face.scatter_series * stream(seed, "series", *series).normal()
    scatter += face.scatter_session * stream(seed, "session", *session).normal()
    skew_deg = MAX_SKEW_DEG * skew if bag.skew_deg is None else bag.skew_deg
    gap_mm = bag.gap_mm
    if gap_mm is None:
        # Whoever places the bag sees to it that the beam is free.
        aside = HAND_SD_MM * stream(seed, "hand's side", *series).normal()
        gap_mm = max(0.3, settings.bag.gap_mm + float(aside) + GAP_SD_MM * gap_error)
    done = bag.slump_done
    if done is None:
        done = float(stream(seed, "slump done", *series, number).uniform(0.6, 1.0))
    low, high = np.log(CREEP_MM_S)
    creep = float(np.exp(stream(seed, "creep", *series).uniform(low, high)))
    random = stream(seed, "fill", *series, number)
    sudden, follows, late = (float(value) for value in random.random(3))
    turn = float(random.normal())
    length, width = settings.bag.length_mm, settings.bag.width_mm
    return PlacingDraw(
        number=number,
        gap_mm=gap_mm - bag.rebound_mm,
        length_mm=length * cos(radians(skew_deg)) + width * sin(radians(abs(skew_deg))),
        skew_deg=skew_deg,
        slump_mm=MAX_SLUMP_MM * slump if bag.slump_mm is None else bag.slump_mm,
        slump_done=done,
        scatter=max(-0.5, scatter),
        slump_is_sudden=_given(bag.slump_is_sudden, sudden < SUDDEN_SHARE),
        slump_follows=_given(bag.slump_follows, MAX_FOLLOWS * follows),
        late_slump_mm=_given(bag.late_slump_mm, MAX_LATE_MM * late),
        turn_deg=_given(bag.turn_deg, TURN_SD_DEG * turn),
        creep_mm_s=_given(bag.creep_mm_s, creep),
    )


def air_at(air: AirTruth, hours: float) -> tuple[float, float]:
    """True temperature (°C) and relative humidity (%) some hours after the start."""
    temperature = air.temperature_c + air.temperature_drift_k_h * hours
    humidity = air.relative_humidity_pct + air.humidity_drift_pct_h * hours
    return temperature, min(99.0, max(2.0, humidity))


def surface_at(air: AirTruth, hours: float) -> float:
    """True relative humidity (%) at the board's surface."""
    temperature, humidity = air_at(air, hours)
    return surface_humidity_pct(temperature, humidity, temperature + air.board_offset_k)


def moisture_at(scenario: Scenario, hours: float) -> float:
    """Moisture of the fabric some hours after the start, its history included."""
    air, face = scenario.air, scenario.face
    if air.humidity_before_pct is None:
        moisture = wetting_moisture(surface_at(air, 0.0))
    else:
        before = wetting_moisture(air.humidity_before_pct)
        moisture = moisture_after(face, before, surface_at(air, 0.0), air.conditioned_h)
    steps = max(1, int(4.0 * hours))
    for i in range(steps):
        middle = (i + 0.5) * hours / steps
        moisture = moisture_after(face, moisture, surface_at(air, middle), hours / steps)
    return moisture


def changed(scenario: Scenario, **sections: dict[str, Any]) -> Scenario:
    """The scenario with some fields of its sections changed: `changed(s, bag={"gap_mm": 2})`."""
    parts = {
        name: msgspec.structs.replace(getattr(scenario, name), **fields)
        for name, fields in sections.items()
    }
    return msgspec.structs.replace(scenario, **parts)


def _given(value: T | None, drawn: T) -> T:
    return drawn if value is None else value


def _spots(seed: int) -> tuple[Spot, ...]:
    """Sticky spots of one board, as many as it happens to have."""
    random = stream(seed, "spots")
    return tuple(
        Spot(
            place_mm=float(random.uniform(*SPOTS_AT_MM)),
            width_mm=float(random.uniform(*SPOT_WIDTH_MM)),
            gain=float(random.uniform(0.0, MAX_GAIN)),
        )
        for _ in range(int(random.integers(0, MAX_SPOTS + 1)))
    )


def _vector(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
