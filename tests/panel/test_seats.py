"""Pairing, sessions and the controls, by a clock that the tests turn."""

import threading

import pytest

from rig.panel.seats import KeptSeats, RefusedError, Seat, Seats

ANOTHER = "10.0.0.2"


class Door:
    """Seats with a clock of their own and all that the terminal was told."""

    def __init__(self, *, needs_code: bool = True) -> None:
        self.now_s = 1000.0
        self.said: list[str] = []
        self.seats = Seats(self._time_s, needs_code=needs_code, announce=self.said.append)

    def _time_s(self) -> float:
        return self.now_s

    @property
    def code(self) -> str:
        """The one that is shown now."""
        return self.said[-1][-9:]

    def pair(self, code: str = "", address: str = "10.0.0.1") -> str:
        """Pair by a code, or by the one that is shown."""
        return self.seats.pair(code or self.code, address)

    def guess(self, times: int, address: str = "10.0.0.1") -> None:
        """Try codes that are wrong."""
        for _ in range(times):
            wrong = f"{(int(self.code.replace(' ', '')) + 1) % 10**8:08d}"
            with pytest.raises(RefusedError, match="not the code") as refusal:
                self.pair(wrong, address)
            assert refusal.value.status == 403

    def is_kept_out(self, address: str = "10.0.0.1") -> bool:
        """Whether even the right code is refused now."""
        try:
            self.pair(address=address)
        except RefusedError as refusal:
            return refusal.status == 429
        return False

    def controls(self) -> str:
        """A device that was paired a while ago and has just got the controls; it has no page."""
        token = self.seats.admit()
        self.now_s += 100.0
        self.seats.claim(token)
        return token

    def role(self, token: str | None) -> str:
        return self.seats.place(token).role


def test_pairings_outlast_a_life_of_the_server() -> None:
    kept: list[KeptSeats] = []
    said: list[str] = []
    first = Seats(lambda: 0.0, needs_code=True, announce=said.append, keep=kept.append)
    one, two = first.admit(), first.pair(said[-1][-9:], ANOTHER)
    first.claim(one)
    n_said = len(said)
    second = Seats(lambda: 9.0, needs_code=True, announce=said.append, kept=kept[-1])
    assert second.place(one) == Seat("controller", "device 1", "device 1")
    assert second.place(two) == Seat("paired", "device 2", "device 1")
    assert len(said) == n_said, "the code that is shown still counts"
    three = second.pair(said[-1][-9:], ANOTHER)
    assert second.place(three).name == "device 3"


@pytest.fixture
def door() -> Door:
    return Door()


# -- the code --------------------------------------------------------------------------------------


def test_a_code_has_eight_digits_leading_noughts_among_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []

    def randbelow(below: int) -> int:
        asked.append(below)
        return 42

    monkeypatch.setattr("secrets.randbelow", randbelow)
    door = Door()
    assert asked == [100_000_000]
    assert door.said == ["Pairing code for one device: 0000 0042"]
    assert door.pair("00000042")


@pytest.mark.parametrize("typed", ["{0} {1}", "{0}{1}", " {0}-{1}\n", "{0}" + " " * 32 + "{1}"])
def test_a_code_is_taken_as_people_type_it(door: Door, typed: str) -> None:
    assert door.pair(typed.format(*door.code.split()))


@pytest.mark.parametrize("typed", ["-", "{0}", "{0}{1}0", "{0}" + " " * 33 + "{1}"])
def test_a_part_of_a_code_or_more_than_it_is_refused(door: Door, typed: str) -> None:
    with pytest.raises(RefusedError, match="not the code"):
        door.pair(typed.format(*door.code.split()))


def test_digits_of_another_script_are_refused_like_any_wrong_code(door: Door) -> None:
    elsewhere = door.code.translate({ord("0") + i: ord("٠") + i for i in range(10)})
    with pytest.raises(RefusedError, match="not the code"):
        door.pair(elsewhere)


def test_a_code_counts_once_and_another_is_shown(door: Door) -> None:
    first = door.code
    assert door.seats.place(door.pair()) == Seat("paired", "device 1", "")
    assert door.said[-1].startswith("device 1 is paired. Code for the next one: ")
    assert door.code != first
    with pytest.raises(RefusedError, match="not the code"):
        door.pair(first)
    assert door.seats.place(door.pair()).name == "device 2"


