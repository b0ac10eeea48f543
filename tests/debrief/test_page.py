"""The trainer's page in a real browser: by keyboard and by eye, with real logs, a real store and real sound."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import CONTRASTS, axe_faults, axe_source, needs_chromium

from assistant.debrief.server import Debrief
from tests.debrief.showing import SIZES, Open, chosen, go, open_mistakes

pytestmark = needs_chromium


@pytest.mark.parametrize("size", SIZES)
def test_every_view_fits_and_can_be_read(page: Debrief, show: Open, size: tuple[int, int], tmp_path: Path) -> None:
    """Promise: at a desk and on a tablet: nothing runs off the page, and all text has 4.5:1 (WCAG 2.2, 1.4.3)."""
    seen = show(page, size)
    titles = {"runs": "Runs", **{f"view/{name}": title for name, title in page.many.head()["views"]}}  # type: ignore[union-attr,misc]
    looked = 0
    for way, title in titles.items():
        go(seen, way, title)
        seen.wait_for_function("() => [...document.images].every((one) => one.complete)")
        seen.screenshot(path=tmp_path / f"{way.replace('/', '-')}-{size[0]}.png")
        assert seen.evaluate("document.documentElement.scrollWidth <= innerWidth"), way
        found = seen.evaluate(CONTRASTS)
        looked += len(found)
        assert [one for one in found if one["ratio"] < 4.5] == [], way
    open_mistakes(seen, page)
    seen.screenshot(path=tmp_path / f"run-{size[0]}.png")
    assert seen.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert [one for one in seen.evaluate(CONTRASTS) if one["ratio"] < 4.5] == []
    assert looked > 300


def test_keys_jump_from_refusal_to_refusal(page: Debrief, show: Open) -> None:
    """Promise: a trainer goes from mistake to mistake by one key, and reads why, by which rule, and what was told."""
    seen = show(page)
    open_mistakes(seen, page)
    assert "Refused" in chosen(seen)
    why = seen.locator(".why").inner_text()
    assert "DANGER" in why
    assert "Do not pull away. The air lines have not been seen off." in why
    assert "NAVFAC MO-403 par. 7.3" in why
    assert "As it stood: lines not seen." in why
    assert "before: Set the tractor parking brake." in seen.locator(".told-list").inner_text()
    seen.keyboard.press("n")
    assert "Raising the suspension was refused" in chosen(seen)
    seen.keyboard.press("n")
    assert "Coupling failed" in chosen(seen)
    assert "Facts believed until then" in seen.locator("#detail").inner_text()
    assert "gap: none" in seen.locator(".fact-list").inner_text()
    seen.keyboard.press("n")
    assert seen.locator("#status").inner_text() == "No later refusal."
    seen.keyboard.press("p")
    seen.keyboard.press("p")
    assert "Pulling away was refused" in chosen(seen)


def test_the_keyboard_alone_reaches_everything(page: Debrief, show: Open) -> None:
    """Promise: tab reaches the table, the run, its list and its notes; arrows walk the moments."""
    seen = show(page)
    seen.keyboard.press("Tab")
    assert seen.evaluate("document.activeElement.className") == "skip"
    for _ in range(60):
        seen.keyboard.press("Tab")
        if seen.evaluate("document.activeElement.closest('tbody') !== null"):
            break
    seen.keyboard.press("Enter")
    seen.wait_for_selector(".moments li")
    for _ in range(40):
        seen.keyboard.press("Tab")
        if seen.evaluate("document.activeElement.classList.contains('moments')"):
            break
    seen.keyboard.press("Home")
    assert "Log opened" in chosen(seen)
    seen.keyboard.press("ArrowDown")
    assert "Code given out" in chosen(seen)
    seen.keyboard.press("End")
    assert "Code given out" in chosen(seen)
    active = seen.locator(".moments").get_attribute("aria-activedescendant")
    assert seen.locator(f"#{active}").get_attribute("aria-selected") == "true"


def test_axe_finds_nothing(page: Debrief, show: Open) -> None:
    """Promise: a screen reader works: headings, table heads, names of controls (WCAG 2.2 A and AA), judged by axe-core."""
    source = axe_source()
    seen = show(page, bypass_csp=True)

    def faults() -> list[str]:
        # Contrast of 7:1 is the cab's rule, for rain and night; a desk has 4.5:1, measured above.
        return [one for one in axe_faults(seen, source) if not one.startswith("color-contrast-enhanced")]

    assert faults() == []
    for way, title in (("view/times", "Times"), ("view/person", "One and the group")):
        go(seen, way, title)
        assert faults() == [], way
    open_mistakes(seen, page)
    assert faults() == []


def test_the_table_sorts_and_filters(page: Debrief, show: Open) -> None:
    """Promise: the runs table sorts by a button that says its direction, and filters by words and by numbers."""
    seen = show(page)
    head = seen.get_by_role("columnheader", name="Length")
    head.get_by_role("button").click()
    assert head.get_attribute("aria-sort") == "descending"
    lengths = seen.locator("tbody tr td:nth-child(6)").all_inner_texts()
    assert lengths[0] == "44 min 40 s"
    head.get_by_role("button").click()
    assert head.get_attribute("aria-sort") == "ascending"
    seen.get_by_label("Filter Log").fill("not proven")
    assert seen.locator("tbody tr").count() == 1
    assert "was altered" in seen.locator("tbody tr").inner_text()
    seen.get_by_label("Filter Log").fill("")
    seen.get_by_label("Filter Failed couplings").fill(">= 1")
    assert seen.locator("tbody tr").count() == 2
    assert "2 of 10 rows" in seen.locator("caption").inner_text()
