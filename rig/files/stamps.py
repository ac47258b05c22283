"""Time stamps as files hold them: RFC 3339, UTC, with `Z`; stamps of one precision sort by time."""

from datetime import UTC, datetime, timedelta
from typing import Literal

from rig.errors import BadInputError

EARLIEST = datetime(2024, 1, 1, tzinfo=UTC)
"""Time before which no correctly set computer has run this program."""

SLACK = timedelta(days=1)
"""Clocks of two computers, or a stamp without its zone, may differ by this much."""


def utc_text(time: datetime, precision: Literal["seconds", "milliseconds"] = "seconds") -> str:
    """A time as files hold it."""
    return time.astimezone(UTC).isoformat(timespec=precision).replace("+00:00", "Z")


def parse_utc(text: str) -> datetime:
    """A stamp as a time in UTC; raises ValueError for anything that is not RFC 3339."""
    time = datetime.fromisoformat(text)
    if time.tzinfo is None:
        raise ValueError(f"{text!r} has no time zone")
    try:
        return time.astimezone(UTC)
    except OverflowError:
        raise ValueError(f"{text!r} lies outside of the calendar") from None


def check_wall_clock(now: datetime, made_at: str = "") -> None:
    """Refuse to stamp anything by a clock that was never set or runs behind.

    Args:
        now: what the computer says.
        made_at: the stamp of something that is known to be older, such as the study.

    Raises:
        BadInputError: it is earlier than that.
    """
    mend = "set it (`timedatectl`, or wait until the network has), then try again"
    if now < EARLIEST:
        raise BadInputError(f"The computer's clock says {now:%Y-%m-%d}, so it was not set; {mend}.")
    try:
        made = parse_utc(made_at)
    except ValueError:
        return
    if now < made - SLACK:
        raise BadInputError(
            f"The computer's clock says {now:%Y-%m-%d}, but this study was made on"
            f" {made:%Y-%m-%d}; {mend}."
        )
