"""Home readings of a study's runs, from the first lines of their files."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

import msgspec

from rig.calibration.history import HomeRecord
from rig.runfile.model import Climate, Event, Header

HEAD_BYTES = 65_536
"""The home reading is taken before the bag is placed, so it stands near the beginning."""


def home_records(files: Iterable[Path]) -> tuple[str, list[HomeRecord]]:
    """Home readings of the newest calibration in use, less its own, in order of time.

    Returns:
        The calibration's date (empty without one) and the records.
    """
    found = [one for path in files if (one := _head(path)) is not None]
    newest = max((h.calibration.made_at for h, _ in found if h.calibration), default="")
    chosen = [(h, e) for h, e in found if h.calibration and h.calibration.made_at == newest]
    chosen.sort(key=lambda pair: pair[0].started_at)
    records = []
    for header, event in chosen:
        assert header.calibration is not None  # noqa: S101 - only such runs are chosen
        days = _time(header) - _time(chosen[0][0])
        records.append(
            HomeRecord(
                header.started_at,
                days.total_seconds() / 86400.0,
                float(event.detail["angle_deg"]) - header.calibration.home_angle_deg,
                float(event.detail["cross_deg"]) - header.calibration.home_cross_deg,
            )
        )
    return newest, records


def _time(header: Header) -> datetime:
    return datetime.fromisoformat(header.started_at)


def _head(path: Path) -> tuple[Header, Event] | None:
    """The header and the home reading; None for a file that has none or can't be read."""
    decode = msgspec.json.Decoder(Header | Event | Climate).decode
    header: Header | None = None
    with path.open("rb") as file:
        lines = file.read(HEAD_BYTES).split(b"\n")
    for line in lines:
        if not line.startswith((b'{"kind":"header"', b'{"kind":"event"')):
            continue
        try:
            read = decode(line)
        except msgspec.DecodeError:
            continue
        if isinstance(read, Header):
            header = read
        elif isinstance(read, Event) and read.event == "home_reading" and header is not None:
            return (header, read) if {"angle_deg", "cross_deg"} <= read.detail.keys() else None
    return None
