"""Reads `study.toml` with a sentence for each mistake, and appends tables to it, atomically."""

import difflib
import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec

from rig.errors import BadInputError
from rig.files.names import composed, safe_name
from rig.files.text import read_text
from rig.study.folder.catalogue import (
    FORMAT,
    VERSION,
    Bag,
    Board,
    Catalogue,
    ClimateWanted,
    Preferences,
    Recipe,
    Step,
    Target,
)
from rig.study.folder.durable import locked, replace_file
from rig.study.folder.names import writable

NAME = "study.toml"
SECTIONS: dict[str, type[msgspec.Struct]] = {
    "bags": Bag,
    "boards": Board,
    "climates": ClimateWanted,
    "treatments": Recipe,
    "targets": Target,
}


def read_catalogue(path: Path) -> Catalogue:
    """Read and check a `study.toml`.

    Raises:
        BadInputError: it can't be read, comes from a newer program, or has something invalid in it.
    """
    missing = (
        f"{path.parent} is not a study folder: it has no {NAME}; make one with `rig study new`."
    )
    return parse_catalogue(read_text(path, missing), path)


def parse_catalogue(text: str, path: Path) -> Catalogue:
    """The catalogue in this text; `path` is named in the sentence about a mistake.

    Raises:
        BadInputError: as for `read_catalogue`.
    """
    try:
        data = tomllib.loads(composed(text))
    except (ValueError, RecursionError) as error:
        raise BadInputError(f"{path} is not valid TOML: {error}.") from None
    if data.get("format") != FORMAT:
        raise BadInputError(f'{path} is not a study: its `format` must be "{FORMAT}".')
    version = data.get("version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise BadInputError(f"{path}: `version` must be a whole number from 1 on.")
    if version > VERSION:
        raise BadInputError(
            f"{path} is a study folder from the future: it is written in version {version} and"
            f" this program reads up to version {VERSION}; update the program."
        )
    for section, kind in SECTIONS.items():
        tables = data.get(section, {})
        if not isinstance(tables, dict):
            raise BadInputError(f"{path}: `{section}` must hold one table for each name.")
        for name, table in tables.items():
            _convert(table, kind, f'{section}."{name}"', path)
    _convert(data.get("preferences", {}), Preferences, "preferences", path)
    catalogue: Catalogue = _convert(data, Catalogue, "", path)
    _check(catalogue, path)
    return catalogue


def _convert(data: Any, kind: type[msgspec.Struct], where: str, path: Path) -> Any:
    try:
        return msgspec.convert(data, kind)
    except msgspec.ValidationError as error:
        raise BadInputError(_sentence(str(error), data, kind, where, path)) from None


def _sentence(message: str, data: Any, kind: type[msgspec.Struct], where: str, path: Path) -> str:
    start = f"{path}: [{where}]" if where else f"{path}:"
    unknown = re.match(r"Object contains unknown field `([^`]*)`", message)
    if unknown:
        key = unknown[1]
        fields = kind.__struct_fields__ if " - at" not in message else Step.__struct_fields__
        near = difflib.get_close_matches(key, fields, 1, 0.5)
        hint = f"did you mean `{near[0]}`?" if near else f"there are {', '.join(fields)}."
        return f"{start} there is no key `{key}`; {hint}"
    what, _, place = message.partition(" - at `")
    if place.startswith("key` in `$."):
        section = place.rpartition("$.")[2].rstrip("`").partition("[")[0]
        return (
            f"{start} a name under [{section}] must have 1 to 60 characters on one line and must"
            " not begin with a space or a slash."
        )
    key = place.rstrip("`").removeprefix("$").lstrip(".")
    if "`float" in what and what.endswith("`str`"):
        unit = unit_of(key)
        return (
            f"{start} `{key}` must be a plain number{f' in {unit}' if unit else ''}, not a text;"
            " convert the value to that unit and write the number alone."
        )
    return f"{start} {f'`{key}`: ' if key else ''}{what[:1].lower()}{what[1:]}."


def unit_of(key: str) -> str:
    """The unit that the end of a key's name says, or nothing."""
    units = {"c": "°C", "pct": "%", "g": "g", "mm": "mm", "deg": "°", "min": "min", "s": "s"}
    return units.get(key.rpartition("_")[2], "")


def _check(catalogue: Catalogue, path: Path) -> None:
    try:
        for name, what in _names(catalogue):
            safe_name(name, what)
    except BadInputError as error:
        raise BadInputError(f"{path}: {error}") from None
    if len(catalogue.with_role("reference")) > 1:
        names = " and ".join(catalogue.with_role("reference"))
        raise BadInputError(f"{path}: one bag can be the reference, not {names}; choose one.")
    for name, bag in catalogue.bags.items():
        if not bag.faces:
            raise BadInputError(f'{path}: [bags."{name}"] needs a face at least.')
        if bag.treatment is not None and bag.role != "treated":
            raise BadInputError(
                f'{path}: [bags."{name}"] is a {bag.role} and must not have a `treatment`.'
            )
        if bag.treatment is not None and bag.treatment not in catalogue.treatments:
            known = ", ".join(catalogue.treatments) or "none yet"
            raise BadInputError(
                f'{path}: [bags."{name}"] names the treatment {bag.treatment!r}, which is not'
                f" under [treatments] (there: {known})."
            )
    faces = {face for bag in catalogue.bags.values() for face in bag.faces}
    for face in catalogue.targets:
        if catalogue.bags and face not in faces:
            raise BadInputError(
                f'{path}: [targets."{face}"] is of a face that no bag has (there:'
                f" {', '.join(sorted(faces))})."
            )


def _names(catalogue: Catalogue) -> Iterator[tuple[str, str]]:
    """Each name, and what it names."""
    yield catalogue.name, "study"
    for section in SECTIONS:
        for name in getattr(catalogue, section):
            yield name, section[:-1]
    for bag in catalogue.bags.values():
        yield from ((face, "face") for face in bag.faces)
        yield from ((name, what) for name, what in ((bag.set, "set"), (bag.model, "model")) if name)


def add_table(path: Path, section: str, name: str, table: msgspec.Struct) -> Catalogue:
    """Append one table to a `study.toml`; what is there stays as it is, comments too.

    Args:
        path: the file.
        section: one of `SECTIONS`.
        name: the new entry's name.
        table: what it says; values equal to their default are left out.

    Returns:
        The catalogue with the new entry.

    Raises:
        BadInputError: the name is taken, or the result would not be a valid study.
    """
    name, table = safe_name(name, section[:-1]), writable(table)
    with locked(path.parent):
        catalogue = read_catalogue(path)
        if name in getattr(catalogue, section):
            raise BadInputError(
                f'There is {section[:-1]} {name!r} already; edit [{section}."{name}"] in {path},'
                " or choose another name."
            )
        old = path.read_text(encoding="utf-8-sig").rstrip("\n")
        text = f"{old}\n\n[{section}.{_string(name)}]\n{_keys(table)}"
        catalogue = parse_catalogue(text, path)
        replace_file(path, text.encode())
        return catalogue


def set_target(path: Path, face: str, target: Target) -> Catalogue:
    """Add or change the target of a face; all else in the file stays as it is, comments too.

    Raises:
        BadInputError: no bag has this face.
    """
    import tomlkit  # late: few commands change what is there

    face = safe_name(face, "face")
    with locked(path.parent):
        read_catalogue(path)
        document = tomlkit.parse(path.read_text(encoding="utf-8-sig"))
        targets = document.setdefault("targets", tomlkit.table(is_super_table=True))
        targets[face] = {"angle_deg": target.angle_deg, "tolerance_deg": target.tolerance_deg}
        text = tomlkit.dumps(document)
        catalogue = parse_catalogue(text, path)
        replace_file(path, text.encode())
        return catalogue


def new_catalogue_text(
    name: str, made_at: str, preferences: Preferences, experience: Sequence[str] = ()
) -> str:
    """The text of a new `study.toml`, with its preferences commented."""
    older = [f"experience = [{', '.join(map(_string, experience))}]"] if experience else []
    lines = [
        "# A study of fabric bags on a tilt board. You may edit this file; commands only append.",
        f'format = "{FORMAT}"',
        f"version = {VERSION}",
        f"name = {_string(name)}",
        f"made_at = {_string(made_at)}",
        *older,
        "",
        "[preferences]",
    ]
    for field in msgspec.structs.fields(Preferences):
        value = getattr(preferences, field.name)
        lines.append(f"# {_description(field.type)}")
        lines.append(f"# {field.name} =" if value is None else f"{field.name} = {_value(value)}")
    return "\n".join(lines) + "\n"


def _description(annotation: Any) -> str:
    """The description in `Annotated[..., Meta(description)]`, optional or not."""
    for part in (annotation, *getattr(annotation, "__args__", ())):
        for meta in getattr(part, "__metadata__", ()):
            if isinstance(meta, msgspec.Meta) and meta.description:
                return meta.description
    return ""


def _keys(table: msgspec.Struct) -> str:
    lines = []
    for field in msgspec.structs.fields(table):
        value = getattr(table, field.name)
        if value is not None and value != field.default:
            lines.append(f"{field.name} = {_value(value)}\n")
    return "".join(lines)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, dict):
        inner = ", ".join(f"{_string(key)} = {_value(entry)}" for key, entry in value.items())
        return f"{{ {inner} }}"
    if isinstance(value, msgspec.Struct):
        filled = {
            key: entry for key, entry in msgspec.structs.asdict(value).items() if entry is not None
        }
        inner = ", ".join(f"{key} = {_value(entry)}" for key, entry in filled.items())
        return f"{{ {inner} }}"
    return "[\n" + "".join(f"  {_value(entry)},\n" for entry in value) + "]"


def _string(text: str) -> str:
    # A JSON string is a TOML basic string, save for the delete character.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
