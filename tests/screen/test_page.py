"""The cab page in a real browser: readable, touchable with gloves, and showing only what was decided."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pytest
from browser import PADS, apart, needs_chromium

from assistant.engine.events import Heard, Measured
from assistant.engine.guide import reply
from assistant.engine.state import Outcome, Phase
from assistant.journal.reader import LogReader
from assistant.journal.verify import State, verify
from assistant.phrases.live import Hearing
from tests.screen.conftest import Cab, ListEars, MakeCab, wait_for

pytestmark = needs_chromium

Open = Callable[..., Any]


@pytest.fixture
def show(chromium: Any) -> Iterator[Open]:
    """Open a run's page; every fault the page reports fails the test."""
    contexts: list[Any] = []
    faults: list[str] = []

    def opened(cab: Cab, size: tuple[int, int] = (1280, 800), theme: str = "night", **more: Any) -> Any:
        context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, **more)
        contexts.append(context)
        context.add_init_script(f"localStorage.setItem('theme', '{theme}')")
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(cab.screen.address)
        settled(page, cab)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def settled(page: Any, cab: Cab) -> None:
    """Wait until the page shows the last decision."""
    page.locator(f'html[data-record="{cab.board.latest}"]').wait_for(state="attached", timeout=10_000)


def mode(page: Any) -> str:
    """What the page is showing."""
    return str(page.locator("html").get_attribute("data-mode"))


def refuse(cab: Cab) -> None:
    """Have an act announced that must not come yet."""
    record, ears = cab.board.latest, ListEars()
    cab.session.ears.ears = ears  # type: ignore[attr-defined]
    ears.coming.append(Hearing("ear", "pulling away", phrase="pulling-away"))
    wait_for(lambda: cab.board.latest != record)


def test_the_sentence_from_afar_is_tall_enough_for_seven_metres(cab: MakeCab, show: Open) -> None:
    """Promise: the one sentence is readable from the step. MUTCD (2009) 2A.13: an inch of letter for 30 feet.

    Seven metres ask for 19.4 mm capitals; DejaVu Sans has capitals of 0.73 of its size. Checked for
    the question about the pin on a 10.1 inch tablet; longer ones get as large as they fit.
    """
    run = cab(dpi=149.0)
    page = show(run)
    run.to("see-pin")
    settled(page, run)
    page.get_by_role("button", name="More").click()
    page.get_by_role("button", name="Read from afar").click()
    size = page.evaluate("parseFloat(getComputedStyle(document.getElementById('sentence')).fontSize)")
    assert 0.73 * size / (149 / 25.4) >= 19.4
    assert page.get_by_role("button", name="STOP").is_visible()


def press_next(page: Any, cab: Cab) -> None:
    """Press in the page what a driver who does everything right would press."""
    told = reply(cab.prepared.plan, cab.session.state).event
    before = cab.board.question.name
    if isinstance(told, Measured):
        for digit in str(told.value):
            page.locator("#answers button", has_text=digit).first.click()
        page.locator("#session button", has_text=str(told.unit)).first.click()
    else:
        assert isinstance(told, Heard)
        page.locator(f'button[data-phrase="{told.phrase}"]').click()
    wait_for(lambda: cab.board.question.name != before)
    settled(page, cab)


def test_a_whole_coupling_by_pads_alone(cab: MakeCab, show: Open) -> None:
    """Promise: when the noise wins, a trailer can be coupled by pads alone, and the log is as good."""
    run = cab(dpi=149.0)
    page = show(run)
    assert mode(page) == "caution"
    page.get_by_role("button", name="I am parked. Go on").click()
    while run.session.state.phase is not Phase.OVER:
        press_next(page, run)
    wait_for(lambda: not run.thread.is_alive())
    assert run.session.state.outcome is Outcome.DONE
    assert verify(run.writer.folder).state is State.WHOLE
    heard = [one for one in LogReader(run.writer.folder) if one.kind == "heard"]
    assert {one.data["engine"] for one in heard} == {"pad"}
    assert mode(page) == "over"
    assert "Coupled and seen" in page.locator("#sentence").inner_text()


def test_a_critical_answer_needs_a_second_touch_elsewhere(cab: MakeCab, show: Open) -> None:
    """Hazard: one bounce of a glove says that the jaw is closed. The confirming pad is at another place."""
    run = cab(dpi=149.0)
    page = show(run)
    run.to("see-jaw")
    settled(page, run)
    answers = page.evaluate(PADS)
    closed = next(one for one in answers if one["phrase"] == "jaw-closed")
    middle = (closed["x"] + closed["w"] / 2, closed["y"] + closed["h"] / 2)
    page.mouse.click(*middle)
    wait_for(lambda: run.session.state.phase is Phase.CONFIRMING)
    settled(page, run)
    assert page.locator("#heard").inner_text().endswith("not counted yet")
    confirm = next(one for one in page.evaluate(PADS) if one["phrase"] == "read-back-right")
    for one in answers:
        if one["phrase"] in run.prepared.plan.steps[run.session.state.step].answers:
            assert apart(one, confirm) >= 6 * 149 / 25.4 - 0.1
    records = run.records
    for _ in range(5):
        page.mouse.click(*middle)
    assert run.records == records
    page.locator('button[data-phrase="read-back-right"]').click()
    wait_for(lambda: run.session.state.phase is not Phase.CONFIRMING)


