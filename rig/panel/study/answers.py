"""The study's answer in words for the page, made in a process of its own.

`python -m rig.panel.study.answers STUDY` reads a question as JSON and prints its answer. It steps
back behind everything else on the computer, so that neither the step pulses nor the page wait for
it, and it is limited in memory.
"""

import os
import resource
import sys
from pathlib import Path
from typing import Any

import msgspec

from rig.errors import BadInputError, RigError
from rig.study.answer import words
from rig.study.answer.answer import Answer, BagAnswer, in_order
from rig.study.answer.ask import NoSlideError, air_at, ask
from rig.study.answer.foreseen import scatter_in
from rig.study.folder.study import open_study

NICE = 15
MOST_BYTES = 2 << 30
"""Of address space, most of which the libraries reserve and never touch."""


class Enquiry(msgspec.Struct, kw_only=True):
    """A question; without air, that of the newest slide."""

    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    board: str | None = None


def main() -> None:
    """Answer one question from stdin."""
    os.nice(NICE)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    wanted = msgspec.json.decode(sys.stdin.buffer.read(), type=Enquiry)
    try:
        document = shown(answer_to(Path(sys.argv[1]), wanted))
    except RigError as error:
        document = {"error": str(error)}
    sys.stdout.buffer.write(msgspec.json.encode(document))


def answer_to(study: Path, wanted: Enquiry) -> Answer:
    """The object `answer`.

    Raises:
        BadInputError: no slide counts yet.
    """
    air = None
    if wanted.relative_humidity_pct is not None:
        air = air_at(wanted.temperature_c, wanted.relative_humidity_pct)
    try:
        return ask(open_study(study), air=air, board=wanted.board).answer
    except NoSlideError:
        raise BadInputError("Nothing is measured yet. Put the first bag on.") from None


def shown(answer: Answer) -> dict[str, Any]:
    """What the page shows of it, in the words of every other place, and what it compares with."""
    first, *others = answer.sentences or ("",)
    return {
        "error": "",
        "as_of": answer.as_of,
        "air": words.air_words(answer.air),
        "first": first,
        "others": others,
        "shift": words.shift_sentence(answer) if answer.picks else "",
        "unknown": list(answer.unknown),
        "bags": [_bag(one) for one in in_order(answer.bags)],
        "pick": [answer.picks[0].bag, answer.picks[0].face] if answer.picks else None,
        "scatter": msgspec.to_builtins(scatter_in(answer.scatter)),
    }


def _bag(one: BagAnswer) -> dict[str, Any]:
    return {
        "bag": one.bag,
        "face": one.face,
        "now": words.angle_words(one),
        "target": words.target_words(one.target_deg, one.tolerance_deg),
        "within": "" if one.p_within is None else words.percent(one.p_within),
        "advice": words.advice_words(one),
        "angle_deg": round(one.angle_deg, 2),
        "lower_deg": round(one.lower_deg, 2),
        "upper_deg": round(one.upper_deg, 2),
        "target_deg": one.target_deg,
        "tolerance_deg": one.tolerance_deg,
    }


if __name__ == "__main__":
    main()
