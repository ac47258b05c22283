"""The web application: a few addresses, each of which checks who asks and hands the wish on."""

import asyncio
import gzip
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import msgspec
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rig.panel.form import MAX_BODY, Empty, PairForm, SeriesForm, decode, wanted
from rig.panel.guard import BODY_S, HEADERS, Guard
from rig.panel.link import Asker, LinkFullError
from rig.panel.render import actions, sections, slides_section
from rig.panel.seats import RefusedError, Seats
from rig.panel.stream import Hub
from rig.panel.study.doors import Doors, with_study
from rig.panel.view import Snapshot
from rig.panel.words import UNITS, Units

if TYPE_CHECKING:
    from rig.panel.study.pages import StudyPages

STATIC = Path(__file__).parent / "static"
FILES = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/panel.css": ("panel.css", "text/css; charset=utf-8"),
    "/panel.js": ("panel.js", "text/javascript; charset=utf-8"),
    "/draw.js": ("draw.js", "text/javascript; charset=utf-8"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}
STUDY_FILES = {
    "/study.css": ("study.css", "text/css; charset=utf-8"),
    "/study.js": ("study.js", "text/javascript; charset=utf-8"),
    "/phone": ("phone.html", "text/html; charset=utf-8"),
    "/phone.css": ("phone.css", "text/css; charset=utf-8"),
    "/phone.js": ("phone.js", "text/javascript; charset=utf-8"),
    "/phone-kept.js": ("phone-kept.js", "text/javascript; charset=utf-8"),
    "/phone-motion.js": ("phone-motion.js", "text/javascript; charset=utf-8"),
    "/phone-next.js": ("phone-next.js", "text/javascript; charset=utf-8"),
}

B = TypeVar("B", bound=msgspec.Struct)


