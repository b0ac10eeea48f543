"""Joins the page to a run: the ears it adds to, the state it shows, the browser it opens in."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path

from assistant.ears.base import Ears
from assistant.ears.typed import TypedEars
from assistant.late_ears import LateEars
from assistant.screen.board import Board
from assistant.screen.pads import EarsAndPads, Pads, PadsOnly
from assistant.screen.server import Screen
from assistant.voice.base import Voice


class State:
    """What the ears and the voice are doing, for the page; asked from the server's thread."""

    def __init__(self, ears: Ears, voice: Voice, *, headset: bool) -> None:
        self._ears = ears
        self._voice = voice
        self._headset = headset

    def __call__(self) -> Mapping[str, object]:
        """Return ``ears`` (a label's key), and ``level`` and ``noise`` in dB of full scale where known."""
        return {
            "ears": self._word(),
            "level": getattr(self._ears, "level_db", None),
            "noise": getattr(self._ears, "noise_db", None),
        }

    def _word(self) -> str:
        if getattr(self._ears, "lost", False):
            return "mic-lost"
        if getattr(self._ears, "opening", False):
            return "opening"
        if self._voice.speaking:
            if not self._by_sound:
                return "speaking-headset"
            return "speaking" if not self._headset else "speaking-firm" if self._voice.firm else "speaking-headset"
        if not self._by_sound:
            return {PadsOnly: "pads", TypedEars: "typed"}.get(type(self._ears), "recordings")
        return "hears" if getattr(self._ears, "speaking", False) else "listening"

    @property
    def _by_sound(self) -> bool:
        return isinstance(self._ears, LateEars)


def attach(
    board: Board, ears: Ears, voice: Voice, *, lang: str, port: int, dpi: float | None, headset: bool
) -> tuple[Screen, EarsAndPads]:
    """Serve the page and return it with the ears that hear both; raises DeviceError."""
    pads = Pads(board)
    screen = Screen(board, pads, lang, dpi, State(ears, voice, headset=headset), port=port)
    screen.start()
    return screen, EarsAndPads(ears, pads)


def has_display() -> bool:
    """Whether there is a display to open a browser on, and the desktop's own opener."""
    shown = os.environ.get("WAYLAND_DISPLAY") or os.environ.get("DISPLAY")
    return bool(shown) and shutil.which("xdg-open") is not None


def font_trouble(lang: str) -> str:
    """Return one sentence when this machine can say that it has no font for the language, else ""."""
    if lang == "en" or shutil.which("fc-list") is None:
        return ""
    try:
        done = subprocess.run(
            ["fc-list", f":lang={lang}", "family"], capture_output=True, text=True, timeout=5, check=False
        )
    except (subprocess.TimeoutExpired, OSError):
        return ""
    if done.returncode or done.stdout.strip():
        return ""
    return f"No font for language {lang} is installed: the page would show empty boxes. Install fonts-noto-cjk."


def open_page(address: str) -> Path:
    """Open the page in the desktop's browser; returns the file to remove at the end.

    The address holds the run's token, and everybody on the machine may read the command line of a
    program; so the browser is given a file that only its owner can read, which leads to the page.
    """
    handle, name = tempfile.mkstemp(prefix="hitchcall-", suffix=".html")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(f'<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0; url={address}">')
    subprocess.Popen(
        ["xdg-open", name], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip
    return Path(name)
