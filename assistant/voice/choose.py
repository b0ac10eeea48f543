"""Which voice to use: said by the user, or found out, and always told with the reason."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from assistant.errors import DeviceError, InputError
from assistant.voice.base import Hooks, Voice
from assistant.voice.cache import Cache
from assistant.voice.file_voice import FileVoice
from assistant.voice.loudness import Manner, Settings
from assistant.voice.play import SilentVoice, SpeakerVoice
from assistant.voice.sink import SpeakerSink
from assistant.voice.speech import Speech
from assistant.voice.synth import Command, Synth, child_command

VOICES = {"en": "en-us", "ko": "ko"}
"""The espeak-ng voice of each language."""

_TRIAL = {"en": "Ready.", "ko": "준비되었습니다."}


@dataclass(frozen=True, slots=True)
class Opened:
    """The voice and one plain sentence for each thing the user should know about the choice."""

    voice: Voice
    notices: tuple[str, ...]


def open_voice(
    spec: str,
    lang: str,
    cache_dir: Path,
    *,
    hooks: Hooks | None = None,
    device: str = "",
    command: Command = child_command,
) -> Opened:
    """Open the voice named by ``spec``: "auto", "speaker", "file:FOLDER" or "none".

    ``device`` names the loudspeaker ("": the machine's own). Raises InputError for an unknown spec or
    language, DeviceError when a voice that was asked for by name cannot be had; "auto" never fails.
    """
    if spec == "none":
        return Opened(SilentVoice(hooks), ("Voice: none, as asked; everything is on the screen only.",))
    folder = spec.removeprefix("file:")
    if spec not in ("auto", "speaker") and (folder == spec or not folder):
        raise InputError(f"There is no voice {spec!r}; use auto, speaker, file:FOLDER or none.")
    speech, notices = _open_speech(lang, cache_dir, command)
    speech.warm()
    trouble = speech_trouble(speech, lang)
    if trouble and spec != "auto":
        speech.close()
        raise DeviceError(f"Nothing can be spoken: {trouble} Install espeak-ng, or use --voice none.")
    if spec not in ("auto", "speaker"):
        try:
            voice = FileVoice(speech, Path(folder), hooks)
        except InputError:
            speech.close()
            raise
        return Opened(voice, (*notices, f"Voice: written to {folder} as WAV files, as asked."))
    sink = SpeakerSink(device)
    try:
        sink.open()
    except DeviceError as why:
        speech.close()
        if spec == "speaker":
            raise
        return Opened(SilentVoice(hooks), (*notices, f"Voice: none. {why} Everything is on the screen."))
    if trouble:
        notices = (*notices, f"Only tones can be heard: {trouble} Every line is on the screen.")
    return Opened(SpeakerVoice(speech, sink, hooks), (*notices, f"Voice: loudspeaker {sink.name}."))


def speech_trouble(speech: Speech, lang: str) -> str:
    """Return why speech cannot be made, as one sentence, or "" when a word of trial came out well."""
    return speech.prepare([_TRIAL[lang]], lambda _done, _all: None).get(_TRIAL[lang], "")


def _open_speech(lang: str, cache_dir: Path, command: Command) -> tuple[Speech, tuple[str, ...]]:
    if lang not in VOICES:
        raise InputError(f"There is no voice for language {lang}; there is: {', '.join(VOICES)}.")
    cache = Cache(cache_dir)
    manner = Manner(voice=VOICES[lang])
    speech = Speech(Synth(cache, manner, command=command), lang, Settings(manner))
    return speech, ((cache.notice,) if cache.notice else ())
