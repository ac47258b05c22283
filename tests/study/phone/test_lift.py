"""One lift: its angle, its layers, and what is refused."""

import msgspec
import numpy as np
import pytest

from rig.errors import BadInputError
from rig.study.phone.lift import measure, u_sensor_deg
from rig.study.phone.slide import slide_of
from rig.study.phone.taps import PRIOR, Reaction
from tests.fastsim.phone import Trouble, lift
from tests.study.phone.lifted import measured, phone, trace_of

LIFTS = 24


@pytest.mark.parametrize(
    "trouble",
    [Trouble(), Trouble(noise=2), Trouble(bias=2), Trouble(tremor=2), Trouble(events=2)],
    ids=lambda one: str(one),
)
def test_errors_are_as_large_as_stated(trouble: Trouble) -> None:
    # The bench has 200 lifts for each; so few can only show a gross mistake.
    errors, stated = [], []
    for seed in range(LIFTS):
        random = np.random.default_rng([seed, 7])
        angle, pace = random.uniform(12, 30), random.uniform(1.5, 3.0)
        slide = slide_of(measured(phone(seed, trouble), angle, pace), PRIOR)
        errors.append(slide.angle_deg - angle)
        stated.append(slide.layers.u_deg)
    ratio = np.sqrt(np.mean(np.square(errors)) / np.mean(np.square(stated)))
    assert 0.5 < ratio < 1.5


def test_a_jerkier_hand_and_a_faster_pace_are_stated() -> None:
    one = measured(phone(1), 20.0, 1.0)
    slow = slide_of(one, PRIOR)
    fast = slide_of(measured(phone(1), 20.0, 3.0), PRIOR)
    assert fast.layers.tap > 2.0 * slow.layers.tap
    off = slide_of(msgspec.structs.replace(one, pace_deg_s=3.0), PRIOR)
    assert off.layers.rate > 0.2 > slow.layers.rate


def test_a_later_reader_gives_the_same_slide_once_that_is_known() -> None:
    one = measured(phone(2), 20.0, 2.0)
    early, late = (slide_of(one, Reaction(d, 0.02, 0.05)).angle_deg for d in (0.2, 0.4))
    assert early - late == pytest.approx(0.2 * one.rate_deg_s, rel=0.3)


def test_the_sensors_part_is_that_of_a_data_sheet() -> None:
    # ±1 % rectangular of tan 20°, gravity by latitude, 2.2 % of 1/cos 20° − 1, by hand.
    assert u_sensor_deg(20.0) == pytest.approx(
        np.degrees(np.hypot(0.364 * 0.005924, 0.0642 * 0.02236)), rel=0.01
    )
    assert u_sensor_deg(0.0) == 0.0


def samples_of(seed: int = 4):
    one = phone(seed)
    return one.zero(), lift(one, 15.0, 2.0)[0]


def refused(zero, samples) -> str:
    with pytest.raises(BadInputError) as error:
        measure(trace_of(zero, samples, 2.0), "x", "x")
    return str(error.value)


def test_without_a_tap_there_is_no_slide() -> None:
    zero, samples = samples_of()
    assert "no tap" in refused(zero, {**samples, "taps_s": []})


def test_a_screen_that_was_locked_in_between_is_told() -> None:
    zero, samples = samples_of()
    keep = [i for i, t in enumerate(samples["t_s"]) if not 4.0 < t < 4.8]
    lists = ("t_s", "acceleration_m_s2", "rotation_deg_s")
    cut = {name: [samples[name][i] for i in keep] for name in lists}
    assert "no readings for 0.8 s" in refused(zero, {**samples, **cut})


def test_a_tap_too_soon_or_at_level_is_told() -> None:
    zero, samples = samples_of()
    assert "within two seconds" in refused(zero, {**samples, "taps_s": [1.0]})
    assert "not lifted by 3°" in refused(zero, {**samples, "taps_s": [2.4]})


def test_a_board_that_moved_at_once_is_told() -> None:
    zero, samples = samples_of()
    n = next(i for i, t in enumerate(samples["t_s"]) if t > 4.0)
    late = {name: samples[name][n:] for name in ("acceleration_m_s2", "rotation_deg_s")}
    times = [t - samples["t_s"][n] for t in samples["t_s"][n:]]
    taps = [samples["taps_s"][0] - samples["t_s"][n]]
    assert "moved already" in refused(zero, {**late, "t_s": times, "taps_s": taps})


def test_few_readings_a_second_are_told() -> None:
    zero, samples = samples_of()
    lists = ("t_s", "acceleration_m_s2", "rotation_deg_s")
    assert "fewer than 10" in refused(zero, samples | {k: samples[k][::8] for k in lists})


def test_a_phone_without_a_gyroscope_still_gives_a_slide() -> None:
    zero, samples = samples_of()
    with_it = measure(trace_of(zero, samples, 2.0), "x", "x")
    bare = measure(trace_of(zero, {**samples, "rotation_deg_s": []}, 2.0), "x", "x")
    assert bare.u_fit_deg > with_it.u_fit_deg
    assert slide_of(bare, PRIOR).angle_deg == pytest.approx(15.0, abs=1.5)
