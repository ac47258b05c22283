"""The `rig` command: every sub-command, and the one place where errors become exit codes."""

import os
import signal
import sys
from types import FrameType

import typer

# The matrices here are small, and threads of a library would be in the way of the pulses.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from rig.commands.analyse import analyse
from rig.commands.answer import answer
from rig.commands.check import check
from rig.commands.choose import choose
from rig.commands.compare import compare
from rig.commands.demo import demo
from rig.commands.level import level
from rig.commands.panel import panel
from rig.commands.report import figures, report
from rig.commands.run import run
from rig.commands.safe import safe
from rig.commands.service import service
from rig.commands.settings import settings
from rig.commands.sheet import sheet
from rig.commands.sizing import sizing
from rig.commands.study import study
from rig.commands.watch import watch
from rig.errors import RigError

INTERRUPTED = 130

app = typer.Typer(
    name="rig",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Tilt a board until a bag slides, and learn its friction coefficient.",
    epilog="Exit codes: 0 done; 1 the machine stopped or a bag did not slide; 2 bad input; "
    "130 interrupted. Software is not a safety function: keep hands away from a moving board.",
)
for command in (
    demo,
    run,
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
):
    app.command()(command)
app.add_typer(study)
app.add_typer(level)


def _interrupt(number: int, frame: FrameType | None) -> None:
    """SIGTERM and SIGHUP leave by the same way as Ctrl-C, so that the motor is switched off."""
    raise KeyboardInterrupt(signal.Signals(number).name)


def main() -> None:
    """Run the command line; every error that a person can mend is one sentence on stderr."""
    signal.signal(signal.SIGTERM, _interrupt)
    signal.signal(signal.SIGHUP, _interrupt)
    try:
        app()
    except RigError as error:
        from rig.control.faults import told

        print(f"rig: {told(error)}", file=sys.stderr)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # Whoever read our output has gone; Python would complain again when it flushes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
