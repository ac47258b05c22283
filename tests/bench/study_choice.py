"""The choice of the day in a world of sorption and hysteresis, beside two simpler people.

The bags follow the twin's fabric law (isotherm with two branches and a lag, friction a sigmoid of
the moisture), which is not the model's. Each face is measured in some sessions, then the day comes:
a new air inside the measured range, a wish, and a pick.

Run: python -m tests.bench.study_choice [--studies 300] [--seed 1] [--held] [--write]
"""

import argparse
from collections.abc import Iterator
from math import atan, degrees
from statistics import median

import msgspec
import numpy as np

from rig.study.choose import HandReading, Wish, choose
from rig.study.climate_model import Air, fit_climate
from rig.study.rows import BagInfo, Row
from rig.twin.fabric import Face, coefficients, moisture_after, wetting_moisture
from tests.bench.heading import Table, columns
from tests.bench.study_world import share

INPUTS = (
    "rig/study/choose.py",
    "rig/study/climate_fit.py",
    "rig/study/climate_model.py",
    "rig/twin/fabric.py",
    "tests/bench/study_choice.py",
)
COLUMNS = (
    *("sessions", "interval holds", "median half width, °", "pick best or within 0.3°"),
    *("the same, judged without the day's own shift", "with 5 hand readings of the pick"),
    *("ignores the weather", "ignores hysteresis", "knows the law, not the day", "provisional"),
)

BAGS, FACES = 6, ("slick", "grip")
WITHIN_DEG = 0.3
READING_SD_DEG = 0.4


def _faces(rng: np.random.Generator) -> dict[tuple[str, str], Face]:
    """Bags of one fabric kind for each face, each bag a little its own."""
    kinds = {
        "slick": Face(mu_static_dry=0.33, humidity_gain=rng.uniform(0.1, 0.4), settle_gain=0.02),
        "grip": Face(mu_static_dry=0.45, humidity_gain=rng.uniform(0.05, 0.3), settle_gain=0.02),
    }
    return {
        (f"bag {i}", face): msgspec.structs.replace(
            kind,
            mu_static_dry=kind.mu_static_dry + rng.normal(0.0, 0.03),
            humidity_gain=kind.humidity_gain * rng.uniform(0.8, 1.2),
        )
        for i in range(BAGS)
        for face, kind in kinds.items()
    }


class _Sitting(msgspec.Struct):
    humidity_pct: float
    temperature_c: float
    damp: bool
    hours: float
    shift: float
    """Relative, common to all faces."""


def _sitting(rng: np.random.Generator, low: float, high: float, mixed: bool) -> _Sitting:
    return _Sitting(
        humidity_pct=float(rng.uniform(low, high)),
        temperature_c=float(rng.uniform(16.0, 28.0)),
        damp=bool(rng.random() < 0.5) and mixed,
        hours=float(rng.uniform(4.0, 12.0)),
        shift=float(rng.normal(0.0, 0.015)),
    )


def _angle(face: Face, sitting: _Sitting, scatter: float) -> float:
    before = wetting_moisture(85.0 if sitting.damp else 15.0)
    moisture = moisture_after(face, before, sitting.humidity_pct, sitting.hours)
    mu, _ = coefficients(
        face, moisture=moisture, dwell_s=10.0, slides_before=20, scatter=sitting.shift + scatter
    )
    return degrees(atan(mu))


def _rows(
    faces: dict[tuple[str, str], Face], sittings: list[_Sitting], rng: np.random.Generator
) -> list[Row]:
    rows: list[Row] = []
    for s, sitting in enumerate(sittings):
        for (bag, side), face in faces.items():
            own = rng.normal(0.0, 0.5 * face.scatter_series)
            for k in range(2):
                series = own + rng.normal(0.0, face.scatter_series)
                for i in range(4):
                    scatter = series + rng.normal(0.0, face.scatter_run)
                    rows.append(
                        Row(
                            bag=bag,
                            face=side,
                            board="board",
                            stage="baseline",
                            session=f"s{s}",
                            series=f"s{s} {bag} {side} {k}",
                            onset_angle_deg=_angle(face, sitting, scatter),
                            slide_number=i + 1,
                            order=len(rows),
                            surface_humidity_pct=sitting.humidity_pct,
                            temperature_c=sitting.temperature_c,
                            damp_share=float(sitting.damp),
                        )
                    )
    return rows


