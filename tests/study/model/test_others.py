"""Other studies beside one's own, against all slides of both in one piece of linear algebra."""

import numpy as np
from numpy.testing import assert_allclose

from rig.study.model.configurations import candidates
from rig.study.model.data import model_data
from rig.study.model.design import Key, design_of
from rig.study.model.fit import fit
from rig.study.model.gradient import with_gradient
from rig.study.model.likelihood import Likelihood
from rig.study.model.others import COMMON_SCALES, SHARED, Bound, reduced, with_others
from tests.study.model.example import slides_of

OWN = [
    *slides_of("A", "s1", [24.0, 24.2], humidity=40.0),
    *slides_of("T", "s1", [22.9, 23.2, 23.1], humidity=40.0),
    *slides_of("A", "s2", [24.6, 24.3], humidity=60.0, before=2, day=2),
]
THEIRS = [
    *slides_of("X", "s1", [26.0, 26.3], board="pine", humidity=45.0, rig="two"),
    *slides_of(f"{SHARED}T", "s1", [24.5, 24.2], board="pine", humidity=45.0, rig="two"),
    *slides_of("X", "s2", [25.2, 25.5], board="pine", humidity=70.0, rig="two", before=2, day=2),
    *slides_of(f"{SHARED}T", "s2", [23.4], board="pine", humidity=70.0, rig="two", before=2, day=2),
]
BOUND = reduced([model_data(THEIRS)])._replace(aliases={f"{SHARED}T": "T"})


def test_the_posterior_is_that_of_all_slides_together() -> None:
    """At fixed scales both ways are exact, so they must agree to rounding."""
    own = with_others(design_of(model_data(OWN)), BOUND, 0)
    likelihood = Likelihood(own, ())
    u = np.linspace(-0.4, 0.5, len(likelihood.names))
    point, parts = likelihood.solve(u)
    found = dict(zip((own.keys[i] for i in likelihood.active), point.mean * point.sd, strict=True))

    theirs = design_of(model_data(THEIRS))
    best = candidates(theirs)[0]
    at = best.shape.mode.copy()
    for scale in COMMON_SCALES:
        if scale in best.likelihood.names:
            at[best.likelihood.names.index(scale)] = BOUND.scales[scale][0]
    other, of_theirs = best.likelihood.solve(at)
    rows: list[dict[Key, float]] = []
    for row in of_theirs.xs / other.sd:
        entries: dict[Key, float] = {}
        for i, value in zip(best.likelihood.active, row, strict=True):
            key = theirs.keys[i]
            if key[0] == "level":
                entries[key] = value
                for name, sign in (("pine", value), ("board", -value)):
                    entries["board", name] = entries["board_face", name, "slick"] = sign
                entries["rigs", "rig two"], entries["rigs", "rig one"] = value, -value
            elif key[0] in ("bag", "bag_face") and key[1] == f"{SHARED}T":
                entries[key[0], "T", *key[2:]] = value
            elif key[0] in ("slope", "slope_face", "temperature"):
                entries[key] = value
            else:
                entries["theirs", *key] = value
        rows.append(entries)
    sd = dict(zip((own.keys[i] for i in likelihood.active), point.sd, strict=True))
    scales = zip((theirs.keys[i] for i in best.likelihood.active), other.sd, strict=True)
    # A shared bag's scatter is the own study's; what the others' study alone has keeps its own.
    sd |= {("theirs", *key): value for key, value in scales}
    keys = list(sd)
    n_own = len(model_data(OWN).series)
    x = np.zeros((n_own + len(rows), len(keys)))
    mine = [keys.index(own.keys[i]) for i in likelihood.active]
    x[:n_own, mine] = (parts.xs / point.sd)[:n_own]
    for i, entries in enumerate(rows):
        for key, value in entries.items():
            x[n_own + i, keys.index(key)] = value
    weight = 1.0 / np.concatenate([parts.variance[:n_own], of_theirs.variance])
    precision = x.T @ (x * weight[:, None]) + np.diag(1.0 / np.array(list(sd.values())) ** 2)
    # Settling within series is carried beside the rows.
    rest = np.concatenate([(parts.rest / parts.root)[:n_own], of_theirs.rest / of_theirs.root])
    towards = x.T @ (weight * rest)
    for place, design, values, key in (
        (keys.index(("settle",)), own, parts.values, ("settle",)),
        (keys.index(("theirs", "settle")), theirs, of_theirs.values, ("settle",)),
    ):
        assert key in design.keys
        precision[place, place] += design.within[0, 2] / values["run"] ** 2
        towards[place] += design.within[0, 3] / values["run"] ** 2
    direct = dict(zip(keys, np.linalg.solve(precision, towards), strict=True))
    for key, value in found.items():
        assert_allclose(value, direct[key], atol=1e-6, err_msg=str(key))


