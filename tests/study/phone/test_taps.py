"""A reader's delay and scatter, learned."""

import numpy as np

from rig.study.phone.taps import PRIOR, Beside, Tapped, reaction_of


def lifts(seed: int, delay_s: float, scatter_s: float, rates, groups: int = 4, each: int = 6):
    random = np.random.default_rng(seed)
    found, rig = [], {}
    for group in range(groups):
        angle = random.uniform(15, 30)
        key = (str(group),)
        rig[key] = Beside(angle + random.normal(0, 0.1), 0.1, 1.0)
        for number in range(each):
            rate = rates[number % len(rates)]
            late = random.normal(delay_s, scatter_s)
            at_tap = angle + random.normal(0, 0.15) + late * rate
            found.append(Tapped(key, at_tap, rate, 0.02))
    return found, rig


def test_nothing_to_learn_from_leaves_the_prior() -> None:
    single = [Tapped(("a",), 20.0, 1.0, 0.02)]
    assert reaction_of([], {}) == PRIOR
    assert reaction_of(single, {}) == PRIOR


def test_beside_a_rig_a_slow_reader_is_found_out() -> None:
    found = [reaction_of(*lifts(seed, 0.34, 0.05, (1.0, 2.0, 3.0))) for seed in range(20)]
    # The phone's own offset and friction that changes with the rate hide most of it.
    assert 0.257 < np.mean([one.delay_s for one in found]) < 0.34
    assert 0.85 < np.mean([one.u_delay_s for one in found]) / PRIOR.u_delay_s < 0.96
    misses = [(one.delay_s - 0.34) / one.u_delay_s for one in found]
    assert np.sqrt(np.mean(np.square(misses))) < 2.0


def test_repeats_at_several_paces_tell_the_scatter() -> None:
    calm, wild = (
        np.mean([reaction_of(lifts(s, 0.25, sd, (0.5, 3.0))[0], {}).scatter_s for s in range(10)])
        for sd in (0.03, 0.12)
    )
    assert calm < PRIOR.scatter_s < wild
    assert 0.075 < wild < 0.15


def test_repeats_alone_hardly_tell_a_delay_from_friction_that_changes_with_the_rate() -> None:
    found = reaction_of(lifts(1, 0.35, 0.05, (0.5, 3.0))[0], {})
    assert found.u_delay_s > 0.9 * PRIOR.u_delay_s
