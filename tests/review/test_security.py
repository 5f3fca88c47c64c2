"""What must not come in or get out, over real sockets."""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Iterator

import pytest

from crackmap import job
from tests.review.jobs import Served, a_job_folder, served

SCRIPT = "<script>alert('1')</script>"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server on a job folder whose own name is hostile."""
    folder = tmp_path_factory.mktemp("security") / "slab <img src=x onerror=alert(1)>"
    with served(a_job_folder(folder, cracks=2)) as running:
        yield running


def _raw(server: Served, text: bytes, wait: float = 5.0) -> bytes:
    """Bytes sent as they are, and what comes back until the server closes or `wait` seconds pass."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=wait) as line:
        line.sendall(text)
        answer = b""
        try:
            while more := line.recv(65536):
                answer += more
        except TimeoutError:
            pass
        return answer


def _change(server: Served) -> dict[str, object]:
    return {"version": server.job()["version"], "action": {"do": "refuse_key", "key": "K1"}}


@pytest.mark.parametrize("host", ["localhost:{port}", "evil.example", "evil.example:{port}", "127.0.0.1", "",
                                  "[::1]:{port}",
                                  "127.0.0.1:{port}.evil.example", "127.0.0.1:1"])
def test_a_wrong_host_is_refused(server: Served, host: str) -> None:
    named = host.format(port=server.port)
    for path in ("/job", "/", f"/open/{server.token}"):
        assert server.ask("GET", path, Host=named)[0] == 421
    assert server.ask("POST", "/change", _change(server), Host=named)[0] == 421


def test_no_host_or_two_are_refused(server: Served) -> None:
    cookie = f"Cookie: {server.cookie}\r\n\r\n".encode()
    own = f"Host: 127.0.0.1:{server.port}\r\n".encode()
    for head in (b"GET /job HTTP/1.0\r\n", b"GET /job HTTP/1.1\r\n" + own + b"Host: evil.example\r\n"):
        status = _raw(server, head + cookie).split(b" ", 2)[1]
        assert status in (b"400", b"421")


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://localhost:{port}",
                                    "http://127.0.0.1:1", "http://127.0.0.1", None])
@pytest.mark.parametrize("path", ["/change", "/try", "/undo", "/redo", "/solve", "/export"])
def test_a_post_from_elsewhere_is_refused(server: Served, path: str, origin: str | None) -> None:
    before = server.job()["version"]
    named = None if origin is None else origin.format(port=server.port)
    assert server.ask("POST", path, _change(server), Origin=named)[0] == 403
    assert server.job()["version"] == before


@pytest.mark.parametrize("cookie", [None, "", "crackmap-review=x", "crackmap-review-{port}=",
                                    "crackmap-review-{port}=wrong"])
@pytest.mark.parametrize(("method", "path"), [
    ("GET", "/"), ("GET", "/job"), ("GET", "/tile/0/0/0"), ("GET", "/page/index.html"), ("GET", "/plans"),
    ("GET", "/finished"), ("GET", "/finished/before"), ("GET", "/nothing"), ("POST", "/change"), ("POST", "/export")])
def test_nothing_without_the_secret(server: Served, method: str, path: str, cookie: str | None) -> None:
    given = None if cookie is None else cookie.format(port=server.port)
    status, content, _ = server.ask(method, path, {"version": 1} if method == "POST" else None, Cookie=given)
    assert status == 403 and b"K1" not in content


def test_a_wrong_opening_link_gives_no_cookie(server: Served) -> None:
    for token in ("", "x", server.token[:-1], server.token + "x"):
        status, _, headers = server.ask("GET", f"/open/{token}", Cookie=None)
        assert status == 403 and "set-cookie" not in headers


def test_other_sites_may_not_load_anything(server: Served) -> None:
    for site in ("cross-site", "same-site"):
        assert server.ask("GET", "/tile/0/0/0", Sec_Fetch_Site=site)[0] == 403
    assert server.ask("GET", "/job", Sec_Fetch_Site="same-origin")[0] == 200


@pytest.mark.parametrize("up", ["..", "%2e%2e", "%2E%2E%2F", "..%2f", "%252e%252e", "..\\", "%5c..%5c", "%00",
                                "....//"])
def test_no_path_reaches_the_disk(server: Served, up: str) -> None:
    cookie = f"Host: 127.0.0.1:{server.port}\r\nCookie: {server.cookie}\r\nConnection: close\r\n\r\n".encode()
    for base in ("/page/", "/page/x/", "/", "/tile/0/", "/finished/", "/open/"):
        for target in ("server.py", "job.json", "edits.json", "plan.json", "photo.jpg", "etc/passwd"):
            for path in (f"{base}{up}/{target}", f"{base}{up}{target}", base + f"{up}/" * 6 + target):
                answer = _raw(server, f"GET {path} HTTP/1.1\r\n".encode() + cookie)
                assert answer.split(b" ", 2)[1] in (b"403", b"404", b"400"), path
                assert b"root:" not in answer and b"schema" not in answer and b"import " not in answer


