"""A name means one thing: no two public classes of the package share one."""

import ast
from collections import defaultdict
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "rig"
STANDARD = {"Path": "pathlib"}
"""Names of the standard library that most modules use for what it means there."""


def places_of_classes() -> dict[str, list[str]]:
    """Where each public class at the top of a module is defined."""
    places: defaultdict[str, list[str]] = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places[node.name].append(path.relative_to(PACKAGE).as_posix())
    return places


def test_no_two_public_classes_share_a_name() -> None:
    places = places_of_classes()
    assert len(places) > 300
    assert {name: where for name, where in places.items() if len(where) > 1} == {}
    assert {name: places[name] for name in STANDARD if name in places} == {}
