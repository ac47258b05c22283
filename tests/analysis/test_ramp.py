"""The ramp before the break: which samples count, how much, and when sensor or steps lie."""

import math
from collections.abc import Callable

import msgspec
import numpy as np
import pytest

from rig.analysis.angle.ramp import Ramp, build_ramp, steps_angle
from rig.calibration.model import Calibration
from rig.runfile.model import Samples, Steps
from rig.runfile.reader import RunFile
from tests.analysis.parts import ramp
from tests.analysis.slides import DELAY_S, RAISE_S, RATE_HZ, run_file
from tests.calibration.example import calibration

MODEL = calibration(filter_delay_ms=1000.0 * DELAY_S)
BREAK_S = RAISE_S + 12.0


@pytest.fixture(scope="module")
def plain() -> RunFile:
    """A raise at 1 °/s from level for 13 s, without a slide."""
    return run_file(1.0, [], end_s=13.0)


def fit(run: RunFile, after_s: float = 12.0, used: Calibration = MODEL) -> Ramp:
    """The ramp up to this long after the raise began."""
    found = build_ramp(run, used, RAISE_S, RAISE_S + after_s)
    assert found is not None
    return found


def one_by_one(run: RunFile) -> list[Samples]:
    """Each sample in a line of its own."""
    return [
        msgspec.structs.replace(line, t_s=line.t_s + k * line.dt_s, counts=[counts])
        for line in run.samples
        for k, counts in enumerate(line.counts)
    ]


def with_samples(run: RunFile, change: Callable[[Samples], Samples | None]) -> RunFile:
    """The same run, sample by sample as `change` gives it; None leaves it out."""
    kept = [new for line in one_by_one(run) if (new := change(line)) is not None]
    return msgspec.structs.replace(run, samples=kept)


def silent(run: RunFile, from_s: float, to_s: float) -> RunFile:
    """Without the samples between two times."""
    return with_samples(run, lambda line: None if from_s < line.t_s < to_s else line)


def without_steps(run: RunFile) -> RunFile:
    return msgspec.structs.replace(run, steps=[])


def test_angle_and_rate_are_steps_and_line_together() -> None:
    both = ramp(
        pivot_s=10.0,
        offset_deg=0.5,
        slope_deg_s=0.1,
        steps_s=np.array([0.0, 8.0, 12.0]),
        steps_deg=np.array([0.0, 8.0, 16.0]),
    )
    # 8° + 2·2° of the steps, 0.5 − 0.1·0 of the line.
    assert both.angle_deg(10.0) == pytest.approx(12.5)
    assert both.angle_deg(6.0) == pytest.approx(6.0 + 0.5 - 0.4)
    # Half of the last second was at 1.1 °/s, half at 2.1 °/s.
    assert both.rate_deg_s(8.5) == pytest.approx(1.6)


def test_u_of_the_fit_is_never_the_root_of_less_than_nothing() -> None:
    assert ramp(covariance=-1e-18 * np.eye(2)).u_fit_deg(28.0) == 0.0


def test_six_seconds_in_blocks_of_a_tenth(plain: RunFile) -> None:
    # 6 s of 208 samples/s are 1248; 59 blocks of 21; two parameters.
    assert fit(plain).dof == 57.0
    # After 3 s, with 0.3 s left out, 2.7 s: 561 samples, 26 blocks.
    assert fit(plain, 3.0).dof == 24.0


@pytest.mark.parametrize("steps", [True, False])
def test_the_filters_delay_is_taken_off(plain: RunFile, steps: bool) -> None:
    found = fit(plain if steps else without_steps(plain))
    assert found.angle_deg(BREAK_S) == pytest.approx(12.0, abs=2e-3)
    assert found.rate_deg_s(BREAK_S) == pytest.approx(1.0, abs=2e-3)


def test_the_line_is_a_weighted_fit_with_the_scatter_of_its_residuals() -> None:
    run = without_steps(run_file(1.0, [], end_s=12.5, noise_counts=60.0, seed=3))
    found = fit(run)
    t_s, counts = run.samples_arrays()
    t_s = t_s - DELAY_S
    used = t_s < BREAK_S
    x, z = counts[used, 0][-1239:], counts[used, 2][-1239:]
    y = counts[used, 1][-1239:]
    angle = np.degrees(np.arctan2(np.hypot(x, y), z)).reshape(59, 21).mean(axis=1)
    time = (t_s[used][-1239:] - BREAK_S).reshape(59, 21).mean(axis=1)
    root = np.exp(time / 6.0)  # the root of a weight that falls by 1/e in 3 s
    slope, offset = np.polyfit(time, angle, 1, w=root)
    assert found.offset_deg == pytest.approx(offset, abs=1e-9)
    assert found.slope_deg_s == pytest.approx(slope, abs=1e-9)
    # All blocks scatter alike: σ² from the plain residuals, carried through the weighted fit.
    variance = float(np.sum((angle - offset - slope * time) ** 2)) / 57.0
    through = np.linalg.pinv(root[:, None] * np.stack([np.ones(59), time], axis=1)) * root
    assert found.covariance == pytest.approx(variance * through @ through.T, rel=1e-6)
    assert found.dof == 57.0


