"""`rig run --unattended`: only where a blade places the bag."""

from pathlib import Path

from tests.commands.conftest import Rig

RIG = """\
[pins]
blade_step = 13
blade_direction = 19
blade_enable = 21
blade_park = 4
[blade]
fitted = true
speed_mm_s = 40
acceleration_mm_s2 = 800
ramp_jerk_mm_s3 = 40000
[cycle]
dwell_s = 1
"""


def test_without_a_blade_it_is_refused_in_one_sentence(rig: Rig, tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    said = rig(
        "run", "--twin", "--seed", "1", "--unattended", "--repeat", "2", "--out", str(folder)
    )
    assert said.code == 2
    assert said.out == ""
    (sentence,) = said.err.strip().splitlines()
    assert "--unattended needs a blade" in sentence
    assert "[blade]" in sentence
    assert not folder.exists()


def test_with_a_blade_it_makes_the_runs(rig: Rig, tmp_path: Path) -> None:
    file = tmp_path / "blade.toml"
    file.write_text(RIG, "utf-8")
    words = ("--unattended", "--now", "--repeat", "2", "--out", str(tmp_path / "runs"), "--json")
    said = rig("run", "--twin", "--rig", str(file), *words)
    assert said.code == 0, said.err
    assert [run["valid"] for run in said.document["runs"]] == [True, True]
