"""The trainer's page: runs, one run, many runs; on this machine only, behind the cab page's guard."""

from __future__ import annotations

import io
import json
import secrets
import tempfile
import wave
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from assistant.debrief.folder import Folder, Run
from assistant.debrief.notes import NoteBook, TrainerNote
from assistant.debrief.payload import notes_data, page_data, run_head, run_row
from assistant.debrief.report_html import to_html
from assistant.debrief.run_report import run_report
from assistant.debrief.sound import RATE, Sounds, write_joined
from assistant.errors import HitchcallError, InputError
from assistant.screen.guard import POLICY
from assistant.screen.loopback import Loopback
from assistant.voice.clip import Clip

if TYPE_CHECKING:
    from assistant.debrief.many import Many  # only with the trainer's extra

PAGE: Final = Path(__file__).resolve().parent / "page"
FILES: Final = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
}
PLAYS: Final = POLICY.replace("img-src 'self'", "img-src 'self' blob:; media-src blob:")
"""The cab page's policy, and sound and pictures that the page fetched itself: they need the token too."""

MOST_BYTES: Final = 20_000  # of one note
Answer = Callable[[Request], Response]


@dataclass
class Debrief:
    """The page over one folder. ``many`` answers for many runs, where there is a store."""

    folder: Folder
    notes: NoteBook
    sounds: Sounds
    port: int = 0
    many: Many | None = None
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    def start(self) -> None:
        """Open the port (0: any) and serve; raises DeviceError when it cannot."""
        routes = [Route("/favicon.ico", lambda _request: Response(status_code=HTTPStatus.NO_CONTENT))]
        routes += [Route(path, self._file, methods=["GET"]) for path in FILES]
        asked: dict[str, Answer] = {
            "/api/runs": self._runs,
            "/api/run": self._run,
            "/api/jump": self._jump,
            "/api/sound": self._sound,
            "/api/heard": self._heard,
            "/api/notes": self._notes,
            "/api/report": self._report,
        }
        if self.many is not None:
            asked |= {"/api/runs": self.many.runs, "/api/view": self.many.view, "/api/table": self.many.table}
        routes += [Route(path, _plainly(answer), methods=["GET"]) for path, answer in asked.items()]
        routes.append(Route("/api/note", self._note, methods=["POST"]))
        self._loopback = Loopback(Starlette(routes=routes), self.port, self.token, PLAYS)
        self.port = self._loopback.port
        self._loopback.start()
        self.folder.warm()

    @property
    def address(self) -> str:
        """The address of the page, with the token that only this page has."""
        return self._loopback.address

    def close(self) -> None:
        """End the server and the voice."""
        self._loopback.close()
        self.sounds.close()

    # -- answers ----------------------------------------------------------------------------------
    async def _file(self, request: Request) -> Response:
        name, kind = FILES[request.url.path]
        return Response((PAGE / name).read_bytes(), media_type=kind)

    def _runs(self, _request: Request) -> Response:
        """The runs as they lie in the folder, where there is no store to list them from."""
        rows = [run_row(run, self.folder.checked(run)) for run in self.folder.all()]
        rows.sort(key=lambda row: (str(row["began"]), str(row["run"])), reverse=True)
        note = "Figures over many runs need the trainer's extra: pip install 'hitchcall[trainer]'."
        return JSONResponse({"folder": str(self.folder.path), "runs": rows, "views": [], "note": note})

    def _report(self, request: Request) -> Response:
        run = self._asked(request)
        report = run_report(self.folder, run, self.notes.read(run.name, run.folder))
        if request.query_params.get("format") == "pdf":
            from assistant.debrief.report_pdf import write_pdf  # noqa: PLC0415 - an optional extra

            out = io.BytesIO()
            write_pdf(report, out)
            return _attached(out.getvalue(), "application/pdf", f"{run.key}.pdf")
        return _attached(to_html(report).encode(), "text/html; charset=utf-8", f"{run.key}.html")

    def _run(self, request: Request) -> Response:
        run = self._asked(request)
        with self.folder.lock:
            log, told = self.folder.log(run)
            page = log.page(_number(request, "page"))
            head = run_head(self.folder, run, self.folder.checked(run), told)
            head["noteList"] = notes_data(self.notes.read(run.name, run.folder))
            return JSONResponse({**head, **page_data(page, self.folder.telling(run))})

    def _jump(self, request: Request) -> Response:
        run, start = self._asked(request), _number(request, "from")
        with self.folder.lock:
            log, _ = self.folder.log(run)
            look = log.find_back if request.query_params.get("way") == "back" else log.find
            page, number, found = look(start, lambda moment: moment.mistake)
        return JSONResponse({"page": page, "number": number, "found": found})

    def _sound(self, request: Request) -> Response:
        run, number = self._asked(request), _number(request, "number")
        with self.folder.lock:
            moment = self.folder.log(run)[0].moment(number)
        lang = run.opened.lang if run.opened else "en"
        clip = self.sounds.of(moment, lang, run.folder) if moment is not None else None
        if clip is None:
            raise InputError("There is no sound at that moment.")
        return Response(_wav(clip), media_type="audio/wav")

    def _heard(self, request: Request) -> Response:
        """The whole page of a run as one recording: what the driver heard, with what was kept of what they said."""
        run = self._asked(request)
        with self.folder.lock:
            page = self.folder.log(run)[0].page(_number(request, "page"))
        lang = run.opened.lang if run.opened else "en"
        shortened = request.query_params.get("pauses") == "shortened"
        with tempfile.TemporaryDirectory(prefix="hitchcall-heard-") as name:
            out = Path(name) / "heard.flac"
            write_joined(self.sounds, page.moments, lang, run.folder, out, shortened=shortened)
            return _attached(out.read_bytes(), "audio/flac", f"{run.key}-heard.flac")

    def _notes(self, request: Request) -> Response:
        run = self._asked(request)
        return JSONResponse(notes_data(self.notes.read(run.name, run.folder)))

    async def _note(self, request: Request) -> Response:
        body = b""
        async for chunk in request.stream():
            body += chunk
            if len(body) > MOST_BYTES:
                return _no("The note is too long.", HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        try:
            data = json.loads(body)
            return await run_in_threadpool(self._write, data)
        except (ValueError, TypeError, KeyError, RecursionError):
            return _no("That is no note.", HTTPStatus.BAD_REQUEST)
        except HitchcallError as error:
            return _no(str(error), HTTPStatus.UNPROCESSABLE_ENTITY)

    def _write(self, data: dict[str, object]) -> Response:
        run = self.folder.get(str(data["run"]))
        if "remove" in data:
            self.notes.remove(run.name, run.folder, int(str(data["remove"])))
        else:
            wall = datetime.now(UTC).isoformat(timespec="seconds")
            self.notes.add(run.name, run.folder, TrainerNote(int(str(data["moment"])), wall, str(data["text"])))
        return JSONResponse(notes_data(self.notes.read(run.name, run.folder)))

    def _asked(self, request: Request) -> Run:
        return self.folder.get(request.query_params.get("run", ""))


def _plainly(answer: Answer) -> Callable[[Request], Response]:
    """Tell an error a person can mend as one sentence; runs in a thread, for logs and databases are waited for."""

    def plainly(request: Request) -> Response:
        try:
            return answer(request)
        except HitchcallError as error:
            return _no(str(error), HTTPStatus.UNPROCESSABLE_ENTITY)

    return plainly


def _no(why: str, status: HTTPStatus) -> Response:
    return JSONResponse({"why": why}, status)


def _number(request: Request, name: str) -> int:
    text = request.query_params.get(name, "0")
    if not (text.isascii() and text.isdigit() and len(text) < 12):
        raise InputError(f'"{text}" is no number.')
    return int(text)


def _attached(data: bytes, kind: str, name: str) -> Response:
    return Response(data, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _wav(clip: Clip) -> bytes:
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(clip.pcm.astype("<i2").tobytes())
    return out.getvalue()
