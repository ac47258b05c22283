"""`rig panel`: the web page on the rig."""

import logging
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rig.commands.options import RigFile, Seed, Speed, Twin, say, settings_of, simulated, speed_of
from rig.commands.run.names import study_beside
from rig.errors import BadInputError

if TYPE_CHECKING:
    from rig.panel.certificate import Certificate

PORT = 8600
MODEL = Path("/proc/device-tree/model")
"""Where a kernel says which board it runs on."""
CAUTION = (
    "Caution: the page can make the board move. Keep hands, hair and sleeves out of the wedge"
    " under it; set the prop before you reach under. Stop on the page is not the emergency stop."
)
OPEN_CAUTION = (
    "The page is open to the local network, without encryption: use it in a network that you"
    " trust. Anybody in it may look and stop; starting takes the code below."
)
ENCRYPTED_CAUTION = (
    "The page is open to the local network, encrypted. Anybody in it may look and stop; starting"
    " and noting take the code below."
)


def panel(
    study: Annotated[
        Path | None,
        typer.Argument(
            metavar="[STUDY]",
            help="The study's folder; the one that lies here, if left out.",
        ),
    ] = None,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port; 0 takes any that is free.")
    ] = PORT,
    open_to_network: Annotated[
        bool,
        typer.Option(
            "--open-to-network", help="Let others in the local network in; needs a pairing code."
        ),
    ] = False,
    https: Annotated[
        bool,
        typer.Option(
            "--https",
            help="Serve encrypted, as phones want it before they give their sensors; opens the page"
            " to the local network as well.",
        ),
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the run files.")
    ] = None,
    overdue_ok: Annotated[
        bool,
        typer.Option("--overdue-ok", help="Take a calibration that is past due; flags the runs."),
    ] = False,
    rig: RigFile = None,
    twin: Twin = False,
    seed: Seed = None,
    speed: Speed = "real",
) -> None:
    """Serve the page: watch the rig, make series, stop. Ctrl-C ends it, the motor off.

    With a study it says what is next, takes what was done and read by hand, and shows the answer.
    On a computer without a rig it does that alone.
    """
    if speed_of(speed) == "fast":
        raise BadInputError("The page goes by real time: leave --speed out, or say `real`.")
    for package in ("starlette", "uvicorn"):
        if find_spec(package) is None:
            raise BadInputError(
                f"The page needs the package {package}: in the source folder, "
                "`pip install '.[panel]'`."
            )
    certificate = None
    if https:
        open_to_network = True  # a phone comes over the network
        certificate = _certificate()
    from rig.commands.attended import attended
    from rig.control.process.notify import Notifier
    from rig.opening import open_rig
    from rig.panel.setup import addresses, serve_panel
    from rig.procedures.series.log import SeriesLog

    logging.basicConfig(
        stream=sys.stderr, level=logging.WARNING, format="%(levelname)s %(message)s"
    )
    study = study_beside(out or Path()) if study is None else checked(study)
    if study is not None and not twin and not has_pins():
        say(f"No rig here: the page of {study} alone, for what is read by hand.")
        if open_to_network:
            say(ENCRYPTED_CAUTION if https else OPEN_CAUTION)
        from rig.panel.study.alone import serve_alone

        serve_alone(
            study, port=port, is_open=open_to_network, announce=say, certificate=certificate
        )
        return
    seed, home, rig = simulated(twin, seed, rig, study, out)
    settings = settings_of(rig)
    opened = open_rig(settings, twin=twin, seed=seed, home=home, speed="real", settings_file=rig)
    machine = opened.machine
    machine.allow_overdue = overdue_ok
    notifier = Notifier(machine.clock)

    def beat() -> None:
        notifier.alive()
        notifier.status(f"{machine.live.state}: {machine.live.wants}".rstrip(": "))

    say(CAUTION)
    if open_to_network:
        say(ENCRYPTED_CAUTION if https else OPEN_CAUTION)
    runs = Path(settings.files.runs) if study is None else study / "runs"
    with SeriesLog(out or runs) as log, attended(opened):
        served = serve_panel(
            opened,
            log,
            port=port,
            is_open=open_to_network,
            announce=say,
            study=study,
            certificate=certificate,
        )
        with served.server:
            for address in addresses(
                served.server.port, is_open=open_to_network, is_encrypted=https
            ):
                say(f"The page: {address}")
            machine.on_beat = beat
            notifier.ready()
            try:
                opened.run(served.desk.serve(), beside=[served.viewer.follow()], presses=False)
            finally:
                notifier.stopping()


def _certificate() -> "Certificate":
    """This computer's certificate, with the words about it."""
    from rig.panel.certificate import WARNING, certificate_for
    from rig.panel.guard import LOCAL_NAMES, own_names
    from rig.panel.setup import network_names

    made = certificate_for({*LOCAL_NAMES, *own_names(), *network_names()})
    say(WARNING)
    say(f"Fingerprint (SHA-256): {made.fingerprint}")
    return made


def checked(study: Path) -> Path:
    """The folder; raises BadInputError if it is not a study."""
    from rig.study.folder.study import open_study

    return open_study(study).path


def has_pins() -> bool:
    """Whether this computer has the pins of a rig, whether they may be used or not."""
    try:
        return b"Raspberry Pi" in MODEL.read_bytes()
    except OSError:
        return False
