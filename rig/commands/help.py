"""The help of `rig`: commands by what they are for, each with a whole sentence."""

from textwrap import wrap
from typing import Any

import typer
from typer.core import TyperGroup

GROUPS = {
    "Look around": ("demo", "twin"),
    "Measure": ("run", "level", "watch", "panel"),
    "Study": ("study",),
    "Answers": ("answer", "choose", "compare", "sheet", "report", "figures", "analyse"),
    "Care of the rig": ("check", "settings", "sizing", "service", "safe"),
}
WIDTH, INDENT = 79, 13


class Grouped(TyperGroup):
    """A group that lists its commands under headings."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the commands; one that no heading has stands at the end."""
        named = [name for names in GROUPS.values() for name in names]
        rest = tuple(name for name in self.list_commands(ctx) if name not in named)
        for heading, names in (GROUPS | {"More": rest}).items():
            if names:
                formatter.write(f"\n{heading}:\n")
            for name in names:
                command = self.get_command(ctx, name)
                said = " ".join((command.help or "").split("\n\n")[0].split()) if command else ""
                first, *more = wrap(said, WIDTH - INDENT) or [""]
                formatter.write(f"  {name:<{INDENT - 2}}{first}\n")
                for line in more:
                    formatter.write(f"{'':<{INDENT}}{line}\n")


def version(asked: bool) -> None:
    """Print the version and leave."""
    if asked:
        from importlib.metadata import version as installed

        print(f"rig {installed('rig')}")
        raise typer.Exit
