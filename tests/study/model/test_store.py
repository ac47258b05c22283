from pathlib import Path

import numpy as np
import pytest

from rig.study.folder.study import open_study
from rig.study.model import fit as fitting
from rig.study.model.data import model_data
from rig.study.model.draws import Draws
from rig.study.model.store import NAME, draws_of, key_of, load, save
from rig.study.slides.results import FOLDER
from rig.study.slides.table import SlideTable
from tests.study.folder_example import make_study
from tests.study.model.example import slides_of

SLIDES = [
    *slides_of("T1", "s1", [24.0, 24.2]),
    *slides_of("T1", "s2", [23.0, 22.8], before=2, treated=["soak"], day=2),
]


def _same(one: Draws, other: Draws) -> bool:
    asked = [
        (
            d.angle("T1", "slick"),
            d.effect("soak", "heron", "slick"),
            d.steps_to("T1", "slick", "soak", 21.0),
        )
        for d in (one, other)
    ]
    return one.about == other.about and all(
        np.array_equal(a, b) for a, b in zip(*asked, strict=True)
    )


def test_kept_draws_answer_as_fresh_ones_and_damage_is_found(tmp_path: Path) -> None:
    data = model_data(SLIDES)
    draws, key, store = fitting.fit(data), key_of(data), tmp_path / "kept" / NAME
    save(store, key, draws)
    found = load(store, key)
    assert found is not None
    assert _same(draws, found)
    assert load(store, key_of(model_data(SLIDES[:-1]))) is None
    whole = store.read_bytes()
    for place in (0, 5, len(whole) // 2, len(whole) - 1):
        store.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert load(store, key) is None
    store.write_bytes(whole[:-1])
    assert load(store, key) is None
    store.write_bytes(b"")
    assert load(store, key) is None


def test_a_study_is_fitted_again_only_when_its_slides_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_study(tmp_path / "study")
    study = open_study(tmp_path / "study")
    fits = []

    def counted(data, **more):
        fits.append(1)
        return real(data, **more)

    real = fitting.fit
    monkeypatch.setattr(fitting, "fit", counted)
    table = SlideTable(list(SLIDES), [], {})
    first, second = draws_of(study, table), draws_of(study, table)
    assert len(fits) == 1
    assert _same(first, second)
    assert (study.path / FOLDER / NAME).is_file()
    more = SlideTable([*SLIDES, *slides_of("C1", "s2", [25.0], day=2)], [], {})
    draws_of(study, more)
    assert len(fits) == 2
