"""The trainer's page is closed to whoever has no business there, and answers nonsense in a sentence."""

from __future__ import annotations

import http.client
import json

import pytest

from assistant.debrief.server import MOST_BYTES, PLAYS, Debrief

PATHS = (
    "/api/runs",
    "/api/run",
    "/api/view",
    "/api/table",
    "/api/sound",
    "/api/heard",
    "/api/report",
    "/api/notes",
    "/api/jump",
)


def ask(
    page: Debrief,
    path: str,
    *,
    method: str = "GET",
    body: bytes | None = None,
    token: str | None = None,
    **headers: str,
) -> tuple[int, dict[str, str], bytes]:
    """Send one request as the page would, with what is named changed ("-": left out)."""
    sent = {
        "Host": f"127.0.0.1:{page.port}",
        "Origin": f"http://127.0.0.1:{page.port}",
        "Authorization": f"Bearer {page.token if token is None else token}",
        **{name.replace("_", "-"): value for name, value in headers.items()},
    }
    link = http.client.HTTPConnection("127.0.0.1", page.port, timeout=20)
    link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    for name, value in sent.items():
        if value != "-":
            link.putheader(name, value)
    if body is not None:
        link.putheader("Content-Length", str(len(body)))
    link.endheaders(body)
    answer = link.getresponse()
    found = answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
    link.close()
    return found


def test_nothing_is_told_without_the_token_or_to_another_page(page: Debrief) -> None:
    """Hazard: another page in the browser, or a re-bound name, reads what drivers said."""
    changes = (
        {"token": ""}, {"token": "x"}, {"Origin": "http://evil.example"}, {"Origin": "null"},
        {"Host": "evil.example"}, {"Host": f"evil.example:{page.port}"}, {"Sec_Fetch_Site": "cross-site"},
    )  # fmt: skip
    statuses = {ask(page, path, **change)[0] for path in PATHS for change in changes}
    assert statuses == {403, 421}


def test_notes_are_taken_only_from_the_page(page: Debrief) -> None:
    """Hazard: a note in the trainer's name by another program or page."""
    key = next(iter(page.folder.places))
    body = json.dumps({"run": key, "moment": 1, "text": "x"}).encode()
    for change in ({"token": ""}, {"Origin": "-"}, {"Origin": "http://evil.example"}, {"Host": "evil"}):
        assert ask(page, "/api/note", method="POST", body=body, **change)[0] in {403, 421}
    assert ask(page, "/api/note")[0] == 405
    assert (
        not page.notes.folder.exists()
        or not list(page.notes.folder.iterdir())
        or all(b'"x"' not in path.read_bytes() for path in page.notes.folder.iterdir())
    )


def test_every_answer_carries_the_policy(page: Debrief) -> None:
    """Promise: no script but the page's own, no frame, no form, no address elsewhere."""
    for path in ("/", "/page.js", "/page.css", *PATHS, "/none"):
        status, headers, body = ask(page, path)
        assert headers["content-security-policy"] == PLAYS, (path, status)
        assert headers["x-frame-options"] == "DENY"
        assert "access-control-allow-origin" not in headers
        assert page.token.encode() not in body
    assert "'unsafe-" not in PLAYS
    assert PLAYS.count("blob:") == 2


@pytest.mark.parametrize(
    "path",
    [
        "/api/run?run=../../etc/passwd", "/api/run?run=", "/api/run?run=%00", "/api/sound?run=RUN&number=-1",
        "/api/sound?run=RUN&number=99999999", "/api/sound?run=RUN&number=1e9", "/api/run?run=RUN&page=x",
        "/api/view?name=none", "/api/view?name=times&practice=perhaps", "/api/view?name=times&first_month=2031-13",
        "/api/view?name=fast&walk=-5", "/api/view?name=fast&walk=1e99", "/api/table?name=times&table=99",
        "/api/table?name=times&format=exe", "/api/heard?run=none", "/api/report?run=none", "/api/jump?run=RUN&from=NaN",
    ],
)  # fmt: skip
def test_nonsense_is_answered_in_a_sentence(page: Debrief, path: str) -> None:
    """Promise: whatever stands in an address, the answer is a plain sentence and no file of the machine."""
    key = next(iter(page.folder.places))
    status, _, body = ask(page, path.replace("RUN", key))
    assert status == 422
    assert json.loads(body)["why"].endswith(".")


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[]", b"null", b'{"run":1}', b'{"run":"RUN"}', b'{"run":"RUN","moment":"x","text":"y"}']
)
def test_what_is_no_note_is_refused(page: Debrief, body: bytes) -> None:
    """Promise: nothing is written for what is no note."""
    key = next(iter(page.folder.places)).encode()
    status, _, answer = ask(page, "/api/note", method="POST", body=body.replace(b"RUN", key))
    assert status in {400, 422}
    assert json.loads(answer)["why"]


def test_an_endless_note_is_cut_off(page: Debrief) -> None:
    """Hazard: a huge body fills the memory."""
    assert ask(page, "/api/note", method="POST", body=b"x" * (MOST_BYTES + 1))[0] == 413
