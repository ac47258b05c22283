"""`rig study` as a person types it, from an empty folder to a plan that is half done."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from rig.study.folder.journal import Droop
from rig.study.folder.study import open_study
from rig.study.plan.rows import read_plan
from tests.commands.conftest import Rig
from tests.study.folder_example import add_run, make_study, run_row

SOAK = "soak: agent=softener, dose=20 ml, stirred, temperature=30, time=45, drying=on a line"


@pytest.fixture
def folder(tmp_path: Path) -> str:
    make_study(tmp_path / "shed")
    return "shed"


def said(rig: Rig, *words: str) -> str:
    """What the command says on stdout and stderr; it must end well."""
    answer = rig(*words)
    assert answer.code == 0, answer.err
    return answer.out + answer.err


def refused(rig: Rig, *words: str) -> str:
    """The one sentence with which the command refuses, exit code 2."""
    answer = rig(*words)
    assert answer.code == 2, answer.out + answer.err
    assert answer.out == ""
    assert answer.err.startswith("rig: ")
    assert answer.err.count("\n") == 1
    return answer.err


def test_a_newcomer_gets_from_nothing_to_the_next_step(rig: Rig, tmp_path: Path) -> None:
    said(rig, "study", "new", "shed", "--name", "Boat shed", "--runs", "3", "--target", "22")
    said(rig, "study", "board", "shed", "A", "--material", "birch plywood", "--played", "10.5")
    said(rig, "study", "climate", "shed", "today")
    said(rig, "study", "climate", "shed", "dry", "--temperature", "22:1.5", "--humidity", "35")
    told = said(
        rig, "study", "treat", "shed", "--recipe", "soft", "--step", SOAK, "--step", "rinse"
    )
    assert "Rinse until no suds" in told
    said(rig, "study", "bag", "shed", "T", "--treatment", "soft", "--mass", "441 g")
    for name in ("C1", "C2"):
        said(rig, "study", "bag", "shed", name, "--role", "control", "--face", "slick=twill")
    said(rig, "study", "bag", "shed", "Ref", "--role", "reference")
    told = said(rig, "study", "plan", "shed")
    assert "Still to measure in stage 'baseline': today, dry." in told
    told = said(rig, "study", "status", "shed")
    assert "Next: Session 1-s01 in climate today: put Ref, slick down, on A" in told

    study = open_study(tmp_path / "shed")
    assert study.catalogue.name == "Boat shed"
    assert study.catalogue.preferences.wish_angle_deg == 22.0
    assert study.catalogue.bags["T"].mass_g == 441.0
    assert study.catalogue.bags["C1"].faces == {"slick": "twill"}
    assert study.catalogue.climates["dry"].temperature_tolerance_c == 1.5
    step = study.catalogue.treatments["soft"].steps[0]
    assert (step.action, step.dose, step.drying) == ("soak", "20 ml, stirred", "on a line")
    assert (step.temperature_c, step.time_min) == (30.0, 45.0)


def test_help_is_there_for_the_group_and_for_each_command(rig: Rig) -> None:
    told = rig("study", "--help").out
    for name in ("new", "bag", "board", "climate", "treat", "droop", "reading", "plan", "status"):
        assert f"\n  {name} " in told
        # Whether an argument stands in braces is typer's to say, version by version.
        said = rig("study", name, "--help").out.replace("{STUDY}", "STUDY")
        assert f"rig study {name} [OPTIONS] STUDY" in said
    assert rig("study", "nonsense").code == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["new", "shed"], "is a study already"),
        (["status", "barn"], "There is no study folder barn"),
        (["bag", "shed", "T1"], "There is bag 'T1' already"),
        (["bag", "shed", "X", "--mass", "15.5 in"], "--mass takes a number in g or oz, not '15.5"),
        (["bag", "shed", "X", "--mass", "1,234"], "can be read in two ways"),
        (["bag", "shed", "X", "--mass", "heavy"], "--mass takes a number in g or oz, not 'heavy'"),
        (["bag", "shed", "X", "--mass", "3"], "--mass must lie between 50 and 2000 g"),
        (["bag", "shed", "X", "--length", "6 oz"], "--length takes a number in mm or in, not"),
        (["bag", "shed", "X\n"], "has a control character"),
        (["bag", "shed", "X", "--face", "a\u202e"], "has an invisible character"),
        (["bag", "shed", "X", "--model", "\u200b"], "has an invisible character"),
        (["mass", "shed", "T1", "441", "--operator", "\x1b[31m"], "has a control character"),
        (["bag", "shed", "X", "--role", "spare"], "--role takes treated, control or reference"),
        (["bag", "shed", "X", "--face", "a", "--face", "a=b"], "each face needs a name of its own"),
        (["bag", "shed", "/X"], "must not begin with a slash"),
        (["climate", "shed", "hot", "--temperature", "72g"], "takes a number in °C or °F, not"),
        (["climate", "shed", "hot", "--temperature", "22:-1"], "(behind the colon) must lie"),
        (["climate", "shed", "hot", "--humidity", "120"], "--humidity must lie between 0 and 100"),
        (["treat", "shed"], "Name the bags with --bag"),
        (["treat", "shed", "--bag", "T1"], "Say what was done"),
        (["treat", "shed", "--bag", "T9", "--recipe", "soft"], "knows no bag 'T9'"),
        (["treat", "shed", "--bag", "T1", "--recipe", "sofd"], "did you mean 'soft'"),
        (["treat", "shed", "--bag", "T1", "--recipe", "soft"], "T1 has no baseline slide before"),
        (["treat", "shed", "--recipe", "x", "--step", "soak: heat=3"], "'heat' is unknown"),
        (["treat", "shed", "--recipe", "x", "--step", "soak: time=1, time=2"], "is there twice"),
        (["treat", "shed", "--recipe", "x", "--step", "soak: long"], "as key=value"),
        (["treat", "shed", "--recipe", "x", "--step", "time=4"], "begin with what is done"),
        (
            ["treat", "shed", "--recipe", "x", "--step", "soak: temperature=86in"],
            "temperature takes a number in °C or °F, not '86in'",
        ),
        (["mass", "shed", "T1", "441", "--approach", "wet"], "--approach takes `dry`, `damp`"),
        (["mass", "shed", "T1", "441", "--at", "noon"], "--at takes a time such as"),
        (["mass", "shed", "T1", "441", "--replaces", "7"], "no line 7 that counts"),
        (["wipe", "shed", "B"], "knows no board 'B'"),
        (["droop", "shed", "T1", "--up", "grip"], "needs --up, --overhang and --angle"),
        (
            ["droop", "shed", "T1", "--up", "grap", "--overhang", "51", "--angle", "40"],
            "knows no face 'grap'; did you mean 'grip'?",
        ),
        (
            ["droop", "shed", "T1", "--up", "grip", "--overhang", "51", "--angle", "95"],
            "--angle must lie between",
        ),
        (
            ["droop", "shed", "T1", "--up", "grip", "--overhang", "2oz", "--angle", "40"],
            "--overhang takes a number in mm or in, not '2oz'",
        ),
        (["reading", "shed", "T1", "slick", "--board", "A"], "needs BAG, FACE, --board, --reader"),
        (["withdraw", "shed", "3"], "Say why with --why"),
        (["plan", "shed", "--add"], "has no plan yet"),
        (["plan", "shed", "--add", "--replace"], "Choose --add or --replace"),
        (["power", "--difference", "0"], "--difference must lie between"),
        (["power", "--sd-run", "-1"], "--sd-run must lie between"),
        (["export", "shed"], "has no slide to export yet"),
    ],
)
def test_bad_input_is_one_sentence(rig: Rig, folder: str, words: list[str], says: str) -> None:
    assert says in refused(rig, "study", *words)


def test_quantities_are_taken_as_people_type_them(rig: Rig, folder: str, tmp_path: Path) -> None:
    told = said(rig, "study", "bag", folder, "X", "--mass", "15.5oz", "--length", "6in")
    assert "--mass: 439.4 g (15.5oz as typed).\n--length: 152.4 mm (6in as typed)." in told
    said(rig, "study", "climate", folder, "hot", "--temperature", "77F:9F", "--humidity", "40,5")
    step = "soak: temperature=86F, time=1h"
    said(rig, "study", "treat", folder, "--recipe", "warm", "--step", step)
    words = ["--up", "grip", "--overhang", '2"', "--angle", "40,5", "--temperature", "75F"]
    said(rig, "study", "droop", folder, "T1", *words)
    told = said(rig, "study", "mass", folder, "T1", "15.5 oz", "--at", "00:00")
    study = open_study(tmp_path / folder)
    droop, mass = study.journal.lines
    assert f"--at: {mass.at} (00:00 as typed)." in told
    assert study.catalogue.bags["X"].mass_g == pytest.approx(439.417609)
    hot = study.catalogue.climates["hot"]
    assert (hot.temperature_c, hot.temperature_tolerance_c) == (25.0, 5.0)
    assert hot.relative_humidity_pct == 40.5
    (soak,) = study.catalogue.treatments["warm"].steps
    assert (soak.temperature_c, soak.time_min) == (30.0, 60.0)
    assert isinstance(droop, Droop)
    assert (droop.overhang_mm, droop.angles_deg) == (50.8, (40.5,))
    assert droop.temperature_c == pytest.approx(23.8888889)


def test_a_time_of_today_that_is_still_to_come_is_refused(rig: Rig, folder: str) -> None:
    soon = datetime.now(UTC) + timedelta(minutes=30)
    later = "23:59:59+00:00" if soon.date() > datetime.now(UTC).date() else f"{soon:%H:%M}+00:00"
    answer = rig("study", "mass", folder, "T1", "441", "--at", later)
    assert answer.code == 2
    assert "lies in the future" in answer.err


def test_a_study_from_the_future_is_refused(rig: Rig, folder: str, tmp_path: Path) -> None:
    path = tmp_path / folder / "study.toml"
    path.write_text(path.read_text().replace("version = 1", "version = 9"))
    for words in (["status", folder], ["plan", folder], ["mass", folder, "T1", "440"]):
        assert "a study folder from the future" in refused(rig, "study", *words)


def test_an_edited_plan_that_is_nonsense_names_line_and_column(
    rig: Rig, folder: str, tmp_path: Path
) -> None:
    said(rig, "study", "plan", folder)
    path = tmp_path / folder / "plan.csv"
    path.write_text(path.read_text().replace(",1,,start of session", ",,,start of session", 1))
    for command in ("plan", "status"):
        told = refused(rig, "study", command, folder)
        assert "plan.csv, line 3, column runs: the cell is empty" in told


def test_a_cut_journal_is_told_and_goes_on(rig: Rig, folder: str, tmp_path: Path) -> None:
    said(rig, "study", "mass", folder, "T1", "440")
    said(rig, "study", "mass", folder, "T1", "441")
    path = tmp_path / folder / "journal.jsonl"
    path.write_bytes(path.read_bytes()[:-20])
    assert "was cut off after" in said(rig, "study", "status", folder, "--journal")
    answer = rig("study", "mass", folder, "T1", "441", "--json")
    assert answer.document["lines"][0]["line"] == 4
    masses = rig("study", "status", folder, "--journal", "--json").document["lines"]
    assert [line["mass_g"] for line in masses] == [440.0, 441.0]


def test_json_is_one_document_and_nothing_else(rig: Rig, folder: str) -> None:
    plan = rig("study", "plan", folder, "--json")
    assert plan.document["rows"][0]["action"] == "wipe"
    status = rig("study", "status", folder, "--json")
    assert status.document["blocks"][0]["runs_done"] == 0
    power = rig("study", "power", folder, "--json")
    assert power.document["scatter_from"] == "expected, not measured"
    readers = rig("study", "reading", folder, "--json")
    assert readers.document == {"readers": []}
    droop = rig("study", "droop", folder, "--json")
    assert droop.document["droop"] == []
    for answer in (plan, status, power, readers, droop):
        assert answer.err == ""
        json.loads(answer.out)


def test_treatments_are_noted_and_corrected(rig: Rig, folder: str, tmp_path: Path) -> None:
    study = open_study(tmp_path / folder)
    add_run(study, "T1", "2026-05-02T08:00:00Z")
    add_run(study, "T2", "2026-05-02T08:10:00Z")
    words = ["study", "treat", folder, "--bag", "T1", "--bag", "T2", "--recipe", "soft"]
    early = refused(rig, *words, "--at", "2026-05-01T08:00:00Z")
    assert "lies before its run of stage 'baseline'" in early
    assert not study.journal_path.exists()
    told = said(rig, *words, "--at", "2026-05-03T08:00:00+02:00")
    assert "Journal line 2: treatment of T1.\nJournal line 3: treatment of T2." in told
    done = open_study(study.path).journal.treatments_of("T1")[0]
    assert (done.at, done.stage, done.recipe) == ("2026-05-03T06:00:00Z", "after 1", "soft")
    assert done.steps == study.catalogue.treatments["soft"].steps
    add_run(study, "T1", "2026-05-04T08:00:00Z", stage="after 1")
    late = ["study", "treat", folder, "--bag", "T1", "--recipe", "soft", "--replaces", "2"]
    assert "should precede its runs" in refused(rig, *late, "--at", "2026-05-05T08:00:00Z")
    said(
        rig, *late, "--step", "soak: agent=softener, time=2 h, temperature=30".replace("2 h", "120")
    )
    done = open_study(study.path).journal.treatments_of("T1")[0]
    assert (done.at, done.steps[0].time_min) == ("2026-05-03T06:00:00Z", 120.0)
    said(rig, "study", "withdraw", folder, "3", "--why", "it was not done")
    assert open_study(study.path).journal.treatments_of("T2") == []


def test_a_reading_that_is_far_off_is_asked_about_at_once(rig: Rig, folder: str) -> None:
    words = ["study", "reading", folder, "T1", "slick", "--board", "A", "--reader", "Ann"]
    told = said(rig, *words, "--angle", "22", "--angle", "22.5")
    assert "is 42.0° right?" not in told
    told = said(rig, *words, "--angle", "22", "--angle", "42", "--angle", "22.5")
    assert f"is 42.0° right? If not, `rig study withdraw {folder} 3` takes it out" in told
    asked = rig("answer", folder, "--json").document["unknown"]
    assert asked[0].startswith("Slides of one series of T1, slick lie 20.0° apart")
    said(rig, "study", "withdraw", folder, "3", "--why", "a slip")
    assert "apart" not in said(rig, "answer", folder)


def test_readings_beside_the_rig_show_the_readers_bias(
    rig: Rig, folder: str, tmp_path: Path
) -> None:
    from tests.study.test_export import slide

    study = open_study(tmp_path / folder)
    for seed in (1, 2):
        slide(study, 1, session="1-s01", series=f"{seed}")
    words = ["study", "reading", folder, "T1", "slick", "--board", "A", "--reader", "Ann"]
    words += ["--angle", "25", "--angle", "26", "--at", "2026-05-01T12:00:00Z"]
    told = said(rig, *words, "--session", "1-s01")
    assert "says nothing about the air's effect" in told
    said(rig, *words, "--temperature", "21", "--humidity", "48", "--measured")
    lines = rig("study", "status", folder, "--journal", "--json").document["lines"]
    assert [line["session"] for line in lines] == ["1-s01", "2026-05-01"]
    assert lines[1]["climate_source"] == "measured"
    (ann,) = rig("study", "reading", folder, "--json").document["readers"]
    assert (ann["n_readings"], ann["n_compared"]) == (4, 2)
    assert ann["bias_deg"] is not None
    compared = rig("compare", folder, "--json").document["boards"]
    (offset,) = (one for one in compared if one["what"] == "reader")
    assert ann["offset"] == offset
    ends = f"{offset['lower_deg']:+.1f} to {offset['upper_deg']:+.1f}".replace("-", "−")
    assert ends in said(rig, "study", "reading", folder)


def test_droop_is_shown_with_its_limits(
    rig: Rig, folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    words = ["study", "droop", folder, "T1", "--up", "grip", "--overhang", "51"]
    said(rig, *words, "--angle", "41", "--angle", "42", "--seams", "along", "--reader", "Ann")
    told = said(rig, "study", "droop", folder)
    assert "c mm (Peirce)" in told
    assert "A filled bag is not a strip of cloth" in told


def test_the_plan_moves_on_as_runs_and_wipes_are_made(
    rig: Rig, folder: str, tmp_path: Path
) -> None:
    said(rig, "study", "plan", folder)
    said(rig, "study", "wipe", folder, "A", "--how", "damp cloth, then dry")
    study = open_study(tmp_path / folder)
    plan = read_plan(study)
    run_row(study, plan[1], 1)
    told = said(rig, "study", "status", folder)
    assert f"put {plan[2].bag}, {plan[2].face} down" in told
    assert "1 of 10" in told


def test_one_table_is_exported(rig: Rig, folder: str, tmp_path: Path) -> None:
    from tests.study.test_export import slide

    study = open_study(tmp_path / folder)
    slide(study, 1)
    lines = rig("study", "export", folder).out.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("study,rig,started_at")
    said(rig, "study", "export", folder, "--csv", "t.csv", "--parquet", "t.parquet")
    assert (tmp_path / "t.csv").read_text().splitlines() == lines
    assert (tmp_path / "t.parquet").stat().st_size > 1000
    assert len(rig("study", "export", folder, "--json").document["runs"]) == 1


def test_power_takes_scatter_as_it_is_typed(rig: Rig) -> None:
    told = said(rig, "study", "power", "--sd-run", "0.3", "--sd-series", "0.1", "--sd-bag", "0.15")
    assert "slides 0.30°, series 0.10°, sittings 0.50°, applications 0.15°" in told
    assert "in four of five such trials" in told
