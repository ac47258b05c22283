"""Which guards were seen killed, as their place and their tests read now.

One file for each package, a line for each entry: a hash and the entry. The hash covers the weakened
function and the tests, not the path, so that a moved file is not a changed one.
"""

import threading
from functools import cache
from pathlib import Path

from tests.guards.entry import ROOT, Guard
from tests.guards.syntax import GoneError

FOLDER = Path(__file__).parent / "seen"
_LOCK = threading.Lock()


@cache
def _read(package: str) -> dict[str, str]:
    path = FOLDER / f"{package}.txt"
    if not path.exists():
        return {}
    lines = path.read_text("utf-8").splitlines()
    return {entry: digest for digest, _, entry in (line.partition("  ") for line in lines)}


def is_known(guard: Guard) -> bool:
    """Whether it was seen killed and nothing that matters has changed."""
    try:
        digest = guard.digest(ROOT)
        return any(digest in _read(path.stem).values() for path in FOLDER.glob("*.txt"))
    except (GoneError, OSError):
        return False


def note(guard: Guard, *, killed: bool) -> None:
    """Remember how it went."""
    with _LOCK:
        known = _read(guard.package)
        if killed:
            known[str(guard)] = guard.digest(ROOT)
        else:
            known.pop(str(guard), None)
        lines = sorted(f"{digest}  {entry}\n" for entry, digest in known.items())
        lines.sort(key=lambda line: line.partition("  ")[2])
        FOLDER.mkdir(exist_ok=True)
        (FOLDER / f"{guard.package}.txt").write_text("".join(lines), "utf-8")


def forget_all_but(guards: list[Guard]) -> None:
    """Drop the lines of entries that the table no longer has."""
    for path in FOLDER.glob("*.txt"):
        known = _read(path.stem)
        kept = {str(one) for one in guards if one.package == path.stem}
        lines = [f"{known[entry]}  {entry}\n" for entry in sorted(known) if entry in kept]
        path.write_text("".join(lines), "utf-8")
