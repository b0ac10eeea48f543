"""What takes long to start and needs no procedure: begun first, beside the reading of the files.

The loudspeaker's player and the synthesiser are processes of their own, and so is the question
whether there is a microphone. They start while this process reads, checks and compiles.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from assistant.ears.probe import microphone_trouble
from assistant.places import cache_folder
from assistant.voice.base import Hooks
from assistant.voice.choose import Opened, open_voice

if TYPE_CHECKING:
    from assistant.commands.work import Wishes


class Early:
    """The voice and the microphone of a run, being opened; ``notice`` gets what the voice reports.

    What fails is raised where the result is asked for.
    """

    def __init__(self, wishes: Wishes, lang: str, stack: ExitStack) -> None:
        self.notice: Callable[[str], None] = click.echo
        self._pool = ThreadPoolExecutor(2, "early")
        hooks = Hooks(notice=self._tell)
        cache = cache_folder() / "voice"
        self._voice = self._pool.submit(open_voice, wishes.voice, lang, cache, hooks=hooks, device=wishes.speaker)
        self._no_microphone: Future[str] | None = None
        if wishes.ears in {"auto", "mic"}:
            self._no_microphone = self._pool.submit(microphone_trouble, wishes.microphone)
        stack.callback(self._close)

    def voice(self) -> Opened:
        """Return the voice; raises InputError or DeviceError when it cannot be had."""
        return self._voice.result()

    def microphone_trouble(self) -> str:
        """Return why there is no microphone to listen through, "" when there is one."""
        return "" if self._no_microphone is None else self._no_microphone.result()

    def _tell(self, text: str) -> None:
        self.notice(text)  # whoever it is by then

    def _close(self) -> None:
        self._pool.shutdown()
        if self._voice.exception() is None:
            self._voice.result().voice.close()
