"""Puts the page together for one rig."""

import socket
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from rig.opening import OpenRig
from rig.panel.certificate import Certificate
from rig.panel.desk import Desk
from rig.panel.form import usual_of
from rig.panel.link import Setup
from rig.panel.server import WebServer
from rig.panel.view import Viewer
from rig.procedures.series.log import SeriesLog

LOCAL = "127.0.0.1"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - only when it was asked for in so many words


class Served(NamedTuple):
    """A page and what stands behind it."""

    desk: Desk
    viewer: Viewer
    server: WebServer


def serve_panel(
    opened: OpenRig,
    series_log: SeriesLog,
    *,
    port: int,
    is_open: bool = False,
    announce: Callable[[str], None] = lambda _: None,
    study: Path | None = None,
    certificate: Certificate | None = None,
) -> Served:
    """The page for a rig; nothing runs yet.

    Args:
        opened: the rig.
        series_log: of the folder that run files go to.
        port: to listen on; 0 takes any that is free.
        is_open: listen to the local network, and ask for a code; to this computer alone otherwise.
        announce: gets lines for the rig's terminal, pairing codes among them.
        study: the folder of the study that the page shows and writes to.
        certificate: to serve with; None for plain HTTP.
    """
    machine = opened.machine
    viewer = Viewer(machine)
    desk = Desk(opened, series_log, viewer, announce)
    usual = usual_of(machine.settings, opened.source)
    folder = "" if study is None else str(study.absolute())
    setup = Setup(
        usual=usual,
        is_open=is_open,
        port=port,
        study=folder,
        certificate="" if certificate is None else str(certificate.certificate),
        key="" if certificate is None else str(certificate.key),
    )
    server = WebServer(opened, desk, announce, setup, EVERYWHERE if is_open else LOCAL)
    viewer.publish = server.publish
    return Served(desk, viewer, server)


def addresses(port: int, *, is_open: bool, is_encrypted: bool = False) -> list[str]:
    """Where the page is found."""
    scheme = "https" if is_encrypted else "http"
    if not is_open:
        return [f"{scheme}://localhost:{port}/"]
    return [f"{scheme}://{name}:{port}/" for name in network_names()]


def network_names() -> list[str]:
    """What others in the local network call this computer: its name there, and its address."""
    found = [f"{socket.gethostname().split('.')[0].lower()}.local"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing; asks which address would be used
            found.append(probe.getsockname()[0])
        except OSError:
            pass  # no network yet
    return found
