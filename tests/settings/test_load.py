import os
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rig.errors import BadInputError
from rig.settings import load
from rig.settings.keys import keys
from rig.settings.load import find_settings, load_settings
from rig.settings.model import Settings

MISTAKES = [
    # wrong unit
    ("[motion]\nrate_deg_min = 60", ["`motion.rate_deg_min`", "°/s", "`motion.rate_deg_s`"]),
    ("[linkage]\nbase_pivot_m = 0.9", ["`linkage.base_pivot_m`", "must be mm", "base_pivot_mm`"]),
    ("[motion]\nrate = 1", ["`motion.rate`", "°/s", "`motion.rate_deg_s`"]),
    ("[cycle]\ndwell_min = 1", ["unit must be s", "`cycle.dwell_s`", "0 to 3600 s"]),
    ("[motion]\nramp_jerk_deg_s2 = 1", ["°/s³", "`motion.ramp_jerk_deg_s3`"]),
    # unknown keys and sections
    ("[motion]\nrat_deg_s = 1", ["`motion.rat_deg_s`", "did you mean `motion.rate_deg_s`?"]),
    ("[beam]\ngap_mm = 3", ["`beam.gap_mm`", "did you mean `bag.gap_mm`?"]),
    ("rate_deg_s = 1", ["`rate_deg_s`", "did you mean `motion.rate_deg_s`?"]),
    ("[motion]\nzebra = 1", ["`motion.zebra`", "`rig settings`"]),
    ("[motoin]\nrate_deg_s = 1", ["[motoin]", "did you mean [motion]?"]),
    ("[zebra]\nx = 1", ["[zebra]", "[bag], [beam]"]),
    # wrong type
    ("[motion]\nrate_deg_s = '1'", ["`motion.rate_deg_s`", 'text "1"', "a number from 0.1"]),
    ("[motion]\nrate_deg_s = true", ["`motion.rate_deg_s` is true", "a number from 0.1 to 3 °/s"]),
    ("[motion]\nrate_deg_s = [1]", ["`motion.rate_deg_s` is a list"]),
    ("[motion]\nrate_deg_s = {a = 1}", ["`motion.rate_deg_s` is a table"]),
    ("[pins]\nstep = 1.5", ["`pins.step` is 1.5", "a whole number from 0 to 27"]),
    ("[pins]\nbeam_2 = 'x'", ["`pins.beam_2`", "0 to 27, or left out"]),
    ("[pins]\ndirection_raises_high = 1", ["`pins.direction_raises_high`", "true or false"]),
    ("motion = 3", ["`motion` must be a section", "[motion]"]),
    ("[[motion]]\nrate_deg_s = 1", ["`motion` must be a section"]),
    # out of range
    ("[motion]\nrate_deg_s = 9", ["`motion.rate_deg_s` is 9", "from 0.1 to 3 °/s"]),
    ("[motion]\nrate_deg_s = nan", ["`motion.rate_deg_s` is nan"]),
    ("[motion]\nrate_deg_s = inf", ["`motion.rate_deg_s` is inf"]),
    ("[screw]\nlead_mm = 0.1", ["`screw.lead_mm`", "above 0.1, up to 25 mm"]),
    ("[pins]\nbeam_2 = 28", ["`pins.beam_2` is 28", "0 to 27"]),
    ("[bus]\nimu_model = 'x'", ["`bus.imu_model`", '"lsm6dsox"']),
    ("[imu]\nrate_hz = 100", ["`imu.rate_hz` is 100", "104, 208 or 416 Hz"]),
    ("name = ''", ["`name` is empty", "1 to 60 characters"]),
    # not TOML
    ("[motion\nrate_deg_s = 1", ["not valid TOML", "line 1"]),
    ("\n[motion]\nrate_deg_s =\n[bag]\n", ["not valid TOML", "line 3"]),
    ("[motion]\nrate_deg_s = ", ["not valid TOML", "line 2"]),
    ("[imu]\nrate_hz = " + "9" * 5000, ["not valid TOML"]),
    ("x = " + "[" * 5000, ["not valid TOML"]),
]


@pytest.mark.parametrize(("text", "expected"), MISTAKES, ids=lambda v: str(v)[:40])
def test_a_mistake_is_one_sentence_with_file_key_and_remedy(
    tmp_path: Path, text: str, expected: list[str]
) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as caught:
        load_settings(path)
    message = str(caught.value)
    assert str(path) in message
    assert "\n" not in message
    assert message[-1] in ".?"
    for part in expected:
        assert part in message


def test_a_file_that_is_not_utf8_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(b"# a\nname = 'Caf\xe9'\n")
    with pytest.raises(BadInputError, match="line 2 is not UTF-8"):
        load_settings(path)


def test_a_missing_file_a_folder_and_a_forbidden_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(BadInputError, match="There is no settings file"):
        load_settings(tmp_path / "none.toml")
    with pytest.raises(BadInputError, match="directory"):
        load_settings(tmp_path)

    def refuse(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(BadInputError, match="cannot be read: Permission denied"):
        load_settings(tmp_path / "rig.toml")


def test_what_is_left_out_has_its_default(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("\ufeffname = 'attic'\n[motion]\nrate_deg_s = 2\n", encoding="utf-8")
    found = load_settings(path)
    assert (found.name, found.motion.rate_deg_s) == ("attic", 2.0)
    assert found.screw == Settings().screw
    assert load_settings(None) == Settings()


def test_the_order_of_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here, home, system = tmp_path / "here", tmp_path / "home", tmp_path / "etc"
    for folder in (here, home / "rig", system):
        folder.mkdir(parents=True)
    monkeypatch.chdir(here)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(home))
    monkeypatch.setattr(load, "SYSTEM", system)
    assert find_settings(None) is None
    for place in (system / "rig.toml", home / "rig" / "rig.toml", Path("rig.toml")):
        place.touch()
        assert find_settings(None) == place
    assert find_settings(tmp_path / "given.toml") == tmp_path / "given.toml"


def test_the_configuration_folder_without_the_variable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / ".config" / "rig" / "rig.toml"
    place.parent.mkdir(parents=True)
    place.touch()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    assert os.path.samefile(find_settings(None) or "", place)


names = [key.path.split(".") for key in keys() if key.section]
values: st.SearchStrategy[Any] = st.one_of(
    st.integers(-(2**63), 2**63 - 1),
    st.floats(),
    st.booleans(),
    st.sampled_from(["''", "'mm'", "[]", "{}", "1979-05-27", "0x76", "[1, {a = 2}]"]),
)


@given(st.sampled_from(names), values, st.sampled_from(["", "x", "_mm", "_min"]))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_stands_there_it_is_read_or_it_is_bad_input(
    tmp_path: Path, name: list[str], value: Any, extra: str
) -> None:
    path = tmp_path / "rig.toml"
    shown = str(value).lower() if isinstance(value, bool) else str(value)
    path.write_text(f"[{name[0]}]\n{name[1]}{extra} = {shown}\n", encoding="utf-8")
    with suppress(BadInputError):
        assert isinstance(load_settings(path), Settings)