@pytest.mark.parametrize(
    ("after_s", "steps", "steady", "dof"),
    [
        # Blocks of 21 samples in 0.75 s and 0.55 s, 1 s and 0.55 s, less two parameters.
        (0.75, True, False, 5.0),
        (0.85, True, True, 3.0),
        (1.45, False, False, 7.0),
        (1.55, False, True, 3.0),
    ],
)
def test_half_a_second_must_be_left_after_the_filters_have_settled(
    plain: RunFile, after_s: float, steps: bool, steady: bool, dof: float
) -> None:
    # Full speed after the first 0.05 s and 0.25 s for the filters; without steps 1 s is left out.
    # Of an unsteady ramp the last second counts.
    found = fit(plain if steps else without_steps(plain), after_s)
    assert (found.steady, found.dof) == (steady, dof)


def test_what_is_left_out_at_the_start_lasts_as_long_as_the_board_speeds_up(
    plain: RunFile,
) -> None:
    def count(time_s: float) -> int:
        angle = 0.25 * time_s**2 if time_s < 2.0 else time_s - 1.0
        corner = math.radians(20.0 + max(angle, 0.0) * (time_s > 0.0))
        screw = math.sqrt(900.0**2 + 450.0**2 - 810000.0 * math.cos(corner))
        return round((screw - 501.34717) * 100.0)

    quick = [Steps(t_s=RAISE_S + t, count=count(t), jitter_us=0.0) for t in np.arange(-1, 9, 0.05)]
    run = msgspec.structs.replace(plain, steps=quick)
    # 0.5 °/s² reaches 97 % of 1 °/s after 1.94 s; with a step of 0.05 s, and 0.25 s for the
    # filters, about 2.25 s are left out.
    assert not fit(run, 2.65).steady
    assert fit(run, 2.85).steady


def moved_steps(run: RunFile, by: Callable[[float], int]) -> RunFile:
    """Counts added to the steps, by the time since the raise began."""
    lines = [
        msgspec.structs.replace(line, count=line.count + by(line.t_s - RAISE_S))
        for line in run.steps
    ]
    return msgspec.structs.replace(run, steps=lines)


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize(("off", "kept"), [(57, 21), (70, 20)])
def test_a_stray_count_is_left_out(plain: RunFile, sign: int, off: int, kept: int) -> None:
    # At 10° a degree is 633.7 counts: 57 are 0.09°, 70 are 0.11°.
    still = [Steps(t_s=0.05 * k, count=5634, jitter_us=0.0) for k in range(21)]
    still[10] = msgspec.structs.replace(still[10], count=5634 + sign * off)
    times, angles = steps_angle(msgspec.structs.replace(plain, steps=still))
    assert (len(times), len(angles)) == (kept, kept)
    assert np.median(angles) == pytest.approx(10.0, abs=0.01)


@pytest.mark.parametrize(("lines", "kept"), [(4, 4), (5, 4)])
def test_five_lines_show_which_one_is_stray(plain: RunFile, lines: int, kept: int) -> None:
    still = [
        Steps(t_s=0.05 * k, count=6000 if k == 2 else 5634, jitter_us=0.0) for k in range(lines)
    ]
    assert len(steps_angle(msgspec.structs.replace(plain, steps=still))[0]) == kept


def test_a_count_that_no_screw_can_have_is_left_out(plain: RunFile) -> None:
    lines = [Steps(t_s=0.1 * k, count=10**9 if k == 1 else 0, jitter_us=0.0) for k in range(4)]
    times, angles = steps_angle(msgspec.structs.replace(plain, steps=lines))
    assert times.tolist() == pytest.approx([0.0, 0.2, 0.3])
    assert angles == pytest.approx(np.zeros(3), abs=1e-9)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(
    ("lost_deg", "flags"), [(0.05, ()), (0.97, ("angle_sensor_fault",)), (1.03, ("step_loss",))]
)
def test_sensor_and_steps_may_differ_by_a_degree_since_the_start(
    sign: float, lost_deg: float, flags: tuple[str, ...]
) -> None:
    # Steps that are missing from the start look like a sensor that is late by as much as they take.
    run = run_file(1.0, [], end_s=13.0, lost_steps_deg=sign * lost_deg)
    assert fit(run).flags == flags


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize(("off_deg", "flags"), [(0.97, ()), (1.2, ("step_loss",))])
def test_sensor_and_steps_may_differ_by_a_degree_for_a_while(
    plain: RunFile, sign: int, off_deg: float, flags: tuple[str, ...]
) -> None:
    # Too short to turn the line by much; at 8° a degree is 608.6 counts.
    counts = sign * round(off_deg * 608.6)
    run = moved_steps(plain, lambda after_s: counts if 7.78 < after_s < 8.18 else 0)
    assert fit(run).flags == flags


