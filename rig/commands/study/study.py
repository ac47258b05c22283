"""`rig study`: the folder that holds bags, treatments, plan, journal and runs.

Its commands are built only when one of them is asked for, so that other commands start fast.
"""

from typing import Any

import typer

from rig.commands.help import CommandList, PlainHelp


class _Later(CommandList):
    """A group that gets its commands when they are needed."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Their names, in the order of a study."""
        return list(_commands())

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command of this name, or None."""
        return _commands().get(cmd_name)


def _commands() -> dict[str, Any]:
    from rig.commands.study import catalogue, correct, figures, journal, readings

    app = typer.Typer(rich_markup_mode=None)
    for command in (
        catalogue.new,
        catalogue.board,
        catalogue.climate,
        catalogue.bag,
        catalogue.target,
        catalogue.plan,
        journal.treat,
        journal.mass,
        journal.wipe,
        journal.play,
        readings.droop,
        readings.reading,
        correct.correct,
        journal.withdraw,
        figures.status,
        figures.power,
        figures.export,
    ):
        app.command(cls=PlainHelp)(command)
    # Whose types these are depends on the version of typer, which may bring its own click.
    group: Any = typer.main.get_command(app)
    commands: dict[str, Any] = group.commands
    return commands


study = typer.Typer(
    name="study",
    cls=_Later,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Which treatment did what to which bag, and how sure is that: plan it, note it.\n\n"
    "In order: `new` makes the folder; `board`, `climate`, `treat --recipe`, `bag` and `target`"
    " fill its catalogue (study.toml, which you may edit); `plan` lays down what is measured in"
    " which order; `rig run --plan` measures; `treat`, `play`, `mass`, `wipe`, `droop` and"
    " `reading` note what was done and read by hand (journal.jsonl, never rewritten); `status` says"
    " what is done, what is missing and what comes next; `power` says how much is enough;"
    " `export` gives one table.",
    epilog="Units: °C, % (relative humidity), g, mm, °, min; `75F`, `15.5oz`, `2in` are converted."
    " Times without a zone are local.",
)
