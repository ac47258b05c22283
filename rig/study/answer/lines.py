"""The answer for a terminal: at most 25 lines of 80 columns."""

from collections.abc import Callable, Iterator, Sequence
from textwrap import wrap

from rig.quantities.figures import fixed
from rig.quantities.shown import System
from rig.study.answer import words
from rig.study.answer.answer import Answer, BagAnswer, in_order

Wrapped = Callable[[str], list[str]]
WIDTH, MOST_LINES, MOST_BAGS = 80, 25, 8
MOST_EFFECTS, MOST_UNKNOWN = 4, 3


def lines_of(
    answer: Answer,
    name: str,
    units: System = "metric",
    *,
    everything: bool = False,
    width: int = WIDTH,
) -> list[str]:
    """All that is worth a look, in lines of `width` columns; 25 lines at most in 80.

    `everything` lists all bags, effects and unknowns.
    """

    def wrapped(text: str) -> list[str]:
        return wrap(text, width, break_on_hyphens=False)

    head = f"{name} · {answer.as_of[:10]} · {words.air_words(answer.air, units)}"
    head += "".join(f" · with {older}" for older in answer.experience)
    lines = [_cut(head, width), *wrapped(words.pick_sentence(answer))]
    lines += [*wrapped(words.others_sentence(answer)), ""]
    most = None if everything else MOST_BAGS
    lines += _bag_lines(answer.bags, most, width)
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
        return [*lines, "", *(line for one in [*tail, *last] for line in wrapped(one))]
    return [*lines, "", *_fitting(wrapped, tail, last, MOST_LINES - len(lines) - 1)]


def _fitting(wrapped: Wrapped, tail: Sequence[str], last: Sequence[str], room: int) -> list[str]:
    """As many sentences as there is room for; the last ones always."""
    ending = [line for one in last for line in wrapped(one)]
    found: list[str] = []
    for one in tail:
        more = wrapped(one)
        if len(found) + len(more) + len(ending) <= room:
            found += more
    return found + ending


def _bag_lines(bags: Sequence[BagAnswer], most: int | None, columns: int) -> Iterator[str]:
    """A line for each bag face, those with something to do first; two in a narrow terminal."""
    if not bags:
        return
    listed = in_order(bags)[:most]
    width = min(max(len(words.name_of(one)) for one in listed), 24 if columns >= WIDTH else 17)
    gap = "  " if columns >= WIDTH else "\n  "
    head = f"{'bag, face':<{width}}  {'now (95 %)':<17}  {'target':<6}  {'within':>6}"
    yield from f"{head}{gap}what to do".split("\n")
    for one in listed:
        target = "–" if one.target_deg is None else f"{fixed(one.target_deg, 1)}°"
        within = "–" if one.p_within is None else words.percent(one.p_within, brief=True)
        now = f"{fixed(one.angle_deg, 1)}° ({fixed(one.lower_deg, 1)}–{fixed(one.upper_deg, 1)})"
        row = (
            f"{_cut(words.name_of(one), width):<{width}}  {now:<17}  {target:<6}  {within:>6}"
            f"{gap}{words.advice_words(one, brief=True)}"
        )
        yield from (_cut(line, columns) for line in row.split("\n"))
    if len(bags) > len(listed):
        yield f"and {len(bags) - len(listed)} more bag faces: --all lists them"


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"