def main() -> None:
    """Print the table, and write it if that is asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studies", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--held", action="store_true", help="every bag always comes from dry")
    parser.add_argument("--write", action="store_true", help="put the table into STUDY.md")
    given = parser.parse_args()
    name = "choice, always from dry" if given.held else "choice"
    table = Table("tests/bench/STUDY.md", name, INPUTS)
    table.show(lines_of(given), seed=given.seed, write=given.write)


def lines_of(given: argparse.Namespace) -> Iterator[str]:
    """Make the studies; the lines of the table in Markdown."""
    mixed = not given.held
    yield from columns(*COLUMNS)
    for n in (2, 3, 4, 5, 6, 8, 12):
        rng = np.random.default_rng(given.seed)
        held: list[bool] = []
        width: list[float] = []
        people = ("tool", "by law", "readings", "no weather", "no hysteresis", "law")
        good: dict[str, list[bool]] = {who: [] for who in people}
        provisional: list[bool] = []
        for _ in range(given.studies):
            faces = _faces(rng)
            sittings = [_sitting(rng, 30.0, 75.0, mixed) for _ in range(n)]
            rows = _rows(faces, sittings, rng)
            low = min(s.humidity_pct for s in sittings)
            high = max(s.humidity_pct for s in sittings)
            day = _sitting(rng, low, high, mixed)
            truth = {
                key: _angle(face, day, 0.5 * face.scatter_series * rng.normal())
                for key, face in faces.items()
            }
            wish = Wish(angle_deg=float(rng.uniform(min(truth.values()), max(truth.values()))))
            bags = {bag: BagInfo() for bag, _ in faces}
            air = Air(
                surface_humidity_pct=day.humidity_pct,
                temperature_c=day.temperature_c,
                damp_share=float(day.damp),
            )
            picks = {}
            model = fit_climate(rows, left_out=False)
            choice = choose(rows, bags, model, air, wish)
            picks["tool"] = (choice.candidates[0].bag, choice.candidates[0].face)
            seen = float(np.mean(truth[picks["tool"]] + rng.normal(0.0, READING_SD_DEG, 5)))
            reading = HandReading(
                bag=picks["tool"][0],
                face=picks["tool"][1],
                angle_deg=seen,
                n=5,
                u_reader_bias_deg=0.0,
                scatter_deg=READING_SD_DEG,
            )
            again = choose(rows, bags, model, air, wish, readings=[reading])
            picks["readings"] = (again.candidates[0].bag, again.candidates[0].face)
            for one in choice.candidates:
                held.append(one.lower_deg <= truth[one.bag, one.face] <= one.upper_deg)
                width.append(one.upper_deg - one.angle_deg)
            provisional.append(choice.provisional)
            blind = [msgspec.structs.replace(row, damp_share=None) for row in rows]
            other = choose(blind, bags, fit_climate(blind, left_out=False), air, wish)
            picks["no hysteresis"] = (other.candidates[0].bag, other.candidates[0].face)
            means = {
                key: sum(angles) / len(angles)
                for key in faces
                if (angles := [r.onset_angle_deg for r in rows if (r.bag, r.face) == key])
            }
            picks["no weather"] = min(means, key=lambda key: abs(means[key] - wish.angle_deg))
            mean_day = msgspec.structs.replace(day, shift=0.0)
            law = {key: _angle(face, mean_day, 0.0) for key, face in faces.items()}
            picks["law"] = min(law, key=lambda key: abs(law[key] - wish.angle_deg))
            best = min(abs(angle - wish.angle_deg) for angle in truth.values())
            nearest = min(abs(angle - wish.angle_deg) for angle in law.values())
            by_law = abs(law[picks["tool"]] - wish.angle_deg) <= nearest + WITHIN_DEG
            good["by law"].append(by_law)
            for who, key in picks.items():
                good[who].append(abs(truth[key] - wish.angle_deg) <= best + WITHIN_DEG)
        yield (
            f"| {n} | {100 * share(held):.1f} % | {median(width):.2f} | "
            + " | ".join(f"{100 * share(listed):.1f} %" for listed in good.values())
            + f" | {'yes' if all(provisional) else 'no' if not any(provisional) else 'some'} |"
        )


if __name__ == "__main__":
    main()
