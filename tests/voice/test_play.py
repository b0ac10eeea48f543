"""Playing: every line ends in a receipt; hazards are never cut; failures are told."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from assistant.voice.base import Hooks, How, Line, Spoken, Tone
from assistant.voice.play import SilentVoice, SpeakerVoice
from assistant.voice.speech import Speech

from .conftest import MemorySink

HAZARD = Line("hazard", "Danger. Crush hazard.", "crush")
STEP = Line("step", "Back in gently until the lock closes.", "back-in")
ASK = Line("info", "Is the jaw closed?", "jaw")
LONG = 20.0


@contextmanager
def voice_on(speech: Speech, sink: MemorySink, hooks: Hooks | None = None) -> Iterator[SpeakerVoice]:
    """Open a voice and close it again whatever happens."""
    voice = SpeakerVoice(speech, sink, hooks)
    try:
        yield voice
    finally:
        sink.gate.set()
        voice.close()


def _until(condition: Callable[[], bool]) -> bool:
    end = time.monotonic() + LONG
    while not condition() and time.monotonic() < end:
        time.sleep(0.005)
    return condition()


def test_three_lines_queued_are_all_spoken_in_order(speech: Speech, sink: MemorySink) -> None:
    """Hazard: hazard, step and question queued together lost the first two with pyttsx3 alone."""
    told: list[tuple[str, str]] = []
    hooks = Hooks(
        started=lambda line: told.append(("start", line.name)),
        finished=lambda spoken: told.append(("end", spoken.line.name)),
    )
    sink.gate.set()
    with voice_on(speech, sink, hooks) as voice:
        receipt = voice.say([HAZARD, STEP, ASK])
        assert receipt.wait(LONG)
    assert receipt.all_said
    assert [spoken.line for spoken in receipt.spoken] == [HAZARD, STEP, ASK]
    assert len({clip.pcm.tobytes() for clip in sink.clips}) == 3
    assert told == [(what, name) for name in ("crush", "back-in", "jaw") for what in ("start", "end")]


def test_a_hazard_is_never_cut_and_the_rest_is(speech: Speech, sink: MemorySink) -> None:
    """Promise: the driver's speech silences a prompt; the hazard before it is played to its end."""
    with voice_on(speech, sink) as voice:
        receipt = voice.say([HAZARD, STEP, HAZARD])
        assert sink.playing.acquire(timeout=LONG)
        voice.cut()
        assert not receipt.done
        assert voice.speaking
        sink.gate.set()
        assert receipt.wait(LONG)
    how = [(spoken.line.name, spoken.how) for spoken in receipt.spoken]
    assert sorted(how) == sorted([("crush", How.SPOKEN), ("back-in", How.CUT), ("crush", How.SPOKEN)])
    assert len(sink.clips) == 2


def test_a_halt_silences_a_hazard_and_drops_what_waits(speech: Speech, sink: MemorySink) -> None:
    """Promise: an emergency stop is not talked over, and its own tone and words come at once after it."""
    with voice_on(speech, sink) as voice:
        receipt = voice.say([HAZARD, STEP, HAZARD])
        assert sink.playing.acquire(timeout=LONG)
        assert voice.firm
        voice.halt()
        voice.tone(Tone.STOP)
        assert receipt.wait(LONG)
        assert {spoken.how for spoken in receipt.spoken} == {How.CUT}
        assert sink.playing.acquire(timeout=LONG)
        assert sink.clips[-1].pcm.tobytes() == speech.tone(Tone.STOP).pcm.tobytes()


def test_what_may_be_cut_is_told_line_by_line(speech: Speech, sink: MemorySink) -> None:
    """Hazard: speech is taken for an answer while a hazard is still being said."""
    with voice_on(speech, sink) as voice:
        assert not voice.firm
        voice.say([STEP, HAZARD])
        assert sink.playing.acquire(timeout=LONG)
        assert not voice.firm
        voice.cut()
        assert sink.playing.acquire(timeout=LONG)
        assert voice.firm


def test_a_cut_stops_the_line_being_said(speech: Speech, sink: MemorySink) -> None:
    """Promise: live speech stops an ordinary prompt, and its receipt does not claim it was said."""
    with voice_on(speech, sink) as voice:
        receipt = voice.say([STEP, ASK])
        assert sink.playing.acquire(timeout=LONG)
        voice.cut()
        assert receipt.wait(LONG)
        assert {spoken.how for spoken in receipt.spoken} == {How.CUT}
        assert not receipt.all_said
        assert _until(lambda: not voice.speaking)


def test_a_cut_between_lines_does_not_reach_the_next(speech: Speech, sink: MemorySink) -> None:
    """Hazard: a late cut must not swallow the answer to what the driver just said."""
    sink.gate.set()
    with voice_on(speech, sink) as voice:
        voice.cut()
        receipt = voice.say([STEP])
        assert receipt.wait(LONG)
    assert receipt.all_said


