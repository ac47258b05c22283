from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from rig.calibration.file import check_fit, load_calibration, save_calibration
from rig.calibration.model import SensorIdentity
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
        ({"residuals_deg": (0.1, 0.2), "angles_deg": (0.0,)}, "of one length"),
        ({"format": "other"}, "no calibration file"),
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


def test_what_is_no_calibration_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    with pytest.raises(BadInputError, match="Cannot read"):
        load_calibration(path)
    for content in (b"", b"\xff\xfe", b"[]", b"{}"):
        path.write_bytes(content)
        with pytest.raises(BadInputError, match="no calibration file"):
            load_calibration(path)


def test_another_sensors_calibration_is_refused() -> None:
    other = SensorIdentity(model="lsm6dsox", address=0x6A, identity="6c-0043")
    with pytest.raises(BadInputError, match="6c-0042 at 0x6a, and the sensor here is"):
        check_fit(calibration(), other, NOW)


def test_an_overdue_calibration_is_refused_or_flagged() -> None:
    later = datetime(2027, 4, 2, tzinfo=UTC)
    assert check_fit(calibration(), SENSOR, NOW) == ()
    with pytest.raises(BadInputError, match="due again on 2027-04-01"):
        check_fit(calibration(), SENSOR, later)
    assert check_fit(calibration(), SENSOR, later, allow_overdue=True) == ("calibration_overdue",)
