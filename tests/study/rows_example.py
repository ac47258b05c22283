"""Rows of invented studies, without noise unless asked for."""

from collections.abc import Sequence

import numpy as np

from rig.study.rows import BagInfo, Row

BAGS = {
    "T1": BagInfo(treatment="soak", set="heron"),
    "T2": BagInfo(treatment="soak", set="heron"),
    "T3": BagInfo(treatment="soak", set="heron"),
    "C1": BagInfo(role="control", set="dunlin"),
    "C2": BagInfo(role="control", set="dunlin"),
    "C3": BagInfo(role="control", set="dunlin"),
    "R": BagInfo(role="reference"),
}
STAGES = ("baseline", "after 1")
AIRS = (40.0, 60.0)
SLOPE = 0.05
LEVELS = {"T1": 20.0, "T2": 21.0, "T3": 22.0, "C1": 20.5, "C2": 21.5, "C3": 22.5, "R": 24.0}


def make_rows(
    *,
    effect_deg: float = 1.0,
    wear_deg: float = -0.3,
    bags: Sequence[str] = tuple(LEVELS),
    stages: Sequence[str] = STAGES,
    airs: Sequence[float] = AIRS,
    faces: Sequence[str] = ("slick",),
    boards: Sequence[str] = ("oak",),
    series: int = 2,
    runs: int = 3,
    noise_deg: float = 0.0,
    bag_noise_deg: float = 0.0,
    residue_deg: float = 0.0,
    seed: int = 1,
) -> list[Row]:
    """Every bag at every stage in every air; the reference runs first and last in a session."""
    rng, responding = np.random.default_rng(seed), np.random.default_rng(seed)
    rows: list[Row] = []
    order = [*(b for b in bags if b == "R"), *(b for b in bags if b != "R")]
    order += [b for b in bags if b == "R"]
    for stage in stages:
        later = stage != "baseline"
        responses = {bag: bag_noise_deg * responding.normal() for bag in bags}
        for air in airs:
            session = f"{stage} {air:.0f}"
            for place, bag in enumerate(order):
                last = bag == "R" and place > 0
                treated = bag.startswith("T")
                for f, face in enumerate(faces):
                    for b, board in enumerate(boards):
                        mean = LEVELS[bag] + 6.0 * f + 0.5 * b + SLOPE * (air - 50.0)
                        mean += responses[bag]
                        if later and bag != "R":
                            mean += wear_deg + (effect_deg if treated else 0.0)
                        if later and last:
                            mean += residue_deg
                        for k in range(1 if bag == "R" else series):
                            for i in range(runs):
                                rows.append(
                                    Row(
                                        bag=bag,
                                        face=face,
                                        board=board,
                                        stage=stage,
                                        session=session,
                                        series=f"{session} {place} {bag} {face} {board} {k}",
                                        onset_angle_deg=mean + noise_deg * rng.normal(),
                                        slide_number=i + 1,
                                        order=len(rows),
                                        surface_humidity_pct=air,
                                        temperature_c=22.0,
                                        run_id=f"run {len(rows)}",
                                    )
                                )
    return rows
