"""Whether there is a microphone at all; light to load, for it is asked before anything else."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from assistant.ears.mic_child import PIPE
from assistant.errors import DeviceError

PROBE_SECONDS = 20.0


def no_microphone(why: str) -> DeviceError:
    """Return the error of a run that was to listen and has nothing to listen through."""
    return DeviceError(f"There is no microphone to listen through ({why}); plug one in, or use typed lines.")


def microphone_trouble(device: str) -> str:
    """Return why no microphone can be opened, or "" when one can; asked in a process that may hang."""
    if device.startswith(PIPE):
        return "" if Path(device.removeprefix(PIPE)).exists() else "there is no such pipe"
    command = [sys.executable, "-m", "assistant.ears.mic_child", device]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PROBE_SECONDS, check=False)
    except (subprocess.TimeoutExpired, OSError):
        return "the sound system does not answer"
    if done.returncode == 0:
        return ""
    lines = done.stdout.strip().splitlines()
    return lines[-1] if lines else "the sound system fails"