def test_a_board_that_moved_before_the_raise_has_lost_no_steps(plain: RunFile) -> None:
    # After a quick approach the raise begins at 8°, and the board was moving just before it.
    found = build_ramp(plain, MODEL, RAISE_S + 8.0, BREAK_S)
    assert found is not None
    assert found.flags == ()


def test_without_a_look_before_the_raise_nothing_is_compared_with_it() -> None:
    run = run_file(1.0, [], end_s=13.0, lost_steps_deg=2.0)
    assert fit(silent(run, 0.0, RAISE_S)).flags == ()


@pytest.mark.parametrize(
    ("frozen", "faulty"), [(41, False), (63, True)], ids=("one block", "two blocks")
)
def test_a_frozen_sensor(plain: RunFile, frozen: int, faulty: bool) -> None:
    # Wherever the blocks of 21 begin, 41 samples fill one of them and 63 fill two.
    first_s = RAISE_S + 9.0

    def change(line: Samples) -> Samples:
        is_in = first_s <= line.t_s < first_s + (frozen - 0.5) / RATE_HZ
        return msgspec.structs.replace(line, counts=[(2500, 0, 16200)]) if is_in else line

    assert ("angle_sensor_fault" in fit(with_samples(plain, change)).flags) is faulty


@pytest.mark.parametrize(
    ("count", "faulty"),
    [(32766, False), (32767, True), (-32766, False), (-32767, True), (-32768, True)],
)
def test_a_saturated_sensor(plain: RunFile, count: int, faulty: bool) -> None:
    at_s = RAISE_S + 9.0

    def change(line: Samples) -> Samples:
        x, _, z = line.counts[0]
        is_it = at_s <= line.t_s < at_s + 1.0 / RATE_HZ
        return msgspec.structs.replace(line, counts=[(x, count, z)]) if is_it else line

    assert ("angle_sensor_fault" in fit(with_samples(plain, change)).flags) is faulty


@pytest.mark.parametrize(
    ("gain", "flags"),
    [
        (0.89, ("angle_sensor_fault",)),
        (0.91, ()),
        (1.09, ()),
        (1.11, ("angle_sensor_fault",)),
    ],
)
def test_what_is_not_gravity(plain: RunFile, gain: float, flags: tuple[str, ...]) -> None:
    used = calibration(filter_delay_ms=1000.0 * DELAY_S, gain=(gain, gain, gain))
    assert fit(plain, used=used).flags == flags


@pytest.mark.parametrize("ends_s", [12.0 + DELAY_S, 9.0], ids=("up to the break", "in the middle"))
@pytest.mark.parametrize(("lasts_s", "flags"), [(0.49, ()), (0.52, ("angle_sensor_fault",))])
def test_a_sensor_may_be_silent_for_half_a_second(
    plain: RunFile, ends_s: float, lasts_s: float, flags: tuple[str, ...]
) -> None:
    end_s = RAISE_S + ends_s
    assert fit(silent(plain, end_s - lasts_s, end_s)).flags == flags


def test_steps_alone_give_an_angle_with_half_a_degree_of_doubt(plain: RunFile) -> None:
    found = fit(silent(plain, 0.0, 99.0))
    assert found.flags == ("angle_sensor_fault",)
    assert found.angle_deg(BREAK_S) == pytest.approx(12.0, abs=0.01)
    assert found.u_fit_deg(BREAK_S - 5.0) == 0.5
    assert found.imu_temperature_c is None


def test_neither_sensor_nor_steps_give_no_ramp(plain: RunFile) -> None:
    assert build_ramp(without_steps(silent(plain, 0.0, 99.0)), MODEL, RAISE_S, BREAK_S) is None


@pytest.mark.parametrize(("blocks", "there"), [(3, False), (4, True)])
def test_four_blocks_are_the_least(plain: RunFile, blocks: int, there: bool) -> None:
    last_s = BREAK_S + DELAY_S
    run = without_steps(silent(plain, 0.0, last_s - (21.0 * blocks + 5.0) / RATE_HZ))
    assert (build_ramp(run, MODEL, RAISE_S, BREAK_S) is not None) is there


@pytest.mark.parametrize(("lines", "used"), [(2, 0), (3, 3)])
def test_three_lines_of_steps_are_the_least(plain: RunFile, lines: int, used: int) -> None:
    near = [line for line in plain.steps if line.t_s > BREAK_S - 0.01][:lines]
    far = [line for line in plain.steps if line.t_s < RAISE_S - 0.6]
    found = fit(msgspec.structs.replace(plain, steps=near))
    assert len(found.steps_s) == used
    assert len(fit(msgspec.structs.replace(plain, steps=far)).steps_s) == 0


def test_the_temperature_is_the_one_read_next_to_the_break(plain: RunFile) -> None:
    def change(line: Samples) -> Samples:
        near = {RAISE_S + 5.0: 21.0, BREAK_S - 0.4: 24.0, BREAK_S + 0.5: 27.0}
        found = [at for at in near if at <= line.t_s < at + 1.0 / RATE_HZ]
        return msgspec.structs.replace(line, imu_temperature_c=near[found[0]] if found else None)

    assert fit(with_samples(plain, change)).imu_temperature_c == 24.0
