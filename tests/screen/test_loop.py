"""The live loop: it listens while it speaks, and its own voice never answers."""

from __future__ import annotations

import time

from assistant.engine.state import Phase
from assistant.journal.reader import LogReader
from assistant.phrases.live import Hearing, Unheard
from assistant.voice.base import Tone
from tests.screen.conftest import Cab, ListEars, MakeCab, wait_for
from tests.screen.voices import HeldVoice


def said(phrase: str) -> Hearing:
    """A phrase heard through a microphone."""
    return Hearing("two ears", phrase, phrase=phrase, audio_sha256="0" * 64, noise_db=-50.0)


def spoken(cab: Cab) -> list[tuple[bool, list[str]]]:
    """What the log says was spoken: whether to the end, and how each line ended."""
    found = [one.data for one in LogReader(cab.writer.folder) if one.kind == "spoke"]
    found = [one for one in found if "code" not in str(one["lines"])]  # the log's code is no decision's line
    return [(bool(one["complete"]), [line["how"] for line in one["lines"]]) for one in found]  # type: ignore[attr-defined]


def live(cab: MakeCab, **more: object) -> tuple[Cab, ListEars, HeldVoice]:
    """A run with a held voice and ears of the test's own."""
    ears, voice = ListEars(), HeldVoice()
    return cab(ears=ears, voice=voice, **more), ears, voice


def gone(ears: ListEars) -> None:
    """Wait until what was said has been taken, and one turn more."""
    wait_for(lambda: not ears.coming)
    time.sleep(0.05)


def test_the_own_voice_is_no_answer(cab: MakeCab) -> None:
    """Hazard: the loudspeaker's echo answers, or counts as a miss. While it speaks, sound is only a stop."""
    run, ears, voice = live(cab)
    records = run.records
    ears.coming += [said("tractor-clear"), Hearing("two ears", "mumble", unheard=Unheard.NOT_A_PHRASE)]
    gone(ears)
    assert run.records == records
    assert voice.cuts == 0
    voice.end()
    wait_for(lambda: len(spoken(run)) == 1)
    ears.coming.append(said("tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")


def test_a_stop_counts_while_the_voice_speaks(cab: MakeCab) -> None:
    """Hazard: somebody shouts stop during a prompt and it goes unheard."""
    run, ears, voice = live(cab)
    ears.coming.append(said("emergency-stop"))
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)
    assert voice.cuts == 1
    assert Tone.STOP in voice.tones


def test_pads_and_typed_lines_count_while_the_voice_speaks(cab: MakeCab) -> None:
    """Promise: who knows the job need not wait for the prompt's end; a key has no echo."""
    run, ears, voice = live(cab)
    ears.coming.append(Hearing("typed", "tractor stands clear", phrase="tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")
    assert voice.cuts == 1
    run.answer()
    assert voice.cuts == 2


def test_a_hazard_is_never_cut_and_the_log_tells_what_was(cab: MakeCab) -> None:
    """Promise: the record of what was spoken is true: cut is not complete, and hazards are played out."""
    run, ears, voice = live(cab)
    ears.coming.append(Hearing("typed", "tractor stands clear", phrase="tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")
    assert voice.queue[0][0].kind == "caution"
    voice.end()
    wait_for(lambda: len(spoken(run)) == 2)
    first, second = spoken(run)
    assert first == (False, ["spoken", "cut", "cut"])
    assert second[0] is True
    assert second[1] == ["spoken"] * 3  # what counted, the hazard, the step


def test_with_a_headset_any_speech_cuts_in_and_counts(cab: MakeCab) -> None:
    """Promise: with a headset the driver need not wait: speech stops an ordinary prompt and is an answer."""
    run, ears, voice = live(cab, headset=True)
    ears.speaking = True
    wait_for(lambda: voice.cuts > 0)
    assert {line.kind for line, _ in voice.queue} == {"caution"}
    ears.speaking = False
    ears.coming.append(said("tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")


def test_ears_begin_afresh_when_the_voice_has_rung_out(cab: MakeCab) -> None:
    """Hazard: the end of the prompt and the driver's answer run together and are neither."""
    fresh: list[float] = []

    class Fresh(ListEars):
        def fresh(self) -> None:
            """Note it."""
            fresh.append(time.monotonic())

    ears, voice = Fresh(), HeldVoice()
    cab(ears=ears, voice=voice)
    time.sleep(0.1)
    assert fresh == []
    voice.end()
    wait_for(lambda: len(fresh) == 1)


def test_silence_is_not_counted_while_the_voice_speaks(cab: MakeCab) -> None:
    """Hazard: a long prompt is taken for the driver's silence and asked again over itself."""
    run, _, voice = live(cab)
    late = run.writer.now
    run.writer.now = lambda: late() + 100_000  # type: ignore[method-assign]
    records = run.records
    time.sleep(0.3)
    assert run.records == records
    voice.end()
    wait_for(lambda: any(one.kind == "decided" and one.seq >= records for one in LogReader(run.writer.folder)))
    last = [one.data["decision"] for one in LogReader(run.writer.folder) if one.kind == "decided"][-1]
    assert last["reason"] == "silence"  # type: ignore[index, call-overload]


def test_the_noise_at_the_microphone_moves_the_loudness(cab: MakeCab) -> None:
    """Promise: prompts follow the noise of the yard."""
    levels: list[float] = []

    class Following(HeldVoice):
        def follow_noise(self, dbfs: float) -> None:
            """Note it."""
            levels.append(dbfs)

    ears, voice = ListEars(), Following()
    run = cab(ears=ears, voice=voice)
    voice.end()
    wait_for(lambda: len(spoken(run)) == 1)
    ears.coming.append(said("tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")
    assert levels == [-50.0]
