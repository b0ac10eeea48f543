"""Many runs on the trainer's page, in a real browser: figures, people, files, and the report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from browser import CONTRASTS, needs_chromium

from assistant.debrief.server import Debrief
from assistant.fleet import figures
from assistant.fleet.filters import Filter
from tests.debrief.showing import Open, go, open_mistakes

pytestmark = needs_chromium


def test_figures_on_the_page_are_the_stores(page: Debrief, show: Open) -> None:
    """Promise: what the page shows is what the figures say, number for number, masks as the word "masked"."""
    seen = show(page)
    go(seen, "view/fast", "Answered too fast")
    seen.get_by_label("Walking time, seconds").fill("12")
    seen.keyboard.press("Enter")
    seen.wait_for_function(
        "() => [...document.querySelectorAll('tbody tr')].some((row) => row.children[5].textContent === '12')"
    )
    store = page.many._views.store  # type: ignore[union-attr]
    found = figures.too_fast(store, 12, Filter())
    wanted = sorted(
        [str(one["step"]).replace("-", " "), *("masked" if one["masked"] else str(one[name]) for name in ("visits", "too_fast"))]
        for one in found.to_dict("records")
    )  # fmt: skip
    rows = seen.evaluate(
        "[...document.querySelectorAll('tbody tr')].map((row) => [...row.children].map((one) => one.textContent))"
    )
    assert sorted([row[1], row[3], row[6]] for row in rows) == wanted
    alt = seen.locator("figure img").first.get_attribute("alt")
    assert alt.startswith("Couple: answered too fast (out of a hundred answers). Most: ")
    assert seen.evaluate("document.querySelector('figure img').naturalWidth > 300")


def test_by_person_needs_the_tick(page: Debrief, show: Open) -> None:
    """Hazard: names on the wall by accident. Without the tick there is no call sign on any view."""
    seen = show(page)
    go(seen, "view/person", "One and the group")
    assert seen.locator("tbody tr").count() == 0
    assert "Yard A" not in seen.inner_text("body")
    seen.get_by_label("By person").check()
    seen.get_by_role("combobox", name="Call sign").select_option("Yard B")
    seen.wait_for_selector("text=Yard B and everybody, by step")
    assert seen.locator("tbody td.masked").count() > 20


def test_tables_and_reports_are_saved(page: Debrief, show: Open) -> None:
    """Promise: every table leaves as CSV and Parquet, every run as a report."""
    seen = show(page)

    def saved(name: str) -> bytes:
        with seen.expect_download() as waiting:
            seen.get_by_role("button", name=name).first.click()
        return Path(waiting.value.path()).read_bytes()

    text = saved("Save as CSV").decode()
    assert text.splitlines()[0].startswith("began,run,procedure")
    assert len(text.splitlines()) == 11
    assert saved("Save as Parquet").startswith(b"PAR1")
    open_mistakes(seen, page)
    assert b"Does the log stand up?" in saved("Report (HTML)")
    assert saved("Report (PDF)").startswith(b"%PDF")


def test_a_report_opens_without_any_network(page: Debrief, chromium: Any, tmp_path: Path) -> None:
    """Promise: the report asks nobody for anything and runs nothing, read in the browser with every way out watched."""
    from assistant.debrief.folder_report import folder_report
    from assistant.debrief.report_html import to_html

    many = page.many
    assert many is not None
    path = tmp_path / "report.html"
    path.write_text(to_html(folder_report(Path("Yard <b>"), many._views, 7, {})), encoding="utf-8")
    context = chromium.new_context(offline=True)
    seen = context.new_page()
    asked, faults = [], []
    seen.on("request", lambda request: asked.append(request.url))
    seen.on("console", lambda message: faults.append(message.text))
    seen.goto(path.as_uri())
    assert [one for one in asked if not one.startswith(("file:", "data:"))] == []
    assert faults == []
    assert seen.evaluate("[...document.images].every((one) => one.naturalWidth > 300)")
    assert seen.evaluate("document.images.length") >= 4
    assert "Runs in Yard <b>" in seen.inner_text("h1")
    told = seen.inner_text("main")
    assert "1 files are not proven" in told
    assert "a walk of 7 s" in told
    assert "Yard A" not in told
    assert [one for one in seen.evaluate(CONTRASTS) if one["ratio"] < 4.5] == []
    context.close()
