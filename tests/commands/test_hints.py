"""Every command that a text names can be typed as it stands there: messages, help and README."""

import ast
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main

from rig.commands.main import app

ROOT = Path(__file__).parents[2]
TEXTS = (
    *sorted((ROOT / "rig").rglob("*.html")),
    *sorted((ROOT / "rig").rglob("*.j2")),
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "hardware/README.md")),
    *sorted((ROOT / "hardware").glob("*.md")),
    *sorted((ROOT / "firmware_notes").rglob("*.md")),
)
HINT = re.compile(r"`(rig [a-z][^`]*)`")
ANY = "X"
"""Stands for what is only known when the message is made."""


def strings_of(source: str) -> Iterator[str]:
    """Texts of a module as they are when it runs; what f-strings insert is `X`."""
    tree = ast.parse(source)
    inner = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)
             for part in node.values}  # fmt: skip
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = (
                str(part.value) if isinstance(part, ast.Constant) else ANY for part in node.values
            )
            yield "".join(parts)
        elif (
            isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inner
        ):
            yield node.value


def hints() -> list[str]:
    """All commands in backquotes."""
    texts = [file.read_text("utf-8") for file in TEXTS]
    for file in sorted((ROOT / "rig").rglob("*.py")):
        texts += strings_of(file.read_text("utf-8"))
    found = {" ".join(one.split()) for text in texts for one in HINT.findall(text)}
    return sorted(found)


def blocks() -> list[str]:
    """Commands of the README's blocks, continued lines joined."""
    text = (ROOT / "README.md").read_text("utf-8")
    lines = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.DOTALL)).replace("\\\n", " ")
    found = [line.split("&&")[-1].strip() for line in lines.splitlines()]
    return [re.sub(r"^\S*bin/", "", line) for line in found if re.match(r"(\S*bin/)?rig ", line)]


def parsed(words: str, *, whole: bool) -> str:
    """What the command line has against it; empty if nothing. A hint may leave out arguments."""
    words = words.split(" > ")[0].split(" | ")[0]
    args = [one for one in shlex.split(words, comments=True)[1:] if one not in ("…", "...")]
    command: Any = typer.main.get_command(app)
    context = command.make_context("rig", [], resilient_parsing=True)
    while hasattr(command, "list_commands") and args and not args[0].startswith("-"):
        if args[0] in (ANY, "NAME"):
            return ""
        found = command.get_command(context, args[0])
        if found is None:
            if getattr(command, "invoke_without_command", False):
                break
            return f"there is no command {args[0]}"
        command = found
        context = command.make_context(args.pop(0), [], parent=context, resilient_parsing=True)
    if not whole:
        # Placeholders are no values, and a last option may stand without one.
        options = {name: one for one in command.params for name in (*one.opts, *one.secondary_opts)}
        named = [one.split("=")[0] for one in args if re.match(r"\[?--", one)]
        gone = [one for one in named if one.strip("[]") not in {*options, "--help", "--help-all"}]
        return f"{command.name} has no {', '.join(gone)}" if gone else ""
    try:
        command.make_context(command.name, args, parent=context.parent)
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return ""


def test_all_commands_that_texts_name_exist_with_their_options() -> None:
    found = hints()
    assert len(found) > 80, "the search finds them"
    assert any("--bag X --recipe X" in one for one in found), "texts over several lines as well"
    assert {one: why for one in found if (why := parsed(one, whole=False))} == {}


def test_all_commands_of_the_readme_can_be_typed() -> None:
    found = blocks()
    assert len(found) > 20
    assert {one: why for one in found if (why := parsed(one, whole=True))} == {}


@pytest.mark.parametrize(
    ("words", "whole"),
    [
        ("rig answers club", False),
        ("rig answer club --humid", False),
        ("rig study recipe club", False),
        ("rig answer", True),
        ("rig answer club --temperature", True),
        ("rig choose club --wish 3", True),
    ],
)
def test_one_that_cannot_be_typed_is_found(words: str, whole: bool) -> None:
    assert parsed(words, whole=whole)
