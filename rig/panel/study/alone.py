"""The page of a study on a computer without a rig: readings by hand, treatments, the answer."""

import asyncio
import time
from collections.abc import Callable
from pathlib import Path

import uvicorn

from rig.panel.certificate import Certificate
from rig.panel.form import Usual
from rig.panel.guard import Doorkeeper
from rig.panel.link import Setup
from rig.panel.listen import listen
from rig.panel.seats import Seats
from rig.panel.setup import EVERYWHERE, LOCAL, addresses
from rig.panel.stream import Hub
from rig.panel.web import configured, panel_of

NO_RIG = Usual(rig_name="by hand", rate_deg_s=1.0, dwell_s=10.0, gap_mm=8.0)


def serve_alone(
    study: Path,
    *,
    port: int,
    is_open: bool,
    announce: Callable[[str], None],
    certificate: Certificate | None = None,
) -> None:
    """Serve until Ctrl-C.

    Args:
        study: its folder.
        port: to listen on; 0 takes any that is free.
        is_open: listen to the local network, and ask for a code.
        announce: gets the addresses and the pairing codes.
        certificate: to serve with; None for plain HTTP.

    Raises:
        BadInputError: the port cannot be had.
    """
    with listen(EVERYWHERE if is_open else LOCAL, port) as listener:
        port = listener.getsockname()[1]
        for address in addresses(port, is_open=is_open, is_encrypted=certificate is not None):
            announce(f"The page: {address}")
        setup = Setup(
            usual=NO_RIG,
            is_open=is_open,
            port=port,
            study=str(study.absolute()),
            certificate="" if certificate is None else str(certificate.certificate),
            key="" if certificate is None else str(certificate.key),
        )
        seats = Seats(time.monotonic, needs_code=is_open, announce=announce)
        door = Doorkeeper()
        panel = panel_of(setup, None, Hub(seats), seats, door)

        async def serve() -> None:
            try:
                await uvicorn.Server(configured(panel, door, setup)).serve(sockets=[listener])
            finally:
                if panel.study is not None:
                    await panel.study.close()

        asyncio.run(serve())
