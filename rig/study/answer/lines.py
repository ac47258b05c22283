"""The answer for a terminal: at most 25 lines of 80 columns."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from rig.quantities.figures import fixed
from rig.quantities.shown import System
from rig.study.answer import words
from rig.study.answer.answer import Answer, BagAnswer

WIDTH, MOST_LINES, MOST_BAGS = 80, 25, 8
MOST_EFFECTS, MOST_UNKNOWN = 4, 3


def lines_of(
    answer: Answer, name: str, units: System = "metric", *, everything: bool = False
) -> list[str]:
    """All that is worth a look; `everything` lists all bags, effects and unknowns."""
    head = f"{name} · {answer.as_of[:10]} · {words.air_words(answer.air, units)}"
    lines = [_cut(head), *_wrapped(words.pick_sentence(answer)), ""]
    most = None if everything else MOST_BAGS
    lines += _bag_lines(answer.bags, most)
    several = words.several_models(answer.weather)
    effects = [one for one in answer.treatments if one.shown]
    shown = [words.effect_sentence(one, several_models=several) for one in effects]
    weather = [
        words.weather_sentence(one, several_models=several) for one in answer.weather if one.shown
    ]
    tail = [
        *(shown if everything else shown[:MOST_EFFECTS]),
        *(weather if everything else weather[:2]),
        *([words.four_sentence(answer.best_four)] if answer.best_four else []),
        *(answer.unknown if everything else answer.unknown[:MOST_UNKNOWN]),
    ]
    last = [words.act_sentence(answer.next[0])] if answer.next else []
    if everything:
        return [*lines, "", *(line for one in [*tail, *last] for line in _wrapped(one))]
    return [*lines, "", *_fitting(tail, last, MOST_LINES - len(lines) - 1)]


def _fitting(tail: Sequence[str], last: Sequence[str], room: int) -> list[str]:
    """As many sentences as there is room for; the last ones always."""
    ending = [line for one in last for line in _wrapped(one)]
    found: list[str] = []
    for one in tail:
        more = _wrapped(one)
        if len(found) + len(more) + len(ending) <= room:
            found += more
    return found + ending


def _bag_lines(bags: Sequence[BagAnswer], most: int | None) -> Iterator[str]:
    """A line for each bag face, those with something to do first."""
    if not bags:
        return
    order = ("continue", "unsure", "stop", "passed", "no_target")
    listed = sorted(bags, key=lambda one: order.index(one.advice))[:most]
    width = min(max(len(words.name_of(one)) for one in listed), 24)
    yield f"{'bag, face':<{width}}  {'now (95 %)':<16}  {'target':<10}  {'within':>6}  what to do"
    for one in listed:
        target, within = "–", "–"
        if one.target_deg is not None and one.p_within is not None:
            target = f"{fixed(one.target_deg, 1)} ± {fixed(one.tolerance_deg or 0.0, 1)}"
            within = f"{100.0 * one.p_within:.0f} %"
        now = f"{fixed(one.angle_deg, 1)} ({fixed(one.lower_deg, 1)}–{fixed(one.upper_deg, 1)})"
        yield _cut(
            f"{_cut(words.name_of(one), width):<{width}}  {now:<16}  {target:<10}  {within:>6}"
            f"  {words.advice_words(one)}"
        )
    if len(bags) > len(listed):
        yield f"and {len(bags) - len(listed)} more bag faces: --all lists them"


def _wrapped(text: str) -> list[str]:
    return wrap(text, WIDTH, break_on_hyphens=False)


def _cut(text: str, width: int = WIDTH) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"
