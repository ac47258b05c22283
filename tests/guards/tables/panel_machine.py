"""Guards of the page: the desk that serves the machine, the link, the server's process, streams."""

from tests.guards.entry import Guard, always, change, inverted, limit, never, without

_DESK, _LINK, _SERVER, _STREAM, _SETUP = (
    f"rig.panel.{name}" for name in ("desk", "link", "server", "stream", "setup")
)
_LISTEN = "rig.panel.listen"
_REST, _IN_LINK, _IN_SERVER, _IN_STREAM = (
    f"tests/panel/test_{name}.py::" for name in ("desk_at_rest", "link", "server", "stream")
)

_KEPT = _REST + "test_nothing_begins_while_a_fault_is_kept_also_with_the_emergency_stop_released"
_FIRST = _REST + "test_the_first_fault_is_kept_and_its_notice"
_NO_FAULT = _REST + "test_a_reset_without_a_fault_does_nothing"
_RELEASED = _REST + "test_a_reset_needs_a_released_emergency_stop"
_DEAD = _REST + "test_a_reset_with_a_dead_sensor_keeps_the_fault_and_says_so"
_DOWN = _REST + "test_nothing_begins_with_the_emergency_stop_down"
_ON = _REST + "test_however_a_series_ends_the_machine_is_served_on"
_SIGNAL = _REST + "test_a_signal_in_a_series_ends_the_program"
_AT_REST = _REST + "test_a_signal_at_rest_ends_the_program_and_another_stop_does_not"
_BUSY = _REST + "test_while_a_series_is_made_it_is_said_to_be"
_TOLD = _REST + "test_what_a_series_tells_is_shown_and_said"
_NOTHING = _REST + "test_with_nothing_left_there_is_nothing_to_go_on_with"
_BUTTON = _REST + ("test_the_button_on_the_rig_resets_and_then_goes_on_with_what_is_unfinished")
_BEAT = _REST + "test_a_sign_of_life_is_given_every_20_ms"
_AGAIN = _REST + "test_a_sensor_that_fails_again_after_a_kept_fault_is_told_no_second_time"
_CUT = _REST + "test_a_run_that_was_cut_off_is_told_of_and_the_board_is_homed_slowly"
_LAST = _REST + "test_the_last_24_slides_of_the_last_series_are_shown_again"
_UNWRITTEN = _REST + "test_a_story_file_that_cannot_be_written_is_a_kept_fault"
_SENSOR = "tests/panel/test_desk.py::test_a_sensor_that_fails_at_rest_is_a_fault_with_what_to_do"

_MESSAGE = _IN_LINK + "test_a_message_may_have_65536_bytes"
_WISHES = _IN_LINK + "test_every_wish_arrives_as_what_it_is"
_SOON = _IN_SERVER + "test_a_server_that_ends_soon_begins_again_after_ever_longer_pauses"
_LIVED = _IN_SERVER + "test_a_server_that_has_lived_for_ten_seconds_begins_again_at_once"
_SPARE = _IN_SERVER + "test_another_server_waits_until_the_first_one_ends_and_is_told_what_is_known"
_HANGS = _IN_SERVER + "test_a_server_that_falls_silent_is_killed_and_replaced"
_IMPORTS = _IN_SERVER + "test_a_server_that_still_imports_is_not_silent"
_UNNEEDED = _IN_SERVER + "test_a_spare_that_nobody_needed_ends_with_the_server"
_KILLED = _IN_SERVER + "test_a_server_that_does_not_end_is_killed"
_KEYS = _IN_SERVER + "test_the_servers_process_hears_neither_the_terminal_nor_its_keys"
_REACHED = _IN_SERVER + "test_every_wish_reaches_the_desk"
_NONSENSE = _IN_SERVER + "test_a_message_that_makes_no_sense_ends_that_life_and_reaches_nobody"
_NO_WAIT = _IN_SERVER + "test_a_snapshot_is_never_waited_for"
_DROPPED = _IN_SERVER + "test_snapshots_that_nobody_takes_are_dropped"
_PORT = _IN_SERVER + "test_a_port_is_had_at_once_again_and_one_that_is_taken_is_told"
_HAD = _IN_SERVER + "test_each_life_is_told_first_of_the_rig_and_of_the_port_that_was_had"
_ELSEWHERE = _IN_SERVER + "test_only_an_open_page_is_to_be_reached_from_elsewhere"

