"""What a file of readings may ask for."""

from pathlib import Path

import pytest

from rig.calibration.plan import CountsReading, LevelPlan, SpanPoint, load_plan
from rig.calibration.reference import Turned
from rig.errors import BadInputError


def loaded(folder: Path, text: str) -> LevelPlan:
    (folder / "r.toml").write_text(text)
    return load_plan(folder / "r.toml")


@pytest.mark.parametrize(
    ("key", "taken", "refused"),
    [
        ("[[span]]\nangle_deg", (5, 40), (4.9, 40.1)),
        ("[warm]\ncounts = [0, 0, 16000]\ntemperature_c", (-40, 85), (-40.1, 85.1)),
        ("bar_length_mm", (10.1, 2000), (10, 2001)),
        ("limit_length_mm", (0, 5), (-0.1, 5.1)),
        ("limit_height_mm", (0, 5), (-0.1, 5.1)),
        ("u_null_deg", (0.001, 1), (0, 1.1)),
        ("resolution_deg", (0.001, 1), (0, 1.1)),
        ("stated_error_deg", (0.001, 2), (0, 2.1)),
        ("due_days", (1, 3650), (0, 3651)),
    ],
)
def test_each_value_has_a_range(
    tmp_path: Path, key: str, taken: tuple[float, ...], refused: tuple[float, ...]
) -> None:
    for value in taken:
        loaded(tmp_path, f"{key} = {value}\n")
    for value in refused:
        with pytest.raises(BadInputError, match=key.rpartition("\n")[2]):
            loaded(tmp_path, f"{key} = {value}\n")


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("referense = 'digital'", "referense"),
        ("[zero]\nalong = [0, 0]\nacross = [0, 0]\nuint = 'deg'", "uint"),
        ("[[span]]\nangle_deg = 20\ndirektion = 'up'", "direktion"),
        ("[warm]\ncounts = [1, 2, 3]\ntemperature_c = 20\nat = 1", "`at`"),
        ("[[positions]]\nup = '+x'\ncounts = [1, 2, 3]\ntemperature_c = 20\nx = 1", "`x`"),
    ],
)
def test_a_misspelt_key_is_named(tmp_path: Path, text: str, name: str) -> None:
    with pytest.raises(BadInputError, match=name):
        loaded(tmp_path, text)


def test_a_side_that_a_sensor_has_not_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="not a valid file of level readings"):
        loaded(tmp_path, "[[positions]]\nup = 'x'\ncounts = [1, 2, 3]\ntemperature_c = 20")


def test_usual_points_go_up_and_come_down_with_the_level_turned() -> None:
    points = LevelPlan().points()
    assert [(p.angle_deg, p.direction, p.turned) for p in points[4:8]] == [
        (30.0, "up", False),
        (35.0, "up", False),
        (35.0, "down", True),
        (30.0, "down", True),
    ]


def test_a_block_is_the_angles_own_unless_it_is_named() -> None:
    # 200 mm · sin 20° = 68.404 mm.
    assert LevelPlan().bar(SpanPoint(angle_deg=20.0)).height_mm == 68.404
    bar = LevelPlan(bar_length_mm=250.0).bar(SpanPoint(angle_deg=20.0, height_mm=85.0))
    assert (bar.height_mm, bar.length_mm) == (85.0, 250.0)
    assert (bar.limit_height_mm, bar.limit_length_mm) == (0.05, 0.1)


def test_a_bubble_is_brought_to_its_middle_within_002_degrees() -> None:
    plan, zero = LevelPlan(), Turned(0.0, 0.0, 0.0, 0.0)
    reading = plan.bar(plan.points()[0]).null(zero, False, plan.u_null_deg)
    assert reading.u_random_deg == 0.02


def test_counts_of_a_file_know_their_peak_on_either_side() -> None:
    rest = CountsReading(counts=(100.0, -16000.6, 20.0), temperature_c=31.0).rest()
    assert (rest.peak_counts, rest.n, rest.temperature_c) == (16001, 1, 31.0)
