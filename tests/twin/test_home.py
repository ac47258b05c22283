"""What a simulated rig remembers from one command to the next."""

import os
from datetime import UTC, datetime, timedelta
from math import radians, tan
from pathlib import Path

import pytest

from rig.errors import BadInputError, BusyError
from rig.files.time_here import home_above, now_in
from rig.settings.load import load_settings
from rig.study.folder.catalogue import Step
from rig.study.folder.journal import Play, Treatment
from rig.study.folder.study import new_study, open_study
from rig.twin import invented
from rig.twin.draws import draw_scenario
from rig.twin.ground import start_grip
from rig.twin.home import SETTINGS, Home, WantedHome, new_home
from rig.twin.invented import FACES, SHARES, Past

BEGIN = datetime(2026, 5, 4, 8, tzinfo=UTC)
SOAK = (Step(action="soak"),)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return new_home(tmp_path / "shed", seed=7, now=BEGIN)


def treat(home: Home, at: str, recipe: str | None = "soft soak", study: str = "club") -> None:
    path = home.folder / study
    there = open_study(path) if path.exists() else new_study(path, study)
    done = len(there.journal.treatments_of("Heron 1")) + 1
    there.note(
        Treatment(at=at, bag="Heron 1", stage=f"after {done}", recipe=recipe, steps=SOAK),
        now=BEGIN + timedelta(days=99),
    )


def test_all_of_a_folder_goes_by_one_clock(home: Home, tmp_path: Path) -> None:
    deep = home.folder / "club" / "runs"
    assert home_above(tmp_path, deep) == home.folder
    assert home_above(tmp_path) is None
    assert now_in(deep) == BEGIN
    home.wait(BEGIN + timedelta(days=2))
    assert now_in(deep) == Home(home.folder).now == BEGIN + timedelta(days=2)
    home.wait(BEGIN)
    assert home.now == BEGIN + timedelta(days=2)
    assert abs(now_in(tmp_path) - datetime.now(UTC)) < timedelta(minutes=1)


def test_a_study_there_is_made_and_noted_by_that_clock(home: Home) -> None:
    study = new_study(home.folder / "club", "club")
    assert study.catalogue.made_at == "2026-05-04T08:00:00Z"
    (line,) = study.note(Play(at="2026-05-04T08:00:00Z", bag="Heron 1", throws=3))
    assert line.written_at == "2026-05-04T08:00:00Z"
    with pytest.raises(BadInputError, match="lies in the future"):
        study.note(Play(at="2026-05-05T08:00:00Z", bag="Heron 1", throws=3))


@pytest.mark.parametrize("data", [b"", b"{}", b'{"now":"noon"}', b'{"now":3}', b"[]"])
def test_a_clock_that_can_not_be_read_is_no_clock(home: Home, data: bytes) -> None:
    (home.folder / "twin.json").write_bytes(data)
    with pytest.raises(BadInputError, match="no clock that can be read"):
        now_in(home.folder)
    with pytest.raises(BadInputError, match="can't be read"):
        Home(home.folder)


def test_a_newer_home_is_refused(home: Home) -> None:
    home.keep(version=2)
    with pytest.raises(BadInputError, match="newer program"):
        Home(home.folder)


def test_a_home_is_made_once_and_settings_are_left_alone(home: Home, tmp_path: Path) -> None:
    assert home.settings_file.read_text() == SETTINGS
    with pytest.raises(BadInputError, match="already"):
        new_home(home.folder, seed=1, now=BEGIN)
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "rig.toml").write_text("# mine\n")
    made = new_home(mine, seed=1, now=BEGIN, law="lugre", wear="late")
    assert (made.settings_file.read_text(), made.state.law) == ("# mine\n", "lugre")
    with pytest.raises(BadInputError, match="coulomb, slip_weakening"):
        new_home(tmp_path / "other", seed=1, now=BEGIN, law="glue")
    with pytest.raises(BadInputError, match="can't be made"):
        new_home(mine / "rig.toml" / "below", seed=1, now=BEGIN)


def test_one_process_at_a_time_changes_it(home: Home) -> None:
    """A lock is on the open file, so two in one process stand for two processes."""
    other = Home(home.folder)
    home.hold()
    said = f"number {os.getpid()}.*works on the simulated rig of {home.folder}"
    with pytest.raises(BusyError, match=said):
        other.wait(BEGIN + timedelta(hours=1))
    home.wait(BEGIN + timedelta(hours=2))
    home.let_go()
    home.let_go()
    with pytest.raises(BadInputError, match="Another command has just changed"):
        other.keep_air(30.0, 70.0)
    again = Home(home.folder)
    assert (again.now, again.state.air) == (BEGIN + timedelta(hours=2), None)
    again.keep_air(30.0, 70.0)
    assert Home(home.folder).state.air is not None


