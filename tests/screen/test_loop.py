"""The live loop: it listens while it speaks, and its own voice never answers."""

from __future__ import annotations

import threading
import time

import pytest

from assistant.ears.base import Signal
from assistant.ears.choose import Opened
from assistant.engine.state import Outcome, Phase
from assistant.errors import DeviceError
from assistant.journal.reader import LogReader
from assistant.late_ears import LateEars
from assistant.phrases.live import Hearing, Unheard
from assistant.screen.pads import Fate, PadsOnly
from assistant.voice.base import Tone
from tests.screen.conftest import Cab, ListEars, MakeCab, wait_for
from tests.screen.voices import HeldVoice


def said(phrase: str) -> Hearing:
    """A phrase heard through a microphone."""
    return Hearing("two ears", phrase, phrase=phrase, audio_sha256="0" * 64, noise_db=-50.0)


def spoken(cab: Cab) -> list[tuple[bool, list[str]]]:
    """What the log says was spoken: whether to the end, and how each line ended."""
    found = [one.data for one in LogReader(cab.writer.folder) if one.kind == "spoke"]
    return [(bool(one["complete"]), [line["how"] for line in one["lines"]]) for one in found]  # type: ignore[attr-defined]


def live(cab: MakeCab, **more: object) -> tuple[Cab, ListEars, HeldVoice]:
    """A run with a held voice and ears of the test's own."""
    ears, voice = ListEars(), HeldVoice()
    return cab(ears=ears, voice=voice, **more), ears, voice


def gone(ears: ListEars) -> None:
    """Wait until what was said has been taken, and the loop has come round once more since."""
    wait_for(lambda: not ears.coming)
    seen = ears.turns
    wait_for(lambda: ears.turns > seen + 1)


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
    assert first == (False, ["spoken", "cut", "cut", "cut"])  # the cautions; code, rig and question
    assert second[0] is True
    assert second[1] == ["spoken"] * 3  # what counted, the hazard, the step


def test_with_a_headset_any_speech_cuts_in_and_counts(cab: MakeCab) -> None:
    """Promise: with a headset the driver need not wait: speech stops an ordinary prompt and is an answer."""
    run, ears, voice = live(cab, headset=True)
    voice.end_one()  # the cautions
    assert voice.speaking
    ears.speaking = True
    wait_for(lambda: not voice.speaking)
    ears.speaking = False
    ears.coming.append(said("tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")


def test_over_a_hazard_only_a_stop_counts_also_with_a_headset(cab: MakeCab) -> None:
    """Hazard: an answer given over a hazard, before it was heard; what began over it counts only as a stop."""
    run, ears, voice = live(cab, headset=True)
    voice.end_one()
    ears.coming.append(said("tractor-clear"))
    wait_for(lambda: run.step == "tractor-brake")
    assert [line.kind for line, _ in voice.queue] == ["info", "hazard", "step"]
    voice.end_one()
    decided, cuts = run.log_count("decided"), voice.cuts
    ears.speaking = True
    gone(ears)  # the driver begins to speak over the hazard ...
    voice.end_one()
    gone(ears)  # ... and ends after it
    ears.coming.append(said("parking-brake-set"))
    gone(ears)
    assert (run.step, voice.cuts) == ("tractor-brake", cuts)
    assert run.log_count("decided") == decided
    ears.speaking = False
    gone(ears)
    ears.coming.append(said("parking-brake-set"))
    wait_for(lambda: run.session.state.phase is Phase.CONFIRMING)


@pytest.mark.parametrize("headset", [False, True])
@pytest.mark.parametrize("by", ["voice", "pad", "line"])
def test_an_emergency_stop_silences_even_a_hazard(cab: MakeCab, by: str, headset: bool) -> None:
    """Hazard: somebody is under the rig, a stop is called, and the voice talks on over everything."""
    run, ears, voice = live(cab, headset=headset)
    assert voice.firm
    if by == "pad":
        run.press("emergency-stop")
    else:
        ears.coming.append(said("emergency-stop") if by == "voice" else Hearing("typed", "stop", phrase="emergency-stop"))
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)
    wait_for(lambda: bool(voice.queue))
    assert voice.halts == 1
    assert voice.tones == [Tone.STOP]
    assert [line.name for line, _ in voice.queue] == ["stopped"]
    voice.end()
    wait_for(lambda: len(spoken(run)) == 2)
    assert spoken(run)[0] == (False, ["cut"] * 4)  # the log does not claim that the cautions were heard


def test_nothing_counts_before_the_ears_are_open_but_the_stop(cab: MakeCab) -> None:
    """Hazard: while recognisers still load, a press moves the run, or silence is counted against the driver."""
    opening = threading.Event()
    ears = LateEars(lambda: Opened(PadsOnly(), ()) if opening.wait(20) else None, lambda _told: None)  # type: ignore[arg-type, return-value]
    run = cab(ears=ears)
    run.writer.now = lambda late=run.writer.now: late() + 100_000  # type: ignore[method-assign]
    records, step = run.records, run.step
    assert run.press("tractor-clear") is Fate.TAKEN
    time.sleep(0.2)
    assert (run.records, run.step) == (records, step)
    run.press("emergency-stop")
    wait_for(lambda: run.session.state.phase is Phase.STOPPED)
    opening.set()
    wait_for(lambda: not ears.opening)
    run.press("everyone-clear")
    wait_for(lambda: run.session.state.phase is not Phase.STOPPED)
    assert run.step == step


def test_ears_that_cannot_be_opened_end_the_run_with_a_reason(cab: MakeCab) -> None:
    """Hazard: the recognisers do not load, and the driver talks to a tablet that will never hear."""

    def fail() -> Opened:
        raise DeviceError("The weights are damaged.")

    voice = HeldVoice()
    run = cab(ears=LateEars(fail, lambda _told: None), voice=voice)
    wait_for(lambda: Tone.STOP in voice.tones)
    assert voice.queue[-1][0].name == "ears-failed"
    voice.end()
    wait_for(lambda: not run.thread.is_alive())
    assert [str(error) for error in run.errors] == ["The weights are damaged."]
    device = [one.data for one in LogReader(run.writer.folder) if one.kind == "device"]
    assert device == [{"what": "ears", "state": "failed", "detail": "The weights are damaged."}]


def test_a_voice_at_its_cap_says_so(cab: MakeCab) -> None:
    """Promise: who says "louder" once more than there is learns that, and does not say it again and again."""
    moved = iter([True, False])

    class Capped(HeldVoice):
        def adjust(self, change: str) -> bool:  # noqa: ARG002
            """Move once."""
            return next(moved)

    voice = Capped()
    run = cab(voice=voice)
    for name in ("voice-set", "voice-cap"):
        voice.end()
        run.press("louder")
        wait_for(lambda name=name: [line.name for line, _ in voice.queue] == [name])


def test_a_run_can_be_ended_by_pad_while_the_microphone_is_gone(cab: MakeCab) -> None:
    """Hazard: deaf and alone: the driver whom nobody hears can still end the run safely."""
    run, ears, voice = live(cab)
    ears.signals.append(Signal.LOST)
    wait_for(lambda: run.session.state.phase is Phase.DEAF)
    voice.end()
    assert run.press("go-ahead") is Fate.NOT_OFFERED
    assert run.press("give-up") is Fate.TAKEN
    wait_for(lambda: run.session.state.phase is Phase.OVER)
    voice.end()
    assert run.session.state.outcome is Outcome.GIVEN_UP


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