_NEXT_LIFE = _IN_SERVER + "test_pairings_are_handed_to_the_next_life"
_TRIED = _IN_SERVER + "test_a_server_that_cannot_be_begun_is_tried_again"
_OVERTAKES = _IN_SERVER + "test_a_stop_overtakes_a_wish_that_is_held_up"
_CHANGED = _IN_STREAM + "test_a_new_page_gets_everything_and_then_only_what_changed"
_FULL = _IN_LINK + "test_a_machine_that_takes_no_message_is_never_waited_for"
_MISSED = _IN_STREAM + "test_a_slow_page_skips_what_it_missed_and_another_does_not"
_SECOND = _IN_STREAM + "test_something_is_sent_every_second"
_SILENT = _IN_STREAM + "test_a_snapshot_without_news_is_no_message"
_ROLES = _IN_STREAM + "test_who_has_the_controls_is_told_to_each_page_at_the_next_look"
_COUNTED = _IN_STREAM + "test_pages_are_counted_and_keep_the_controls"
_ENDS = _IN_STREAM + "test_streams_end_with_the_server_at_once"
_ONCE = _IN_STREAM + "test_equal_sections_are_worked_out_once_for_all_pages"
_OWN_UNITS = _IN_STREAM + "test_units_are_each_pages_own"

_STANDBY = "rig.procedures.standby"
_UNASKED = _REST + "test_a_start_from_the_page_begins_nothing_at_rest"
_PRESSED = "machine.inputs.emergency_stop_pressed"

_AT_THE_DESK: list[Guard] = [
    # -- what is kept, and what a reset needs
    never(_DESK, "Desk._may_move", "machine.latched is not None", _KEPT),
    never(_DESK, "Desk._may_move", _PRESSED, _DOWN),
    never(_DESK, "Desk._reset", "machine.latched is None", _NO_FAULT),
    never(_DESK, "Desk._reset", _PRESSED, _RELEASED),
    without(_DESK, "Desk._reset", "machine.reset()", _RELEASED),
    without(_DESK, "Desk._reset", "self._say(notice_of(error))", _DEAD),
    without(_DESK, "Desk._keep", "self._machine.latch(fault)", _FIRST),
    without(_DESK, "Desk._keep", "self._machine.enter('halted')", _RELEASED),
    change(_DESK, "Desk._keep", "self._machine.latched or fault", "fault", _FIRST),
    without(_DESK, "Desk._turn", "self._reset()", _RELEASED),
    always(_DESK, "Desk._turn", "self._may_move()", _KEPT, _DOWN),
    # -- how a series ends
    without(_STANDBY, "serve", "tell(stop)", _ON),
    without(_STANDBY, "serve", "tell(error)", _ON),
    without(_STANDBY, "serve", "settle()", _ON),
    change(_DESK, "Desk.serve", "self._say(notice_of(error))", "None", _ON),
    change(_DESK, "Desk._turn", "(True, None)", "(False, None)", _BUSY),
    change(_DESK, "Desk._turn", "(True, None)", "(True, viewer.notice)", _BUSY),
    without(_DESK, "Desk._settle", "self._viewer.is_busy = False", _ON),
    change(_DESK, "Desk._one", "isinstance(wish, SeriesWish) and wish.is_ready", "True", _KEPT),
    change(_DESK, "Desk._one", "wish.is_ready", "True", _ON),
    *(
        without(_DESK, "Desk._hooks", statement, _TOLD)
        for statement in (
            "viewer.begin_run(request)",
            "self._opened.write_truth(run.path)",
            "viewer.made_run(result)",
            "self._say(...)",
        )
    ),
    # -- wishes, the button, signals
    always(_STANDBY, "at_rest", "item.ends_program", _AT_REST),
    never(_STANDBY, "at_rest", "has_failed and machine.latched is None", _SENSOR),
    always(_STANDBY, "at_rest", "machine.latched is None", _AGAIN),
    never(_DESK, "Desk._idle", "self._machine.latched is not None", _BUTTON),
    always(_DESK, "Desk._idle", "self._viewer.unfinished", _BUTTON),
    never(_DESK, "Desk._open_series", "found is None", _NOTHING),
    change(
        _STANDBY, "at_rest", "None if isinstance(item, StartRequest) else item", "item", _UNASKED
    ),
    *(limit("rig.control.placing", "BUTTON_POLL_S", _BEAT, times=times) for times in (2, 0.5)),
    # -- what was before
    without(_DESK, "Desk._look_back", "self._machine.homes_slowly = True", _CUT),
    without(_DESK, "Desk._look_back", "self._say(...)", _CUT),
    without(_DESK, "Desk._look_back", "self._settle()", _CUT, _LAST),
    change(
        _DESK,
        "Desk._look_back",
        "sorted(...)[-KEPT:]",
        "sorted(self._log.series(last).counted.items())",
        _LAST,
    ),
    change(_DESK, "Desk._show", "RigError", "KeyError", _LAST),
    without(_DESK, "Desk._settle", "self._keep(fault)", _UNWRITTEN),
]

