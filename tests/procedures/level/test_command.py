import io
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rig.calibration.file import load_calibration, save_calibration
from rig.calibration.plan import LevelPlan, SpanPoint, load_plan
from rig.calibration.reference import SineBar
from rig.commands.level.level import _put_in_force
from rig.commands.level.prompts import PromptingPerson
from rig.commands.main import app
from rig.errors import BadInputError
from rig.opening import open_twin
from rig.procedures.level.level import LevelProcedure
from rig.procedures.level.person import FilePerson
from rig.settings.model import ImuSettings, Screw, Settings
from rig.twin.draws import draw_scenario
from tests.calibration.example import calibration

READINGS = """
reference = "digital"
stated_error_deg = 0.3
sweep = false
[zero]
along = [-0.25, -0.25]
across = [0.25, 0.25]
"""
POINTS = [("up", 12), ("up", 22), ("up", 34), ("down", 33), ("down", 20), ("down", 10)]


def test_a_file_of_readings_drives_it_without_prompts(tmp_path: Path) -> None:
    # Seed 1's board stands about 0.27° lower than its steps say; the file's readings know.
    text = READINGS
    for direction, angle in POINTS:
        text += f'[[span]]\nangle_deg = {angle}\ndirection = "{direction}"\n'
        text += f"shown = {angle - 0.27}\n"
    (tmp_path / "r.toml").write_text(text)
    plan = load_plan(tmp_path / "r.toml")
    settings = Settings(imu=ImuSettings(rate_hz=104), screw=Screw(microsteps=1))
    rig = open_twin(settings, draw_scenario(1), 1)
    with rig:
        path, made = rig.run(
            LevelProcedure(rig.machine, FilePerson(plan), plan, tmp_path / "c").run()
        )
    assert made.reference.startswith("digital level, ±0.3°")
    runner = CliRunner()
    shown = runner.invoke(app, ["level", "show", str(path)])
    assert shown.exit_code == 0
    assert "standard uncertainty of the inclination" in shown.output
    document = json.loads(runner.invoke(app, ["level", "show", str(path), "--json"]).stdout)
    at_20 = document["u_inclination"][4]
    assert at_20["angle_deg"] == 20.0
    assert 0.02 < at_20["u_angle_deg"] < 0.25


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("reference = 'ruler'", "not a valid file of level readings"),
        ("x = [", "not a valid file"),
        (None, "Cannot"),
    ],
)
def test_a_file_that_will_not_do(tmp_path: Path, text: str | None, words: str) -> None:
    path = tmp_path / "r.toml"
    if text is not None:
        path.write_text(text)
    with pytest.raises(BadInputError, match=words):
        load_plan(path)


def test_prompts_ask_which_end_is_high(monkeypatch: pytest.MonkeyPatch) -> None:
    person = PromptingPerson("mm/m")
    monkeypatch.setattr("sys.stdin", io.StringIO("oops\n5\nn\n0\n-0,2\n\nwhat\nr\n"))
    assert person.level_deg("along", False) == pytest.approx(-0.2865, abs=1e-4)
    assert person.level_deg("across", True) == 0.0
    bar, point = SineBar(50.0, 200.0), SpanPoint(angle_deg=14.5)
    assert person.bubble_deg(bar, point, 14.3) == -0.2
    assert person.bubble_deg(bar, point, 14.5) == 0.0
    assert person.go_on("zero", "found") == "redo"
    with pytest.raises(BadInputError, match="--readings FILE"):
        person.go_on("zero", "found")


@pytest.mark.parametrize("was", ["missing", "damaged", "good"])
def test_a_new_calibration_takes_the_place_of_a_bad_one_that_the_settings_name(
    tmp_path: Path, was: str
) -> None:
    named, made = tmp_path / "mine.json", calibration()
    if was == "damaged":
        named.write_text("{", "utf-8")
    elif was == "good":
        save_calibration(named, calibration(home_angle_deg=0.5))
    said = _put_in_force(made, named, twin=False)
    assert (load_calibration(named) == made) is (was != "good")
    assert ("stays in force" in said) is (was == "good")
    kept = [path.read_text("utf-8") for path in tmp_path.glob("*.damaged-*")]
    assert kept == (["{"] if was == "damaged" else [])
    assert ("is kept as" in said) is (was == "damaged")


def test_a_calibration_of_the_twin_gets_to_no_rig(tmp_path: Path) -> None:
    said = _put_in_force(calibration(), tmp_path / "mine.json", twin=True)
    assert "not put there" in said
    assert list(tmp_path.iterdir()) == []


def test_the_twins_calibrations_are_shown_apart_from_the_rigs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    place = tmp_path / "twin-calibration" / "seed-3" / "20261001T080000Z.json"
    save_calibration(place, calibration())
    runner = CliRunner()
    assert (
        "20261001T080000Z" in runner.invoke(app, ["level", "show", "--twin", "--seed", "3"]).output
    )
    with pytest.raises(BadInputError, match="`rig level`"):
        runner.invoke(app, ["level", "show"], catch_exceptions=False)


def test_history_of_nothing_is_told(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["level", "history", str(tmp_path)])
    assert isinstance(result.exception, BadInputError)


def test_the_points_of_the_plan_cover_what_the_fit_wants() -> None:
    points = LevelPlan().points()
    assert len(points) == 12
    assert {point.direction for point in points} == {"up", "down"}
    assert LevelPlan().bar(points[2]).angle_deg == pytest.approx(20.0, abs=1e-3)
