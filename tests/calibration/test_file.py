import math
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import msgspec
import pytest

from rig.calibration.file import (
    check_fit,
    load_calibration,
    newest_calibration,
    save_calibration,
    validate_calibration,
)
from rig.calibration.model import Calibration, SensorIdentity
from rig.errors import BadInputError
from tests.calibration.example import SENSOR, calibration, diagonal

NOW = datetime(2026, 11, 25, tzinfo=UTC)


def test_what_is_saved_is_loaded_and_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "calibration" / "a.json"
    save_calibration(path, calibration())
    assert load_calibration(path) == calibration()
    with pytest.raises(BadInputError, match="exists already"):
        save_calibration(path, calibration(temperature_c=3.0))
    assert load_calibration(path) == calibration()


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="Cannot write"):
        save_calibration(tmp_path / "file" / "a.json", calibration())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"level": (0.0, 0.0, 2.0)}, "level must have length 1"),
        ({"axis": (0.0, 0.0, 1.0)}, "axis must lie across level"),
        ({"axis": (0.0, float("nan"), 0.0)}, "finite"),
        ({"bias_g": (0.9, 0.0, 0.0)}, "bias_g"),
        ({"gain": (0.0, 1.0, 1.0)}, "gain"),
        ({"covariance": diagonal(1, 1)}, "8 rows"),
        ({"covariance": ((0.0, 1.0, *[0.0] * 6), *[(0.0,) * 8] * 7)}, "symmetric"),
        (
            {
                "covariance": tuple(
                    tuple(1.0 if i == j else 2.0 for j in range(8)) for i in range(8)
                )
            },
            "negative variance",
        ),
        ({"made_at": "yesterday"}, "date"),
        ({"made_at": "2026-10-01T08:00:00"}, "time zone"),
        ({"due_at": "2026-09-01T08:00:00Z"}, "later than made_at"),
        ({"version": 2}, "version 2"),
        ({"filter_delay_ms": 9999.0}, "filter_delay_ms must lie between 0 and 200 ms"),
        ({"u_filter_delay_ms": -5.0}, "u_filter_delay_ms"),
        ({"residuals_deg": (0.1, 0.2), "angles_deg": (0.0,)}, "the same length"),
        ({"format": "other"}, "not a calibration file"),
    ],
)
def test_nonsense_is_refused(tmp_path: Path, changes: dict[str, object], words: str) -> None:
    path = tmp_path / "bad.json"
    with pytest.raises(BadInputError, match=words):
        save_calibration(path, calibration(**changes))
    assert not path.exists()
    path.write_bytes(msgspec.json.encode(calibration(**changes)))
    with pytest.raises(BadInputError):
        load_calibration(path)


def leaning(across: float, length: float = 1.0) -> tuple[float, float, float]:
    """A vector whose part along z is `across`."""
    return 0.0, length * math.sqrt(1.0 - across**2), length * across


def skewed(by: float) -> tuple[tuple[float, ...], ...]:
    """A covariance whose variances are 1 and of which one half is off by this."""
    rows = [list(row) for row in diagonal(*[1.0] * 8)]
    rows[0][7] = by
    return tuple(map(tuple, rows))


def correlated(by: float) -> tuple[tuple[float, ...], ...]:
    """A covariance of two equal errors, and a little more or less than equal."""
    rows = [list(row) for row in diagonal(*[1.0] * 8)]
    rows[0][7] = rows[7][0] = by
    return tuple(map(tuple, rows))


NAN = float("nan")


