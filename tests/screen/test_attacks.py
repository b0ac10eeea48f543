"""The page is closed: what is not this run's own page does nothing, counted against the log."""

from __future__ import annotations

import http.client
import json
import threading
import uuid
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from browser import CHROMIUM, needs_chromium

from assistant.engine.state import Phase
from assistant.screen.guard import HEADERS
from assistant.screen.server import MOST_BYTES, MOST_PAGES
from tests.screen.conftest import Cab, MakeCab, wait_for


def ask(
    cab: Cab, method: str, path: str, body: bytes | None = None, *, token: str | None = None, **headers: str
) -> tuple[int, dict[str, str], bytes]:
    """Send one request as this run's page would, with what is named changed ("-": left out)."""
    port = cab.screen.port
    sent = {
        "Host": f"127.0.0.1:{port}",
        "Origin": f"http://127.0.0.1:{port}",
        "Authorization": f"Bearer {cab.screen.token if token is None else token}",
        "Content-Type": "application/json",
        **{name.replace("_", "-"): value for name, value in headers.items()},
    }
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    for name, value in sent.items():
        if value != "-":
            link.putheader(name, value)
    if body is not None and "Transfer-Encoding" not in sent:
        link.putheader("Content-Length", str(len(body)))
    link.endheaders(body)
    answer = link.getresponse()
    found = answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read(4096)
    link.close()
    return found


def press(cab: Cab, phrase: str = "say-again", **more: str) -> bytes:
    """A press that counts, as JSON, with what is named changed."""
    name = cab.board.question.name
    return json.dumps({"id": uuid.uuid4().hex, "question": name, "phrase": phrase, **more}).encode()


FOREIGN_HOSTS = (
    "rebound.example", "127.0.0.1.rebound.example:{port}", "127.0.0.1", "127.0.0.1:80", "localhost.:{port}",
    "0.0.0.0:{port}", "[::1]:{port}", "127.1:{port}", "", "127.0.0.1:{port}@evil.example", "LOCALHOST:{port}x",
)  # fmt: skip
FOREIGN_ORIGINS = (
    "null", "http://evil.example", "http://localhost:{port}", "https://127.0.0.1:{port}", "http://127.0.0.1:8000",
    "http://127.0.0.1", "file://", "http://127.0.0.1:{port}.evil.example", "",
)  # fmt: skip


def test_a_rebound_name_gets_nothing(cab: MakeCab) -> None:
    """Hazard: a web page re-binds its name to this machine and presses pads (DNS rebinding)."""
    run = cab()
    records = run.records
    statuses = []
    for host in FOREIGN_HOSTS:
        named = host.format(port=run.screen.port)
        for method, path in (("GET", "/"), ("GET", "/events"), ("POST", "/press")):
            body = press(run) if method == "POST" else None
            statuses.append(ask(run, method, path, body, Host=named, Origin=f"http://{named}")[0])
    assert len(statuses) == 3 * len(FOREIGN_HOSTS)
    assert set(statuses) <= {400, 421}
    assert run.records == records


def test_another_origin_gets_nothing(cab: MakeCab) -> None:
    """Hazard: a hostile page in the same browser presses a pad or reads the run, even with the token."""
    run = cab()
    records = run.records
    statuses = []
    for origin in FOREIGN_ORIGINS:
        named = origin.format(port=run.screen.port)
        statuses.append(ask(run, "POST", "/press", press(run), Origin=named)[0])
        statuses.append(ask(run, "GET", "/events", Origin=named)[0])
    statuses.append(ask(run, "POST", "/press", press(run), Origin="-")[0])
    statuses += [ask(run, "GET", "/events", Sec_Fetch_Site=site)[0] for site in ("cross-site", "same-site", "none")]
    assert statuses == [403] * (2 * len(FOREIGN_ORIGINS) + 4)
    assert run.records == records


def test_without_the_token_nothing_is_told_or_taken(cab: MakeCab) -> None:
    """Hazard: another program or an old page of another run presses pads."""
    run = cab()
    records = run.records
    tokens = ("", "x", run.screen.token[:-1], run.screen.token + "x", run.screen.token.swapcase(), "Bearer", "é")
    statuses = [ask(run, "POST", "/press", press(run), token=one)[0] for one in tokens]
    statuses += [ask(run, "GET", "/events", token=one)[0] for one in tokens]
    statuses.append(ask(run, "POST", "/press", press(run), Authorization="-", Cookie=f"token={run.screen.token}")[0])
    statuses.append(ask(run, "GET", f"/events?token={run.screen.token}", Authorization="-")[0])
    assert statuses == [403] * 16
    assert run.records == records
    for path in ("/", "/page.js", "/page.css"):
        status, _, body = ask(run, "GET", path, token="", Origin="-")
        assert status == 200
        assert run.screen.token.encode() not in body


