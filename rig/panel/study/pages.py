"""The addresses of the study: each checks who asks and hands on to the book and the thinker."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rig.errors import BadInputError
from rig.panel.form import MAX_BODY
from rig.panel.link import Asker, EveningMessage
from rig.panel.seats import RefusedError, Seat, Seats
from rig.panel.study import forms
from rig.panel.study.answers import Enquiry
from rig.panel.study.book import Book, Said
from rig.panel.study.doors import Doors
from rig.panel.study.lifts import Lifts, zero_words
from rig.panel.study.thinker import Thinker
from rig.panel.study.writes import air_of
from rig.study.folder.ranges import ASKED_AIR_C

MAX_LIFT = 2 << 20
"""Bytes of a lift; three minutes at 100 readings a second take one million."""

Answers = Callable[[Request], Awaitable[Response]]


class StudyPages:
    """The study's part of the application.

    Args:
        book: the study.
        thinker: works its answer out.
        seats: who may write.
        doors: of the page.
        desk: the way to the rig; None without one.
    """

    def __init__(
        self, book: Book, thinker: Thinker, seats: Seats, doors: Doors, desk: Asker | None
    ) -> None:
        self._book = book
        self._thinker = thinker
        self._seats = seats
        self._doors = doors
        self._desk = desk
        self._begun: set[str] = set()
        self._lifts = Lifts(book)

    def routes(self) -> list[Route]:
        """Its addresses."""
        book = self._book
        kinds: dict[str, tuple[type[forms.Form], Callable[[Any], Said]]] = {
            "reading": (forms.ReadingForm, lambda form: book.reading(form, self._thinker.answer)),
            "treat": (forms.TreatForm, lambda form: book.treat(form, self._thinker.answer)),
            "play": (forms.PlayForm, book.play),
            "mass": (forms.MassForm, book.mass),
            "droop": (forms.DroopForm, book.droop),
            "wipe": (forms.WipeForm, book.wipe),
            "correct": (forms.CorrectForm, book.correct),
            "undo": (forms.UndoForm, book.undo),
            "bag": (forms.BagForm, book.add),
            "board": (forms.BoardForm, book.add),
        }
        routes = [
            Route(f"/study/{name}", self._writes(kind, write), methods=["POST"])
            for name, (kind, write) in kinds.items()
        ]
        lift = self._writes(forms.LiftForm, self._lifts.note, MAX_LIFT)
        routes += [
            Route("/study/lift", lift, methods=["POST"]),
            Route("/study/zero", self._zero, methods=["POST"]),
        ]
        if self._desk is not None:
            routes.append(Route("/study/measure", self._measure, methods=["POST"]))
        return [
            Route("/study", self._look),
            Route("/study/pick", self._pick, methods=["POST"]),
            *routes,
        ]

    async def close(self) -> None:
        """End the model's process."""
        await self._thinker.close()

    # -- looking --------------------------------------------------------------------------------

    async def _look(self, request: Request) -> Response:
        """The study, or 204 where the page that asks has seen it so."""
        seat = self._seats.place(self._doors.token(request))
        is_busy = self._is_busy()
        study = await _told(lambda: self._book.version(is_busy=is_busy))
        self._thinker.want(study)
        version = f"{study}/{self._thinker.version}/{seat.role}/{seat.holder}"
        if request.query_params.get("seen") == version:
            return Response(status_code=204)
        answer = self._thinker.answer
        document = await _told(lambda: self._book.document(answer, is_busy=is_busy))
        document |= {
            "version": version,
            "answer": answer,
            "age_s": round(time.time() - self._thinker.made_s) if answer else 0,
            "working": self._thinker.is_working,
            "writes": seat.role != "watcher",
            "sensor": self._sensor(),
        }
        if self._desk is None:
            document["actions"] = _alone(seat)
        return JSONResponse(document)

    def _is_busy(self) -> bool:
        snap = self._doors.latest()
        return snap is not None and snap.is_busy

    def _sensor(self) -> list[str]:
        """The air as the rig reads it, to be typed by nobody."""
        snap = self._doors.latest()
        if snap is None or snap.temperature_c is None or snap.relative_humidity_pct is None:
            return ["", ""]
        return [f"{snap.temperature_c:.1f}", f"{snap.relative_humidity_pct:.0f}"]

    async def _pick(self, request: Request) -> Response:
        form = await self._doors.body(request, forms.AirForm)
        try:
            temperature_c, humidity_pct = air_of(form.temperature, form.humidity, ASKED_AIR_C)
            answer = await self._thinker.ask(
                Enquiry(
                    temperature_c=temperature_c,
                    relative_humidity_pct=humidity_pct,
                    board=form.board or None,
                )
            )
        except BadInputError as error:
            raise RefusedError(str(error), 400) from error
        return JSONResponse({"answer": answer})

    async def _zero(self, request: Request) -> Response:
        form = await self._doors.body(request, forms.ZeroForm)
        return JSONResponse(await _told(lambda: zero_words(form.zero)))

    # -- writing --------------------------------------------------------------------------------

    def _writes(
        self, kind: type[forms.Form], write: Callable[[Any], Said], most: int = MAX_BODY
    ) -> Answers:
        """An address that writes: for the controller alone."""

        async def answer(request: Request) -> Response:
            form = await self._doors.body(request, kind, most)
            self._seats.claim(self._doors.token(request))
            return JSONResponse(await _told(lambda: write(form)))

        return answer

    async def _measure(self, request: Request) -> Response:
        form = await self._doors.body(request, forms.MeasureForm)
        self._seats.claim(self._doors.token(request))
        if form.key not in self._begun:
            series = await _told(lambda: self._book.series(form))
            self._doors.check_idle()
            assert self._desk is not None  # noqa: S101 - there is no such address without a rig
            self._desk.evening(EveningMessage(series=series))
            self._begun.add(form.key)
        return JSONResponse({"text": "The series begin. Keep clear of the board."}, 202)


def study_pages(folder: Path, seats: Seats, desk: Asker | None) -> Callable[[Doors], StudyPages]:
    """Makes the pages of a study for a page's doors."""
    book = Book(folder, by_hand=desk is None)
    return lambda doors: StudyPages(book, Thinker(folder), seats, doors, desk)


def _alone(seat: Seat) -> dict[str, Any]:
    """What a watcher may do where there is no rig, in the words of the page's own `actions`."""
    nothing = {"shown": False, "enabled": False, "text": ""}
    is_watcher = seat.role == "watcher"
    text = ""
    if is_watcher:
        text = "You look on. To note something, pair this device."
    elif seat.role == "paired" and seat.holder:
        text = f"{seat.holder.capitalize()} has the controls; take them over to note something."
    return {
        "role": seat.role,
        "text": text,
        "pair": is_watcher,
        "take": seat.role == "paired" and bool(seat.holder),
        **dict.fromkeys(("start", "series", "resume", "reset"), nothing),
    }


async def _told(call: Callable[[], Any]) -> Any:
    """Called in a thread, so that a stop never waits for a file; errors are for the page."""
    try:
        return await asyncio.to_thread(call)
    except BadInputError as error:
        raise RefusedError(str(error), 400) from error
