"""The trainer's page in a real browser: by keyboard and by eye, with real logs, a real store and real sound."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.debrief.folder import Folder
from assistant.debrief.notes import NoteBook
from assistant.debrief.server import Debrief
from assistant.debrief.sound import Sounds
from assistant.fleet import figures
from assistant.fleet.filters import Filter
from assistant.journal.keys import TabletKey
from tests.debrief.made import Made
from tests.screen.browser import CONTRASTS, axe_faults, axe_source
from tests.screen.conftest import CHROMIUM

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed; run ./check")
pytestmark = [
    pytest.mark.skipif(not CHROMIUM, reason="no Chromium on this machine; ./check installs it"),
    pytest.mark.xdist_group("browser"),
]
SIZES = ((1280, 800), (800, 1100))
EVIL = "<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
Open = Callable[..., Any]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """One browser for all tests here."""
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def show(chromium: Any) -> Iterator[Open]:
    """Open a page; whatever it complains of, the policy's own complaints included, fails the test."""
    contexts: list[Any] = []
    faults: list[str] = []

    def opened(made: Debrief, size: tuple[int, int] = SIZES[0], **more: Any) -> Any:
        context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, accept_downloads=True, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.goto(made.address)
        page.wait_for_selector("tbody tr")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


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


def test_a_run_that_is_not_proven_says_so_and_can_be_looked_at(page: Debrief, show: Open) -> None:
    """Hazard: a doctored log looks like any other. A banner stands over it; the altered line is marked."""
    seen = show(page)
    seen.get_by_role("link", name="fleet-001").click()
    seen.wait_for_selector(".moments li")
    assert seen.locator(".banner").first.inner_text().startswith("This log is not proven. Line ")
    assert seen.locator(".moments li.unproven").count() == 1
    assert "It claims (decided)" in seen.locator(".moments li.unproven").inner_text()


def test_a_note_is_kept_signed_and_shown_again(page: Debrief, show: Open) -> None:
    """Promise: a note is written at a moment, signed, shown after a reload, and can be taken back."""
    seen = show(page)
    open_mistakes(seen, page)
    seen.get_by_label("Note on this moment").fill(EVIL)
    seen.get_by_role("button", name="Save note, signed").click()
    seen.wait_for_selector(".remark")
    seen.reload()
    seen.wait_for_selector(".remark")
    assert seen.locator(".remark").inner_text().startswith(EVIL)
    assert "signed with your key" in seen.locator(".remark").inner_text()
    assert seen.title().startswith("Couple the trailer")
    seen.locator(".remark").get_by_role("button", name="Remove").click()
    seen.wait_for_selector(".remark", state="detached")


def test_markup_in_a_log_stays_text(show: Open, small: Made, tmp_path: Path, trainer: TabletKey) -> None:
    """Hazard: a typed line or a yard's name runs as script in the trainer's browser."""
    small.mumble(EVIL)
    made = Debrief(Folder(small.logs), NoteBook(tmp_path / "notes", trainer), Sounds(tmp_path / "voice"))
    made.start()
    try:
        seen = show(made)
        seen.locator("tbody a").first.click()
        seen.wait_for_selector(".moments li")
        assert EVIL in seen.locator(".moments").inner_text()
        assert seen.locator(".moments img, .moments script").count() == 0
        assert seen.title().startswith("Couple the trailer")
        assert "Figures over many runs need the trainer's extra" in seen.evaluate(
            "fetch('/api/runs', {headers: {Authorization: 'Bearer ' + sessionStorage.getItem('debrief-token')}})"
            ".then((answer) => answer.text())"
        )
    finally:
        made.close()


def test_a_moment_and_a_replay_are_heard(page: Debrief, show: Open) -> None:
    """Promise: play one moment, or the run from here at four times the pace with pauses shortened; it goes on by itself."""
    seen = show(page)
    seen.evaluate(
        "() => { window.played = []; const play = HTMLMediaElement.prototype.play; HTMLMediaElement.prototype.play = function () {"
        " this.addEventListener('ended', () => window.played.push([this.duration, this.playbackRate, this.preservesPitch]));"
        " return play.call(this); }; }"
    )
    open_mistakes(seen, page)
    seen.get_by_role("button", name="Play this moment").click()
    seen.wait_for_function("() => window.played.length === 1", timeout=30_000)
    seen.get_by_label("Speed").select_option("4")
    seen.get_by_label("Pauses").select_option("shortened")
    seen.keyboard.press("End")
    before = seen.locator(".moments li").count()
    seen.locator(".moments li").nth(before - 8).click()
    seen.get_by_role("button", name="Replay from here").click()
    seen.wait_for_function(
        "() => document.getElementById('status').textContent === 'The end of the run.'", timeout=60_000
    )
    played = seen.evaluate("window.played")
    assert len(played) >= 4
    assert {rate for _, rate, _ in played[1:]} == {4}
    assert all(pitch for _, _, pitch in played)
    assert all(length > 0.2 for length, _, _ in played)
    assert seen.get_by_role("button", name="Replay from here").is_visible()


def test_a_replay_stops_when_told(page: Debrief, show: Open) -> None:
    """Promise: a second press stops the replay, also in the middle of a pause."""
    seen = show(page)
    open_mistakes(seen, page)
    seen.keyboard.press("r")
    seen.wait_for_function("() => document.getElementById('status').textContent.startsWith('Replaying')")
    seen.keyboard.press("r")
    at = chosen(seen)
    assert seen.locator("#play").inner_text() == "Replay from here (R)"
    seen.wait_for_timeout(1200)
    assert chosen(seen) == at


def test_a_moment_is_chosen_in_the_drawing(page: Debrief, show: Open) -> None:
    """Promise: the drawn timeline leads to the moment that is pointed at."""
    seen = show(page)
    open_mistakes(seen, page)
    seen.locator(".timeline polygon.m.failure").click()
    assert "Coupling failed" in chosen(seen)
    assert seen.locator(".timeline .here").count() == 1
    words = seen.locator(".timeline text.word").all_text_contents()
    assert words == ["Refused", "Refused", "Failed"]


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


def test_a_long_run_comes_in_parts(show: Open, small: Made, tmp_path: Path, trainer: TabletKey) -> None:
    """Promise: a log of any length opens by parts, and the next refusal is found on a later one."""
    small.to("see-pin")
    small.say("raising-suspension")
    small.good()
    made = Debrief(Folder(small.logs, part=60), NoteBook(tmp_path / "notes", trainer), Sounds(tmp_path / "voice"))
    made.start()
    try:
        seen = show(made)
        seen.locator("tbody a").first.click()
        seen.wait_for_selector(".moments li")
        assert seen.locator(".moments li").count() == 60
        seen.keyboard.press("n")
        seen.wait_for_function("() => document.querySelector('.moments li.refusal[aria-selected=true]') !== null")
        assert "part 3" in seen.locator("#list-title").inner_text()
        seen.get_by_role("button", name="Earlier part").click()
        seen.wait_for_selector("text=Moments, part 2")
    finally:
        made.close()


def test_json_of_a_run_is_small_enough(page: Debrief) -> None:
    """Promise: a run's page is light: facts are sent only when they change."""
    from assistant.debrief.payload import page_data

    folder = page.folder
    run = folder.named("2031")
    sent = json.dumps(page_data(folder.log(run)[0].page(0), folder.telling(run)))
    assert len(sent) < 700_000
