"""Takes the port that the page is served on."""

import socket

from rig.errors import BadInputError


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens.

    Raises:
        BadInputError: the port cannot be had.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(64)
    except OSError as error:
        listener.close()
        raise BadInputError(
            f"The page cannot be served on {host}, port {port}"
            f" ({(error.strerror or str(error)).lower()}): choose another with --port."
        ) from error
    return listener
