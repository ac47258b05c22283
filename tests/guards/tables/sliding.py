"""Guards of the bounds on a bag that slides."""

from tests.guards.entry import Guard, change, limit

_SLIDING = "rig.sliding"
_HERE = "tests/test_sliding.py::test_"
_PASS = _HERE + "the_slowest_pass_is_that_of_the_formula"
_QUICKEST = _HERE + "the_slowest_and_the_quickest_slide"
_MACHINES = "tests/control/test_passage.py::test_a_bag_takes_no_less_and_no_more"
_OF_EDGES = "tests/analysis/test_edges.py::test_"
_TAKEN = _OF_EDGES + "how_long_a_pass_may_take"

ENTRIES: list[Guard] = [
    limit(_SLIDING, "G_MM_S2", _HERE + "standard_gravity", _PASS, times=1.01),
    *(
        limit(
            _SLIDING,
            "SHORTEST_PASS_S",
            _MACHINES,
            _OF_EDGES + "a_break_that_is_too_short_for_a_bag",
            times=times,
        )
        for times in (2.0, 0.5)
    ),
    limit(
        _SLIDING,
        "SLOWNESS",
        _PASS,
        _TAKEN,
        _OF_EDGES + "a_bag_that_stays_in_the_beam_for_too_long_does_not_slide",
    ),
    limit(_SLIDING, "SLOWNESS", _PASS, _TAKEN, _MACHINES, times=0.5),
    change(_SLIDING, "slide_time_s", "radians(rate_deg_s)", "rate_deg_s", _QUICKEST, _PASS),
    change(_SLIDING, "slide_time_s", "6.0", "2.0", _QUICKEST, _PASS),
    change(
        _SLIDING,
        "slide_time_s",
        "cos(radians(angle_deg))",
        "cos(radians(3.0 * angle_deg))",
        _QUICKEST,
    ),
    change(_SLIDING, "free_time_s", "2.0", "1.0", _QUICKEST),
    change(_SLIDING, "longest_pass_s", "0.5 * gap_mm", "gap_mm", _PASS, _TAKEN),
]
