"""Ears that are opened while the first cautions are spoken, so that nobody waits for recognisers to load.

Until they are open they hear nothing, and nothing counts. When they cannot be opened, that is raised
in the session's own thread, which says so and ends.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from assistant.ears.base import Ears, Samples, Signal
from assistant.errors import DeviceError, HitchcallError
from assistant.phrases.live import Hearing, Live

if TYPE_CHECKING:
    from assistant.ears.choose import Opened  # which loads every recogniser's library


class NotOpenError(DeviceError):
    """The ears could not be opened after the run had begun (exit status 3)."""


class LateEars:
    """Ears of a microphone, opened on a thread of their own; ``tell`` gets the notices of the choice.

    ``inner`` is None until they are open. ``listen`` and ``close`` by one thread, the rest by any.
    """

    patient = True  # somebody may need time, and until the ears are open so do they

    def __init__(self, open_them: Callable[[], Opened], tell: Callable[[str], None]) -> None:
        self._open_them = open_them
        self._tell = tell
        self.inner: Ears | None = None
        self._failure: NotOpenError | None = None
        self._known = threading.Event()
        self._thread = threading.Thread(target=self._open, name="open the ears", daemon=True)

    def opened(self) -> None:
        """Wait until they are open, or cannot be opened."""
        self._known.wait()

    @property
    def opening(self) -> bool:
        """Whether they are not open yet: nothing may count."""
        return self.inner is None

    @property
    def speaking(self) -> bool:
        """Whether somebody is speaking now."""
        return bool(getattr(self.inner, "speaking", False))

    @property
    def lost(self) -> bool:
        """Whether nobody can be heard."""
        return bool(getattr(self.inner, "lost", False))

    @property
    def level_db(self) -> float | None:
        """The last block's level, dB of full scale."""
        level: float | None = getattr(self.inner, "level_db", None)
        return level

    @property
    def noise_db(self) -> float | None:
        """The quietest level of late, dB of full scale."""
        noise: float | None = getattr(self.inner, "noise_db", None)
        return noise

    @property
    def last_samples(self) -> Samples | None:
        """The sound of the last hearing, if it had any."""
        found: Samples | None = getattr(self.inner, "last_samples", None)
        return found

    def fresh(self) -> None:
        """Forget the sound under way."""
        if (fresh := getattr(self.inner, "fresh", None)) is not None:
            fresh()

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Listen once they are open; until then let the time pass. Raises what kept them from opening."""
        if self.inner is None:
            began = time.monotonic()
            if self._thread.ident is None:
                self._thread.start()  # not sooner: the first words are on their way now
            if not self._known.wait(timeout):
                return Signal.NOTHING
            if self._failure is not None:
                raise self._failure
            timeout = None if timeout is None else max(0.0, timeout - (time.monotonic() - began))
        assert self.inner is not None  # noqa: S101 - known, and not failed
        return self.inner.listen(live, timeout)

    def close(self) -> None:
        """Stop listening; waits for an opening under way, which cannot be broken off."""
        if self._thread.ident is not None:
            self._thread.join()
        self._known.set()
        if self.inner is not None:
            self.inner.close()

    def _open(self) -> None:
        try:
            opened = self._open_them()
        except HitchcallError as failure:
            self._failure = NotOpenError(str(failure))
        except Exception as fault:
            self._failure = NotOpenError(f"The recognisers cannot be loaded ({type(fault).__name__}: {fault}).")
        else:
            for notice in opened.notices:
                self._tell(notice)
            self.inner = opened.ears
        self._known.set()
