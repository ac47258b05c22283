"""Guards of the page: hosts, origins, safety headers, connections, and the server's own limits."""

from tests.guards.entry import Guard, always, change, limit, never, swapped, without

_GUARD, _WEB = "rig.panel.guard", "rig.panel.web"
_IN_GUARD, _IN_APP, _IN_WEB = (f"tests/panel/test_{name}.py::" for name in ("guard", "app", "web"))

_HOSTS = _IN_GUARD + "test_hosts_that_are_taken"
_ORIGINS = _IN_GUARD + "test_origins_that_are_taken"
_SITES = _IN_GUARD + "test_what_a_browser_says_of_its_page_counts_beside_the_origin"
_KINDS = _IN_GUARD + "test_kinds_of_bodies_that_are_taken"
_FEW = _IN_GUARD + "test_an_address_holds_24_connections_and_another_one_when_one_ends"
_FORGOTTEN = _IN_GUARD + "test_an_address_without_connections_is_forgotten"
_OWN = _IN_GUARD + "test_this_computers_own_names_are_short_and_in_lower_case"
_NO_BROWSER = _IN_GUARD + "test_a_client_that_is_no_browser_names_no_page"
_HEADERS = _IN_APP + "test_every_answer_carries_every_safety_header"

_HEAD = _IN_WEB + "test_a_head_has_16384_bytes_at_most"
_TEN = _IN_WEB + "test_a_connection_without_a_whole_request_after_ten_seconds_is_closed"
_SECOND = _IN_WEB + "test_a_second_request_has_ten_seconds_as_well"
_GONE = _IN_WEB + "test_a_device_that_has_gone_without_a_word_loses_its_place"
_ROOM = "tests/panel/test_guard.py::" + (
    "test_beyond_256_connections_only_paired_devices_find_room"
)
_WELCOME = "tests/panel/test_guard.py::" + (
    "test_32_addresses_of_paired_devices_are_remembered_the_latest_ones"
)
_ENDED = _IN_WEB + "test_a_connection_that_has_ended_is_not_closed_once_more"
_TURNED = _IN_WEB + "test_an_address_that_holds_too_many_connections_is_turned_away"
_HELD = _IN_WEB + "test_one_address_holds_24_connections_and_no_more"
_ALONE = _IN_WEB + "test_on_this_computer_alone_watching_pairs_under_the_ports_own_cookie"
_NETWORK = _IN_WEB + (
    "test_names_of_this_computer_and_addresses_are_taken_where_the_network_is_let_in"
)
_FORWARDED = _IN_WEB + "test_no_header_changes_the_address_that_guesses_are_counted_for"
_SILENT = "test_a_server_that_falls_silent_is_killed_and_replaced"
_FILELESS = _IN_WEB + "test_a_server_that_can_take_no_connection_any_more_ends"
_UNNEEDED = _IN_WEB + "test_a_spare_that_nobody_needed_ends_without_a_word"
_NAMELESS = _IN_WEB + "test_the_server_does_not_say_what_it_is_made_of"

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self';"
    " connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_NAMES = (
    "Content-Security-Policy",
    "X-Content-Type-Options",
    "X-Frame-Options",
    "Referrer-Policy",
    "Cross-Origin-Opener-Policy",
    "Cross-Origin-Resource-Policy",
    "Cache-Control",
)

