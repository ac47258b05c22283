"""What a value in a run file can be: taken at both ends of its range, refused beyond."""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rig.analysis.load import analyse
from rig.errors import BadInputError
from rig.runfile import limits
from rig.runfile.limits import LIMITS
from rig.runfile.model import Event, Line, Samples, Steps
from rig.runfile.reader import read_run
from tests.calibration.example import calibration
from tests.runfile.example import END, LINES, header
from tests.runfile.test_reader import write

MIDDLE = Event(
    t_s=5.4, event="placed", detail=dict.fromkeys(("gap_mm", "angle_deg", "approach_deg"), 5.0)
)
WHOLE: list[Line] = [header(), *LINES[:-1], MIDDLE, LINES[-1]]
WHOLE.append(msgspec.structs.replace(END, lines=len(WHOLE)))


def place_of(kind: str) -> int:
    """Index of a line of this kind (an event: the one with a detail)."""
    kinds = [json.loads(msgspec.json.encode(line))["kind"] for line in WHOLE]
    return WHOLE.index(MIDDLE) if kind == "event" else kinds.index(kind)


def with_value(path: Path, kind: str, key: str, value: object) -> Path:
    """A whole run file with one value changed."""
    lines = [msgspec.json.encode(line) for line in WHOLE]
    place = place_of(kind)
    raw: dict[str, Any] = json.loads(lines[place])
    inner = raw
    *folders, name = key.split(".")
    for folder in folders:
        inner = inner[folder]
    inner[name] = [[1, 2, value], [0, 0, 0]] if name.endswith("counts") else value
    lines[place] = json.dumps(raw).encode()
    path.write_bytes(b"".join(line + b"\n" for line in lines))
    return path


KEYS = [(kind, key) for kind, own in LIMITS.items() for key in own]


@pytest.mark.parametrize(("kind", "key"), KEYS)
def test_each_value_is_taken_within_its_range_and_refused_beyond(
    tmp_path: Path, kind: str, key: str
) -> None:
    limit = LIMITS[kind][key]
    path = tmp_path / "a.run.jsonl"
    is_whole = isinstance(limit.high, int)
    for end, way in ((limit.low, -1), (limit.high, 1)):
        if (key, way) not in {("t_s", 1), ("t_s", -1), ("lines", -1), ("lines", 1)}:
            assert read_run(with_value(path, kind, key, end)).problems == [], (key, end)
        beyond = int(end) + way if is_whole else end + way * max(1e-6, abs(end) * 1e-6)
        with pytest.raises(BadInputError) as caught:
            read_run(with_value(path, kind, key, beyond))
        sentence = str(caught.value)
        assert sentence.startswith(f"{path}, line {1 + place_of(kind)}: {key.split('.')[-1]} is ")
        assert limit.reason in sentence
        assert f"{limit.low:g} to {limit.high:g}" in sentence
        assert sentence.endswith("Restore it from a copy, or take it out of the folder.")


def test_what_data_sheets_and_arithmetic_say() -> None:
    """BME280 (BST-BME280-DS002), table 1: −40…85 °C, 300…1100 hPa; two bytes for each count."""
    assert limits.AIR_C[:2] == (-40.0, 85.0)
    assert limits.PRESSURE_HPA[:2] == (300.0, 1100.0)
    assert limits.HUMIDITY_PCT[:2] == (0.0, 100.0)
    assert limits.COUNT[:2] == (-(2**15), 2**15 - 1)
    assert limits.GAP_MM.low == limits.U_LENGTH_MM.low == limits.U_ANGLE_DEG.low == 0.0
    assert min(limits.LENGTH_MM.low, limits.RATE_DEG_S.low, limits.STEP_S.low) > 0.0


