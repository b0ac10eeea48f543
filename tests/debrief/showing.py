"""Ways about the trainer's page in the browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from assistant.debrief.server import Debrief

SIZES = ((1280, 800), (800, 1100))
Open = Callable[..., Any]


def go(page: Any, way: str, title: str) -> None:
    """Open one of the page's views by its address."""
    page.evaluate(f"location.hash = '#/{way}'")
    page.wait_for_function("title => document.querySelector('h1')?.textContent === title", arg=title)


def open_run(page: Any, began: str = "2031-05-03 06:07", nth: int = 0) -> None:
    """Open a run from the table."""
    page.get_by_role("link", name=began).nth(nth).click()
    page.wait_for_selector(".moments li")


def with_mistakes_key(page: Debrief) -> str:
    """The key of the run with mistakes."""
    return page.many._folder.named("2031").key  # type: ignore[union-attr]


def open_mistakes(page: Any, made: Debrief) -> None:
    """Open the run with refusals and a failure."""
    go(page, f"run/{with_mistakes_key(made)}", "Couple the trailer")
    page.wait_for_selector(".moments li")


def chosen(page: Any) -> str:
    """The text of the moment that is chosen."""
    return str(page.locator('.moments li[aria-selected="true"]').inner_text())
