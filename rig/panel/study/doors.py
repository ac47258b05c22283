"""What the page and its part about a study share; light, for every page needs it."""

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, NamedTuple

from starlette.requests import Request

from rig.panel.view import Snapshot

STATIC = Path(__file__).parents[1] / "static"


class Doors(NamedTuple):
    """What the page's own addresses and these have in common."""

    body: Callable[..., Awaitable[Any]]
    """The body of a request from our own page: of this type, and of so many bytes at most."""
    token: Callable[[Request], str | None]
    """Of the browser's session."""
    latest: Callable[[], Snapshot | None]
    """What there is to see of the rig; None without one."""
    check_idle: Callable[[], None]
    """Raises RefusedError while the rig can begin nothing."""


def with_study(text: str, *, has_rig: bool) -> str:
    """The page with the study's parts at their places."""
    parts = (STATIC / "study.html").read_text("utf-8").split("<!-- next -->\n")
    for name, part in zip(("head", "now", "more"), parts, strict=True):
        text = text.replace(f"<!-- study {name} -->\n", part)
    return text if has_rig else text.replace("<body>", '<body class="alone">')
