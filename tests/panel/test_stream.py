"""What a page that watches is sent, and when, by a clock that jumps."""

import asyncio
import json
from collections.abc import AsyncGenerator, Callable, Coroutine
from typing import Any

import pytest

from rig.panel.form import Usual, hints
from rig.panel.seats import RefusedError, Seats
from rig.panel.slides import Dot
from rig.panel.stream import Hub
from rig.panel.words import Units
from tests.panel.jumping import JumpingLoop
from tests.panel.paper import snapshot

USUAL = Usual(rig_name="shed", rate_deg_s=1.0, dwell_s=10.0, gap_mm=25.4)
SECTIONS = {"form", "state", "angle", "air", "beam", "notice", "course", "slides", "actions"} | {
    "stop", "live", "pace"
}  # fmt: skip


class Hall:
    """A hub that pages watch."""

    def __init__(self) -> None:
        self.seats = Seats(lambda: 0.0, needs_code=True)
        self.hub = Hub(self.seats, lambda units: hints(USUAL, units), lambda: self.now_s)

    @property
    def now_s(self) -> float:
        return asyncio.get_running_loop().time()

    async def open(
        self, token: str | None = None, units: Units = "metric"
    ) -> AsyncGenerator[bytes, None]:
        """A page that has been told when to try again."""
        stream = self.hub.stream(token, units)
        assert await anext(stream) == b"retry: 300\n\n"
        return stream


async def read(stream: AsyncGenerator[bytes, None]) -> dict[str, Any]:
    """The next message."""
    piece = await anext(stream)
    assert piece.startswith(b"data: {")
    assert piece.endswith(b"}\n\n")
    message: dict[str, Any] = json.loads(piece[len(b"data: ") :])
    return message


def play(scene: Callable[[Hall], Coroutine[Any, Any, None]]) -> None:
    """Run a scene in a loop whose time jumps."""
    with asyncio.Runner(loop_factory=JumpingLoop) as runner:
        runner.run(scene(Hall()))


def test_a_new_page_gets_everything_and_then_only_what_changed() -> None:
    async def scene(hall: Hall) -> None:
        hall.hub.publish(snapshot())
        page = await hall.open()
        first = await read(page)
        assert first.keys() == SECTIONS
        assert first["form"]["gap"] == "25.4"
        hall.hub.publish(snapshot(angle_deg=13.0))
        assert (await read(page)).keys() == {"angle"}
        hall.hub.publish(snapshot(angle_deg=13.0, dots=(Dot(1, 20.1, 0.2, True, ""),)))
        assert (await read(page)).keys() == {"slides"}
        hall.hub.publish(snapshot(angle_deg=13.0, wants="Place the bag.", is_busy=False, dots=()))
        assert (await read(page)).keys() == {"state", "course", "slides"}

    play(scene)


def test_a_slow_page_skips_what_it_missed_and_another_does_not() -> None:
    async def scene(hall: Hall) -> None:
        hall.hub.publish(snapshot())
        slow, quick = await hall.open(), await hall.open()
        await read(slow)
        await read(quick)
        for changes in ({"angle_deg": 13.0}, {"angle_deg": 14.0, "temperature_c": 24.0}):
            hall.hub.publish(snapshot(**changes))
            seen = await read(quick)
        assert seen.keys() == {"angle", "air"}
        missed = await read(slow)
        assert missed.keys() == {"angle", "air"}
        assert missed["angle"]["text"] == "14.0°"

    play(scene)


def test_units_are_each_pages_own() -> None:
    async def scene(hall: Hall) -> None:
        hall.hub.publish(snapshot())
        metric, inches = await read(await hall.open()), await read(await hall.open(units="us"))
        assert (metric["air"]["temperature"], metric["form"]["gap"]) == ("23.0 °C", "25.4")
        assert (inches["air"]["temperature"], inches["form"]["gap"]) == ("73.4 °F", "1.00")

    play(scene)


def test_something_is_sent_every_second() -> None:
    async def scene(hall: Hall) -> None:
        page = await hall.open()
        assert await read(page) == {}, "nothing is known yet, but the connection lives"
        assert hall.now_s == 0.0
        assert await read(page) == {}
        assert hall.now_s == pytest.approx(1.0, abs=0.01)
        hall.hub.publish(snapshot())
        assert (await read(page)).keys() == SECTIONS
        assert hall.now_s == pytest.approx(1.0, abs=0.01), "news does not wait"
        assert await read(page) == {}
        assert hall.now_s == pytest.approx(2.0, abs=0.01)

    play(scene)


def test_a_snapshot_without_news_is_no_message() -> None:
    async def scene(hall: Hall) -> None:
        hall.hub.publish(snapshot())
        page = await hall.open()
        await read(page)
        reading = asyncio.ensure_future(read(page))
        for beat in range(1, 4):
            await asyncio.sleep(0.25)
            hall.hub.publish(snapshot(time_s=2.0, beat=beat))
        await asyncio.sleep(0)
        assert not reading.done()
        assert await reading == {}
        assert hall.now_s == pytest.approx(1.25, abs=0.01)

    play(scene)


