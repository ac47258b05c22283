"""Times as a person types them."""

from datetime import UTC, datetime, time

from rig.errors import BadInputError
from rig.files.stamps import utc_text


def utc_of(what: str, text: str | None, now: datetime | None = None) -> str:
    """A time as the journal has it (UTC).

    Args:
        what: its name, for the sentence about a mistake.
        text: date and time, or a time of today; without a zone it is local time. None is now.
        now: which day is today, for a time alone; the computer's if not given.

    Raises:
        BadInputError: it is not a valid time.
    """
    now = now or datetime.now(UTC)
    if text is None:
        return utc_text(now)
    text = text.strip()
    try:
        if text[1:2] == ":" or text[2:3] == ":":
            clock = time.fromisoformat(text.zfill(len(text) + (text[1:2] == ":")))
            return utc_text(datetime.combine(now.astimezone(clock.tzinfo), clock))
        return utc_text(datetime.fromisoformat(text))
    except (ValueError, OverflowError):
        raise BadInputError(
            f"{what} takes a time such as 2026-05-30T14:05, or 14:05 for today, not {text!r}."
        ) from None