ENTRIES: list[Guard] = [
    # -- whose page a request comes from
    never(_GUARD, "Guard.check_host", "name not in self._names and not ...", _HOSTS),
    always(_GUARD, "Guard.check_host", "name not in self._names", _HOSTS),
    always(_GUARD, "Guard.check_host", "self._any_address", _HOSTS),
    always(_GUARD, "Guard.check_host", "_is_address(name)", _HOSTS),
    change(_GUARD, "Guard.check_host", "'.'", "' '", _HOSTS, nth=1),
    change(_GUARD, "Guard.check_host", "421", "200", _HOSTS),
    change(_GUARD, "own_names", "socket.gethostname().lower()", "socket.gethostname()", _OWN),
    always(_GUARD, "Guard.check_origin", "origin is None", _ORIGINS),
    change(
        _GUARD,
        "Guard.check_origin",
        "headers.get('origin')",
        "headers.get('origin', '')",
        _NO_BROWSER,
    ),
    change(
        _GUARD,
        "Guard.check_origin",
        "origin.lower() == ...",
        "origin.lower().endswith(host)",
        _ORIGINS,
    ),
    never(_GUARD, "Guard.check_origin", "site not in ('same-origin', 'none')", _SITES),
    never(_GUARD, "Guard.check_origin", "not is_own", _ORIGINS, _SITES),
    change(_GUARD, "Guard.check_origin", "'none'", "'same-site'", _SITES),
    never(_GUARD, "Guard.check_json", "kind != 'application/json'", _KINDS),
    change(_GUARD, "Guard.check_json", "kind != 'application/json'", "'json' not in kind", _KINDS),
    change(
        _GUARD, "Guard.check_json", "....split(';')[0]", "headers.get('content-type', '')", _KINDS
    ),
    # -- headers of every answer
    *(change(_GUARD, "HEADERS", repr(name), repr(f"X-{name}"), _HEADERS) for name in _NAMES),
    *(
        change(_GUARD, "HEADERS", repr(_POLICY), repr(_POLICY.replace(old, new)), _HEADERS)
        for old, new in (
            ("default-src 'none'", "default-src 'self'"),
            ("script-src 'self'", "script-src 'self' 'unsafe-inline'"),
            ("frame-ancestors 'none'", "frame-ancestors *"),
        )
    ),
    change(_GUARD, "HEADERS", "'no-store'", "'max-age=60'", _HEADERS),
    # -- connections
    *(limit(_GUARD, "MAX_PER_ADDRESS", _FEW, times=times) for times in (2, 0.5)),
    never(_GUARD, "Doorkeeper.comes", "self._open[address] >= self._most", _FEW),
    without(_GUARD, "Doorkeeper.comes", "self._open[address] += 1", _FEW),
    without(_GUARD, "Doorkeeper.goes", "self._open[address] -= 1", _FEW),
    never(_GUARD, "Doorkeeper.goes", "self._open[address] <= 0", _FORGOTTEN),
    change(_WEB, "configured", "_protocol(door)", "H11Protocol", _HELD),
    never(_WEB, "_protocol.Kept.connection_made", "not door.comes(address)", _TURNED),
    without(_WEB, "_protocol.Kept.connection_made", "transport.abort()", _TURNED),
    swapped(
        _WEB,
        "_protocol.Kept.connection_made",
        "if not door.comes(address): ...",
        "self._address = address",
        _TURNED,
    ),
    without(_WEB, "_protocol.Kept.connection_lost", "door.goes(self._address)", _TURNED),
    # -- what takes too long or is too long
    *(limit(_GUARD, "REQUEST_S", _TEN, times=times) for times in (2, 0.5)),
    without(_WEB, "_protocol.Kept._look", "self.transport.abort()", _TEN),
    never(_WEB, "_protocol.Kept._look", "self.conn.their_state not in DAWDLING", _TEN),
    change(_WEB, "DAWDLING", "(h11.IDLE, h11.SEND_BODY)", "(h11.IDLE,)", _TEN),
    always(_WEB, "_protocol.Kept.data_received", "self.conn.their_state not in DAWDLING", _SECOND),
    without(_WEB, "_protocol.Kept.connection_lost", "self._timer.cancel()", _ENDED),
    *(limit(_GUARD, "UNHEARD_MS", _GONE, times=times) for times in (2, 0.5)),
    *(limit(_GUARD, "MAX_OPEN", _ROOM, times=times) for times in (2, 0.5)),
    *(limit(_GUARD, "MAX_KNOWN", _WELCOME, times=times) for times in (2, 0.5)),
    change(_GUARD, "Doorkeeper.comes", "address not in self._known", "True", _ROOM),
    without(_GUARD, "Doorkeeper.welcome", "self._known.move_to_end(address)", _WELCOME),
    limit(_WEB, "MAX_TOLD", _IN_WEB + "test_what_it_logs_goes_to_the_machine_and_no_terminal"),
    *(limit(_WEB, "MAX_HEAD", _HEAD, times=times) for times in (2, 0.5)),
    # -- how it ends
    without(_WEB, "serve", "desk.alive()", _IN_WEB + "test_it_shows_signs_of_life"),
    limit(_WEB, "ALIVE_S", "tests/panel/test_server.py::" + _SILENT),
    without(_WEB, "serve", "end.shutdown(socket.SHUT_RDWR)", _FILELESS),
    never(_WEB, "serve", "not first", _UNNEEDED),
    # -- what the server believes and tells
    change(_WEB, "configured", "False", "True", _FORWARDED, nth=2),
    change(_WEB, "configured", "False", "True", _NAMELESS, nth=3),
    without(_WEB, "serve", "server.should_exit = True", _ALONE),
    always(_WEB, "panel_of", "setup.is_open", _ALONE, nth=1),
    always(_WEB, "panel_of", "setup.is_open", _ALONE, nth=2),
    never(_WEB, "panel_of", "setup.is_open", _NETWORK, nth=1),
    never(_WEB, "panel_of", "setup.is_open", _NETWORK, nth=2),
    change(_WEB, "panel_of", "f'rig_panel_{setup.port}'", "'rig_panel'", _ALONE),
    never(_WEB, "serve", "setup.is_open", _FORWARDED),
    always(_WEB, "serve", "setup.is_open", _ALONE),
]
