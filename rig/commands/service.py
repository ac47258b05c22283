"""`rig service`: the systemd units, filled in for this user and path."""

import getpass
import sys
from pathlib import Path
from typing import Annotated

import typer

from rig.settings.method import RUNS

UNIT = """\
# Put this into /etc/systemd/system/{name}.service (firmware_notes/setup.sh does), then:
#   sudo systemctl daemon-reload && sudo systemctl enable --now {name}
# The log: journalctl -u {name} -f

[Unit]
Description={about}
# One program at a time has the pins.
Conflicts={other}.service
# The target waits for a clock that is set only where systemd-time-wait-sync runs.
Wants=time-sync.target systemd-time-wait-sync.service
After=time-sync.target local-fs.target{after}
StartLimitIntervalSec=300
StartLimitBurst=5

[Service]
Type=notify
NotifyAccess=main
User={user}
SupplementaryGroups=gpio i2c
WorkingDirectory={folder}
RuntimeDirectory=rig
StateDirectory=rig
Environment=LG_WD=/run/rig
Environment=PYTHONUNBUFFERED=1
ExecStart={command} {start}{rig}{repeat} --out {out}
# However it ended, by a signal, the watchdog or a kill: the driver's enable line goes low.
ExecStopPost={command} safe{rig}
# The control loop says four times in that time that it is alive; its pulses end 2 s after it falls
# silent, without waiting for this.
WatchdogSec=30
TimeoutStartSec=60
TimeoutStopSec=20
# A restart moves nothing: it stands by until a person starts a series, and a button that is held
# all along counts for nothing. Bad settings (2) are not tried again.
Restart=on-failure
RestartSec=5
RestartPreventExitStatus=2
SuccessExitStatus=130
# The pulse thread asks for real-time priority 50.
LimitRTPRIO=50
# Its pages stay in memory: one that is read back from the card in mid-move would be late.
LimitMEMLOCK=infinity
NoNewPrivileges=yes

[Install]
WantedBy=multi-user.target
"""


def unit(
    user: str,
    command: str,
    folder: Path,
    out: Path,
    rig_file: Path | None,
    repeat: int,
    *,
    unattended: bool,
    page: bool = False,
) -> str:
    """The unit's text.

    Args:
        user: who the service runs as; in the groups gpio and i2c.
        command: absolute path of `rig`.
        folder: its working folder.
        out: where run files go.
        rig_file: settings; None takes the usual places.
        repeat: runs in a series.
        unattended: a blade places the bag; else start is pressed for each run.
        page: serve the page to the local network instead of waiting for the button.
    """
    rig = "" if rig_file is None else f" --rig {_quoted(rig_file)}"
    return UNIT.format(
        user=user,
        command=_quoted(command),
        folder=str(folder).replace("%", "%%"),
        out=_quoted(out),
        rig=rig,
        **_page() if page else _button(repeat, unattended=unattended),
    )


def _button(repeat: int, *, unattended: bool) -> dict[str, str]:
    alone = " --unattended" if unattended else ""
    return {
        "name": "rig",
        "about": "Tilt board: makes a series when the start button is pressed",
        "other": "rig-page",
        "after": "",
        "start": f"run --service{alone}",
        "repeat": f" --repeat {repeat}",
    }


def _page() -> dict[str, str]:
    return {
        "name": "rig-page",
        "about": "Tilt board: its page for the local network",
        "other": "rig",
        "after": " network-online.target",
        "start": "panel --open-to-network",
        "repeat": "",
    }


def _quoted(text: object) -> str:
    """A word of a systemd command line (systemd.service(5), COMMAND LINES)."""
    word = str(text).replace("%", "%%").replace("$", "$$").replace("\\", "\\\\")
    return f'"{word}"' if any(c in word for c in " ;'") else word


def service(
    rig: Annotated[
        Path | None, typer.Option("--rig", metavar="FILE", help="Settings file of the service.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the run files.")
    ] = None,
    repeat: Annotated[
        int, typer.Option("--repeat", min=RUNS[0], max=RUNS[1], help="Runs in a series.")
    ] = 10,
    user: Annotated[
        str | None, typer.Option("--user", help="Who it runs as. Default: who asks.")
    ] = None,
    page: Annotated[
        bool, typer.Option("--page", help="The unit of the page instead of the start button.")
    ] = False,
) -> None:
    """Print a systemd unit that makes a series at each press of the start button."""
    from rig.commands.options import settings_of

    settings = settings_of(rig)
    runs = out or Path(settings.files.runs)
    print(
        unit(
            user or getpass.getuser(),
            str(Path(sys.argv[0]).resolve()),
            Path.cwd(),
            runs.absolute(),
            None if rig is None else rig.absolute(),
            repeat,
            unattended=settings.blade.fitted,
            page=page,
        ),
        end="",
    )