_BETWEEN: list[Guard] = [
    # Twice as much room for a message changes nothing that is sent.
    limit(_LINK, "MAX_MESSAGE", _MESSAGE, times=0.5),
    change(_LINK, "pair", "socket.SOCK_SEQPACKET", "socket.SOCK_STREAM", _WISHES),
    *(
        without(_LINK, f"Asker.{name}", f"self._send({kind}({what}))", _WISHES)
        for name, kind, what in (
            ("stop", "Stop", "who"),
            ("start", "Start", ""),
            ("series", "SeriesMessage", "form"),
            ("resume", "Resume", ""),
            ("reset", "Reset", ""),
            ("tell", "Tell", "text"),
        )
    ),
    *(limit(_SERVER, "PAUSE_S", _SOON, _LIVED, times=times) for times in (2, 0.5)),
    *(limit(_SERVER, "LONGEST_PAUSE_S", _SOON, times=times) for times in (2, 0.5)),
    *(limit(_SERVER, "SOON_S", _LIVED, times=times) for times in (1.02, 0.98)),
    *(limit(_SERVER, "STOP_S", _KILLED, times=times) for times in (2, 0.5)),
    change(_SERVER, "WebServer._work", "2 ** (n_soon - 2)", "1", _SOON),
    limit(_SERVER, "BEGIN_S", _HANGS),
    limit(_SERVER, "SILENT_S", _HANGS),
    change(_SERVER, "WebServer._pass_on", "BEGIN_S", "SILENT_S", _IMPORTS),
    without(_SERVER, "WebServer._pass_on", "self._keep_spare()", _SPARE),
    without(_SERVER, "WebServer._live", "server.process.kill()", _HANGS),
    change(_SERVER, "WebServer._live", "self._spare or self._begun()", "self._begun()", _SPARE),
    never(_SERVER, "WebServer._live", "self._latest is not None", _SPARE),
    change(_SERVER, "WebServer._keep_spare", "OSError", "KeyError", _SPARE),
    without(_SERVER, "WebServer.stop", "self._end(self._spare.process)", _UNNEEDED),
    without(_SERVER, "WebServer.stop", "self._spare.link.close()", _UNNEEDED),
    inverted(_SERVER, "WebServer._work", "time.monotonic() - begun_s > SOON_S", _LIVED),
    change(_SERVER, "WebServer._live", "msgspec.structs.replace(...)", "self._setup", _HAD),
    change(_SERVER, "WebServer._live", "self._kept", "None", _NEXT_LIFE),
    change(_SERVER, "WebServer._work", "Exception", "KeyError", _TRIED),
    # MOST_WISHES: room for more or fewer wishes changes nothing that is promised,
    without(_SERVER, "WebServer._pass_on", "self._desk.stop(message.who)", _REACHED, _OVERTAKES),
    change(
        _SERVER,
        "WebServer._pass_on",
        "self._wishes.put_nowait(message)",
        "self._wishes.put(message)",
        _OVERTAKES,
    ),
    change("rig.panel.link", "Asker._send", "socket.MSG_DONTWAIT", "0", _FULL),
    without(_SERVER, "WebServer._end", "process.kill()", _KILLED),
    change(_SERVER, "WebServer._spawn", "True", "False", _KEYS),
    *(
        change(_SERVER, "WebServer._spawn", "subprocess.DEVNULL", "None", _KEYS, nth=n)
        for n in (1, 2, 3)
    ),
    change(_SERVER, "WebServer.publish", "socket.MSG_DONTWAIT", "0", _NO_WAIT),
    change(_SERVER, "WebServer.publish", "OSError", "KeyError", _DROPPED),
    never(_SERVER, "WebServer.publish", "link is not None", _NO_WAIT),
    change(_SERVER, "WebServer._pass_on", "Exception", "KeyError", _NONSENSE),
    *(
        without(_SERVER, "WebServer._take", statement, _REACHED)
        for statement in ("desk.start()", "self._tell(text)")
    ),
    *(
        without(_SERVER, "WebServer._take", f"desk.wish({wish})", _REACHED)
        for wish in ("ResumeWish()", "ResetWish()")
    ),
    change(_SERVER, "WebServer._take", "form.ready", "False", _REACHED),
    without(_LISTEN, "listen", "listener.setsockopt(...)", _PORT),
    without(_LISTEN, "listen", "listener.close()", _PORT),
    change(_SETUP, "serve_panel", "EVERYWHERE if is_open else LOCAL", "EVERYWHERE", _ELSEWHERE),
    change(_SETUP, "serve_panel", "EVERYWHERE if is_open else LOCAL", "LOCAL", _ELSEWHERE),
]

