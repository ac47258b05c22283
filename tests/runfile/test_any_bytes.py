"""Whatever a run file holds, reading and analysing it raises the project's own errors only."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.errors import BadInputError
from rig.runfile.model import End, Event, Line
from rig.runfile.reader import parse_run
from rig.settings.model import Settings
from rig.study.slides.look import kept_of
from rig.twin.draws import draw_scenario
from tests.fastsim.run import simulate_run

PATH = Path("any.run.jsonl")
NUMBERS = st.one_of(
    st.integers(-(10**40), 10**40),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0, -1, 1, 0.0, -0.0, 1e308, -1e308, 5e-324, 2**31, 2**53, 2**63, 2**64]),
)
STAMPS = st.sampled_from(["0001-01-01T00:00:00+23:59", "9999-12-31T23:59:59-10:00", "2026-13-01"])
VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), NUMBERS, st.text(max_size=5), STAMPS),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=6,
)


@cache
def whole() -> list[dict[str, Any]]:
    """The lines of a simulated slide, with few samples left out of the raise."""
    lines, _ = simulate_run(Settings(), draw_scenario(1), 1, rate_deg_s=3.0, dwell_s=0.5)
    kept: list[Line] = list(lines)
    kept.insert(-1, Event(t_s=1.0, event="placed", detail={"gap_mm": 8.0, "u_gap_mm": 1.0}))
    kept[-1] = End(outcome="slid", flags=[], samples_lost=0, bus_retries=0, lines=len(kept) - 1)
    return [json.loads(msgspec.json.encode(line)) for line in kept]


def take(data: bytes) -> None:
    """Read and analyse; only the project's own error may come out."""
    try:
        run = parse_run(PATH, data)
        run.samples_arrays()
        run.steps_arrays()
        kept_of(run)
    except BadInputError:
        return


def places(value: Any) -> list[list[Any]]:
    """The ways to all values in a JSON value; of long lists only to the first."""
    found: list[list[Any]] = [[]]
    items: list[tuple[Any, Any]] = list(value.items()) if isinstance(value, dict) else []
    items += enumerate(value[:2]) if isinstance(value, list) else ()
    for key, inner in items:
        found += [[key, *way] for way in places(inner)]
    return found[1:] if found[1:] and isinstance(value, dict) else found


@cache
def ways() -> list[tuple[int, list[Any]]]:
    """The ways to all values of a run file; of alike lines to those of the first and the last."""
    shapes: dict[str, list[int]] = {}
    for number, line in enumerate(whole()):
        shapes.setdefault(f"{line['kind']} {line.get('event')}", []).append(number)
    chosen = [n for numbers in shapes.values() for n in {numbers[0], numbers[-1]}]
    return [(n, way) for n in sorted(chosen) for way in places(whole()[n])]


def near(value: Any) -> st.SearchStrategy[Any]:
    """Values of the same type that a slip of the pen would give."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        slips = [
            value * 10,
            -value,
            value + 1,
            value * 100,
            type(value)(value / 10),
            type(value)(0),
        ]
        return st.sampled_from(slips)
    if isinstance(value, list):
        return st.sampled_from([[], value[:1], value[::-1], value + value])
    return st.just(value)


@settings(max_examples=40)
@given(st.data())
def test_other_values_anywhere(data: st.DataObject) -> None:
    lines = [json.dumps(line).encode() for line in whole()]
    for _ in range(data.draw(st.integers(1, 3))):
        number, way = data.draw(st.sampled_from(ways()))
        line = json.loads(json.dumps(whole()[number]))
        inner = line
        for key in way[:-1]:
            inner = inner[key]
        if way:
            inner[way[-1]] = data.draw(near(inner[way[-1]]) | VALUES)
        lines[number] = json.dumps(line).encode()
    take(b"\n".join(lines) + b"\n")


@settings(max_examples=25)
@given(st.data())
def test_other_bytes_anywhere(data: st.DataObject) -> None:
    lines = [json.dumps(line).encode() for line in whole()]
    number = data.draw(st.sampled_from(sorted({n for n, _ in ways()})))
    line = lines[number]
    begin = data.draw(st.integers(0, len(line)))
    end = data.draw(st.integers(begin, min(len(line), begin + 8)))
    lines[number] = line[:begin] + data.draw(st.binary(max_size=8)) + line[end:]
    take(b"\n".join(lines) + b"\n")


@settings(max_examples=40)
@given(st.binary(max_size=200), st.booleans())
def test_any_bytes(data: bytes, has_header: bool) -> None:
    first = json.dumps(whole()[0]).encode() + b"\n"
    take(first * has_header + data)