def test_absolute_paths_and_foreign_targets_are_not_served(server: Served) -> None:
    cookie = f"Host: 127.0.0.1:{server.port}\r\nCookie: {server.cookie}\r\nConnection: close\r\n\r\n".encode()
    for target in ("//etc/passwd", "/page//etc/passwd", "file:///etc/passwd", "http://evil.example/job", "*"):
        answer = _raw(server, f"GET {target} HTTP/1.1\r\n".encode() + cookie)
        assert b"root:" not in answer and not answer.startswith(b"HTTP/1.1 200") or b'"title"' in answer


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "HEAD", "CONNECT", "BREW"])
def test_only_get_and_post(server: Served, method: str) -> None:
    answer = _raw(server, f"{method} /job HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nCookie: {server.cookie}\r\n"
                          "Connection: close\r\n\r\n".encode())
    assert answer.split(b" ", 2)[1] in (b"405", b"400")
    assert b"access-control-allow" not in answer.lower()


def test_a_hundred_megabytes_are_refused_unread(server: Served) -> None:
    start = time.monotonic()
    answer = _raw(server, _head(server, "Content-Length: 104857600") + b"{" * 1000)
    assert b" 413 " in answer.split(b"\r\n")[0] and time.monotonic() - start < 4.0  # the rest is never waited for


def test_a_body_of_unsaid_length_is_cut_off(server: Served) -> None:
    piece = b"10000\r\n" + b"x" * 65536 + b"\r\n"
    answer = b""
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as line:
        line.sendall(_head(server, "Transfer-Encoding: chunked"))
        try:
            for _ in range(1600):  # a hundred megabytes, if it were let in
                line.sendall(piece)
        except (BrokenPipeError, ConnectionResetError):
            return  # closed under our hands, which is as good
        answer = line.recv(65536)
    assert b" 413 " in answer


def _head(server: Served, length: str) -> bytes:
    own = f"127.0.0.1:{server.port}"
    return (f"POST /change HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nCookie: {server.cookie}\r\n"
            f"Content-Type: application/json\r\n{length}\r\n\r\n").encode()


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"null", b"[" * 100_000, b'{"version": true}',
                                  b'{"version": 1e400}',
                                  b'{"version": "1"}', b"\xff\xfe", b'{"version": 1, "action": "x"}'])
def test_nonsense_is_one_sentence(server: Served, body: bytes) -> None:
    before = server.job()["version"]
    status, content, _ = server.ask("POST", "/change", body)
    assert status in (409, 422) and json.loads(content)["error"]
    assert server.job()["version"] == before


def test_a_form_cannot_post(server: Served) -> None:
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", None):
        assert server.ask("POST", "/change", _change(server), Content_Type=kind)[0] == 415


def test_scripts_in_names_and_notes_stay_text(server: Served) -> None:
    state = server.job()
    assert state["title"] == "slab <img src=x onerror=alert(1)>"
    area = [[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]]
    status, told = server.post("/change", state["version"],
                               {"do": "add_keep_out", "area": area, "from": "above", "note": SCRIPT})
    assert status == 200 and told["edits"]["keep_out"][-1]["note"] == SCRIPT
    _, content, headers = server.ask("GET", "/job")
    assert headers["content-type"].startswith("application/json") and headers["x-content-type-options"] == "nosniff"
    assert SCRIPT.encode() not in server.ask("GET", "/")[1]
    status, content, headers = server.ask("GET", f"/page/{SCRIPT}".replace(" ", "%20"))
    assert status == 404 and not headers["content-type"].startswith("text/html")


def test_a_dribbled_head_is_given_up(server: Served) -> None:
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
        start = time.monotonic()
        line.sendall(b"GET /job HTTP/1.1\r\n")
        for _ in range(15):
            try:
                line.sendall(b"X-A: b\r\n")
            except OSError:
                break
            time.sleep(1.0)
        assert time.monotonic() - start < 14.0  # the head may take ten seconds
    assert server.ask("GET", "/job")[0] == 200


def test_it_listens_on_the_loopback_only(server: Served) -> None:
    ours = {line.split()[1] for line in open("/proc/net/tcp").readlines()[1:]  # noqa: PTH123, SIM115
            if line.split()[3] == "0A" and int(line.split()[1].split(":")[1], 16) == server.port}
    assert ours == {f"0100007F:{server.port:04X}"}  # 127.0.0.1, as /proc/net/tcp writes it on a little-endian machine


def test_nothing_was_changed_by_all_that(server: Served) -> None:
    folder = server.running.args[4]  # type: ignore[index]
    assert len(job.read_edits(__import__("pathlib").Path(folder)).refused_keys) == 0
