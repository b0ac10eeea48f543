"""The child process that synthesises: ``python -m assistant.voice.synth_child VOICE RATE PITCH``.

It reads one JSON object a line on standard input, ``{"text": …, "path": …}``, writes that one
phrase to that one WAV file, and answers with one JSON object a line on what was standard output.
One phrase an engine run, because the espeak driver of pyttsx3 keeps a single text slot: of several
texts queued before a run only the last is spoken. One voice and rate a process, because changing
the voice of a living engine keeps the previous voice's rate (measured with pyttsx3 2.99).

Texts never stand on the command line, so none can be taken for a flag or a file.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import signal
import sys
from importlib import metadata
from typing import IO, Any

_ORPHAN_SECONDS = 30


def _engine_name() -> str:
    """Name the synthesiser and its version, so that a cache is not kept across an upgrade."""
    from pyttsx3.drivers import _espeak  # noqa: PLC0415 - only exists in the child

    version = _espeak.Info(ctypes.byref(ctypes.c_char_p())).decode("utf-8", "replace")
    return f"pyttsx3 {metadata.version('pyttsx3')}, espeak-ng {version}"


def _open_engine(voice: str, rate: int, pitch: int, troubles: list[str]) -> Any:
    """Start the engine with its settings; pyttsx3 reports faults only through its error event."""
    import pyttsx3  # noqa: PLC0415 - the parent must never load the speech library

    engine = pyttsx3.init("espeak")
    _settle()
    engine.proxy.setBusy(False)

    def failed(name: object = None, exception: object = None) -> None:  # noqa: ARG001
        troubles.append(str(exception))

    engine.connect("error", failed)
    for name, value in (("voice", voice), ("rate", rate), ("pitch", pitch)):
        engine.setProperty(name, value)
        _settle()
    return engine


def _settle() -> None:
    """Wait until espeak's own thread has worked off every order."""
    from pyttsx3.drivers import _espeak  # noqa: PLC0415 - only exists in the child

    _espeak.Synchronize()


def _serve(requests: IO[str], answers: IO[str], settings: tuple[str, int, int]) -> None:
    def answer(**fields: object) -> None:
        answers.write(json.dumps(fields) + "\n")
        answers.flush()

    troubles: list[str] = []
    engine = _open_engine(*settings, troubles)
    if troubles:
        answer(ok=False, why=troubles[0])
        return
    answer(ok=True, engine=_engine_name())
    for line in requests:
        request = json.loads(line)
        # If the parent dies while this process hangs inside the speech library, the alarm ends it.
        if hasattr(signal, "alarm"):
            signal.alarm(_ORPHAN_SECONDS)
        engine.save_to_file(request["text"], request["path"])
        engine.runAndWait()
        _settle()
        if hasattr(signal, "alarm"):
            signal.alarm(0)
        if troubles:
            answer(ok=False, why=troubles.pop())
            troubles.clear()
        else:
            answer(ok=True)


def main(arguments: list[str]) -> int:
    """Serve requests until standard input ends; returns 0, or 1 when no engine could be started."""
    voice, rate, pitch = arguments
    # pyttsx3 prints to standard output; the answers keep a copy of it, and the prints go nowhere.
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, sys.stdout.fileno())
    try:
        _serve(sys.stdin, answers, (voice, int(rate), int(pitch)))
    except (ImportError, OSError, RuntimeError, ValueError, KeyError) as why:
        with contextlib.suppress(OSError):
            answers.write(json.dumps({"ok": False, "why": str(why) or type(why).__name__}) + "\n")
            answers.flush()
        return 1
    return 0


if __name__ == "__main__":
    # pyttsx3 and espeak may assert while the interpreter is torn down; nothing is left to save.
    code = main(sys.argv[1:])
    os._exit(code)
