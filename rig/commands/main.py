"""The `rig` command: every sub-command, and the one place where errors become exit codes."""

import errno
import os
import sys
from typing import Annotated

import typer

# The matrices here are small, and threads of a library would be in the way of the pulses.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from rig.commands.agreement import agreement
from rig.commands.analyse import analyse
from rig.commands.answer import answer
from rig.commands.check import check
from rig.commands.choose import choose
from rig.commands.compare import compare
from rig.commands.demo import demo
from rig.commands.gather import gather
from rig.commands.help import Grouped, PlainHelp, WithRare, version
from rig.commands.level.level import level
from rig.commands.options import say
from rig.commands.panel import panel
from rig.commands.report import figures, report
from rig.commands.run.run import run
from rig.commands.safe import safe
from rig.commands.service import service
from rig.commands.settings import settings
from rig.commands.sheet import sheet
from rig.commands.sizing import sizing
from rig.commands.study.study import study
from rig.commands.terminal import LAST_S, queued
from rig.commands.twin.twin import twin
from rig.commands.watch import watch
from rig.control.process.signals import Interrupted, SignalLog, catching
from rig.errors import RigError

INTERRUPTED = 130

app = typer.Typer(
    name="rig",
    cls=Grouped,
    context_settings={"help_option_names": ["-h", "--help"]},
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="What did each treatment do to each bag, when to stop, and which bags for today:"
    " from slide angles, by a tilting rig or by hand.",
    epilog="Exit codes: 0 done; 1 the machine stopped or a bag did not slide; 2 bad input; "
    "130 interrupted. Software is not a safety function: keep hands away from a moving board.",
)


@app.callback()
def _rig(
    shown: Annotated[
        bool,
        typer.Option("--version", is_eager=True, callback=version, help="Print the version."),
    ] = False,
) -> None:
    pass


app.command(cls=WithRare)(run)
for command in (
    demo,
    analyse,
    check,
    watch,
    panel,
    settings,
    sizing,
    service,
    safe,
    answer,
    compare,
    choose,
    sheet,
    report,
    figures,
    gather,
    agreement,
):
    app.command(cls=PlainHelp)(command)
app.add_typer(study)
app.add_typer(level)
app.add_typer(twin)


def main() -> None:
    """Run the command line; every error that a person can fix is one sentence on stderr."""
    with queued() as terminal, catching(ends_process=True) as signals:
        code = _ended_by(signals)
        try:
            # A pipe whose reader takes its time gets everything; a signal is not kept waiting.
            terminal.drain(LAST_S if signals.name else None)
        except Interrupted:
            code = INTERRUPTED
    if terminal.out.error is not None:
        code = code or _unread(terminal.out.error)
    sys.exit(code)


def _ended_by(signals: SignalLog) -> int:
    """Run the command; its exit code."""
    code = 0
    try:
        app()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    except RigError as error:
        if signals.name is None:
            from rig.control.faults.table import told

            say(f"rig: {told(error)}")
        code = error.exit_code
    except Interrupted:
        pass
    except BrokenPipeError:
        code = 1
    if signals.name is not None:
        say(f"rig: Ended by {signals.name}. {signals.place}")
        code = INTERRUPTED
    return code


def _unread(error: OSError) -> int:
    """Whoever read our output has gone, which needs no word, or the output has no room left."""
    if error.errno != errno.EPIPE:
        print(f"rig: The output could not be written ({error.strerror}).", file=sys.stderr)
    return 1