def test_a_slip_of_unit_or_point_is_refused_and_what_people_measure_is_taken() -> None:
    """What may be met in a workshop, and the same in another unit or with the point moved."""
    for limit, taken, refused in (
        (limits.TIME_S, (-3600.0, 600.0), (5e6, -1e6)),
        (limits.STEP_S, (1 / 8000, 1.0), (10.0,)),
        (limits.CHIP_C, (-40.0, 85.0), (-273.15, 300.0)),
        (limits.RATE_DEG_S, (0.1, 3.0), (100.0,)),
        (limits.DWELL_S, (0.0, 3600.0), (5e6,)),
        (limits.ANGLE_DEG, (-5.0, 60.0), (91.0, -91.0, 200.0)),
        (limits.LENGTH_MM, (20.0, 400.0), (0.15, 15000.0)),
        (limits.GAP_MM, (0.0, 300.0), (8000.0,)),
        (limits.SLUMP_MM, (0.0, 20.0), (1500.0,)),
        (limits.MASS_G, (30.0, 2000.0), (0.43, 430000.0)),
        (limits.HOURS, (0.0, 24.0 * 365), (5e5,)),
        (limits.RATE_HZ, (1.0, 26667.0), (0.05, 2e5)),
        (limits.LATE_US, (0.0, 5e4), (-0.5,)),
        (limits.NUMBER, (0, 1000), (-1,)),
    ):
        assert all(limit.low <= value <= limit.high for value in taken), limit
        assert not any(limit.low <= value <= limit.high for value in refused), limit


@pytest.mark.parametrize("value", [10**12, -(10**12), 10**30, 10**400])
def test_a_count_of_any_size_is_refused(tmp_path: Path, value: int) -> None:
    with pytest.raises(BadInputError, match=r"counts is .* 16 bits"):
        read_run(with_value(tmp_path / "a.run.jsonl", "samples", "counts", value))
    with pytest.raises(BadInputError, match="count is "):
        read_run(with_value(tmp_path / "a.run.jsonl", "steps", "count", value))


def test_samples_that_go_far_back_in_time_are_refused(tmp_path: Path) -> None:
    def lines(back_s: float) -> list[Line]:
        return [
            Samples(t_s=t_s, dt_s=0.005, counts=[(1, 2, 3)]) for t_s in (50.0, 50.0 - back_s, 51.0)
        ]

    assert read_run(write(tmp_path / "a.run.jsonl", *lines(9.9)).path).samples
    with pytest.raises(BadInputError, match=r"line 3: t_s is 39\.9, and the samples before"):
        write(tmp_path / "b.run.jsonl", *lines(10.1))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"covariance": ((1.0, 0.0, 0.0),) * 3}, "8 rows of 8"),
        ({"covariance": tuple((1.0,) * i + (2.0,) * (8 - i) for i in range(8))}, "symmetric"),
        ({"covariance": (*((0.0,) * 8,) * 7, (*(0.0,) * 7, -1.0))}, "negative variance"),
        ({"filter_delay_ms": 500.0}, "filter_delay_ms must lie between 0 and 200 ms"),
        ({"filter_delay_ms": -1.0}, "filter_delay_ms"),
        ({"u_filter_delay_ms": -1.0}, "u_filter_delay_ms"),
    ],
)
def test_a_calibration_that_cannot_be_is_refused_with_its_run(
    tmp_path: Path, changes: dict[str, object], words: str
) -> None:
    path = tmp_path / "a.run.jsonl"
    lines = [header(calibration=calibration(**changes)), *WHOLE[1:]]
    path.write_bytes(b"".join(msgspec.json.encode(line) + b"\n" for line in lines))
    with pytest.raises(BadInputError, match=rf"line 1: in its calibration, .*{words}"):
        read_run(path)


def test_a_changed_file_is_said_to_be_that(tmp_path: Path) -> None:
    """Not that its values can't be: the copy to restore it from has others."""
    run = write(tmp_path / "a.run.jsonl", *LINES, Steps(t_s=6.0, count=7, jitter_us=0.0))
    data = run.path.read_bytes()
    end = msgspec.structs.replace(END, check="00000000")
    run.path.write_bytes(
        data.replace(b'"relative_humidity_pct":48.0', b'"relative_humidity_pct":480.0')
        + msgspec.json.encode(end)
        + b"\n"
    )
    with pytest.raises(BadInputError, match="was changed after it was written"):
        read_run(run.path)


def test_one_implausible_file_leaves_the_rest_of_the_folder(tmp_path: Path) -> None:
    with_value(tmp_path / "a.run.jsonl", "climate", "relative_humidity_pct", 150.0)
    with_value(tmp_path / "b.run.jsonl", "climate", "relative_humidity_pct", 50.0)
    found = analyse([tmp_path], calibration())
    assert len(found.runs) == 1
    assert any(
        "a.run.jsonl, line 3: relative_humidity_pct is 150, and only 0 to 100 % is plausible"
        in problem
        for problem in found.problems
    )
