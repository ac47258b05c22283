"""A study with a league's others beside it: does its answer hold, and how much narrower is it?

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.league_pooled --leagues 10 --write

An *oracle* knows all scales and integrates everything else exactly, over the study alone and over
the whole league. Gains are half widths without the others over half widths with them.
"""

import argparse
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from scipy.stats import beta

from rig.study.model.data import model_data
from rig.study.model.draws import Air, Draws, interval
from rig.study.model.fit import fit
from rig.study.model.others import reduced
from tests.bench.heading import Table, columns
from tests.bench.leagues import FACE, MODEL, N_STUDIES, League, Made, draw_league, make_study
from tests.bench.model_studies import INPUTS, kept

TABLE = Table(
    "tests/bench/GATHER.md",
    "a study among a league's",
    (*INPUTS, "tests/bench/leagues.py", "tests/bench/league_pooled.py"),
)
HELD = Table(TABLE.file, "intervals that held, more leagues", TABLE.inputs)
OTHER_AIR_PCT = 85.0
ASKING = (0, 11, 22)
"""Studies of each league that ask."""


class Asked(NamedTuple):
    """A question: what it is, its truth, and its terms for the oracle."""

    name: str
    true: float
    terms: dict[tuple[object, ...], float]


def questions(league: League, study: Made) -> list[Asked]:
    """An own untreated bag now and in other air, the slope, and a bag to come."""
    here: dict[tuple[object, ...], float] = {
        ("level",): 1.0,
        ("rig", study.number % 10): 1.0,
        ("board", study.number): 1.0,
    }
    damper = (study.air - 50.0) / 10.0
    more = (OTHER_AIR_PCT - study.air) / 10.0
    untreated = [b for b in study.present if b not in study.facts.done]
    bag = untreated[-1]
    now = study.present[bag]
    own = {**here, ("bag", bag): 1.0}
    return [
        Asked("own bag now", now, {**own, ("slope",): damper}),
        Asked(
            f"own bag at {OTHER_AIR_PCT:.0f} %RH",
            now + league.slope * more,
            {**own, ("slope",): damper + more},
        ),
        Asked("change per 10 %RH", league.slope, {("slope",): 1.0}),
    ]


def answers(draws: Draws, study: Made) -> list[tuple[float, float]]:
    """Intervals of the same questions."""
    bag = [b for b in study.present if b not in study.facts.done][-1]
    asked = (
        draws.angle(bag, FACE, air=Air(study.air)),
        draws.angle(bag, FACE, air=Air(OTHER_AIR_PCT)),
        draws.slope(MODEL, FACE),
    )
    return [(at.lower, at.upper) for at in map(interval, asked)]


def oracle_sd(league: League, studies: list[Made], asked: list[Asked]) -> list[float]:
    """Standard deviations of the questions for one who knows all scales."""
    sds = {
        "level": 8.0, "slope": float(np.hypot(0.5, 0.25)), "rig": 0.5 / 3.0**0.5,
        "board": float(np.hypot(1.0, 0.3)), "bag": league.bag, "session": league.session,
        "effect": float(np.hypot(2.0, 0.8)), "applied": league.response,
    }  # fmt: skip
    rows: list[dict[tuple[object, ...], float]] = []
    for study in studies:
        seen = set()
        for slide in study.slides:
            if slide.series in seen:
                continue
            seen.add(slide.series)
            row: dict[tuple[object, ...], float] = {
                ("level",): 1.0,
                ("slope",): ((slide.surface_humidity_pct or 0.0) - 50.0) / 10.0,
                ("rig", study.number % 10): 1.0,
                ("board", study.number): 1.0,
                ("bag", slide.bag): 1.0,
                ("session", study.number, slide.session): 1.0,
            }
            if slide.treatments:
                row |= {("effect",): 1.0, ("applied", slide.bag): 1.0}
            rows.append(row)
    keys = sorted({key for row in (*rows, *(one.terms for one in asked)) for key in row}, key=str)
    place = {key: i for i, key in enumerate(keys)}

    def matrix(of: list[dict[tuple[object, ...], float]]) -> np.ndarray:
        x = np.zeros((len(of), len(keys)))
        for i, row in enumerate(of):
            for key, value in row.items():
                x[i, place[key]] = value * sds[str(key[0])]
        return x

    x, wanted = matrix(rows), matrix([one.terms for one in asked])
    precision = x.T @ x / (league.series**2 + league.run**2 / 3.0) + np.eye(len(keys))
    return [float(v) for v in np.sqrt((wanted @ np.linalg.solve(precision, wanted.T)).diagonal())]


