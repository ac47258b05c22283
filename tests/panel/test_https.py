"""The page over TLS: a client that trusts this one certificate, and nothing else."""

import http.client
import json
import ssl
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.panel.phone_page import Server, served
from tests.panel.rig_example import wait_for
from tests.panel.study.club import make_club

pytest.importorskip("cryptography")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with served(make_club(tmp_path / "club").path, tmp_path, "--https") as server:
        wait_for(lambda: server.code, "the code")
        yield server


def ask(server: Server, context: ssl.SSLContext, host: str, method: str, path: str, **headers):
    connection = http.client.HTTPSConnection(host, server.port, context=context, timeout=20)
    try:
        body = headers.pop("body", None)
        sent = {key.replace("_", "-"): value for key, value in headers.items()}
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read()
    finally:
        connection.close()


def test_it_is_served_under_its_names_and_pairs_with_a_secure_cookie(
    server: Server, tmp_path: Path
) -> None:
    words = "".join(server.lines)
    assert "Install nothing for it" in words
    assert "Fingerprint (SHA-256)" in words
    assert "https://" in words
    assert "http://" not in words
    context = ssl.create_default_context(
        cafile=tmp_path / "configuration" / "rig" / "page-certificate.pem"
    )
    for host in ("localhost", "127.0.0.1"):  # the names are checked by the standard library
        status, _, page = ask(server, context, host, "GET", "/phone")
        assert status == 200
        assert b"Phone on the board" in page
    with pytest.raises(ssl.SSLCertVerificationError):
        ask(server, ssl.create_default_context(), "localhost", "GET", "/")

    plain = {"Content_Type": "application/json", "body": json.dumps({"code": server.code})}
    host = f"localhost:{server.port}"
    status, headers, _ = ask(
        server, context, "localhost", "POST", "/pair", Origin=f"http://{host}", **plain
    )
    assert status == 403, "a page without encryption is another site"
    status, headers, _ = ask(
        server, context, "localhost", "POST", "/pair", Origin=f"https://{host}", **plain
    )
    assert status == 202
    cookie = headers["Set-Cookie"]
    assert "; Secure" in cookie
    assert "HttpOnly" in cookie
