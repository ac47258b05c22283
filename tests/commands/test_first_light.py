"""Press start, get a friction coefficient: the commands, and what they say to bad input."""

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.conftest import Rig

RESULT_KEYS = (
    "run_file, run_id, valid, bag, face, set, board, treatment_stage, session, series,"
    " slide_number, onset_angle_deg, u_onset_angle_deg, mu_static, u_mu_static, mu_kinetic,"
    " u_mu_kinetic, angle_at_break_deg, onset_method, rate_deg_s, dwell_s, gap_mm, bag_length_mm,"
    " cross_slope_deg, temperature_c, u_temperature_c, relative_humidity_pct,"
    " u_relative_humidity_pct, absolute_humidity_g_m3, dew_point_c, surface_humidity_pct, flags,"
    " outcome"
).split(", ")
GROUP_KEYS = (
    "n_runs, n_series, n_sessions, mean_mu_static, mean_onset_angle_deg, first, third, rest,"
    " trend_p, u_repeat, u_series, u_common, k, expanded_mu_static, scope"
).split(", ")


def test_a_series_on_the_twin_gives_the_documents_keys(rig: Rig) -> None:
    words = "run --twin --now --repeat 2 --dwell 1 --bag Plover --face grip --out made --json"
    said = rig(*words.split())
    assert said.code == 0
    assert len(said.document["runs"]) == 2
    for run in said.document["runs"]:
        assert [key for key in RESULT_KEYS if key not in run] == []
        assert (run["bag"], run["face"], run["outcome"]) == ("Plover", "grip", "slid")
        # The definition of the inclined-plane standards: the coefficient is the angle's tangent
        # (ASTM D4521-96, TAPPI T 815).
        assert run["mu_static"] == pytest.approx(math.tan(math.radians(run["onset_angle_deg"])))
        truth = json.loads(
            Path(run["run_file"].replace(".run.jsonl", ".truth.json")).read_text("utf-8")
        )
        error = run["onset_angle_deg"] - truth["onset_angle_deg"]
        assert abs(error) < 3 * run["u_onset_angle_deg"]
    for group in said.document["groups"]:
        assert [key for key in GROUP_KEYS if key not in group] == []

    again = rig("analyse", "made", "--json", "--table", "rows.csv")
    assert again.code == 0
    assert again.document["runs"] == said.document["runs"]
    rows = Path("rows.csv").read_text("utf-8").splitlines()
    assert rows[0].split(",")[:3] == ["run_file", "run_id", "valid"]
    assert len(rows) == 3

    plain = rig("analyse", "made", "--budget")
    assert "combined" in plain.out
    assert "Plover grip" in plain.out


def test_the_same_seed_gives_the_same_bytes_but_for_stamp_and_name(rig: Rig) -> None:
    def made(folder: str, seed: str) -> tuple[list[bytes], dict[str, object]]:
        rig(*f"run --twin --now --dwell 1 --seed {seed} --session s --out {folder}".split())
        (path,) = Path(folder).rglob("*.run.jsonl")
        lines = path.read_bytes().splitlines()
        header = json.loads(lines[0])
        for key in ("run_id", "started_at", "series"):
            del header[key]
        end = lines[-1].partition(b',"check":')[0]  # the check covers the first line too
        return [*lines[1:-1], end], header

    assert made("a", "5") == made("b", "5")
    assert made("c", "6")[0] != made("a2", "5")[0]


def test_a_whole_cycle_stays_under_300_kb(rig: Rig) -> None:
    said = rig(*"run --twin --now --seed 2 --out made --json".split())
    (run,) = said.document["runs"]
    assert run["onset_angle_deg"] > 25.0, "this run is too short to say anything"
    assert Path(run["run_file"]).stat().st_size < 300_000


def test_a_cut_file_is_analysed_as_far_as_it_goes_and_says_so(rig: Rig) -> None:
    rig(*"run --twin --now --dwell 1 --out made".split())
    (path,) = Path("made").rglob("*.run.jsonl")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    said = rig("analyse", "made", "--json")
    assert said.code == 0
    (run,) = said.document["runs"]
    assert not run["valid"]
    assert run["outcome"] == "interrupted"
    assert "interrupted" in said.err or "cut" in said.err


