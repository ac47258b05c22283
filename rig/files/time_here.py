"""Which clock counts in a folder: that of a simulated rig at home there, or the computer's.

Only the twin writes the file; this much of it is known here because notes in a study have to be
stamped by the same clock as the runs beside them.
"""

import json
from datetime import UTC, datetime
from pathlib import Path

from rig.errors import BadInputError
from rig.files.stamps import parse_utc

HOME_NAME = "twin.json"


def home_above(*places: Path) -> Path | None:
    """The home of a simulated rig that one of these lies in, the first that does; else None."""
    for place in places:
        start = place.absolute()
        for folder in (start, *start.parents):
            if (folder / HOME_NAME).is_file():
                return folder
    return None


def now_in(place: Path) -> datetime:
    """What time it is in a folder.

    Raises:
        BadInputError: a simulated rig's home can't be read.
    """
    home = home_above(place)
    if home is None:
        return datetime.now(UTC)
    path = home / HOME_NAME
    try:
        return parse_utc(json.loads(path.read_bytes())["now"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadInputError(f"{path} has no clock that can be read; restore the file.") from error