def test_the_gradient_is_that_of_the_density() -> None:
    likelihood = Likelihood(with_others(design_of(model_data(OWN)), BOUND, 0), ())
    u = np.linspace(-0.5, 0.5, len(likelihood.names))
    steps = 1e-5 * np.eye(len(u))
    density = np.array([likelihood.at(u + d).log_density for d in steps])
    density -= [likelihood.at(u - d).log_density for d in steps]
    assert_allclose(with_gradient(likelihood, u)[1], density / 2e-5, rtol=1e-4, atol=1e-4)


def test_nothing_of_others_changes_nothing() -> None:
    design = design_of(model_data(OWN))
    assert with_others(design, Bound(), 0) is design


def test_more_is_known_of_the_slope_and_where_a_rig_lies() -> None:
    alone, both = fit(model_data(OWN)), fit(model_data(OWN), bound=BOUND)
    assert np.std(both.slope("heron", "slick")) < 0.9 * np.std(alone.slope("heron", "slick"))
    # The same bag slides 1° later there, where rig and board cannot be told apart.
    offset = both.instrument_offset("rig two")
    together = offset + both.board_offset("pine", "slick") - both.board_offset("board", "slick")
    assert 0.4 < np.median(together) < 1.6
    assert np.std(offset) < np.std(both.scale("rigs") * 2.0**0.5 * np.random.default_rng(1).normal(
        size=both.n
    ))  # fmt: skip
    assert np.all(alone.instrument_offset("rig one") == 0.0)


def test_scales_take_the_others_for_their_prior() -> None:
    centre, spread = BOUND.scales["run"]
    assert spread < 1.0
    assert_allclose(BOUND.scales["reader_run"], (0.0, 1.0), atol=1e-9)
    twice = reduced([model_data(THEIRS), model_data(THEIRS)]).scales["run"]
    assert twice[1] < spread
    assert abs(twice[0]) > abs(centre)
    design = with_others(design_of(model_data(OWN)), BOUND, 0)
    assert design.scale_priors["run"] == (centre, spread)


def test_bags_that_nobody_named_as_shared_stay_apart() -> None:
    unshared = [
        *slides_of("T", "s1", [24.5, 24.2], board="pine", rig="two"),
        *slides_of("X", "s1", [26.0, 26.3], board="pine", rig="two"),
    ]
    keys = reduced([model_data(unshared)]).others[0].keys
    assert {key[0] for key in keys} <= {"level", "slope", "slope_face", "temperature"}


def test_a_shared_bag_that_they_treated_is_no_link() -> None:
    treated = [
        *slides_of(f"{SHARED}T", "s1", [24.5], board="pine", rig="two"),
        *slides_of(f"{SHARED}T", "s2", [23.0], board="pine", treated=["soak"], before=1, day=2),
    ]
    assert not any(key[0] == "bag" for key in reduced([model_data(treated)]).others[0].keys)


def test_the_same_rig_and_board_need_no_offset() -> None:
    same = [*slides_of("X", "s1", [26.0, 26.3]), *slides_of("Y", "s1", [25.0, 25.1])]
    design = with_others(design_of(model_data(OWN)), reduced([model_data(same)]), 0)
    assert not any(key[0] in ("rigs", "board") for key in design.keys)