def test_a_code_is_void_after_ten_wrong_ones(door: Door) -> None:
    first = door.code
    door.guess(5)
    door.guess(4, ANOTHER)
    assert door.code == first
    door.guess(1, ANOTHER)
    assert door.said[-1].startswith("Wrong codes were tried; the old one is void. New code: ")
    assert door.code != first
    with pytest.raises(RefusedError, match="not the code"):
        door.pair(first, "10.0.0.3")
    assert door.pair(address="10.0.0.3")


def test_nine_wrong_ones_leave_a_code_and_the_next_begins_from_nought(door: Door) -> None:
    door.guess(5)
    door.guess(4, ANOTHER)
    door.pair(address="10.0.0.3")
    second = door.code
    door.now_s += 61.0
    door.guess(5)
    door.guess(4, ANOTHER)
    assert door.code == second


# -- guessing --------------------------------------------------------------------------------------


def test_an_address_has_five_tries(door: Door) -> None:
    door.guess(4)
    assert not door.is_kept_out()
    door.guess(1)
    assert door.is_kept_out()
    assert not door.is_kept_out(ANOTHER), "who did not guess need not wait"


def test_an_address_waits_for_a_minute_and_is_told_so(door: Door) -> None:
    door.guess(5)
    door.now_s += 45.0
    with pytest.raises(RefusedError, match="try again in 15 s"):
        door.pair()
    door.now_s += 14.9
    assert door.is_kept_out()
    door.now_s += 0.2
    assert not door.is_kept_out()


def test_each_try_counts_for_a_minute_of_its_own(door: Door) -> None:
    for _ in range(5):
        door.guess(1)
        door.now_s += 10.0
    door.now_s += 10.1  # the first is 60.1 s ago, the second 50.1 s
    door.guess(1)
    with pytest.raises(RefusedError, match="try again in 10 s"):
        door.pair()


def test_all_addresses_together_have_twenty_tries(door: Door) -> None:
    for number in range(19):
        door.guess(1, f"10.1.0.{number}")
    assert not door.is_kept_out()
    door.guess(1, ANOTHER)
    assert door.is_kept_out("10.2.0.1")
    door.now_s += 59.9
    assert door.is_kept_out("10.2.0.1")
    door.now_s += 0.2
    assert not door.is_kept_out("10.2.0.1")


def test_no_more_than_256_addresses_are_remembered_and_the_latest_are(door: Door) -> None:
    for number in range(300):
        door.guess(1, f"10.1.0.{number}")
        door.now_s += 3.1
    remembered = list(door.seats._wrong)  # noqa: SLF001 - memory cannot be seen from outside
    assert remembered == [f"10.1.0.{number}" for number in range(44, 300)]


def test_an_address_that_guesses_again_is_remembered_as_a_late_one(door: Door) -> None:
    for number in (0, *range(1, 256), 0, 256):
        door.guess(1, f"10.1.0.{number}")
        door.now_s += 3.1
    assert "10.1.0.0" in door.seats._wrong  # noqa: SLF001
    assert "10.1.0.1" not in door.seats._wrong  # noqa: SLF001


# -- sessions --------------------------------------------------------------------------------------


def test_tokens_cannot_be_guessed(door: Door) -> None:
    tokens = {door.seats.admit() for _ in range(20)}
    assert len(tokens) == 20
    assert {len(token) for token in tokens} == {43}, "32 bytes, six bits a letter"
    assert all(door.seats.knows(token) for token in tokens)
    assert not door.seats.knows(None)
    assert not door.seats.knows("x" * 43)


def test_32_devices_with_open_pages_are_the_most(door: Door) -> None:
    tokens = [door.seats.admit() for _ in range(32)]
    for token in tokens:
        door.seats.page_opened(token)
    with pytest.raises(RefusedError, match="Too many devices") as refusal:
        door.seats.admit()
    assert refusal.value.status == 429
    door.seats.page_closed(tokens[7])
    assert door.seats.place(door.seats.admit()).name == "device 33"
    assert [door.seats.knows(token) for token in tokens] == [i != 7 for i in range(32)]


