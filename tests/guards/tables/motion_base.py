"""Guards of the base: its frame, loads, yield and what tips it."""

from tests.guards.entry import Guard, change, limit

_BASE = "rig.motion.base_frame"
_FRAME = "rig.motion.space_frame"
_SIZING = "rig.motion.sizing"
_TESTS = "tests/motion/test_base_frame.py::test_"
_OUTSIDE = "tests/outside/test_space_frame.py::test_"
_FIGURE = "tests/motion/test_sizing_by_hand.py::test_each_figure"
_PLACES = _TESTS + "places_of_the_base"
_SECTIONS = _TESTS + "sections_of_the_base"
_PUSHES = _TESTS + "screw_and_weight_on_hinge_and_base_pivot"
_MOST = _TESTS + "most_along_the_floor_and_most_uplift_come_from_different_angles"
_TIPS = _TESTS + "what_tips_the_rig_when_raised"
_SINKS = _TESTS + "a_base_pivot_that_sinks_lowers_the_board_by_its_way_over_the_arm"
_WEAK = _OUTSIDE + "a_base_with_unbraced_posts_yields_by_030_deg"
_BEAM = _OUTSIDE + "a_beam_on_two_ends_with_a_load_off_the_middle"
_BAR = _OUTSIDE + "a_bar_in_tension_and_a_bar_in_torsion"
_BY_STEPS = f"{_FIGURE}[error of the angle by steps]"

ENTRIES: list[Guard] = [
    *(
        limit(_BASE, name, test)
        for name, test in (
            ("FOOT_MM", _PLACES),
            ("PANEL_MM", _SECTIONS),
            ("PANEL_INNER_MM", _PLACES),
            ("FOOT_Y_MM", _PLACES),
            ("RAIL_Y_MM", _PLACES),
            ("BOX_Y_MM", _PLACES),
            ("BAR_MM", _SECTIONS),
            ("STRIP_MM", _SECTIONS),
            ("YIELD_DEG", f"{_FIGURE}[yield of the base, at level]"),
            ("TIPPING_N", f"{_FIGURE}[push that tips it sideways]"),
        )
    ),
    change(_BASE, "loads", "push[1] - weight_n", "push[1]", _PUSHES),
    change(_BASE, "loads", "-push[1]", "push[1]", _PUSHES),
    change(_BASE, "figures_of", "abs(load.on_hinge[0])", "load.on_hinge[0]", _MOST),
    change(_BASE, "_lost_deg", "bx + pivot[0] - hinge[0]", "bx + pivot[0]", _WEAK),
    change(_BASE, "_lost_deg", "bz + pivot[2] - hinge[2]", "bz - hinge[2]", _SINKS),
    change(_BASE, "tipping_n", "cos(turn)", "1.0", _TIPS),
    change(_BASE, "tipping_n", "sin(turn)", "1.0", _TIPS),
    change(_BASE, "tipping_n", "x - lower", "x", _TIPS),
    change(_FRAME, "_stiffness", "length**3", "length**2", _BEAM),
    change(_FRAME, "rectangle", "e * area * tall_mm**2 / 12", "e * area * wide_mm**2 / 12", _BEAM),
    change(_FRAME, "rectangle", "g * torsion", "e * torsion", _BAR),
    change(_FRAME, "rectangle", "modulus_gpa * 1000", "modulus_gpa", _BEAM),
    change(
        _SIZING,
        "_angle_errors",
        "play + abs(cradle.slope_deg(at_sensor)) * part + base_deg",
        "play + abs(cradle.slope_deg(at_sensor)) * part",
        _BY_STEPS,
    ),
    change(
        _SIZING,
        "_figures",
        "base_frame.YIELD_DEG",
        "None",
        f"{_FIGURE}[yield of the base, at level]",
    ),
    change(_SIZING, "_figures", "max(yields) - min(yields)", "max(yields)", _BY_STEPS),
    change(_SIZING, "_tipping", "least", "None", f"{_FIGURE}[push that tips it sideways]", nth=2),
]
