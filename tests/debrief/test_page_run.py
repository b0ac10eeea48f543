"""One run on the trainer's page, in a real browser: proven or not, noted, heard, and safe to look at."""

from __future__ import annotations

import json
from pathlib import Path

from browser import needs_chromium
from made_runs import Made

from assistant.debrief.folder import Folder
from assistant.debrief.notes import NoteBook
from assistant.debrief.server import Debrief
from assistant.debrief.sound import Sounds
from assistant.journal.keys import TabletKey
from tests.debrief.showing import Open, chosen, open_mistakes

pytestmark = needs_chromium
EVIL = "<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"


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
