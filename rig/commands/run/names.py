"""Names given to `rig run` outside a plan: are they those of the study beside?"""

import sys
from collections.abc import Iterable
from pathlib import Path

from rig.commands.options import say
from rig.errors import BadInputError
from rig.files.names import nearest


def check_names(
    folder: Path, bag: str | None, face: str | None, board: str | None, *, new: bool
) -> None:
    """Refuse a name that the study beside does not know, unless it is meant as a new one.

    Args:
        folder: of the run files; the study is the one it lies in, or the one one works in.
        bag: as given; so are the others.
        face: one of the bag's, or of any bag if that one is new or not given.
        board: as given.
        new: unknown names are new ones.

    Raises:
        BadInputError: a name is unknown and neither is `new` set nor does a person at a terminal
            say yes.
    """
    path = study_beside(folder)
    if path is None or new or not (bag or face or board):
        return
    from rig.study.folder.catalogue_file import NAME, read_catalogue

    catalogue = read_catalogue(path / NAME)
    bags = catalogue.bags
    known = [bags[bag]] if bag in bags else list(bags.values())
    faces = dict.fromkeys(name for one in known for name in one.faces)
    for what, name, names in (
        ("bag", bag, bags),
        ("face", face, faces),
        ("board", board, catalogue.boards),
    ):
        if name is not None and name not in names:
            _unknown(path, what, name, names)


def study_beside(folder: Path) -> Path | None:
    """The study that a folder lies in, else the one that the working directory lies in."""
    from rig.study.folder.study import study_above

    return study_above(folder.absolute()) or study_above(Path.cwd())


def _unknown(path: Path, what: str, name: str, names: Iterable[str]) -> None:
    names = list(names)
    start = f"The study {path} knows no {what} {name!r}"
    near = nearest(name, names)
    if near is not None:
        raise BadInputError(f"{start}; did you mean {near!r}? --new takes it as a new name.")
    there = f"{start} (known: {', '.join(names) or 'none yet'})"
    if not sys.stdin.isatty():
        raise BadInputError(f"{there}; --new takes it as a new name.")
    say(f"{there}. Is it a new one? [y/N]")
    if sys.stdin.readline().strip().casefold() not in ("y", "yes"):
        raise BadInputError(f"{start}; type it again, or add it with `rig study {what}`.")