def test_check_tests_every_part_of_the_twin(rig: Rig) -> None:
    said = rig("check", "--twin", "--json")
    assert said.code == 0
    names = [check["name"] for check in said.document["checks"]]
    for part in ("emergency stop", "beam 1", "bus", "climate sensor", "movement"):
        assert part in names


def test_watch_shows_angle_climate_and_inputs(rig: Rig) -> None:
    said = rig(*"watch --twin --speed fast --seconds 2 --json".split())
    assert said.code == 0
    assert abs(said.document["angle_deg"]) < 5.0
    assert said.document["inputs"]["beam_1"] is False
    lines = rig(*"watch --twin --speed fast --seconds 2".split()).out.splitlines()
    assert len(lines) == 4
    assert "%RH" in lines[-1]


def test_printed_settings_can_be_loaded(rig: Rig) -> None:
    Path("rig.toml").write_text(rig("settings").out, "utf-8")
    assert rig("settings", "--json").document["motion"]["rate_deg_s"] == 1.0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("run --now", "--twin"),
        ("check", "--twin"),
        ("watch", "--twin"),
        ("run --twin --speed soon", "`fast` or `real`"),
        ("run --twin --rate 9", "--rate"),
        ("run --twin --repeat 0", "--repeat"),
        ("run --twin --rig none.toml", "none.toml"),
        ("analyse none", "none"),
        ("analyse .", "no run file"),
        ("run --twin --now --out /proc/nowhere", "/proc/nowhere"),
        ("demo --out full", "not empty"),
        ("settings --rig unknown.toml", "motion.rat_deg_s"),
        ("settings --rig unit.toml", "°/s"),
        ("settings --rig range.toml", "0.1 to 3"),
        ("frobnicate", "No such command"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(rig: Rig, words: str, sentence: str) -> None:
    Path("full").mkdir()
    Path("full/something").touch()
    Path("unknown.toml").write_text("[motion]\nrat_deg_s = 1.0\n")
    Path("unit.toml").write_text("[motion]\nrate_deg_min = 60.0\n")
    Path("range.toml").write_text("[motion]\nrate_deg_s = 30.0\n")
    said = rig(*words.split())
    assert said.code == 2
    assert sentence in said.err
    assert "Traceback" not in said.err


def test_a_file_that_is_no_run_file_and_one_from_the_future(rig: Rig) -> None:
    Path("x.run.jsonl").write_text("hello\n")
    said = rig("analyse", "x.run.jsonl")
    assert (said.code, said.out) == (2, "")
    assert "not a run file" in said.err
    rig(*"run --twin --now --dwell 1 --out made".split())
    (path,) = Path("made").rglob("*.run.jsonl")
    lines = path.read_text("utf-8").splitlines(keepends=True)
    header = json.loads(lines[0])
    header["version"] = 99
    path.write_text(json.dumps(header) + "\n" + "".join(lines[1:]), "utf-8")
    said = rig("analyse", str(path))
    assert said.code == 2
    assert "99" in said.err


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_is_named(rig: Rig) -> None:
    Path("locked").mkdir(mode=0o500)
    said = rig(*"run --twin --now --out locked".split())
    assert said.code == 2
    assert "locked" in said.err


HEAVY = ("numpy", "scipy", "gpiozero", "rich", "adafruit_bme280", "lgpio", "matplotlib", "msgspec")


@pytest.mark.parametrize("words", [["--help"], ["run", "--help"], ["analyse", "--help"]])
def test_help_imports_nothing_heavy(words: list[str]) -> None:
    code = (
        "import sys\n"
        "from rig.commands.main import main\n"
        "try:\n    main()\n"
        "except SystemExit:\n    pass\n"
        f"print([name for name in {HEAVY} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
    )
    assert "Usage" in done.stdout
    assert done.stderr.strip() == "[]"
