"""Guards of what is gathered: nobody is named, nothing is doubled, nothing changed is believed."""

from tests.guards.entry import Guard, always, change, limit, never

_RUN, _KILLED = "tests/gather/test_run.py::test_", "tests/gather/test_killed.py::test_"
_TOKENS, _READ = "tests/gather/test_tokens.py::test_", "tests/gather/test_read.py::test_"
_SOURCES = "tests/gather/test_sources.py::test_"
_OTHERS = "tests/study/model/test_others.py::test_"
_NOBODY = _RUN + "nobody_is_named_in_the_dataset"
_MIX = _RUN + "tokens_of_another_secret_or_names_do_not_mix"
_COPY = _RUN + "a_copy_of_a_study_or_a_run_counts_once"
_PART = _KILLED + "a_part_that_was_changed_or_lost_is_made_again"
_CHANGED = _READ + "a_changed_part_is_never_believed"
_SAME_OPERATOR = _OTHERS + "the_same_operator_is_known_on_two_rigs"
_AS_LIKELY = _OTHERS + "scales_are_as_likely_as_all_slides_together_make_them"
_TOGETHER = _OTHERS + "the_posterior_is_that_of_all_slides_together"

ENTRIES: list[Guard] = [
    change(
        "rig.gather.tokens",
        "_make",
        "True",
        "False",
        _TOKENS + "the_secret_is_made_once_and_for_its_owner_alone",
    ),
    never(
        "rig.gather.tokens",
        "secret_key",
        "os.name == 'posix' and path.stat().st_mode & 0o077",
        _TOKENS + "a_secret_that_others_may_read_is_refused",
    ),
    never(
        "rig.gather.tokens",
        "secret_key",
        "len(key) != KEY_BYTES",
        _TOKENS + "a_damaged_secret_is_never_replaced",
    ),
    change(
        "rig.gather.tokens",
        "Tokens.person",
        "composed(name)",
        "name",
        _TOKENS + "a_token_belongs_to_a_name_and_a_secret",
    ),
    change("rig.gather.rows", "_row", "tokens.person(slide.reader)", "slide.reader", _NOBODY),
    change("rig.gather.rows", "_row", "tokens.person(slide.operator)", "slide.operator", _NOBODY),
    never("rig.gather.rows", "_row", "not tokens.with_names", _NOBODY),
    never(
        "rig.gather.run",
        "_is_known",
        "known.mark == one.file.mark != ''",
        _RUN + "a_second_gather_reads_nothing_and_changes_nothing",
    ),
    change(
        "rig.gather.run",
        "_is_known",
        "known.mark == one.file.mark != ''",
        "True",
        _RUN + "a_file_that_has_changed_is_read_again",
        _RUN + "a_file_that_can_t_be_opened_is_tried_again",
    ),
    change(
        "rig.gather.run",
        "_is_known",
        "known.code == analysis_version()",
        "True",
        _RUN + "another_analysis_reads_all_again",
    ),
    never(
        "rig.gather.run",
        "_entries",
        "done.code != analysis_version()",
        _RUN + "another_analysis_reads_all_again",
    ),
    never(
        "rig.gather.units",
        "renew_studies",
        "known is not None and known.journal_lines > len(one.study.journal.lines)",
        _RUN + "an_old_copy_never_replaces_what_was_gathered",
    ),
    never("rig.gather.units", "renew_studies", "other is not None", _COPY),
    never(
        "rig.gather.units",
        "renew_loose",
        "one.digest in taken or one.run_id in runs",
        _COPY,
    ),
    change(
        "rig.gather.units",
        "renew_loose",
        "key not in short",
        "True",
        _KILLED + "slides_outlive_a_damaged_index_whose_files_are_not_gathered_now",
    ),
    never(
        "rig.gather.dataset",
        "Dataset._open",
        "any(...)",
        _RUN + "a_folder_with_other_files_is_no_place_for_a_dataset",
    ),
    never("rig.gather.dataset", "check_tokens", "about.with_names != tokens.with_names", _MIX),
    never("rig.gather.dataset", "check_tokens", "about.secret != tokens.fingerprint", _MIX),
    change(
        "rig.gather.dataset",
        "is_sound",
        "_digest((slides / part.path).read_bytes()) == part.digest",
        "True",
        _PART,
    ),
    change(
        "rig.gather.dataset",
        "Dataset._settle",
        "path.name[:STEM] not in self._damaged",
        "True",
        _KILLED + "slides_outlive_a_damaged_manifest",
    ),
    never(
        "rig.gather.index",
        "Index._read",
        "_digest(data) != name.partition('-')[2].removesuffix('.msgpack')",
        _KILLED + "a_damaged_index_is_made_again",
    ),
    change(
        "rig.gather.sources",
        "GatherSource.__init__",
        "re.sub(...)",
        "url",
        _SOURCES + "passwords_in_an_address_are_not_told",
    ),
    never(
        "rig.gather.read",
        "rows_of_unit",
        "blake2b(data, digest_size=CHECK_BYTES).digest() != part.digest",
        _CHANGED,
    ),
    never(
        "rig.gather.read",
        "told_by",
        "unit.key in own",
        _READ + "others_are_all_studies_but_the_own_one",
    ),
    never(
        "rig.gather.read",
        "told_by",
        "any((s.source == 'twin' for s in slides)) and not table.is_simulated",
        _READ + "what_the_twin_invented_is_no_experience",
    ),
    never(
        "rig.gather.read",
        "_slides",
        "any((one.at < last[row['bag']] for one in done))",
        _READ + "a_bag_that_was_treated_before_the_others_saw_it_is_no_link",
    ),
    change(
        "rig.gather.read",
        "told_by",
        "(study, *older_studies(study))",
        "(study,)",
        _READ + "an_older_study_whose_experience_is_taken_counts_once",
    ),
    change(
        "rig.study.model.reduction",
        "_is_common",
        "key[1] not in treated",
        "True",
        _OTHERS + "a_shared_bag_that_they_treated_is_no_link",
    ),
    change(
        "rig.study.model.reduction",
        "_is_common",
        "key[1].startswith(SHARED)",
        "True",
        _OTHERS + "bags_that_nobody_named_as_shared_stay_apart",
    ),
    change("rig.study.model.others", "Bound._operators", "-1.0", "1.0", _SAME_OPERATOR),
    never(
        "rig.study.model.others",
        "Bound._operators",
        "not mine or ('operator', operator) in design.keys",
        _SAME_OPERATOR,
    ),
    change("rig.study.model.others", "Bound._columns", "-1.0", "1.0", _TOGETHER, nth=1),
    change("rig.study.model.others", "Bound._columns", "-1.0", "1.0", _TOGETHER, nth=2),
    change(
        "rig.study.model.reduction",
        "OtherStudy.at",
        "precision - np.eye(len(chosen))",
        "precision",
        _TOGETHER,
        _AS_LIKELY,
    ),
    change(
        "rig.study.model.reduction",
        "OtherStudy.at",
        "0.5 * (towards * mean[:, chosen]).sum(axis=1)",
        "0.0",
        _AS_LIKELY,
    ),
    change(
        "rig.study.model.reduction",
        "League.log_density",
        "0.5 * (towards * mean).sum(axis=1)",
        "0.0",
        _AS_LIKELY,
        _OTHERS + "studies_that_agree_in_a_slope_say_how_little_sessions_scatter",
    ),
    always(
        "rig.study.model.reduction",
        "_straightened",
        "not wear",
        _OTHERS + "what_they_threw_is_left_open",
    ),
    limit(
        "rig.study.model.reduction",
        "NOT_LENT",
        _OTHERS + "a_shared_bag_that_they_treated_is_no_link",
        times=0,
    ),
    change(
        "rig.study.model.gradient",
        "_Gradient.all",
        "(self.u - of.centre) / of.spread ** 2",
        "self.u",
        _OTHERS + "the_gradient_is_that_of_the_density",
    ),
    change(
        "rig.statistics.precision",
        "precision_of",
        "max(...)",
        "abs((s_d2 - s_r2) / each)",
        "tests/outside/test_precision.py::test_places_that_agree_too_well_do_not_scatter",
    ),
    change(
        "rig.statistics.precision",
        "precision_of",
        "s_l2 + s_r2",
        "s_l2",
        "tests/outside/test_precision.py::test_sulfur_content_of_coal",
    ),
]
