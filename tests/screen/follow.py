"""A run with its page open in a browser, and what the page showed."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Mapping
from typing import Any

from browser import CHROMIUM
from command_line import Ended

_WATCH = """() => { const html = document.documentElement; window.seen = [];
  const note = () => window.seen.push([Number(html.dataset.record), document.getElementById('sentence').innerText]);
  if (html.dataset.record) note();
  new MutationObserver(note).observe(html, {attributeFilter: ['data-record']}); }"""


Shown = list[tuple[int, str]]
"""Each record the page drew, with the sentence that stood there then."""


def run_followed(arguments: tuple[str, ...], environment: Mapping[str, str], seconds: float) -> tuple[Ended, Shown]:
    """Run the command with ``--screen --json``, open its page at once, and watch it to the end."""
    from playwright.sync_api import sync_playwright

    process = subprocess.Popen(
        [sys.executable, "-m", "assistant.cli", *arguments, "--screen", "--json"],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=dict(environment),
    )  # fmt: skip
    out: list[str] = []
    served = threading.Event()

    def read() -> None:
        assert process.stdout is not None
        for row in process.stdout:
            out.append(row)
            if "Screen: http" in row:
                served.set()
        served.set()

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        assert served.wait(seconds)
        address = next(json.loads(row)["notice"] for row in out if "Screen: http" in row).removeprefix("Screen: ")
        page.goto(address)
        page.evaluate(_WATCH)
        shown = _watch_to_the_end(page, seconds)
        browser.close()
    status = process.wait(60)
    reader.join(10)
    assert process.stderr is not None
    return Ended(status, "".join(out), process.stderr.read()), shown


def _watch_to_the_end(page: Any, seconds: float) -> Shown:
    from playwright.sync_api import Error

    try:
        page.locator('html[data-mode="ended"]').wait_for(state="attached", timeout=seconds * 1000)
    except Error as error:
        raise AssertionError(f"the page never told the end: {page.evaluate('window.seen')[-3:]}") from error
    return [(int(record), str(text)) for record, text in page.evaluate("window.seen")]
