"""Every state of the page on every tablet: readable, touchable with a glove, usable without a pointer.

Pictures of each state go to the test's folder, or, all of them, to the folder HITCHCALL_PICTURES.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from browser import CONTRASTS, CUT_OFF, LOOKS, PADS, SIZES, THEMES, apart, axe_faults, axe_source, needs_chromium

from assistant.prepare import grammars, library, prepare
from assistant.screen.board import Board
from assistant.screen.labels import labels
from assistant.screen.pads import Pads
from assistant.screen.server import Screen
from tests.screen.conftest import wait_for
from tests.screen.scenes import Scene, scenes

pytestmark = needs_chromium

ALL = {
    lang: list(scenes(prepare(library(), grammars(), "couple", rig="cab-release", lang=lang), labels(lang)))
    for lang in ("en", "ko")
}
NAMES = [one.name for one in ALL["en"]]
NO_PADS = {"over"}


@dataclass
class Theatre:
    """One page that is shown scene after scene."""

    board: Board
    screen: Screen
    page: Any
    folder: Path
    status: dict[str, object]

    def play(self, scene: Scene) -> None:
        """Show a scene and press what leads to it."""
        self.status.clear()
        self.status.update(scene.status)
        self.look(*LOOKS[2], "night")
        if self.page.locator('html[data-mode="far"]').count():  # tests may come in any order
            self.page.locator("button").last.click()
        self.board.show(scene.shown)
        self.page.locator(f'html[data-record="{scene.shown.record}"]').wait_for(state="attached", timeout=10_000)
        for label in scene.presses:
            pad = self.page.locator("button", has_text=re.compile(f"^{re.escape(label)}$")).first
            if pad.count():  # what an earlier scene pressed may still hold
                pad.click()
        wait_for(lambda: self.page.locator("html").get_attribute("data-mode") == scene.mode)

    def look(self, size: str, tall: bool, theme: str) -> float:
        """Be that tablet, that way round, in that light; returns pixels a millimetre."""
        width, height, dpi = SIZES[size]
        self.page.set_viewport_size({"width": height, "height": width} if tall else {"width": width, "height": height})
        self.page.evaluate(
            "([mm, theme]) => { localStorage.setItem('px-per-mm', mm); localStorage.setItem('theme', theme);"
            " dispatchEvent(new Event('resize')); }",
            [str(dpi / 25.4), theme],
        )
        return dpi / 25.4

    def picture(self, scene: Scene, size: str, tall: bool, theme: str) -> None:
        """Keep a picture for whoever wants to look at it."""
        name = f"{scene.name.replace(' ', '-')}-{size}-{'tall' if tall else 'wide'}-{theme}.png"
        self.page.screenshot(path=self.folder / name)


def _theatre(chromium: Any, folder: Path, lang: str) -> Iterator[Theatre]:
    folder.mkdir(parents=True, exist_ok=True)
    board, status = Board(), {"ears": "listening"}
    screen = Screen(board, Pads(board), lang, None, lambda: dict(status))
    screen.start()
    context = chromium.new_context(bypass_csp=True)
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(screen.address)
    yield Theatre(board, screen, page, folder, status)
    context.close()
    screen.close()
    assert faults == []


def _pictures(tmp_path_factory: pytest.TempPathFactory, lang: str) -> Path:
    wanted = os.environ.get("HITCHCALL_PICTURES", "")
    return Path(wanted) / lang if wanted else tmp_path_factory.mktemp(f"pictures-{lang}")


@pytest.fixture(scope="module")
def english(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Theatre]:
    """The page in English."""
    yield from _theatre(chromium, _pictures(tmp_path_factory, "en"), "en")


@pytest.fixture(scope="module")
def korean(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Theatre]:
    """The page in Korean."""
    yield from _theatre(chromium, _pictures(tmp_path_factory, "ko"), "ko")


def fits_the_glove(page: Any, mm: float, *, none: bool) -> list[str]:
    """Return what is wrong with the pads and texts as they stand: too small, too near, cut off, off the screen."""
    pads, screen = page.evaluate(PADS), page.viewport_size
    wrong = [] if none or len(pads) >= 2 else [f"only {len(pads)} pads"]
    for index, pad in enumerate(pads):
        right, low = pad["x"] + pad["w"], pad["y"] + pad["h"]
        if min(pad["w"], pad["h"]) < 20 * mm - 0.1:
            wrong.append(f"{pad['name']} is {pad['w'] / mm:.1f} by {pad['h'] / mm:.1f} mm")
        if min(pad["x"], pad["y"]) < 0 or right > screen["width"] or low > screen["height"]:
            wrong.append(f"{pad['name']} is off the screen")
        if pad["type"] < 3 * mm:
            wrong.append(f"the text of {pad['name']} is {pad['type'] / mm:.1f} mm")
        if pad["cut"]:
            wrong.append(f"the text of {pad['name']} is cut off")
        near = [two["name"] for two in pads[index + 1 :] if apart(pad, two) < 6 * mm - 0.1]
        wrong += [f"{pad['name']} is too near to {two}" for two in near]
    return wrong + [f"{box} is cut off" for box in page.evaluate(CUT_OFF)]


@pytest.mark.parametrize("number", range(len(NAMES)), ids=NAMES)
def test_every_state_can_be_read_and_touched_on_every_tablet(english: Theatre, number: int) -> None:
    """Hazard: a gloved thumb hits the neighbour, or half a sentence is read, in the rain or at night.

    20 mm pads with 6 mm gaps in real millimetres, no text cut off, and 7:1 of contrast (WCAG 2.2, 1.4.6),
    measured in the page at three sizes, both ways round, in each light.
    """
    scene = ALL["en"][number]
    english.play(scene)
    wrong = []
    for at, (size, tall) in enumerate(LOOKS):
        lights = ("night", "day") if os.environ.get("HITCHCALL_PICTURES") else (("night", "day")[at % 2],)
        for theme in lights:
            mm = english.look(size, tall, theme)
            english.picture(scene, size, tall, theme)
        name = f"{size} {'tall' if tall else 'wide'}"
        wrong += [f"{name}: {one}" for one in fits_the_glove(english.page, mm, none=scene.mode in NO_PADS)]
    for theme in THEMES:
        english.look(*LOOKS[2], theme)
        found = english.page.evaluate(CONTRASTS)
        assert len(found) >= 3, "hardly anything stands on the page"
        wrong += [f"{theme}: {one['text']!r} has {one['ratio']:.1f}:1" for one in found if one["ratio"] < 7.0]
    assert wrong == []


@pytest.mark.parametrize("number", range(len(NAMES)), ids=NAMES)
def test_every_state_can_be_used_without_eyes_or_pointer(english: Theatre, number: int) -> None:
    """Promise: keyboard and screen reader work (WCAG 2.2 A and AA, contrast AAA), judged by axe-core."""
    english.play(ALL["en"][number])
    assert axe_faults(english.page, axe_source()) == []


@pytest.mark.parametrize("number", range(len(NAMES)), ids=NAMES)
def test_korean_fits_the_smallest_tablet(korean: Theatre, number: int) -> None:
    """Hazard: a longer language pushes pads off the screen or is cut; and no English label stands between."""
    scene = ALL["ko"][number]
    korean.play(scene)
    for tall in (False, True):
        mm = korean.look("small", tall, "night")
        korean.picture(scene, "small", tall, "night")
        assert fits_the_glove(korean.page, mm, none=scene.mode in NO_PADS) == []
    shown = korean.page.evaluate("document.body.innerText")
    latin = set(re.findall(r"[A-Za-z]{3,}", shown)) - {"Hitchcall", "psi", "kPa"}
    assert latin == set(), shown


def test_each_signal_word_can_be_read_in_each_light(english: Theatre) -> None:
    """Hazard: DANGER in a colour that the light washes out. Each of the four words, in each light."""
    english.play(ALL["en"][NAMES.index("a question with its hazard")])
    for theme in THEMES:
        english.look(*LOOKS[2], theme)
        for signal in ("danger", "warning", "caution", "notice"):
            english.page.evaluate(f"document.getElementById('band').dataset.signal = '{signal}'")
            assert [one for one in english.page.evaluate(CONTRASTS) if one["ratio"] < 7.0] == [], (theme, signal)

