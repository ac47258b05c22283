"""Guards of the study's page: whose state, air and instrument a drawn angle is for."""

from tests.guards.entry import Guard, change, limit, never

_PATHS, _PAGE = "tests/report/test_paths.py::test_", "tests/report/test_page.py::test_"
_EVIDENCE = "tests/report/test_evidence.py::test_"

ENTRIES: list[Guard] = [
    limit(
        "rig.report.figures_rig",
        "LEAST_PAIRS",
        "tests/report/test_drawn_rig.py::test_droop_lies_against_the_slide_in_the_readers_unit",
    ),
    change(
        "rig.report.paths",
        "_path",
        "then[-1]",
        "then[0]",
        _PATHS + "a_stage_is_as_it_was_at_its_end",
    ),
    never(
        "rig.report.paths",
        "_path",
        "applications == n_now",
        _PATHS + "a_way_goes_from_the_baseline_to_the_answers_own_angle",
    ),
    change(
        "rig.report.weather",
        "_expected",
        "angle + asked.draws.instrument_offset(row.instrument)",
        "angle",
        _PATHS + "a_readers_own_bias_is_taken_off",
    ),
    change(
        "rig.report.weather",
        "_band",
        "min(max(humid) + BEYOND_PCT, 100.0)",
        "max(humid) + BEYOND_PCT",
        _PATHS + "no_humidity_is_drawn_that_cannot_be",
    ),
    change(
        "rig.report.evidence",
        "_series_row",
        "not slide.valid",
        "True",
        _EVIDENCE + "slides_of_a_series_share_a_row_those_that_do_not_count_too",
    ),
    change(
        "rig.report.page",
        "render",
        "study / str(node)",
        "str(node)",
        _PAGE + "links_lead_to_the_run_files",
    ),
]
