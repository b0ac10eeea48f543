"""From the decision, on the disk already, to the page that has drawn it, in a real browser."""

from __future__ import annotations

import shutil
import threading
import time
import uuid
from pathlib import Path

from assistant.engine.events import Heard, Measured
from assistant.engine.guide import reply
from assistant.engine.state import Phase
from assistant.journal.keys import tablet_key
from assistant.journal.records import Opened
from assistant.journal.writer import Writer
from assistant.prepare import Prepared
from assistant.screen.board import Board
from assistant.screen.pads import EarsAndPads, Pads, PadsOnly
from assistant.screen.server import Screen
from assistant.session import Session, Shown
from assistant.voice.play import SilentVoice

WATCH = """() => { window.seen = []; const html = document.documentElement;
  new MutationObserver(() => requestAnimationFrame(() =>
    window.seen.push([Number(html.dataset.record), (performance.timeOrigin + performance.now()) / 1000])
  )).observe(html, {attributeFilter: ['data-record']}); }"""


def decision_to_page(folder: Path, ready: Prepared, answers: int = 60) -> list[float]:
    """Return seconds from each decision to its drawing; empty where there is no browser."""
    program = shutil.which("chromium")
    if program is None:
        return []
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415 - for tests and benchmarks only
    except ImportError:
        return []
    key = tablet_key(folder / "keys")
    opened = Opened(
        run="page", program="0", procedure="couple", rig=ready.plan.rig, site=ready.plan.site, lang="en",
        ears="pads", voice="none", files={}, consent_audio=False, consent_words=True, key=key.public,
    )  # fmt: skip
    board, decided = Board(), {}
    pads = Pads(board, reading_time=0.0, a_second=1000.0)
    screen = Screen(board, pads)
    screen.start()

    def show(shown: Shown) -> None:
        decided[shown.record] = time.time()
        board.show(shown)

    writer = Writer.begin(folder / "logs", opened, key)
    session = Session(ready, writer, EarsAndPads(PadsOnly(), pads), SilentVoice(), show)
    threading.Thread(target=session.run, daemon=True).start()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(screen.address)
        time.sleep(1.0)
        page.evaluate(WATCH)
        for _ in range(answers):
            if session.state.phase is Phase.OVER:
                break
            told = reply(ready.plan, session.state).event
            press = {"id": uuid.uuid4().hex, "question": board.question.name}
            if isinstance(told, Measured):
                pads.press({**press, "phrase": "<number>", "value": str(told.value), "unit": str(told.unit)})
            elif isinstance(told, Heard):
                pads.press({**press, "phrase": told.phrase})
            time.sleep(0.3)
        seen = page.evaluate("window.seen")
        browser.close()
    screen.close()
    return [at - decided[int(record)] for record, at in seen if int(record) in decided]