@pytest.mark.parametrize(
    ("taken", "refused", "words"),
    [
        (
            {"level": (0.0, 0.0, 1.0009), "axis": (0.0, 0.9991, 0.0)},
            {"level": (0.0, 0.0, 1.0011)},
            "level must have length 1",
        ),
        ({}, {"axis": (0.0, 0.9989, 0.0)}, "axis must have length 1"),
        ({"axis": leaning(0.19)}, {"axis": leaning(0.21)}, "axis must lie across level"),
        ({"axis": leaning(-0.19)}, {"axis": leaning(-0.21)}, "axis must lie across level"),
        ({"bias_g": (0.5, -0.5, 0.0)}, {"bias_g": (0.0, 0.0, 0.51)}, "bias_g"),
        ({}, {"bias_g": (0.0, -0.51, 0.0)}, "bias_g"),
        ({"gain": (0.5, 2.0, 1.0)}, {"gain": (1.0, 1.0, 0.49)}, "gain"),
        ({}, {"gain": (1.0, 2.01, 1.0)}, "gain"),
        ({"filter_delay_ms": 0.0}, {"filter_delay_ms": -0.1}, "filter_delay_ms"),
        ({"filter_delay_ms": 200.0}, {"filter_delay_ms": 200.1}, "filter_delay_ms"),
        ({"u_filter_delay_ms": 0.0}, {"u_filter_delay_ms": -0.1}, "u_filter_delay_ms"),
        ({"u_filter_delay_ms": 100.0}, {"u_filter_delay_ms": 100.1}, "u_filter_delay_ms"),
        ({"covariance": skewed(1e-7)}, {"covariance": skewed(1e-5)}, "symmetric"),
        ({"covariance": skewed(-1e-7)}, {"covariance": skewed(-1e-5)}, "symmetric"),
        (
            {"covariance": correlated(1.0 + 1e-7)},
            {"covariance": correlated(1.0 + 1e-5)},
            "negative variance",
        ),
        (
            {"covariance": diagonal(*[0.0] * 8)},
            {"covariance": ((-1e-40, *[0.0] * 7), *diagonal(*[0.0] * 8)[1:])},
            "negative variance",
        ),
        ({"covariance": diagonal(*[10.0] * 8)}, {"covariance": diagonal(*[10.1] * 8)}, "±100"),
        ({"temperature_c": -60.0}, {"temperature_c": -60.1}, "temperature_c"),
        ({"counts_per_g": 100_000.0}, {"counts_per_g": 99.9}, "counts_per_g"),
        ({"drift_g_per_k": (0.0, 0.02, 0.0)}, {"drift_g_per_k": (0.0, 0.0, 0.021)}, "drift"),
        ({}, {"noise_g": 0.51}, "noise_g"),
        ({"home_angle_deg": 90.0}, {"home_angle_deg": 91.0}, "home_angle_deg"),
        ({"u_reference_deg": 10.0}, {"u_reference_deg": 10.1}, "u_reference_deg"),
        ({}, {"covariance": skewed(NAN)}, "covariance has a value that is not a number"),
        ({}, {"covariance": (*diagonal(*[1.0] * 8)[:7], (1.0,) * 7)}, "8 rows of 8"),
        (
            {"due_at": "2026-10-01T08:00:01Z"},
            {"due_at": "2026-10-01T08:00:00Z"},
            "later than made_at",
        ),
        ({}, {"due_at": "soon"}, "a date is not valid"),
        ({}, {"gain": (1.0, NAN, 1.0)}, "finite"),
        ({}, {"level": (NAN, 0.0, 1.0)}, "finite"),
        ({}, {"bias_g": (NAN, 0.0, 0.0)}, "finite"),
        ({}, {"drift_g_per_k": (0.0, 0.0, NAN)}, "finite"),
    ],
)
def test_each_value_has_limits_on_either_side(
    taken: dict[str, object], refused: dict[str, object], words: str
) -> None:
    validate_calibration(calibration(**taken))
    with pytest.raises(BadInputError, match=words):
        validate_calibration(calibration(**refused))


@pytest.mark.parametrize(
    ("key", "value"),
    [("counts_per_g", 0.0), ("u_drift_g_per_k", -1e-6), ("noise_g", -1e-6)],
)
def test_a_file_with_a_number_of_the_wrong_sign_is_refused(
    tmp_path: Path, key: str, value: float
) -> None:
    path = tmp_path / "bad.json"
    path.write_bytes(msgspec.json.encode(calibration(**{key: value})))
    with pytest.raises(BadInputError, match=key):
        load_calibration(path)


@pytest.mark.parametrize(
    ("key", "value"),
    [("counts_per_g", 0.0), ("u_drift_g_per_k", -1e-6), ("noise_g", -1e-6)],
)
def test_the_type_itself_refuses_a_number_of_the_wrong_sign(key: str, value: float) -> None:
    plain = msgspec.to_builtins(calibration(**{key: value}))
    with pytest.raises(msgspec.ValidationError, match=key):
        msgspec.convert(plain, Calibration)


def test_the_newest_calibration_is_the_last_by_name(tmp_path: Path) -> None:
    assert newest_calibration(tmp_path) is None
    for name in ("20261001T080000Z.json", "20270301T080000Z.captures", "20261201T080000Z.json"):
        (tmp_path / name).touch()
    (tmp_path / "20260101T080000Z.json").touch()
    assert newest_calibration(tmp_path) == tmp_path / "20261201T080000Z.json"


def test_what_is_no_calibration_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    with pytest.raises(BadInputError, match="Cannot read"):
        load_calibration(path)
    for content in (b"", b"\xff\xfe", b"[]", b"{}"):
        path.write_bytes(content)
        with pytest.raises(BadInputError, match="not a calibration file"):
            load_calibration(path)


@pytest.mark.parametrize(
    "change", [{"identity": "6c-0043"}, {"address": 0x6B}, {"model": "ism330dhcx"}]
)
def test_another_sensors_calibration_is_refused(change: dict[str, object]) -> None:
    other: SensorIdentity = msgspec.structs.replace(SENSOR, **change)
    with pytest.raises(BadInputError, match="6c-0042 at 0x6a, and the sensor here is"):
        check_fit(calibration(), other, NOW, allow_overdue=True)


def test_an_overdue_calibration_is_refused_or_flagged() -> None:
    later = datetime(2027, 4, 2, tzinfo=UTC)
    assert check_fit(calibration(), SENSOR, NOW) == ()
    with pytest.raises(BadInputError, match="overdue since 2027-04-01"):
        check_fit(calibration(), SENSOR, later)
    assert check_fit(calibration(), SENSOR, later, allow_overdue=True) == ("calibration_overdue",)


def test_a_calibration_is_in_date_to_the_second_in_any_time_zone() -> None:
    due = datetime(2027, 4, 1, 18, tzinfo=timezone(timedelta(hours=10)))
    assert check_fit(calibration(), SENSOR, due) == ()
    late = due + timedelta(seconds=1)
    with pytest.raises(BadInputError, match="overdue since"):
        check_fit(calibration(), SENSOR, late)
    assert check_fit(calibration(), SENSOR, late, allow_overdue=True) == ("calibration_overdue",)
