"""Times as typed: in UTC, of today where no day is given."""

import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from rig.errors import BadInputError
from rig.quantities.times import utc_of

NOW = datetime(2026, 5, 30, 22, 30, tzinfo=UTC)


@pytest.fixture
def five_hours_behind(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A computer whose local time is UTC − 5 h."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "EST5")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        (" 2026-05-30T14:05+02:00 ", "2026-05-30T12:05:00Z"),
        ("2026-05-30 14:05", "2026-05-30T19:05:00Z"),
        ("17:25", "2026-05-30T22:25:00Z"),
        ("7:25", "2026-05-30T12:25:00Z"),
        ("17:25:30", "2026-05-30T22:25:30Z"),
        # 22:30 in UTC is half past two on the next day there.
        ("01:25+04:00", "2026-05-30T21:25:00Z"),
    ],
)
@pytest.mark.usefixtures("five_hours_behind")
def test_times_are_kept_in_utc(text: str, utc: str) -> None:
    assert utc_of("--at", text, NOW) == utc


@pytest.mark.usefixtures("five_hours_behind")
def test_today_is_the_local_day() -> None:
    after_midnight_utc = datetime(2026, 5, 31, 3, 0, tzinfo=UTC)
    assert utc_of("--at", "17:25", after_midnight_utc) == "2026-05-30T22:25:00Z"


def test_without_a_text_it_is_now() -> None:
    assert utc_of("--at", None, NOW) == "2026-05-30T22:30:00Z"
    now = datetime.fromisoformat(utc_of("--at", None))
    assert abs((datetime.now(UTC) - now).total_seconds()) < 60.0


@pytest.mark.parametrize("text", ["noon", "25:00", "7:61", "", "2026-13-01", "0001-01-01T00:00+14"])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(BadInputError, match="takes a time such as"):
        utc_of("--at", text)
