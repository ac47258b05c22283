"""The help of `rig`: commands and options by what they are for, each with a whole sentence."""

from textwrap import wrap
from typing import Annotated, Any

import typer
from typer.core import TyperCommand, TyperGroup

GROUPS = {
    "Look around": ("demo", "twin"),
    "Measure": ("run", "level", "watch", "panel"),
    "Study": ("study",),
    "Answers": ("answer", "choose", "compare", "sheet", "report", "figures", "analyse"),
    "Many rigs": ("gather", "agreement"),
    "Care of the rig": ("check", "settings", "sizing", "service", "safe"),
}
INDENT = 13
RUN = {
    "What is measured": ("--bag", "--face", "--board", "--set", "--plan", "--repeat", "--out"),
    "How": ("--now", "--resume", "--rate", "--quick", "--unattended"),
    "In which air, and how long": ("--temperature", "--humidity", "--until"),
    "On which rig": ("--rig", "--twin"),
    "What is shown": ("--units", "--json", "--help", "--help-all"),
}
"""The usual options of `rig run`; the others are for those who ask for all."""


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
                first, *more = wrap(said, formatter.width - INDENT) or [""]
                formatter.write(f"  {name:<{INDENT - 2}}{first}\n")
                for line in more:
                    formatter.write(f"{'':<{INDENT}}{line}\n")


class WithRare(TyperCommand):
    """A command whose help has its usual options under headings, and all with `--help-all`."""

    usual = RUN

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the options; one that no heading has is rare."""
        records = {}
        for param in self.get_params(ctx):
            if (record := param.get_help_record(ctx)) is not None:
                records[max(param.opts, key=len)] = record
        named = [name for names in self.usual.values() for name in names]
        wanted = {head: [records[name] for name in names] for head, names in self.usual.items()}
        if ctx.meta.get(ALL):
            wanted["Rare"] = [record for name, record in records.items() if name not in named]
        width = min(26, max(len(first) for rows in wanted.values() for first, _ in rows))
        for head, rows in wanted.items():
            with formatter.section(head):
                formatter.write_dl(rows, col_max=width)
        if not ctx.meta.get(ALL):
            formatter.write(f"\n{len(records) - len(named)} more options: rig run --help-all\n")


ALL = "rig.help_all"


def show_all(ctx: typer.Context, asked: bool) -> None:
    """Print the help with every option and leave."""
    if asked:
        ctx.meta[ALL] = True
        print(ctx.get_help())
        raise typer.Exit


HelpAll = Annotated[
    bool,
    typer.Option("--help-all", is_eager=True, callback=show_all, help="Show all options and exit."),
]


def version(asked: bool) -> None:
    """Print the version and leave."""
    if asked:
        from importlib.metadata import version as installed

        print(f"rig {installed('rig')}")
        raise typer.Exit
