"""The map's folder over https as a phone meets it: what is given out, what is not, and how it ends."""

from __future__ import annotations

import http.client
import json
import signal
import socket
import ssl

import pytest
from served import serving

from lakemap.cli.certificate import kept_certificate
from lakemap.cli.file_server import known_host
from lakemap.cli.main import run


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    "A finished map's folder with files that its record does not list: one beside, one behind a link."
    home = tmp_path_factory.mktemp("served")
    out = home / "out"
    out.mkdir()
    (out / "map.html").write_text("<!doctype html><title>lake</title>")
    (out / "private.txt").write_text("not listed")
    (home / "secret.csv").write_text("outside")
    (out / "link.csv").symlink_to(home / "secret.csv")
    listed = {name: {"bytes": 1, "sha256": ""} for name in ("map.html", "link.csv", "../secret.csv", "gone.tif")}
    (out / "summary.json").write_text(json.dumps({"format": 1, "files": listed}))
    return out


def answer(connection, path, method="GET", **headers):
    "Status, heads and body of one request, sent as written."
    connection.putrequest(method, path, skip_host="Host" in headers)
    for name, value in headers.items():
        connection.putheader(name, value)
    connection.endheaders()
    got = connection.getresponse()
    return got.status, got.headers, got.read()


def test_over_https_the_listed_files_and_nothing_else(folder, tmp_path):
    "The page at /, no listing, no file outside the record or the folder, by no spelling; Ctrl-C ends it with 0."
    kept = tmp_path / "keys" / "serve.pem"
    with serving(folder, "--certificate", str(kept)) as (port, said, process):
        assert kept.stat().st_mode & 0o777 == 0o600
        assert "https://localhost" in said and "position" in said and "Anybody in this network" in said
        trust = ssl.create_default_context(cafile=kept)
        line = http.client.HTTPSConnection("localhost", port, context=trust, timeout=20)
        status, heads, body = answer(line, "/")
        assert (status, body) == (200, (folder / "map.html").read_bytes())
        assert heads["Content-Type"].startswith("text/html") and heads["X-Content-Type-Options"] == "nosniff"
        assert answer(line, "/map.html?x=1")[0] == 200
        assert answer(line, "/map.html", "HEAD")[2] == b""
        for path in ("/private.txt", "/link.csv", "/../secret.csv", "/%2e%2e/secret.csv", "/gone.tif", "/.",
                     "/..%2fsecret.csv", "/nothing", "/%00", "/out"):
            assert answer(line, path)[0] == 404, path
        assert answer(line, "/", Host="evil.example")[0] == 421
        assert answer(line, "/", "POST")[0] == 501
        line.close()
        plain = http.client.HTTPConnection("localhost", port, timeout=20)
        status, heads, _ = answer(plain, "/")
        assert status == 307 and heads["Location"] == f"https://localhost:{port}/"
        with socket.create_connection(("127.0.0.1", port)) as silent:
            silent.sendall(b"\x16nonsense")
            process.send_signal(signal.SIGINT)
            assert process.wait(timeout=10) == 0
        assert process.stdout.read().strip() == "stopped" and process.stderr.read() == ""


def test_over_http_on_request(folder):
    "No certificate; it says that no position comes that way."
    with serving(folder, "--http") as (port, said, _):
        assert "http://localhost" in said and "gives no position" in said
        assert answer(http.client.HTTPConnection("127.0.0.1", port, timeout=20), "/")[0] == 200


def test_the_certificate_stays_until_it_no_longer_fits(tmp_path):
    "The same file again for the same names, so that the phone asks once; a new one for a new address or a broken file."
    file = tmp_path / "serve.pem"
    first = kept_certificate(file, ["localhost", "192.0.2.7"])[1]
    assert kept_certificate(file, ["localhost"])[1] == first
    second = kept_certificate(file, ["localhost", "192.0.2.8"])[1]
    assert second != first
    file.write_text("broken")
    assert kept_certificate(file, ["localhost"])[1] not in (first, second)


def test_names_of_this_computer_only():
    "Addresses and localhost, never a foreign name: such a page could read the map through the visitor's browser."
    assert all(known_host(name) for name in ("localhost:8443", "192.0.2.7:8443", "[::1]:8443", socket.gethostname()))
    assert not any(known_host(name) for name in ("evil.example", "localhost.evil.example", "", "192.0.2.7.evil"))


def test_wrong_use_is_one_line(folder, tmp_path, capsys):
    "No map in the folder; a port in use."
    assert run(["serve", str(tmp_path)]) == 1
    assert "make one with lakemap map" in capsys.readouterr().err
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        assert run(["serve", str(folder), "--http", "--address", "127.0.0.1", "--port", port]) == 1
    assert "choose another --port" in capsys.readouterr().err