_STREAMS: list[Guard] = [
    limit(_STREAM, "RETRY_MS", _CHANGED),
    *(limit(_STREAM, "QUIET_S", _SECOND, times=times) for times in (2, 0.5)),
    never(_STREAM, "Hub.stream", "now_s - sent_s >= QUIET_S", _SECOND),
    always(_STREAM, "Hub.stream", "now_s - sent_s >= QUIET_S", _SILENT),
    change(_STREAM, "Hub.stream", "float('-inf')", "loop.time()", _SECOND),
    without(_STREAM, "Hub.stream", "seen = parts.version", _SILENT),
    without(_STREAM, "Hub.stream", "seen_actions = may", _SILENT),
    never(_STREAM, "Hub.stream", "may != seen_actions", _ROLES),
    without(_STREAM, "Hub.stream", "self._seats.page_opened(token)", _COUNTED),
    without(_STREAM, "Hub.stream", "self._seats.page_closed(token)", _COUNTED),
    without(_STREAM, "Hub.stream", "self.watchers -= 1", _COUNTED),
    without(_STREAM, "Hub.close", "self._is_closing = True", _ENDS),
    without(_STREAM, "Hub.close", "self._wake()", _ENDS),
    without(_STREAM, "Hub.publish", "self._wake()", _SECOND),
    always(_STREAM, "Hub.sections", "self._rendered_of.get(units) is not snap", _ONCE),
    change(
        _STREAM, "Hub.sections", "self._rendered[units]", "self._rendered['metric']", _OWN_UNITS
    ),
    always(_STREAM, "_Sections.update", "snap.dots != self._dots", _ONCE),
    without(_STREAM, "_Sections.update", "self.version += 1", _CHANGED),
    without(_STREAM, "_Sections.update", "self._joined.clear()", _MISSED),
    always(_STREAM, "_Sections.since", "changed > version", _CHANGED),
    change(_STREAM, "Hub._wake", "asyncio.Event()", "self._tick", _SILENT),
]

ENTRIES: list[Guard] = [*_AT_THE_DESK, *_BETWEEN, *_STREAMS]