def test_leaving_a_stop_needs_a_second_touch_elsewhere(cab: MakeCab, show: Open) -> None:
    """Hazard: work goes on after a stop because a glove bounced."""
    run = cab(dpi=149.0)
    page = show(run)
    page.get_by_role("button", name="STOP").click()
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)
    settled(page, run)
    first = next(one for one in page.evaluate(PADS) if one["phrase"] == "everyone-clear")
    for _ in range(4):
        page.mouse.click(first["x"] + first["w"] / 2, first["y"] + first["h"] / 2)
    assert run.session.state.phase is Phase.STOPPED
    second = next(one for one in page.evaluate(PADS) if one["phrase"] == "everyone-clear")
    assert apart(first, second) >= 6 * 149 / 25.4 - 0.1
    page.locator('button[data-phrase="everyone-clear"]').click()
    wait_for(lambda: run.session.state.phase is not Phase.STOPPED)


def test_a_refusal_fills_the_screen_with_its_reason(cab: MakeCab, show: Open) -> None:
    """Hazard: a refusal that nobody sees. Its reason is the largest thing there, and stop stays."""
    run = cab(dpi=149.0)
    page = show(run)
    run.answer()
    refuse(run)
    settled(page, run)
    assert mode(page) == "notice"
    assert page.locator("#signal-word").inner_text() == "DANGER"
    assert page.locator("#sentence").inner_text() == "Do not pull away. The air lines have not been seen off."
    assert [one["name"] for one in page.evaluate(PADS)] == ["STOP", "Understood. Say again"]
    page.get_by_role("button", name="Understood").click()
    wait_for(lambda: run.board.latest and mode(page) == "ask")
    assert page.locator("#sentence").inner_text() == "Set the tractor parking brake."


def test_a_reload_and_a_second_page_show_the_same(cab: MakeCab, show: Open) -> None:
    """Promise: the page is a view of the log; it catches up after a reload, and two pages agree."""
    run = cab(dpi=149.0)
    one, two = show(run), show(run, (800, 480))
    run.to("mounting")
    settled(one, run)
    settled(two, run)
    seen = one.locator("#sentence").inner_text()
    assert two.locator("#sentence").inner_text() == seen
    one.reload()
    settled(one, run)
    assert one.locator("#sentence").inner_text() == seen
    one.locator('button[data-phrase="mounting-sound"]').click()
    wait_for(lambda: run.step != "mounting")
    settled(two, run)
    assert two.locator("#sentence").inner_text() == one.locator("#sentence").inner_text() != seen


def test_typed_lines_and_the_page_take_turns(cab: MakeCab, show: Open) -> None:
    """Promise: typed lines, voice and pads end in the same place, and the page follows all of them."""
    ears = ListEars()
    run = cab(dpi=149.0, ears=ears)
    page = show(run)
    pads = 0
    while run.session.state.phase is not Phase.OVER:
        told, before = reply(run.prepared.plan, run.session.state).event, run.board.question.name
        if pads % 4 == 0 and isinstance(told, Heard) and mode(page) in {"ask", "confirm"}:
            press_next(page, run)
        elif isinstance(told, Heard):
            ears.coming.append(Hearing("typed", told.phrase, phrase=told.phrase))
        else:
            assert isinstance(told, Measured)
            run.press("<number>", value=str(Decimal(told.value)), unit=str(told.unit))
        wait_for(lambda before=before: run.board.question.name != before)
        settled(page, run)
        pads += 1
    assert run.session.state.outcome is Outcome.DONE
    engines = [one.data["engine"] for one in LogReader(run.writer.folder) if one.kind == "heard"]
    assert engines.count("pad") > 10
    assert engines.count("typed") > 10


def test_keyboard_alone_reaches_every_pad(cab: MakeCab, show: Open) -> None:
    """Promise: whoever cannot touch can tab and press Enter; the stop comes within reach."""
    run = cab(dpi=149.0)
    page = show(run)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    wait_for(lambda: mode(page) == "ask")
    names: set[str] = set()
    for _ in range(12):
        page.keyboard.press("Tab")
        names.add(str(page.evaluate("document.activeElement.textContent")))
    assert {one["name"] for one in page.evaluate(PADS)} <= names
    page.locator("button.stop").focus()
    page.keyboard.press("Enter")
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)


def test_a_page_that_is_cut_off_says_so_and_offers_nothing(cab: MakeCab, show: Open) -> None:
    """Hazard: a frozen page that looks alive. Without the program nothing counts, and the page says it."""
    run = cab(dpi=149.0)
    page = show(run)
    run.answer()
    settled(page, run)
    # The program dies without a word: no "ended", the connection just breaks.
    run.screen._loopback.server.force_exit = True
    run.screen._loopback.server.should_exit = True
    wait_for(lambda: mode(page) == "lost")
    assert page.evaluate(PADS) == []
    assert "Nothing counts" in page.locator("#sentence").inner_text()


def test_a_line_that_was_not_heard_is_said_to_stand_on_the_screen(cab: MakeCab, show: Open) -> None:
    """Hazard: the loudspeaker fails and nobody knows that a hazard was not spoken."""
    from tests.screen.voices import FailingVoice

    run = cab(dpi=149.0, voice=FailingVoice())
    page = show(run)
    wait_for(lambda: "Not spoken" in page.locator("#trouble").inner_text())
    assert "loudspeaker takes no more sound" in page.locator("#trouble").inner_text()
    spoke = [one for one in LogReader(run.writer.folder) if one.kind == "spoke"]
    assert spoke[0].data["complete"] is False


def test_decisions_reach_the_page_in_the_time_of_a_glance(cab: MakeCab, show: Open) -> None:
    """Promise: twenty decisions on end are all shown, in order, by the number of their record in the log."""
    run = cab(dpi=149.0)
    page = show(run)
    shown = []
    for _ in range(20):
        run.answer()
        settled(page, run)
        shown.append(int(page.locator("html").get_attribute("data-record")))
    assert shown == sorted(set(shown))
    assert shown[-1] == run.board.latest