def test_the_device_that_was_unused_for_longest_goes_and_never_the_controller(door: Door) -> None:
    tokens = [door.seats.admit() for _ in range(32)]
    door.seats.claim(tokens[0])
    for token in tokens[:0:-1]:  # all but the controller are used after it, the last one first
        door.seats.page_opened(token)
        door.seats.page_closed(token)
    door.seats.admit()
    assert [t for t in tokens if not door.seats.knows(t)] == [tokens[-1]]


# -- the controls ----------------------------------------------------------------------------------


def test_a_device_that_is_not_paired_only_watches(door: Door) -> None:
    for token in (None, "never given"):
        assert door.seats.place(token) == Seat("watcher", "", "")
        for takes_over in (False, True):
            with pytest.raises(RefusedError, match="not paired") as refusal:
                door.seats.claim(token, takes_over=takes_over)
            assert refusal.value.status == 403


def test_one_has_the_controls_and_another_must_take_them_over(door: Door) -> None:
    one, two = door.seats.admit(), door.seats.admit()
    assert door.seats.claim(one) == "device 1"
    assert door.seats.claim(one) == "device 1", "whoever has them has them still"
    with pytest.raises(RefusedError, match="Device 1 has the controls") as refusal:
        door.seats.claim(two)
    assert refusal.value.status == 409
    assert door.seats.place(one) == Seat("controller", "device 1", "device 1")
    assert door.seats.place(two) == Seat("paired", "device 2", "device 1")
    assert door.seats.place(None) == Seat("watcher", "", "device 1")
    assert door.seats.claim(two, takes_over=True) == "device 2"
    assert door.seats.place(one) == Seat("paired", "device 1", "device 2")


def test_a_controller_without_a_page_keeps_the_controls_for_20_s(door: Door) -> None:
    one = door.controls()
    two = door.seats.admit()
    door.now_s += 19.9
    with pytest.raises(RefusedError, match="has the controls"):
        door.seats.claim(two)
    door.now_s += 0.2
    assert door.role(one) == "paired", "the controls are free"
    assert door.seats.claim(two) == "device 2"
    assert door.role(one) == "paired"


def test_a_controller_with_a_page_keeps_the_controls_and_20_s_after_its_last(door: Door) -> None:
    one = door.controls()
    door.seats.page_opened(one)
    door.seats.page_opened(one)
    door.now_s += 1000.0
    door.seats.page_closed(one)
    door.now_s += 1000.0
    assert door.role(one) == "controller", "one page is left"
    door.seats.page_closed(one)
    door.now_s += 19.9
    assert door.role(one) == "controller"
    door.now_s += 0.2
    assert door.role(one) == "paired"


def test_a_controller_that_comes_back_has_the_controls_if_nobody_took_them(door: Door) -> None:
    one = door.controls()
    door.now_s += 1000.0
    door.seats.page_opened(one)
    assert door.role(one) == "controller"


def test_pages_of_strangers_are_not_counted(door: Door) -> None:
    for token in (None, "never given"):
        door.seats.page_opened(token)
        door.seats.page_closed(token)
    assert not door.seats.knows("never given")


@pytest.mark.parametrize("what", ["pair", "admit", "place", "claim", "page_opened"])
def test_no_other_thread_comes_in_between(door: Door, what: str) -> None:
    """While one method reads the clock, a second one waits."""
    token = door.controls()
    other = threading.Thread(target=door.seats.place, args=(token,))
    came_in: list[bool] = []

    def intrude() -> float:
        door.seats._time_s = door._time_s  # noqa: SLF001
        other.start()
        other.join(0.03)
        came_in.append(not other.is_alive())
        return door.now_s

    arguments = {"pair": (door.code.replace(" ", "0"), ANOTHER), "admit": ()}.get(what, (token,))
    door.seats._time_s = intrude  # noqa: SLF001
    try:
        getattr(door.seats, what)(*arguments)
    except RefusedError:
        assert what == "pair", "that code is wrong"
    other.join()
    assert came_in == [False]
