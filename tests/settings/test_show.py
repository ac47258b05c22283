from pathlib import Path

import msgspec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rig.settings.keys import keys, split_unit
from rig.settings.load import load_settings
from rig.settings.model import Settings
from rig.settings.show import commented_toml

others = st.builds(
    lambda name, runs, rate, beam_2, lead: Settings(
        name=name,
        files=msgspec.structs.replace(Settings().files, runs=runs),
        motion=msgspec.structs.replace(Settings().motion, rate_deg_s=rate),
        pins=msgspec.structs.replace(Settings().pins, beam_2=beam_2),
        screw=msgspec.structs.replace(Settings().screw, lead_mm=lead),
    ),
    st.text(min_size=1, max_size=60),
    st.text(),
    st.floats(0.1, 1.0),
    st.sampled_from([None, 4, 18]),
    st.floats(4, 25),
)


@given(others)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
def test_the_printed_file_reads_back_as_the_same_settings(tmp_path: Path, wanted: Settings) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(commented_toml(wanted), encoding="utf-8", newline="")
    assert load_settings(path) == wanted


def test_every_key_has_its_meaning_or_its_range_above_it() -> None:
    lines = iter(commented_toml(Settings()).splitlines())
    for key in keys():
        above = line = ""
        while not line.startswith((f"{key.name} =", f"# {key.name} =")):
            above, line = line, next(lines)
        assert above.startswith("# ")
        assert key.allowed[1:] in above
        assert key.description[1:] in above


def test_units_are_named_in_the_comments() -> None:
    text = commented_toml(Settings())
    assert "# Raise rate of a run. A number from 0.1 to 3 °/s; default 1.0." in text
    assert "imu_address = 0x6A" in text
    assert "# beam_2 =" in text


def test_units_are_told_from_names() -> None:
    assert split_unit("ramp_jerk_deg_s3") == ("ramp_jerk", "deg_s3")
    assert split_unit("rate_deg_s") == ("rate", "deg_s")
    assert split_unit("microsteps") == ("microsteps", "")
