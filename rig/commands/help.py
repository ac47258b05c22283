"""The help of `rig`: commands and options by what they are for, each with a whole sentence."""

import re
from textwrap import wrap
from typing import Annotated, Any, ClassVar

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


TYPES = (
    (r"<(?:list\[)?[Pp]ath\]?>", ""),
    (r"<(?:list\[)?str\]?>", "TEXT"),
    (r"<int(?: range)?>", "N"),
    (r"<float(?: range)?>", "X"),
    (r"<([\w|]+)>", r"\1"),
)
"""Names of types, as people who type a command know them."""
RANGES = (
    (r"([\d.]+)<=x<=([\d.]+)", r"\1 to \2"),
    (r"x>=([\d.]+)", r"\1 or more"),
)


def plain(record: tuple[str, str]) -> tuple[str, str]:
    """An option and its help without the language's own names of types and ranges."""
    first, said = record
    for pattern, word in TYPES:
        first = re.sub(pattern, word, first)
    for pattern, word in RANGES:
        said = re.sub(pattern, word, said)
    return first.rstrip(), said


def write_options(command: Any, ctx: Any, formatter: Any) -> None:
    """Write arguments and options of a command."""
    found: dict[str, list[tuple[str, str]]] = {"Arguments": [], "Options": []}
    for param in command.get_params(ctx):
        record = param.get_help_record(ctx)
        if record is not None:
            first, said = plain(record)
            if param.param_type_name == "argument":
                found["Arguments"].append((re.sub(r" (TEXT|N|X)$", "", first), said))
            else:
                found["Options"].append((first, said))
    for head, rows in found.items():
        if rows:
            with formatter.section(head):
                formatter.write_dl(rows)


class PlainHelp(TyperCommand):
    """A command whose help names no types."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """Arguments without braces, each bracket and each ellipsis once."""
        pieces = [re.sub("[{}]", "", one) for one in super().collect_usage_pieces(ctx)]
        pieces = [re.sub(r"\[(\[.*\])\]", r"\1", one) for one in pieces]
        return [one.replace("......", "...") for one in pieces]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write arguments and options."""
        write_options(self, ctx, formatter)


class CommandList(TyperGroup):
    """A group that lists its commands, each with a whole sentence."""

    groups: ClassVar[dict[str, tuple[str, ...]]] = {}
    rest = "Commands"

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write options, then commands."""
        write_options(self, ctx, formatter)
        self.format_commands(ctx, formatter)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the commands; one that no heading has stands at the end."""
        named = [name for names in self.groups.values() for name in names]
        rest = tuple(name for name in self.list_commands(ctx) if name not in named)
        for heading, names in (self.groups | {self.rest: rest}).items():
            if names:
                formatter.write(f"\n{heading}:\n")
            for name in names:
                command = self.get_command(ctx, name)
                said = " ".join((command.help or "").split("\n\n")[0].split()) if command else ""
                first, *more = wrap(said, formatter.width - INDENT) or [""]
                formatter.write(f"  {name:<{INDENT - 2}}{first}\n")
                for line in more:
                    formatter.write(f"{'':<{INDENT}}{line}\n")


class Grouped(CommandList):
    """The commands of `rig` under headings."""

    groups = GROUPS
    rest = "More"


class WithRare(TyperCommand):
    """A command whose help has its usual options under headings, and all with `--help-all`."""

    usual = RUN

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the options; one that no heading has is rare."""
        records = {}
        for param in self.get_params(ctx):
            if (record := param.get_help_record(ctx)) is not None:
                records[max(param.opts, key=len)] = plain(record)
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
