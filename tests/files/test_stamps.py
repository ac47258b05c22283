from datetime import UTC, datetime, timedelta, timezone

import pytest

from rig.errors import BadInputError
from rig.files.stamps import check_wall_clock, parse_utc, utc_text

NOON = datetime(2026, 5, 30, 12, 0, 0, 250_000, tzinfo=UTC)


def test_stamps_are_utc_with_z() -> None:
    assert utc_text(NOON) == "2026-05-30T12:00:00Z"
    assert utc_text(NOON, "milliseconds") == "2026-05-30T12:00:00.250Z"
    east = NOON.astimezone(timezone(timedelta(hours=5, minutes=30)))
    assert utc_text(east) == "2026-05-30T12:00:00Z"
    assert parse_utc("2026-05-30T17:30:00+05:30") == NOON.replace(microsecond=0)


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-30T12:00:00",
        "yesterday",
        "",
        "0001-01-01T00:00:00+23:59",
        "9999-12-31T23:59:59-10:00",
    ],
)
def test_what_is_no_stamp_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"time zone|isoformat|calendar"):
        parse_utc(text)


def test_a_clock_that_was_never_set_is_refused() -> None:
    with pytest.raises(BadInputError, match="clock says 1970-01-01, so it was not set"):
        check_wall_clock(datetime(1970, 1, 1, tzinfo=UTC))
    check_wall_clock(NOON)
    new_year = datetime(2024, 1, 1, tzinfo=UTC)
    check_wall_clock(new_year)
    with pytest.raises(BadInputError, match="clock says 2023-12-31"):
        check_wall_clock(new_year - timedelta(seconds=1))


def test_a_clock_behind_the_study_is_refused() -> None:
    made_at = utc_text(NOON + timedelta(days=1, minutes=1))
    with pytest.raises(BadInputError, match="but this study was made on 2026-05-31"):
        check_wall_clock(NOON, made_at)
    check_wall_clock(NOON, utc_text(NOON + timedelta(days=1) - timedelta(minutes=1)))
    check_wall_clock(NOON, "not a stamp")
