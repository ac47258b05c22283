"""A study with a league's others beside it: does its answer hold, and how much narrower is it?

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.league_pooled --leagues 60 --write

An *oracle* knows all scales and integrates everything else exactly, over the study alone and over
the whole league. Gains are half widths without the others over half widths with them.
"""

import argparse
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from rig.study.model.data import model_data
from rig.study.model.draws import Air, Draws, interval
from rig.study.model.fit import fit
from rig.study.model.reduction import reduced
from rig.study.slides.slide import Slide
from tests.bench.heading import Table, columns
from tests.bench.leagues import (
    FACE,
    MODEL,
    N_STUDIES,
    SLIDES,
    League,
    Made,
    draw_league,
    make_study,
)
from tests.bench.model_studies import INPUTS, kept

TABLE = Table(
    "tests/bench/GATHER.md",
    "a study among a league's",
    (*INPUTS, "tests/bench/leagues.py", "tests/bench/league_pooled.py"),
)
OTHER_AIR_PCT = 85.0
LEVEL_DEG = 24.0


F = NDArray[np.float64]


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


def oracle(league: League, studies: list[Made], asked: list[Asked]) -> tuple[F, F]:
    """Means and standard deviations of the questions for one who knows all scales."""
    sds = {
        "level": 8.0, "slope": float(np.hypot(0.5, 0.25)), "rig": 0.5 / 3.0**0.5,
        "board": float(np.hypot(1.0, 0.3)), "bag": league.bag, "session": league.session,
        "effect": float(np.hypot(2.0, 0.8)), "applied": league.response,
    }  # fmt: skip
    rows: list[dict[tuple[object, ...], float]] = []
    above: list[float] = []
    """Means of series less LEVEL_DEG."""
    for study in studies:
        by_series: dict[str | None, list[Slide]] = {}
        for slide in study.slides:
            by_series.setdefault(slide.series, []).append(slide)
        for slide, *others in by_series.values():
            angles = [one.onset_angle_deg or 0.0 for one in (slide, *others)]
            above.append(float(np.mean(angles)) - LEVEL_DEG)
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
    variance = league.series**2 + league.run**2 / SLIDES
    covariance = np.linalg.inv(x.T @ x / variance + np.eye(len(keys)))
    mean = wanted @ covariance @ (x.T @ np.array(above)) / variance
    mean += [LEVEL_DEG * one.terms.get(("level",), 0.0) for one in asked]
    return mean, np.sqrt((wanted @ covariance @ wanted.T).diagonal())


def one(seed: int) -> dict[str, object]:
    """A league of which one study asks, alone and with all others."""
    rng = np.random.default_rng([19, seed])
    league = draw_league(rng)
    studies = [make_study(league, number, rng) for number in range(N_STUDIES)]
    datas = [model_data(study.slides, study.facts) for study in studies]
    study = studies[0]
    alone, pooled = fit(datas[0]), fit(datas[0], bound=reduced(datas[1:]))
    asked = questions(league, study)
    (_, sd_alone), (best, sd) = (oracle(league, some, asked) for some in ([study], studies))
    found = []
    for i, question in enumerate(asked):
        low, high = answers(alone, study)[i]
        lower, upper = answers(pooled, study)[i]
        found.append(
            {
                "name": question.name,
                "held_alone": low <= question.true <= high,
                "held": lower <= question.true <= upper,
                "below": question.true < lower,
                "above": question.true > upper,
                "half_alone": (high - low) / 2.0,
                "half": (upper - lower) / 2.0,
                "oracle_alone": 1.96 * float(sd_alone[i]),
                "oracle": 1.96 * float(sd[i]),
                "oracle_held": bool(abs(question.true - best[i]) <= 1.96 * sd[i]),
            }
        )
    return {"found": found, "pareto_k": pooled.quality.pareto_k}


def lines(results: list[dict[str, object]]) -> Iterator[str]:
    """The table."""
    yield from columns(
        "question", "n", "held alone %", "held with others %", "95 % range of that share",
        "oracle held %", "truth below, above", "median half width alone °", "with others °",
        "oracle's °", "narrower by", "oracle narrower by", "ratio of the two",
    )  # fmt: skip
    flat = [each for one in results for each in one["found"]]  # type: ignore[attr-defined]
    for name in dict.fromkeys(each["name"] for each in flat):
        mine = [each for each in flat if each["name"] == name]
        of = {what: np.array([each[what] for each in mine]) for what in mine[0] if what != "name"}
        gain = of["half_alone"] / of["half"]
        best = of["oracle_alone"] / of["oracle"]
        n, k = len(mine), int(of["held"].sum())
        low = float(beta.ppf(0.025, max(k, 1e-9), n - k + 1))
        high = float(beta.ppf(0.975, k + 1, max(n - k, 1e-9)))
        yield (
            f"| {name} | {n} | {100.0 * of['held_alone'].mean():.1f} | {100.0 * k / n:.1f} |"
            f" {100.0 * low:.0f}–{100.0 * high:.0f} |"
            f" {100.0 * of['oracle_held'].mean():.1f} |"
            f" {of['below'].sum()}, {of['above'].sum()} |"
            f" {np.median(of['half_alone']):.2f} | {np.median(of['half']):.2f} |"
            f" {np.median(of['oracle']):.2f} | {np.exp(np.log(gain).mean()):.2f} |"
            f" {np.exp(np.log(best).mean()):.2f} | {np.exp(np.log(gain / best).mean()):.2f} |"
        )
    yield ""
    held, best = ([each[what] for each in flat] for what in ("held", "oracle_held"))
    yield (
        f"All three together: {100.0 * np.mean(held):.1f} % of {len(held)} held, the oracle's"
        f" {100.0 * np.mean(best):.1f} %."
        f" Largest k̂: {max(float(str(one['pareto_k'])) for one in results):.2f}."
    )


def main() -> None:
    """Make the leagues that are missing and show the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--leagues", type=int, default=60)
    parser.add_argument("--first", type=int, default=300, help="seed of the first league")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.leagues)
    results = list(kept("league", seeds, one))
    TABLE.show(lines(results), seed=f"19, {seeds[0]} … {seeds[-1]}", write=asked.write)


if __name__ == "__main__":
    main()