def test_a_machine_without_a_sign_of_life_for_a_second_is_not_live() -> None:
    """Snapshots still come then, from another thread; nothing may be begun on what they say."""

    async def scene(hall: Hall) -> None:
        token = hall.seats.admit()
        idle = snapshot(is_busy=False, state="parked")
        hall.hub.publish(idle._replace(beat=1))
        page = await hall.open(token)
        first = await read(page)
        assert first["live"] == {"silent_s": 0}
        assert first["actions"]["series"] == {"shown": True, "enabled": True}
        await asyncio.sleep(0.9)
        hall.hub.publish(idle._replace(beat=1))
        assert hall.hub.silent_s() == 0
        await asyncio.sleep(0.2)
        hall.hub.publish(idle._replace(beat=1))
        told = await read(page)
        assert told["live"] == {"silent_s": 1}
        assert told["actions"]["series"] == {"shown": True, "enabled": False}
        while "live" not in (told := await read(page)):
            pass
        assert told["live"] == {"silent_s": 2}, "told also when no snapshot comes at all"
        hall.hub.publish(idle._replace(beat=2))
        told = await read(page)
        assert told["live"] == {"silent_s": 0}
        assert told["actions"]["series"]["enabled"]

    play(scene)


def test_strangers_have_32_places_and_8_from_one_address() -> None:
    async def scene(hall: Hall) -> None:
        token = hall.seats.admit()
        pages = []

        async def come(address: str, own: str | None = None) -> None:
            hall.hub.check_room(own, address)
            pages.append(hall.hub.stream(own, "metric", address))
            await anext(pages[-1])

        for number in range(32):
            await come(f"10.0.0.{number // 8}")
            if number % 8 == 7:
                with pytest.raises(RefusedError):
                    await come(f"10.0.0.{number // 8}")
        with pytest.raises(RefusedError):
            await come("10.0.0.9")
        for _ in range(16):
            await come("10.0.0.0", token)
        with pytest.raises(RefusedError):
            await come("10.0.0.0", token)
        for page in pages:
            await page.aclose()
        await come("10.0.0.0")
        await pages[-1].aclose()

    play(scene)


def test_who_has_the_controls_is_told_to_each_page_at_the_next_look() -> None:
    async def scene(hall: Hall) -> None:
        one, two = hall.seats.admit(), hall.seats.admit()
        hall.hub.publish(snapshot())
        mine, others = await hall.open(one), await hall.open(two)
        assert (await read(mine))["actions"]["role"] == "paired"
        await read(others)
        hall.seats.claim(one)
        hall.hub.publish(snapshot())
        assert (await read(mine))["actions"]["role"] == "controller"
        told = await read(others)
        assert told.keys() == {"actions"}
        assert told["actions"]["take"]

    play(scene)


def test_pages_are_counted_and_keep_the_controls() -> None:
    async def scene(hall: Hall) -> None:
        opened: list[tuple[str, str | None]] = []
        hall.seats.page_opened = lambda token: opened.append(("opened", token))  # type: ignore[method-assign]
        hall.seats.page_closed = lambda token: opened.append(("closed", token))  # type: ignore[method-assign]
        one, two = await hall.open("one"), await hall.open()
        assert hall.hub.watchers == 2
        await one.aclose()
        assert hall.hub.watchers == 1
        await two.aclose()
        assert hall.hub.watchers == 0
        assert opened == [("opened", "one"), ("opened", None), ("closed", "one"), ("closed", None)]

    play(scene)


def test_streams_end_with_the_server_at_once() -> None:
    async def scene(hall: Hall) -> None:
        page = await hall.open()
        await read(page)
        reading = asyncio.ensure_future(read(page))
        await asyncio.sleep(0.25)
        hall.hub.close()
        with pytest.raises(StopAsyncIteration):
            await reading
        assert hall.now_s == pytest.approx(0.25, abs=0.01)
        assert hall.hub.watchers == 0

    play(scene)


def test_equal_sections_are_worked_out_once_for_all_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []

    def noted(name: str) -> Callable[..., Any]:
        def make(*_: Any) -> dict[str, Any]:
            made.append(name)
            return {"state": {}} if name == "sections" else {}

        return make

    for name in ("sections", "slides_section"):
        monkeypatch.setattr(f"rig.panel.stream.{name}", noted(name))

    async def scene(hall: Hall) -> None:
        hall.hub.publish(snapshot())
        for _ in range(3):
            assert {"state", "slides"} < (await read(await hall.open())).keys()
        assert sorted(made) == ["sections", "slides_section"]
        hall.hub.publish(snapshot())
        await read(await hall.open())
        assert sorted(made) == ["sections"] * 2 + ["slides_section"], "the dots are the same"

    play(scene)
