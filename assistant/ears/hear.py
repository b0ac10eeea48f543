"""What each recording is heard as with a closed set live, with everything one may want to know."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from assistant.ears.audio import clipped_share
from assistant.ears.base import Listener
from assistant.ears.utterances import Utterance
from assistant.ears.wavs import speech_of
from assistant.phrases.live import Hearing, Live, Unheard

WHY = {
    Unheard.SILENCE: "there is no speech in it",
    Unheard.NOT_A_PHRASE: "what was said is not exactly one live phrase",
    Unheard.EARS_DISAGREE: "the two ears heard different things",
    Unheard.UNSURE: "a critical answer that neither ear heard surely enough",
    Unheard.ONE_EAR_ONLY: "a critical answer, and there is only one ear",
    Unheard.TOO_LOUD: "the noise is too loud against the speech",
    Unheard.CLIPPED: "the microphone was overdriven",
    Unheard.DAMAGED: "samples were lost on the way",
    Unheard.TOO_LONG: "longer than any phrase",
    Unheard.BAD_NUMBER: "the number words form no number, or the ears differ on it",
}


def hear_file(path: Path, pair: Listener, live: Live) -> Iterator[dict[str, object]]:
    """Yield one plain record for each utterance of a recording; raises InputError in one sentence.

    Keys: file, start and end (s), words, phrase or reading or refusal with why, engine, levels in dB
    relative to full scale, clipped share, both ears' own verdicts, seconds that hearing took.
    """
    for utterance in speech_of(path):
        begun = time.perf_counter()
        if len(utterance.samples) == 0:
            heard = Hearing(pair.name, unheard=Unheard.SILENCE, start=utterance.start, end=utterance.end)
        else:
            heard = pair.hear(utterance, live)
        yield _record(path, utterance, heard, time.perf_counter() - begun)


def _record(path: Path, utterance: Utterance, heard: Hearing, seconds: float) -> dict[str, object]:
    record: dict[str, object] = {
        "file": str(path),
        "start": round(heard.start, 2),
        "end": round(heard.end, 2),
        "words": heard.words,
        "phrase": heard.phrase,
        "engine": heard.engine,
        "who": heard.who.value,
        "speech_db": heard.speech_db,
        "noise_db": heard.noise_db,
        "clipped": round(clipped_share(utterance.samples), 4),
        "ears": heard.ears,
        "audio_sha256": heard.audio_sha256,
        "took_s": round(seconds, 3),
    }
    if heard.reading is not None:
        record["reading"] = {"value": str(heard.reading.value), "unit": heard.reading.unit}
    if heard.unheard is not None:
        record |= {"refused": heard.unheard.value, "why": WHY[heard.unheard]}
    return record
