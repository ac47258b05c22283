from math import sqrt

import numpy as np
import pytest

from rig.errors import BadInputError
from rig.study.droop import (
    DroopSummary,
    bending_length_mm,
    droop_against_slide,
    pooled_sd,
    summarise_droop,
)
from rig.study.folder.journal import Droop


def read(angles: tuple[float, ...], **changes: object) -> Droop:
    values: dict[str, object] = {
        "at": "2026-05-01T08:00:00Z",
        "bag": "T1",
        "face": "grip",
        "overhang_mm": 51.0,
        "angles_deg": angles,
        "stage": "baseline",
        "session": "s",
    }
    return Droop(**(values | changes))  # type: ignore[arg-type]


def test_the_two_conventions_are_kept_apart() -> None:
    assert bending_length_mm(51.0, 41.5, "half_at_41.5") == pytest.approx(25.5, rel=1e-12)
    assert bending_length_mm(51.0, 41.5, "peirce") == pytest.approx(51.0 * 0.50932, rel=1e-5)


def test_a_limper_bag_has_a_shorter_bending_length() -> None:
    lengths = [bending_length_mm(51.0, angle) for angle in (5.0, 20.0, 41.5, 60.0, 85.0)]
    assert lengths == sorted(lengths, reverse=True)


@pytest.mark.parametrize("angle", [0.0, -3.0, 90.0, 120.0])
def test_an_angle_outside_is_refused(angle: float) -> None:
    with pytest.raises(BadInputError, match="must lie between 0 and 90°"):
        bending_length_mm(51.0, angle)


def test_one_sitting_takes_its_scatter_from_the_layings() -> None:
    (one,) = summarise_droop([read((40.0, 42.0, 44.0))])
    assert (one.n_layings, one.n_sittings, one.mean_angle_deg) == (3, 1, 42.0)
    assert one.repeat_deg == pytest.approx(2.0)
    assert one.u_angle_deg == pytest.approx(2.0 / sqrt(3.0))
    random = np.random.default_rng(5)
    lengths = [bending_length_mm(51.0, a) for a in random.normal(42.0, 2.0 / sqrt(3), 20_000)]
    assert one.u_bending_length_mm == pytest.approx(np.std(lengths), rel=0.03)


def test_several_sittings_take_it_from_the_sittings() -> None:
    (one,) = summarise_droop([read((40.0, 42.0)), read((46.0, 44.0, 45.0))])
    assert one.mean_angle_deg == pytest.approx(43.0)  # of the means 41 and 45
    assert one.u_angle_deg == pytest.approx(np.std([41.0, 45.0], ddof=1) / sqrt(2.0))
    assert one.repeat_deg == pytest.approx(sqrt((2.0 + 2.0) / 3.0))


def test_a_single_laying_says_nothing_of_its_scatter() -> None:
    (one,) = summarise_droop([read((40.0,))])
    assert one.repeat_deg is None
    assert one.u_angle_deg is None
    assert one.u_bending_length_mm is None
    assert pooled_sd([[1.0], [5.0]]) is None


def test_other_stages_faces_overhangs_and_seams_are_kept_apart() -> None:
    entries = [
        read((40.0,)),
        read((40.0,), stage="after 1"),
        read((40.0,), face="slick"),
        read((40.0,), overhang_mm=60.0),
        read((40.0,), seams="along"),
        read((41.0,)),
    ]
    assert [one.n_layings for one in summarise_droop(entries)] == [2, 1, 1, 1, 1]


def summaries(lengths: list[float]) -> list[DroopSummary]:
    made = []
    for i, length in enumerate(lengths):
        (one,) = summarise_droop([read((40.0,), bag=f"B{i}", overhang_mm=length)])
        made.append(one)
    return made


def test_droop_against_slide_angle_agrees_with_scipy() -> None:
    from scipy import stats

    droops = summaries([30.0, 41.0, 52.0, 60.0, 75.0, 80.0])
    slide = [20.0, 22.5, 21.0, 24.5, 25.0, 27.0]
    found = droop_against_slide(
        droops, {(one.bag, "grip", "baseline"): y for one, y in zip(droops, slide, strict=True)}
    )
    assert found is not None
    x = [one.bending_length_peirce_mm for one in droops]
    line = stats.linregress(x, slide)
    r = stats.pearsonr(x, slide)
    assert (found.slope, found.intercept_deg) == pytest.approx((line.slope, line.intercept))
    assert found.correlation == pytest.approx(r.statistic)
    assert (found.low, found.high) == pytest.approx(tuple(r.confidence_interval()), rel=1e-6)
    assert "go together in these 6 pairs; that does not prove a cause" in found.sentence


def test_too_little_is_not_called_a_relation() -> None:
    droops = summaries([30.0, 41.0, 52.0])
    keys = [(one.bag, "grip", "baseline") for one in droops]
    assert droop_against_slide(droops, dict(zip(keys, [20.0, 21.0], strict=False))) is None
    few = droop_against_slide(droops, dict(zip(keys, [20.0, 21.0, 22.0], strict=True)))
    assert few is not None
    assert (few.low, few.high) == (None, None)
    assert "too few to say" in few.sentence
    assert droop_against_slide(droops, dict.fromkeys(keys, 20.0)) is None


def test_no_relation_and_repeated_bags_are_said() -> None:
    entries = [
        read((40.0,), bag="B", stage=stage, overhang_mm=length)
        for stage, length in (
            ("baseline", 30.0),
            ("after 1", 40.0),
            ("after 2", 50.0),
            ("after 3", 60.0),
        )
    ]
    droops = summarise_droop(entries)
    angles = dict(zip(((o.bag, o.face, o.stage) for o in droops), (20, 25, 19, 23), strict=True))
    found = droop_against_slide(droops, angles)
    assert found is not None
    assert found.sentence.startswith("No relation between droop and slide angle can be seen")
    assert "Only 1 bag is behind them" in found.sentence
