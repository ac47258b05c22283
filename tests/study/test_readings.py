from math import hypot, sqrt

import numpy as np
import pytest

from rig.study.folder.journal import Reading
from rig.study.readings import RigAngle, reader_biases


def read(reader: str, *angles: float, bag: str = "T1", session: str = "s1") -> Reading:
    return Reading(
        at="2026-05-01T08:00:00Z",
        bag=bag,
        face="slick",
        board="A",
        reader=reader,
        angles_deg=angles,
        stage="baseline",
        session=session,
    )


def rig(*angles: float, bag: str = "T1", session: str = "s1") -> list[RigAngle]:
    return [
        RigAngle(
            bag=bag,
            face="slick",
            board="A",
            stage="baseline",
            session=session,
            onset_angle_deg=angle,
        )
        for angle in angles
    ]


def test_each_reader_has_a_bias_of_its_own() -> None:
    measured = [*rig(20.0, 20.2), *rig(25.0, 25.4, bag="T2"), *rig(21.0, session="s2")]
    readings = [
        read("Ann", 20.6, 21.0),
        read("Ann", 25.9, bag="T2"),
        read("Ann", 21.5, session="s2"),
        read("Bo", 19.0, 19.4, 18.9),
    ]
    ann, bo = reader_biases(readings, measured)
    differences = [20.8 - 20.1, 25.9 - 25.2, 21.5 - 21.0]
    assert (ann.reader, ann.n_groups, ann.n_readings, ann.n_compared) == ("Ann", 3, 4, 4)
    assert ann.bias_deg == pytest.approx(np.mean(differences))
    assert ann.u_bias_deg == pytest.approx(np.std(differences, ddof=1) / sqrt(3.0))
    assert ann.scatter_deg == pytest.approx(np.std([20.6, 21.0], ddof=1))
    assert ann.rig_scatter_deg == pytest.approx(sqrt((0.02 + 0.08) / 2.0))
    assert (bo.reader, bo.n_groups, bo.scope) == ("Bo", 1, "this bag, this session only")
    u = hypot(
        np.std([19.0, 19.4, 18.9], ddof=1) / sqrt(3.0), np.std([20.0, 20.2], ddof=1) / sqrt(2)
    )
    assert bo.u_bias_deg == pytest.approx(u)


def test_the_interval_of_several_groups_is_that_of_scipys_t_test() -> None:
    from scipy import stats

    differences = [0.4, 0.9, 0.1, 0.7]
    measured = [a for i in range(4) for a in rig(20.0 + i, session=f"s{i}")]
    readings = [read("Ann", 20.0 + i + d, session=f"s{i}") for i, d in enumerate(differences)]
    (ann,) = reader_biases(readings, measured)
    interval = stats.ttest_1samp(differences, 0.0).confidence_interval(0.95)
    assert (ann.low_deg, ann.high_deg) == pytest.approx((interval.low, interval.high))


def test_readings_of_another_session_are_not_compared() -> None:
    (ann,) = reader_biases([read("Ann", 20.0, 21.0, session="elsewhere")], rig(20.0, 20.1))
    assert (ann.n_groups, ann.n_compared, ann.n_readings) == (0, 0, 2)
    assert ann.bias_deg is None
    assert ann.low_deg is None
    assert ann.scatter_deg == pytest.approx(np.std([20.0, 21.0], ddof=1))
    assert "no run of the rig beside" in ann.scope


def test_single_values_give_a_bias_without_an_interval() -> None:
    (ann,) = reader_biases([read("Ann", 20.5)], rig(20.0))
    assert ann.bias_deg == 0.5
    assert (ann.u_bias_deg, ann.low_deg, ann.scatter_deg) == (None, None, None)


def test_the_interval_holds_the_true_bias_as_often_as_it_says() -> None:
    """Groups with an extra scatter of their own (mounting, hour), 95 % intervals."""
    random = np.random.default_rng(11)
    held = 0
    for _ in range(1000):
        measured, readings = [], []
        for i in range(4):
            level = random.normal(22.0, 2.0)
            measured += rig(*random.normal(level, 0.2, 3), session=f"s{i}")
            angles = random.normal(level + 0.6 + random.normal(0.0, 0.3), 0.5, 3)
            readings.append(read("Ann", *angles, session=f"s{i}"))
        (ann,) = reader_biases(readings, measured)
        assert ann.low_deg is not None
        assert ann.high_deg is not None
        held += ann.low_deg <= 0.6 <= ann.high_deg
    assert 0.93 <= held / 1000 <= 0.97
