"""An invented evening by hand: bags read before and after a soak, all from a seed."""

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from rig.files.stamps import parse_utc, utc_text
from rig.study.folder.catalogue import Preferences
from rig.study.folder.journal import Reading, Treatment
from rig.study.folder.study import Study, new_study, open_study
from tests.study.folder_example import SOAK

NOW = parse_utc("2026-06-30T00:00:00Z")
CATALOGUE = """
[treatments.soak]
steps = [{ action = "soak", agent = "softener", temperature_c = 30, time_min = 45 }]

[boards.ash]

[targets.slick]
angle_deg = 17.5

[targets.grip]
angle_deg = 23
"""


def evening(
    path: Path,
    *,
    treated: int = 3,
    controls: int = 1,
    faces: tuple[str, ...] = ("slick", "grip"),
    effect_deg: float = -1.9,
    slides: int = 3,
    humidity_pct: tuple[float, float] = (48.0, 52.0),
    seed: int = 1,
) -> Study:
    """Bags `Quay 1`, `Quay 2` … on one board, read before and a day after; the last ones control.

    Scatter: bags 0.8°, faces 0.4°, sessions 0.3°, series 0.25°, slides 0.4°.
    """
    rng = np.random.default_rng(seed)
    study = new_study(path, "Quay club", Preferences(runs_per_series=slides))
    names = [f"Quay {i}" for i in range(1, treated + controls + 1)]
    words = [
        f'[bags."{name}"]\nmodel = "Quay"\nset = "Quay"\n'
        + ('treatment = "soak"\n' if i < treated else 'role = "control"\n')
        for i, name in enumerate(names)
    ]
    text = study.catalogue_path.read_text("utf-8")
    study.catalogue_path.write_text(text + CATALOGUE + "\n" + "\n".join(words), "utf-8")
    study = open_study(path)
    own = {
        (name, face): (18.5 if face == "slick" else 24.5) + bag + rng.normal(0, 0.4)
        for name, bag in zip(names, rng.normal(0, 0.8, len(names)), strict=True)
        for face in faces
    }
    begin = parse_utc("2026-06-01T18:00:00Z")
    for after, humidity in enumerate(humidity_pct):
        at = begin + timedelta(days=after)
        shift = rng.normal(0, 0.3)
        if after:
            study.note(
                *(
                    Treatment(
                        at=utc_text(at - timedelta(hours=6)),
                        bag=name,
                        stage="after 1",
                        recipe="soak",
                        steps=SOAK,
                    )
                    for name in names[:treated]
                ),
                now=NOW,
                simulated=True,
            )
        entries = []
        for place, (name, face) in enumerate(own):
            angle = own[name, face] + shift + rng.normal(0, 0.25)
            angle += effect_deg if after and name in names[:treated] else 0.0
            entries.append(
                _reading(
                    at + timedelta(minutes=4 * place),
                    name,
                    face,
                    humidity,
                    after,
                    [round(float(one), 1) for one in rng.normal(angle, 0.4, slides)],
                )
            )
        study.note(*entries, now=NOW, simulated=True)
    return open_study(path)


def _reading(
    at: datetime, bag: str, face: str, humidity: float, after: int, angles: list[float]
) -> Reading:
    return Reading(
        at=utc_text(at),
        bag=bag,
        face=face,
        board="ash",
        reader="Ada",
        stage="after 1" if after else "baseline",
        session=f"evening {after + 1}",
        angles_deg=tuple(angles),
        temperature_c=22.0,
        relative_humidity_pct=humidity,
    )