def test_every_answer_carries_the_policy(cab: MakeCab) -> None:
    """Promise: no foreign script, frame or form: the strict policy is on every answer, refusals too."""
    run = cab()
    for method, path, host in (
        ("GET", "/", ""), ("GET", "/page.js", ""), ("GET", "/none", ""), ("POST", "/press", ""), ("GET", "/", "evil"),
    ):  # fmt: skip
        changed = {"Host": host} if host else {}
        _, headers, _ = ask(run, method, path, b"" if method == "POST" else None, **changed)
        for name, value in HEADERS.items():
            assert headers[name.lower()] == value
        assert "access-control-allow-origin" not in headers
        assert "set-cookie" not in headers
    assert "unsafe" not in HEADERS["Content-Security-Policy"]
    assert "http:" not in HEADERS["Content-Security-Policy"]


BAD_BODIES: tuple[bytes, ...] = (
    b"", b"{", b"[]", b"null", b"1", b'"x"', b"\xff\xfe", b"[" * 400,
    b'{"id":"%s"}' % (b"a" * 20),
    b'{"id":"short","question":"q","phrase":"say-again"}',
    b'{"id":"aaaaaaaaaaaaaaaaaaaa","question":"q","phrase":1}',
    b'{"id":"aaaaaaaaaaaaaaaaaaaa","question":"q","phrase":"say-again","who":"mate"}',
    b'{"id":"aaaaaaaaaaaaaaaaaaaa","question":"q","phrase":"<number>"}',
    b'{"id":"aaaaaaaaaaaaaaaaaaaa","question":"q","phrase":"<number>","value":"1e5","unit":"psi"}',
    b'{"id":"aaaaaaaaaaaaaaaaaaaa","question":"q","phrase":"<number>","value":"-1","unit":"psi"}',
    b'{"id":"aaaaaaaaaaaaaaaaaaaa","question":"q","phrase":"say-again","value":"1","unit":"psi"}',
)  # fmt: skip


def test_what_is_no_press_is_refused_and_bounded(cab: MakeCab) -> None:
    """Hazard: a malformed or huge body stops the server or slips through."""
    run = cab()
    records = run.records
    assert [ask(run, "POST", "/press", body)[0] for body in BAD_BODIES] == [400] * len(BAD_BODIES)
    assert ask(run, "POST", "/press", b" " * (MOST_BYTES + 1))[0] == 413
    assert ask(run, "POST", "/press", press(run), Content_Type="text/plain")[0] == 415
    assert ask(run, "POST", "/press", press(run), Content_Type="application/x-www-form-urlencoded")[0] == 415
    chunked = b"".join(b"64\r\n" + b" " * 100 + b"\r\n" for _ in range(200)) + b"0\r\n\r\n"
    assert ask(run, "POST", "/press", chunked, Transfer_Encoding="chunked")[0] == 413
    for method in ("GET", "PUT", "DELETE", "OPTIONS"):
        assert ask(run, method, "/press")[0] == 405
    assert run.records == records
    assert ask(run, "POST", "/press", press(run))[0] == 202
    wait_for(lambda: run.records > records)


def test_a_replayed_press_counts_once(cab: MakeCab) -> None:
    """Hazard: a press that is sent again, by a flaky link or on purpose, counts twice."""
    run = cab()
    once = press(run)
    before = run.records
    statuses = [ask(run, "POST", "/press", once)[0] for _ in range(20)]
    assert statuses == [202] + [409] * 19
    wait_for(lambda: run.records > before)
    heard = run.log_count("heard")
    stop = press(run, "emergency-stop")
    assert [ask(run, "POST", "/press", stop)[0] for _ in range(20)] == [202] + [409] * 19
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)
    run.press("everyone-clear")
    wait_for(lambda: run.session.state.phase is not Phase.STOPPED)
    assert ask(run, "POST", "/press", stop)[0] == 409
    assert run.log_count("heard") == heard + 2


def test_a_press_for_an_earlier_question_is_refused(cab: MakeCab) -> None:
    """Hazard: a slow page answers a question that is no longer asked."""
    run = cab()
    old = [press(run, "tractor-clear"), press(run, "tractor-under"), press(run, "stand-by")]
    run.answer()
    records = run.records
    assert [ask(run, "POST", "/press", one)[0] for one in old] == [409] * 3
    assert ask(run, "POST", "/press", press(run, "parking-brake-set", question="0" * 16))[0] == 409
    # The stop counts whatever it was shown for.
    assert run.records == records
    assert ask(run, "POST", "/press", press(run, "emergency-stop", question="0" * 16))[0] == 202
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)


def test_a_forged_press_of_what_is_not_offered_is_refused(cab: MakeCab) -> None:
    """Hazard: a press names an answer that no pad stands for now, or a made-up one."""
    run = cab()
    records = run.records
    forged = ("jaw-closed", "read-back-right", "everyone-clear", "driving-off", "nothing", "", "<number>")
    more = {"<number>": {"value": "100", "unit": "psi"}}
    statuses = [ask(run, "POST", "/press", press(run, one, **more.get(one, {})))[0] for one in forged]
    assert statuses == [422] * len(forged)
    assert run.records == records