def test_the_stop_tone_survives_a_cut_and_comes_first(speech: Speech, sink: MemorySink) -> None:
    """Promise: after "stop" the stop tone sounds before anything queued, whoever talks."""
    with voice_on(speech, sink) as voice:
        voice.say([STEP, ASK])
        assert sink.playing.acquire(timeout=LONG)
        voice.tone(Tone.STOP)
        voice.tone(Tone.HEARD)
        voice.cut()
        assert sink.playing.acquire(timeout=LONG)
    assert len(sink.clips) == 2
    assert sink.clips[1].pcm.tobytes() == speech.tone(Tone.STOP).pcm.tobytes()


def test_a_player_that_fails_is_told(speech: Speech, sink: MemorySink) -> None:
    """Hazard: a dead loudspeaker reported as success; the receipt and a notice say otherwise."""
    notices: list[str] = []
    sink.trouble = "The loudspeaker takes no more sound."
    with voice_on(speech, sink, Hooks(notice=notices.append)) as voice:
        receipt = voice.say([HAZARD])
        assert receipt.wait(LONG)
    assert receipt.spoken[0].how is How.FAILED
    assert receipt.troubles
    assert "takes no more sound" in notices[0]


def test_a_dead_synthesiser_leaves_a_tone_and_a_notice(
    broken_speech: Callable[[str], Speech], sink: MemorySink
) -> None:
    """Promise: synthesis that fails falls back to a tone and the screen, and says so."""
    notices: list[str] = []
    sink.gate.set()
    speech = broken_speech("time.sleep(600)")
    with voice_on(speech, sink, Hooks(notice=notices.append)) as voice:
        receipt = voice.say([HAZARD, STEP])
        assert receipt.wait(LONG)
    assert [spoken.how for spoken in receipt.spoken] == [How.TONE, How.TONE]
    assert sink.clips[0].pcm.tobytes() == speech.tone(Tone.STOP).pcm.tobytes()
    assert sink.clips[1].pcm.tobytes() == speech.tone(Tone.NOT_UNDERSTOOD).pcm.tobytes()
    assert len(notices) == 2
    assert "screen" in notices[0]


def test_a_fault_in_one_line_does_not_silence_the_next(speech: Speech, sink: MemorySink) -> None:
    """Hazard: a bug while one line is said must not leave a later hazard unsaid and unreported."""
    sink.gate.set()

    def started(line: Line) -> None:
        if line is STEP:
            raise RuntimeError("the screen is gone")

    with voice_on(speech, sink, Hooks(started=started)) as voice:
        receipt = voice.say([STEP, HAZARD])
        assert receipt.wait(LONG)
    assert [spoken.how for spoken in receipt.spoken] == [How.FAILED, How.SPOKEN]
    assert "the screen is gone" in receipt.spoken[0].reason


def test_speaking_is_true_from_say_to_the_end(speech: Speech, sink: MemorySink) -> None:
    """Hazard: the own voice heard as an answer; the ears are shut from the moment of ``say``."""
    with voice_on(speech, sink) as voice:
        assert not voice.speaking
        voice.say([STEP])
        assert voice.speaking
        assert sink.playing.acquire(timeout=LONG)
        assert voice.speaking
        sink.gate.set()
        assert _until(lambda: not voice.speaking)


def test_say_returns_while_the_line_is_said_and_threads_do_not_mix(speech: Speech, sink: MemorySink) -> None:
    """Hazard: two threads in pyttsx3 hang it; here each line of each thread gets its receipt."""
    sink.gate.set()
    receipts = []
    with voice_on(speech, sink) as voice:
        threads = [threading.Thread(target=lambda: receipts.append(voice.say([STEP, ASK]))) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert all(receipt.wait(LONG) for receipt in receipts)
    assert len(receipts) == 6
    assert all(receipt.all_said for receipt in receipts)
    assert len(sink.clips) == 12


def test_after_close_a_line_is_failed_not_lost(speech: Speech, sink: MemorySink) -> None:
    """Promise: every line handed over ends in a receipt, also at the very end."""
    sink.gate.set()
    voice = SpeakerVoice(speech, sink)
    voice.close()
    voice.close()
    receipt = voice.say([STEP])
    assert receipt.spoken[0].how is How.FAILED
    assert sink.closed


def test_the_silent_voice_claims_no_sound() -> None:
    """Promise: a typed run's log does not say that a hazard was heard."""
    shown: list[Spoken] = []
    voice = SilentVoice(Hooks(finished=shown.append))
    receipt = voice.say([HAZARD, STEP])
    assert [spoken.how for spoken in shown] == [How.SILENT, How.SILENT]
    assert receipt.done
    assert not receipt.all_said
    assert not receipt.troubles
