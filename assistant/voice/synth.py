"""Text to checked sound: a child process, a time-out, a check, one retry, a cache.

Nothing here raises for a phrase that could not be made: the driver must still get a tone and the
screen, so failure is a value with its reason.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from assistant.voice.base import Progress, no_progress
from assistant.voice.cache import Cache
from assistant.voice.child import Child, ChildError, module_command
from assistant.voice.clip import Clip, Failure, doubt, read_wav
from assistant.voice.loudness import Manner
from assistant.voice.speech_text import unspeakable

_START_SECONDS = 6.0
_PHRASE_SECONDS = 2.0  # a phrase takes 0.01 to 0.05 s; a loaded tablet may take twenty times that
_LETTER_SECONDS = 0.01
_WHAT = "the speech synthesiser"

Command = Callable[[Manner], Sequence[str]]


def child_command(manner: Manner) -> list[str]:
    """Return the command of the child that speaks in this manner; values are checked, never text."""
    return module_command("assistant.voice.synth_child", manner.voice, str(manner.rate), str(manner.pitch))


class Synth:
    """Makes and keeps spoken texts. May be used from several threads; one phrase at a time.

    ``command`` starts the child for a manner; ``patience`` scales every time-out.
    """

    def __init__(
        self,
        cache: Cache,
        manner: Manner,
        *,
        command: Command = child_command,
        patience: float = 1.0,
    ) -> None:
        self._cache = cache
        self._manner = manner
        self._command = command
        self._patience = patience
        self._child: Child | None = None
        self._engine = cache.remembered_engine()  # until a child says which it is
        self._failing = False
        self._closed = False
        self._lock = threading.Lock()

    @property
    def manner(self) -> Manner:
        """The voice, rate and pitch in use."""
        return self._manner

    def set_manner(self, manner: Manner) -> None:
        """Change voice, rate or pitch; the next phrase starts a fresh child."""
        with self._lock:
            if manner != self._manner:
                self._drop_child()
                self._manner = manner

    def clip(self, text: str) -> Clip | Failure:
        """Return the sound of ``text``, from the cache or made now. Never raises, never hangs."""
        if why := unspeakable(text):
            return Failure(why)
        if (clip := self._known(text)) is not None:
            return clip
        with self._lock:
            known = self._known(text)  # another thread may have made it meanwhile
            return known if known is not None else self._make(text)

    def warm(self) -> None:
        """Start the child in the background, so that the first new text need not wait for it."""
        threading.Thread(target=self._warm, name="warm the synthesiser", daemon=True).start()

    def _warm(self) -> None:
        # A failure is met again, and told, by the first text that needs the child.
        with self._lock, contextlib.suppress(ChildError):
            self._start()

    def prepare_behind(self, texts: Sequence[str]) -> None:
        """Make ``texts`` ready in the background, until the manner changes again."""
        threading.Thread(target=self.prepare, args=(texts,), name="prepare prompts", daemon=True).start()

    def prepare(self, texts: Sequence[str], progress: Progress = no_progress) -> dict[str, str]:
        """Make all ``texts`` ready; ``progress(done, all)`` after each. Return text: reason of failures.

        After two failures in a row the rest is not tried: a broken synthesiser must not hold up the
        start of a session by its time-outs.
        """
        wanted = list(dict.fromkeys(texts))
        failed: dict[str, str] = {}
        in_a_row = 0
        manner = self._manner
        for done, text in enumerate(wanted, 1):
            if self._closed or self._manner != manner:
                break  # nobody will hear these any more
            if in_a_row >= 2:
                failed[text] = "Not tried, because the synthesiser failed twice in a row."
            else:
                outcome = self.clip(text)
                in_a_row = in_a_row + 1 if isinstance(outcome, Failure) else 0
                if isinstance(outcome, Failure):
                    failed[text] = outcome.reason
            progress(done, len(wanted))
        return failed

    def close(self) -> None:
        """End the child process; nothing new is made after that."""
        self._closed = True
        with self._lock:
            self._drop_child()

    def _known(self, text: str) -> Clip | None:
        """Look the text up among what this engine made, or the last one while none has been started.

        Takes no lock: a prompt that is there is spoken while another is being made.
        """
        manner, engine = self._manner, self._engine
        if not engine:
            return None
        return self._cache.get(self._cache.path(text, manner, engine), text, manner.rate)

    def _make(self, text: str) -> Clip | Failure:
        """Synthesise, once more in a fresh child when it went wrong; no second try while failing."""
        failure = Failure("Nothing was tried.")
        for _ in range(1 if self._failing else 2):
            outcome = self._try(text)
            if isinstance(outcome, Clip):
                self._failing = False
                return outcome
            failure = outcome
            self._drop_child()
        self._failing = True
        return failure

    def _try(self, text: str) -> Clip | Failure:
        draft: Path | None = None
        try:
            child = self._start()
            draft = self._cache.draft()
            child.send({"text": text, "path": str(draft)})
            answer = child.answer((_PHRASE_SECONDS + _LETTER_SECONDS * len(text)) * self._patience)
            if not answer.get("ok"):
                return Failure(f"The speech synthesiser failed: {answer.get('why', 'no reason given')}.")
            return self._accept(text, draft)
        except ChildError as why:
            return Failure(str(why))
        except OSError as why:
            return Failure(f"Spoken text cannot be written to {self._cache.folder}: {why.strerror}.")
        finally:
            if draft is not None:
                with contextlib.suppress(OSError):
                    draft.unlink(missing_ok=True)

    def _accept(self, text: str, draft: Path) -> Clip | Failure:
        clip = read_wav(draft)
        if isinstance(clip, Failure):
            return Failure(f"The speech synthesiser reported success, but wrote no sound: {clip.reason}")
        if why := doubt(clip, text, self._manner.rate):
            return Failure(f"The speech synthesiser reported success, but: {why}")
        self._cache.keep(draft, self._cache.path(text, self._manner, self._engine))
        return clip

    def _start(self) -> Child:
        """Return the living child, starting one and learning its engine when there is none."""
        if self._closed:
            raise ChildError("The speech synthesiser is closed.")
        if self._child is not None and self._child.alive:
            return self._child
        self._drop_child()
        child = Child(self._command(self._manner), _WHAT)
        self._child = child
        try:
            answer = child.answer(_START_SECONDS * self._patience)
            if not answer.get("ok"):
                raise ChildError(f"The speech synthesiser cannot be used: {answer.get('why', '')}.")
        except ChildError:
            self._drop_child()
            raise
        engine = str(answer.get("engine", "unknown engine"))
        if engine != self._engine:
            self._engine = engine
            self._cache.remember_engine(engine)
        return child

    def _drop_child(self) -> None:
        if self._child is not None:
            self._child.kill()
            self._child = None