def test_a_flood_is_bounded_and_the_stop_gets_through(cab: MakeCab) -> None:
    """Hazard: a stuck pad or a hostile program floods the run and drowns the stop."""
    run = cab(a_second=5.0)
    records = run.records
    statuses: list[int] = []

    def flood() -> None:
        statuses.extend(ask(run, "POST", "/press", press(run))[0] for _ in range(60))

    threads = [threading.Thread(target=flood) for _ in range(4)]
    for thread in threads:
        thread.start()
    stopped = ask(run, "POST", "/press", press(run, "emergency-stop"))[0]
    for thread in threads:
        thread.join()
    assert stopped == 202
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)
    assert len(statuses) == 240
    assert set(statuses) <= {202, 409, 429}
    assert statuses.count(202) < 60
    assert run.log_count("heard") <= statuses.count(202) + 1
    assert run.records - records < 240


def test_a_bounce_is_no_answer_to_the_next_question(cab: MakeCab) -> None:
    """Hazard: a glove bounces, and the second touch answers what nobody has read."""
    run = cab(reading_time=0.5)
    first = run.board.question.name
    wait_for(lambda: ask(run, "POST", "/press", press(run, "tractor-clear"))[0] == 202)
    wait_for(lambda: run.board.question.name != first)
    status, _, body = ask(run, "POST", "/press", press(run, "parking-brake-set"))
    assert (status, json.loads(body)["fate"]) == (409, "too-soon")


def test_more_pages_than_needed_are_turned_away(cab: MakeCab) -> None:
    """Hazard: forgotten tabs use up what a press needs."""
    run = cab()
    links = []
    for _ in range(MOST_PAGES):
        link = http.client.HTTPConnection("127.0.0.1", run.screen.port, timeout=10)
        link.request("GET", "/events", headers={"Authorization": f"Bearer {run.screen.token}"})
        assert link.getresponse().status == 200
        links.append(link)
    assert ask(run, "GET", "/events")[0] == 503
    for link in links:
        link.close()


class Evil(BaseHTTPRequestHandler):
    """A hostile page on another port of the same machine, which has even learnt the token."""

    target = ""
    token = ""

    def do_GET(self) -> None:
        """Serve the page."""
        body = f"""<!doctype html><title>x</title><body><script>
        const to = '{self.target}', results = [];
        const body = JSON.stringify({{id: 'a'.repeat(20), question: 'q', phrase: 'emergency-stop'}});
        const tries = [
          () => fetch(to + '/press', {{method: 'POST', mode: 'no-cors', body}}),
          () => fetch(to + '/press', {{method: 'POST', mode: 'no-cors', body,
            headers: {{'Content-Type': 'text/plain'}}}}),
          () => fetch(to + '/press', {{method: 'POST', body, headers: {{'Content-Type': 'application/json',
            Authorization: 'Bearer {self.token}'}}}}),
          () => fetch(to + '/events', {{headers: {{Authorization: 'Bearer {self.token}'}}}}),
          () => fetch(to + '/', {{}}),
          () => navigator.sendBeacon(to + '/press', new Blob([body], {{type: 'text/plain'}})),
        ];
        (async () => {{ for (const one of tries) {{ try {{ const got = await one();
          results.push(got.type === 'opaque' ? 'opaque' : String(got.status ?? got)); }}
            catch {{ results.push('blocked'); }} }}
          const form = document.createElement('form'); form.method = 'post'; form.action = to + '/press';
          form.target = 'sink'; form.enctype = 'text/plain';
          const frame = document.createElement('iframe'); frame.name = 'sink'; document.body.append(frame, form);
          const inner = document.createElement('iframe'); inner.src = to + '/#{self.token}';
          document.body.append(inner);
          form.submit(); await new Promise((done) => setTimeout(done, 800));
          document.title = results.join(' '); }})();
        </script>""".encode()
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@pytest.fixture
def evil() -> Iterator[ThreadingHTTPServer]:
    """The hostile page's server."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Evil)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()


@needs_chromium
def test_a_hostile_page_in_the_same_browser_does_nothing(cab: MakeCab, evil: ThreadingHTTPServer) -> None:
    """Hazard: the driver's browser has a hostile page open beside ours. Eight ways in, none works."""
    sync = pytest.importorskip("playwright.sync_api", reason="playwright is not installed; run ./check")
    run = cab()
    records = run.records
    Evil.target, Evil.token = f"http://127.0.0.1:{run.screen.port}", run.screen.token
    with sync.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{evil.server_port}/")
        wait_for(lambda: page.title() != "x")
        results = page.title().split()
        frames = [frame for frame in page.frames if frame.url.startswith(Evil.target)]
        inside = [frame.locator("#sentence").count() for frame in frames]
        browser.close()
    # The beacon's "true" only says that it was sent.
    assert results == ["blocked"] * 5 + ["true"]
    assert sum(inside) == 0
    assert run.session.state.phase is not Phase.STOPPED
    assert run.records == records