def one(seed: int) -> dict[str, object]:
    """A league: each asking study alone and with all others."""
    rng = np.random.default_rng([19, seed])
    league = draw_league(rng)
    studies = [make_study(league, number, rng) for number in range(N_STUDIES)]
    datas = [model_data(study.slides, study.facts) for study in studies]
    found: list[dict[str, object]] = []
    for number in ASKING:
        study = studies[number]
        bound = reduced([data for i, data in enumerate(datas) if i != number])
        alone, pooled = fit(datas[number]), fit(datas[number], bound=bound)
        asked = questions(league, study)
        sd_alone = oracle_sd(league, [study], asked)
        sd_pooled = oracle_sd(league, studies, asked)
        for i, question in enumerate(asked):
            low, high = answers(alone, study)[i]
            lower, upper = answers(pooled, study)[i]
            found.append(
                {
                    "name": question.name,
                    "held_alone": low <= question.true <= high,
                    "held": lower <= question.true <= upper,
                    "half_alone": (high - low) / 2.0,
                    "half": (upper - lower) / 2.0,
                    "oracle_alone": 1.96 * sd_alone[i],
                    "oracle": 1.96 * sd_pooled[i],
                    "pareto_k": pooled.quality.pareto_k,
                }
            )
    return {"found": found}


def lines(results: list[dict[str, object]]) -> Iterator[str]:
    """The table."""
    yield from columns(
        "question", "n", "held alone %", "held with others %", "median half width alone °",
        "with others °", "narrower by", "oracle narrower by", "ratio of the two",
    )  # fmt: skip
    flat = [each for one in results for each in one["found"]]  # type: ignore[attr-defined]
    for name in [*dict.fromkeys(each["name"] for each in flat), "all"]:
        mine = [each for each in flat if name in (each["name"], "all")]
        gain = np.array([each["half_alone"] / each["half"] for each in mine])
        best = np.array([each["oracle_alone"] / each["oracle"] for each in mine])

        def part(what: str, mine: list[dict[str, float]] = mine) -> str:
            return f"{100.0 * float(np.mean([each[what] for each in mine])):.1f}"

        yield (
            f"| {name} | {len(mine)} | {part('held_alone')} | {part('held')} |"
            f" {np.median([each['half_alone'] for each in mine]):.2f} |"
            f" {np.median([each['half'] for each in mine]):.2f} |"
            f" {np.exp(np.log(gain).mean()):.2f} | {np.exp(np.log(best).mean()):.2f} |"
            f" {np.exp(np.log(gain / best).mean()):.2f} |"
        )
    yield ""
    yield f"Largest k̂: {max(each['pareto_k'] for each in flat):.2f}."


def held(seed: int) -> dict[str, object]:
    """One asking study of a league, with all others; leagues that the other table does not use."""
    rng = np.random.default_rng([19, seed])
    league = draw_league(rng)
    studies = [make_study(league, number, rng) for number in range(N_STUDIES)]
    datas = [model_data(study.slides, study.facts) for study in studies]
    draws = fit(datas[0], bound=reduced(datas[1:]))
    asked = questions(league, studies[0])
    ends = answers(draws, studies[0])
    return {
        question.name: lower <= question.true <= upper
        for question, (lower, upper) in zip(asked, ends, strict=True)
    }


def held_lines(results: list[dict[str, object]]) -> Iterator[str]:
    """The table of intervals that held, one league for each."""
    yield from columns("question", "leagues", "held with others %", "95 % range of that share")
    for name in [name for name in results[0] if name != "seed"]:
        n, k = len(results), sum(bool(one[name]) for one in results)
        low = float(beta.ppf(0.025, max(k, 1e-9), n - k + 1))
        high = float(beta.ppf(0.975, k + 1, max(n - k, 1e-9)))
        yield f"| {name} | {n} | {100.0 * k / n:.1f} | {100.0 * low:.0f}–{100.0 * high:.0f} |"


def main() -> None:
    """Make the leagues that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--leagues", type=int, default=10)
    parser.add_argument("--more", type=int, default=0, help="leagues for the share that holds")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    if asked.leagues:
        results = list(kept("league", range(asked.leagues), one))
        TABLE.show(lines(results), seed=f"19, 0 … {asked.leagues - 1}", write=asked.write)
    if asked.more:
        more = list(kept("league-held", range(100, 100 + asked.more), held))
        seeds = f"19, 100 … {99 + asked.more}"
        HELD.show(held_lines(more), seed=seeds, write=asked.write)


if __name__ == "__main__":
    main()
