"""Messages between the machine's process and the web server's arrive whole and in order."""

from typing import Any

import pytest

from rig.panel import link
from rig.panel.form import SeriesForm, Usual
from rig.panel.seats import KeptSeats
from rig.panel.slides import KEPT, Dot
from rig.panel.view import Notice
from rig.runfile.model import INVALIDATING
from tests.panel.paper import snapshot


def test_every_wish_arrives_as_what_it_is() -> None:
    mine, its = link.pair()
    form = SeriesForm(runs="3", bag="Heron 1", units="us", ready=True)
    with mine, its:
        asker = link.Asker(its)
        asker.stop("the page on device 1")
        asker.start()
        asker.series(form)
        asker.resume()
        asker.reset()
        asker.tell("a line")
        got = [link.decode_message(mine.recv(link.MAX_MESSAGE)) for _ in range(6)]
    assert got == [
        link.Stop("the page on device 1"),
        link.Start(),
        link.SeriesMessage(form),
        link.Resume(),
        link.Reset(),
        link.Tell("a line"),
    ]


def test_a_machine_that_takes_no_message_is_never_waited_for() -> None:
    mine, its = link.pair()
    with mine, its:
        asker = link.Asker(its)

        def fill() -> None:
            for _ in range(100_000):
                asker.stop("the page on device 1")

        with pytest.raises(link.LinkFullError):
            fill()
        asker.tell("a line that is lost")
        asker.keep(KeptSeats("12345678", 0, (), None))


def test_what_is_sent_first_tells_of_the_rig() -> None:
    usual = Usual(rig_name="shed", rate_deg_s=1.0, dwell_s=10.0, gap_mm=8.0)
    setup = link.Setup(usual=usual, is_open=True, port=8600)
    assert link.decode_setup(link.encode(setup)) == setup


def test_the_longest_snapshot_is_a_message() -> None:
    """With as many dots as there are, all flags on each, and the longest texts."""
    remark = ", ".join(INVALIDATING) * 4
    dots = tuple(Dot(i, 45.0 / 7, 0.1 / 7, False, remark) for i in range(KEPT))
    text: Any = "x" * 2000
    snap = snapshot(
        dots=dots, wants=text, unfinished=text, notice=Notice("fault", text, text, text)
    )
    data = link.encode(snap)
    assert 10_000 < len(data) < link.MAX_MESSAGE
    mine, its = link.pair()
    with mine, its:
        mine.send(data)
        assert link.decode_snapshot(its.recv(link.MAX_MESSAGE)) == snap


def test_a_message_may_have_65536_bytes() -> None:
    mine, its = link.pair()
    with mine, its:
        mine.send(b"x" * 65536)
        mine.send(b"x" * 65537)
        mine.send(b"another")
        assert len(its.recv(link.MAX_MESSAGE)) == 65536
        assert len(its.recv(link.MAX_MESSAGE)) == 65536, "longer than a message may be, yet whole"
        assert its.recv(link.MAX_MESSAGE) == b"another"
