"""The real loop on the software cab, with a note of when each of its parts was done."""

from __future__ import annotations

import threading
import time
from pathlib import Path

from assistant.ears.base import Listener
from assistant.ears.microphone import MicrophoneEars
from assistant.engine.events import Event, Heard, Measured
from assistant.engine.guide import reply
from assistant.journal.keys import tablet_key
from assistant.journal.records import Opened
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing
from assistant.phrases.numbers import say_reading
from assistant.prepare import Prepared
from assistant.session import Session, Shown
from assistant.voice.base import no_progress
from assistant.voice.cache import Cache
from assistant.voice.loudness import Manner, Settings
from assistant.voice.play import SpeakerVoice
from assistant.voice.sink import SpeakerSink
from assistant.voice.speech import Speech
from assistant.voice.synth import Synth
from benchmarks.response_parts.cab import Card, Mouth

BREATH_S = 0.5  # as long as somebody takes to draw breath before answering


class Loop:
    """A run of the real loop: microphone, recognisers, engine, log, voice and player, all as in a cab."""

    def __init__(self, folder: Path, ready: Prepared, pair: Listener, *, headset: bool = False) -> None:
        folder.mkdir(parents=True)
        self.ready, self.folder = ready, folder
        key = tablet_key(folder / "keys")
        opened = Opened(
            run="response", program="0", procedure="couple", rig=ready.plan.rig, site=ready.plan.site, lang="en",
            ears="mic", voice="speaker", files={}, consent_audio=False, consent_words=True, key=key.public,
        )  # fmt: skip
        self.writer = Writer.begin(folder / "logs", opened, key)
        self.mouth = Mouth(folder / "microphone")
        self.card = Card(folder)
        speech = Speech(Synth(Cache(folder.parents[1] / "voice"), Manner("en-us")), "en", Settings(Manner("en-us")))
        self.sink = SpeakerSink()
        self.sink.open()
        self.voice = SpeakerVoice(speech, self.sink)
        self.voice.prepare(list(dict.fromkeys(ready.wording.fixed())), no_progress)
        self.ears = MicrophoneEars(pair, f"pipe:{self.mouth.path}")
        self.at: dict[str, float] = {}
        self.session = Session(ready, self.writer, self.ears, self.voice, self._screen, headset=headset)
        self._watch(pair)
        self.thread = threading.Thread(target=self.session.run, daemon=True)

    def _watch(self, pair: Listener) -> None:
        """Note when the ears are last asked what an utterance is, and when they have judged."""
        hear = pair.hear

        def judged(*args: object, **more: object) -> Hearing:
            began = time.monotonic()
            found: Hearing = hear(*args, **more)  # type: ignore[arg-type]
            self.at |= {"paused": began, "heard": time.monotonic()}
            return found

        pair.hear = judged  # type: ignore[method-assign, assignment]

    def _screen(self, _shown: Shown) -> None:
        self.at["logged"] = time.monotonic()

    def start(self) -> None:
        """Begin, and let the cautions be said; the rest is cut."""
        self.thread.start()
        while not self.card.heard(0.0):
            time.sleep(0.02)
        self.hush()

    def hush(self) -> None:
        """Silence the voice and draw breath: what it goes on to say is not measured."""
        self.voice.halt()
        while self.voice.speaking:
            time.sleep(0.02)
        time.sleep(BREATH_S)

    def next(self) -> Event:
        """What a driver who does everything right does next."""
        return reply(self.ready.plan, self.session.state).event

    def words(self, told: Event) -> str:
        """How it is said."""
        if isinstance(told, Measured):
            return say_reading(told.value, told.unit)
        assert isinstance(told, Heard)  # noqa: S101 - the guide says nothing else here
        return self.ready.wording.says(told.phrase)

    def close(self) -> None:
        """End microphone, recognisers and player."""
        self.mouth.close()
        self.ears.close()
        self.voice.close()
