"""Lifts in the slide table: the reader's reaction is what is known of it by now."""

from pathlib import Path

import msgspec
import pytest

from rig.study.answer.words import unknown_sentences
from rig.study.folder.journal import ByPhone, Reading
from rig.study.folder.journal_file import append
from rig.study.folder.study import Study, open_study
from rig.study.phone.taps import PRIOR
from rig.study.readings import reader_biases
from rig.study.slides.by_phone import common_shift_deg, reaction_now
from rig.study.slides.table import slide_table
from tests.study.folder_example import add_run, make_study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return make_study(tmp_path / "s")


def lift(study: Study, minute: int, at_tap_deg: float, rate_deg_s: float, bag: str = "T1") -> None:
    before = tuple(at_tap_deg - rate_deg_s * 0.05 * k for k in range(13))
    phone = ByPhone(
        trace="x.trace.jsonl",
        series="one",
        pace_deg_s=rate_deg_s,
        rate_deg_s=rate_deg_s,
        before_tap_deg=before,
        u_fit_deg=0.02,
        u_sensor_deg=0.15,
        u_zero_deg=0.06,
    )
    entry = Reading(
        at=f"2026-05-02T09:{minute:02d}:00Z",
        bag=bag,
        face="slick",
        board="A",
        reader="Ida",
        angles_deg=(before[5],),
        stage="baseline",
        session="a session",
        phone=phone,
    )
    append(study.journal_path, entry)


def test_a_lift_alone_has_the_usual_delay_taken_off(study: Study) -> None:
    lift(study, 0, 20.0, 2.0)
    (slide,) = slide_table(open_study(study.path)).valid
    assert slide.onset_angle_deg == pytest.approx(20.0 - 2.0 * PRIOR.delay_s, abs=0.02)
    assert slide.u_tap_deg == pytest.approx(
        2.0 * (PRIOR.scatter_s**2 + PRIOR.u_delay_s**2) ** 0.5, rel=0.05
    )
    assert slide.method == "by phone, 2 °/s"
    assert slide.rate_deg_s == 2.0


def test_a_reader_beside_the_rig_is_known_better_also_for_earlier_lifts(study: Study) -> None:
    lift(study, 0, 30.0, 2.0, bag="T2")
    before = slide_table(open_study(study.path)).valid[0].onset_angle_deg or 0.0
    for number in range(3):
        add_run(study, "T1", f"2026-05-02T08:0{number}:00Z")
    rig = [one.onset_angle_deg or 0.0 for one in slide_table(open_study(study.path)).of_rig]
    for minute in range(1, 13):
        rate = (0.5, 1.0, 3.0)[minute % 3]
        lift(study, minute, sum(rig) / 3 + 0.4 * rate, rate)
    opened = open_study(study.path)
    table = slide_table(opened)
    reaction = reaction_now(opened, "Ida", table.of_rig)
    assert reaction.n == 12
    assert reaction.delay_s > PRIOR.delay_s + 0.01
    assert reaction.u_delay_s < PRIOR.u_delay_s
    after = next(one for one in table.valid if one.bag == "T2").onset_angle_deg or 0.0
    assert before - after == pytest.approx(2.0 * (reaction.delay_s - PRIOR.delay_s), abs=0.03)


def test_a_reader_with_a_phone_is_compared_with_the_rig_apart_from_their_level(
    study: Study,
) -> None:
    lift(study, 0, 20.0, 1.0)
    plain = Reading(
        at="2026-05-02T10:00:00Z", bag="T1", face="slick", board="A", reader="Ida",
        angles_deg=(19.0,), stage="baseline", session="a session",
    )  # fmt: skip
    append(study.journal_path, plain)
    readings = open_study(study.path).journal.of(Reading)
    assert [one.reader for one in reader_biases(readings, [])] == ["Ida, by phone", "Ida"]


def test_what_all_lifts_with_one_phone_have_in_common_is_told(study: Study) -> None:
    lift(study, 0, 20.0, 1.0)
    lift(study, 1, 20.2, 1.0)
    slides = slide_table(open_study(study.path)).valid
    # Sensor 0.15, zero 0.06, and the reader's mean delay of ±0.05 s at 1 °/s.
    shift = common_shift_deg(slides)
    assert shift == pytest.approx((0.15**2 + 0.06**2 + 0.05**2) ** 0.5, rel=0.02)
    (told,) = unknown_sentences([], [], pareto_k=0.3, blocked=[], phone_u_deg=shift)
    assert "off together by 0.3°" in told
    other = msgspec.structs.replace(slides[0], reader="Ann")
    level = msgspec.structs.replace(slides[0], trace=None)
    assert common_shift_deg([*slides, other]) is common_shift_deg([*slides, level]) is None
    assert common_shift_deg([]) is None