def test_what_cannot_be_written_is_not_believed(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("rig.twin.home.replace_file", fail)
    with pytest.raises(BadInputError, match=r"can't be written: No space left on device\."):
        home.wait(BEGIN + timedelta(hours=1))
    assert home.now == BEGIN


def test_slides_are_counted_for_each_face(home: Home) -> None:
    home.slid("Heron 1", "slick", 3, BEGIN + timedelta(hours=1))
    home.slid("Heron 1", None, 5, BEGIN)
    home.slid("Heron 1", "grip", 1, BEGIN)
    again = Home(home.folder)
    assert again.state.slides == {"Heron 1": {"slick": 5, "grip": 1}}
    assert again.slides_of("Heron 1", None) == 5
    assert again.slides_of("Knot 1", "slick") == 0
    assert again.now == BEGIN + timedelta(hours=1)
    assert again.scenario("Heron 1", "slick", None, WantedHome(), "x").slides_before == 5


def test_journals_say_what_a_bag_has_been_through(home: Home) -> None:
    treat(home, "2026-05-06T08:00:00Z", None, "other")
    treat(home, "2026-05-04T07:00:00Z")
    treat(home, "2026-05-05T08:00:00Z", "warm tumble")
    open_study(home.folder / "club").note(
        Play(at="2026-05-04T07:30:00Z", bag="Heron 1", throws=40),
        Play(at="2026-05-04T07:40:00Z", bag="Knot 1", throws=7),
        Play(at="2026-05-05T07:30:00Z", bag="Heron 1", throws=60),
        now=BEGIN + timedelta(days=99),
    )
    assert home.past_of("Heron 1") == Past(["soft soak"], 40)
    home.wait(BEGIN + timedelta(days=3))
    assert home.past_of("Heron 1") == Past(["soft soak", "warm tumble", "soak"], 100)
    assert home.past_of(None) == Past()


def test_treatments_throws_boards_and_slides_act(home: Home) -> None:
    def angle(board: str | None = None, past: Past | None = None) -> float:
        return home.true_angle_deg("Heron 1", "slick", board, 50.0, past)

    new = angle()
    assert angle(past=Past(["soft soak"])) < new - 0.5
    assert angle(past=Past(throws=500)) < new - 0.2
    assert angle("shed board") != new
    home.slid("Heron 1", "slick", 8, BEGIN)
    assert angle() < new - 0.3
    treat(home, "2026-05-04T07:00:00Z")
    assert angle() == angle(past=Past(["soft soak"]))
    effect = home.effect_deg("soft soak", "Heron 1", "slick", None, 50.0)
    assert effect == pytest.approx(angle(past=Past(["soft soak"])) - angle(past=Past()))


def test_the_true_angle_counts_the_boards_sticky_spots(tmp_path: Path) -> None:
    grips = []
    for seed in range(12):
        home = new_home(tmp_path / str(seed), seed=seed, now=BEGIN)
        grip = start_grip(draw_scenario(seed).board, load_settings(home.settings_file))
        bare = home.face("Heron 1", "slick", None, Past())
        assert bare is not None
        held = tan(radians(home.true_angle_deg("Heron 1", "slick", None, 50.0)))
        assert held == pytest.approx(grip * tan(radians(invented.angle_deg(bare, 50.0, 0))))
        grips.append(grip)
    assert min(grips) == 1.0
    assert 1.001 < max(grips) < 1.03


def test_an_invented_effect_is_said_once_and_kept(home: Home) -> None:
    past = Past(["vinegar", "soft soak", "vinegar"])
    said = home.invent(past, "slick")
    assert len(said) == 2
    assert "a first soft soak takes 7.5 % of the friction of a slick face" in said[1]
    assert home.invent(past, "slick") == []
    assert home.effects() == said
    kept = Home(home.folder).state.shares
    assert kept["soft soak"] == {"slick": SHARES["soft soak"]["slick"]}
    home.keep(shares={"soft soak": {"slick": 0.0}})
    assert home.effect_deg("soft soak", "Heron 1", "slick", None, 50.0) == 0.0


def test_air_is_kept_or_planned_or_the_weather(home: Home) -> None:
    today = home.air()
    home.wait(BEGIN + timedelta(days=3))
    assert home.air() != today
    wanted = WantedHome("barn", 16.0, 32.0)
    assert home.air(wanted).temperature_c == pytest.approx(16.0, abs=0.7)
    home.keep_air(30.0, 72.0)
    assert Home(home.folder).air(wanted).temperature_c == pytest.approx(30.0, abs=0.7)
    home.keep(air=None)
    assert home.air(wanted).temperature_c == pytest.approx(16.0, abs=0.7)


def test_a_sitting_has_one_scatter_and_each_series_its_own(home: Home) -> None:
    first = home.scenario("Heron 1", "slick", None, WantedHome(), "x")
    home.wait(BEGIN + timedelta(minutes=20))
    second = home.scenario("Heron 1", "slick", None, WantedHome(), "x")
    assert first.session == second.session
    assert first.is_session_named
    assert first.series != second.series
    assert first.air != second.air
    home.wait(BEGIN + timedelta(days=1))
    assert home.scenario("Heron 1", "slick", None, WantedHome(), "x").session != first.session
    assert home.scenario(None, None, None, WantedHome(), "x").face not in FACES.values()