class Panel:
    """Answers requests; knows of the machine what the hub has and asks through the desk.

    Args:
        desk: the way to the machine; None where the study is all there is.
        hub: has the latest snapshot, and streams.
        seats: who may do what.
        guard: who is let in at all.
        cookie: name of the cookie; one for each port, since cookies know no ports.
        welcome: gets the address of each request from a paired device.
        is_encrypted: the page is served over TLS, so its cookie never goes without.
        study: makes the study's part, where there is a study.
    """

    def __init__(
        self,
        desk: Asker | None,
        hub: Hub,
        seats: Seats,
        guard: Guard,
        cookie: str,
        welcome: Callable[[str], None] = lambda _: None,
        study: "Callable[[Doors], StudyPages] | None" = None,
        *,
        is_encrypted: bool = False,
    ) -> None:
        self._desk = desk
        self._hub = hub
        self._seats = seats
        self._guard = guard
        self._cookie = cookie
        self._is_encrypted = is_encrypted
        doors = Doors(self._body, self._token, lambda: hub.latest, self._check_idle)
        self.study = None if study is None else study(doors)
        files = FILES if study is None else FILES | STUDY_FILES
        self._welcome = welcome
        self._files = {
            path: (lean((STATIC / name).read_text("utf-8"), kind), kind)
            for path, (name, kind) in files.items()
        }
        if study is not None:
            name, kind = FILES["/"]
            page = with_study((STATIC / name).read_text("utf-8"), has_rig=desk is not None)
            self._files["/"] = (lean(page, kind), kind)
        self._packed = {path: gzip.compress(data) for path, (data, _) in self._files.items()}

    def application(self) -> Starlette:
        """The application for a server."""
        posts = {
            "/stop": self._stop,
            "/start": self._start,
            "/series": self._series,
            "/resume": self._resume,
            "/reset": self._reset,
            "/take": self._take,
            "/pair": self._pair,
        }
        return Starlette(
            routes=[
                *(Route(path, self._file) for path in self._files),
                Route("/events", self._events),
                Route("/snapshot", self._snapshot),
                *(Route(path, handler, methods=["POST"]) for path, handler in posts.items()),
                *([] if self.study is None else self.study.routes()),
            ],
            middleware=[Middleware(_Gate, guard=self._guard)],
            exception_handlers={RefusedError: _refused, LinkFullError: _not_told},
        )

    # -- looking --------------------------------------------------------------------------------

    async def _file(self, request: Request) -> Response:
        data, kind = self._files[request.url.path]
        headers = {"Vary": "Accept-Encoding"}
        if "gzip" in request.headers.get("accept-encoding", ""):
            data, headers["Content-Encoding"] = self._packed[request.url.path], "gzip"
        return Response(data, media_type=kind, headers=headers)

    async def _events(self, request: Request) -> Response:
        self._guard.check_origin(request.headers)
        token, address = self._token(request), _address(request)
        self._hub.check_room(token, address)
        is_new = not self._seats.needs_code and not self._seats.knows(token)
        if is_new:
            token = self._seats.admit()
        stream = self._hub.stream(token, _units(request), address)
        response = StreamingResponse(stream, media_type="text/event-stream")
        if is_new and token is not None:
            self._set_cookie(response, token)
        return response

    async def _snapshot(self, request: Request) -> Response:
        self._guard.check_origin(request.headers)
        snap = self._ready()
        document = sections(snap, _units(request))
        document["slides"] = slides_section(snap)
        silent_s = self._hub.silent_s()
        place = self._seats.place(self._token(request))
        document["live"] = {"silent_s": silent_s}
        document["actions"] = actions(snap, place, is_live=not silent_s)
        return JSONResponse(document)

    # -- asking ---------------------------------------------------------------------------------

    async def _stop(self, request: Request) -> Response:
        """Whoever sees the page may stop; nothing is asked but that the page is ours.

        The answer says how many stops the machine had met before: one more confirms this one.
        """
        self._guard.check_origin(request.headers)
        name = self._seats.place(self._token(request)).name
        before = self._hub.latest.stops if self._hub.latest is not None else 0
        self._rig.stop(f"the page on {name or 'a device that only watches'}")
        return JSONResponse({"text": "Stop sent.", "before": before}, 202)

    async def _start(self, request: Request) -> Response:
        await self._body(request, Empty)
        self._claim(request)
        if not self._ready().waits_for_start:
            raise RefusedError("Nothing waits for a start now.", 409)
        self._rig.start()
        return self._begun("Start sent.")

    def _begun(self, what: str) -> Response:
        """Say it, and the caution where the board moves by itself."""
        by_hand = self._hub.latest is not None and self._hub.latest.by_hand
        return _done(what if by_hand else f"{what} Keep clear of the board.")

    async def _series(self, request: Request) -> Response:
        form = await self._body(request, SeriesForm)
        wanted(form)  # raises here what the page should show
        self._claim(request)
        self._check_idle()
        self._rig.series(form)
        return self._begun("The series begins.")

    async def _resume(self, request: Request) -> Response:
        await self._body(request, Empty)
        self._claim(request)
        self._check_idle()
        if not self._ready().unfinished:
            raise RefusedError("There is no series to resume.", 409)
        self._rig.resume()
        return self._begun("The series resumes.")

    async def _reset(self, request: Request) -> Response:
        await self._body(request, Empty)
        self._claim(request)
        if not self._ready().is_latched:
            raise RefusedError("There is nothing to reset.", 409)
        self._rig.reset()
        return _done("Reset sent.")

    async def _take(self, request: Request) -> Response:
        await self._body(request, Empty)
        self._seats.claim(self._token(request), takes_over=True)
        return _done("You have the controls.")

    async def _pair(self, request: Request) -> Response:
        form = await self._body(request, PairForm)
        if not self._seats.needs_code:
            raise RefusedError("No code is needed; open the page again.", 409)
        token = self._seats.pair(form.code, _address(request))
        response = _done("Paired.")
        self._set_cookie(response, token)
        return response

    # -- common ---------------------------------------------------------------------------------

    async def _body(self, request: Request, kind: type[B], most: int = MAX_BODY) -> B:
        self._guard.check_origin(request.headers)
        self._guard.check_json(request.headers)
        data = b""
        try:
            async with asyncio.timeout(BODY_S):
                async for chunk in request.stream():
                    data += chunk
                    if len(data) > most:
                        break
        except TimeoutError:
            raise RefusedError("The request took too long to come; try again.", 408) from None
        return decode(data, kind, most)

    def _token(self, request: Request) -> str | None:
        token = request.cookies.get(self._cookie)
        if self._seats.knows(token):
            self._welcome(_address(request))
        return token

    def _set_cookie(self, response: Response, token: str) -> None:
        response.set_cookie(
            self._cookie,
            token,
            httponly=True,
            samesite="strict",
            path="/",
            secure=self._is_encrypted,
        )

    def _claim(self, request: Request) -> None:
        self._seats.claim(self._token(request))

    @property
    def _rig(self) -> Asker:
        if self._desk is None:
            raise RefusedError("There is no rig here.", 404)
        return self._desk

    def _ready(self) -> Snapshot:
        snap = self._hub.latest
        if snap is None:
            raise RefusedError("The rig is not ready yet.", 503)
        return snap

    def _check_idle(self) -> None:
        snap = self._ready()
        if self._hub.silent_s():
            raise RefusedError("The rig's program does not answer; look at the rig itself.", 503)
        if snap.is_busy:
            raise RefusedError("A series is under way; stop it first.", 409)
        if snap.is_latched:
            raise RefusedError(
                "The machine has stopped itself; see to the cause and reset first.", 409
            )


class _Gate:
    """Checks the host of every request and puts the safety headers on every answer."""

    def __init__(self, app: ASGIApp, guard: Guard) -> None:
        self._app = app
        self._guard = guard

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                extra = [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]
                message["headers"] = [*message["headers"], *extra]
            await send(message)

        request = Request(scope)
        try:
            self._guard.check_host(request.headers)
        except RefusedError as refusal:
            await PlainTextResponse(str(refusal), refusal.status)(scope, receive, send_with_headers)
            return
        await self._app(scope, receive, send_with_headers)


def lean(text: str, kind: str) -> bytes:
    """A page, style or script without what is there for those who read its file."""
    if kind.startswith("text/css"):
        text = re.sub(r"\s*([{};,])\s*", r"\1", re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL))
        text = re.sub(r"\s*:\s+", ":", text).replace(";}", "}")
    lines = (line.strip() for line in text.splitlines())
    return "\n".join(line for line in lines if line and not line.startswith("//")).encode()


def _done(text: str) -> Response:
    return JSONResponse({"text": text}, 202)


async def _refused(request: Request, error: Any) -> Response:
    return JSONResponse({"text": str(error)}, error.status)


async def _not_told(request: Request, error: Any) -> Response:
    text = "The rig's program takes no message. Use the button on the rig."
    return JSONResponse({"text": text}, 503)


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


def _units(request: Request) -> Units:
    asked = request.query_params.get("units", "metric")
    return next((units for units in UNITS if units == asked), "metric")
