"""The streaming ear: pocketsphinx with an n-gram of live phrases and decoys.

A plain grammar of the phrases takes everyday speech for a command nearly every time; with decoys
in the same model and the rule that all the words must be exactly one live phrase, talk is refused.
"""

from __future__ import annotations

import tempfile
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
from pocketsphinx import Decoder, NGramModel, get_model_path

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples, Verdict
from assistant.ears.live_words import phrase_for, reading_words, ways
from assistant.ears.lm import Mixture, arpa
from assistant.errors import InputError
from assistant.phrases.live import Live

MODELS_KEPT = 24
PAD_SECONDS = 0.25
SHARE = Mixture()

LiveKey = tuple[tuple[tuple[str, tuple[str, ...]], ...], str | None, str]


class SphinxEar:
    """A recogniser on pocketsphinx's bundled English model; one owner thread.

    ``decoys`` are everyday words; those that the dictionary lacks are left out. ``say`` gives
    pronunciations (ARPABET, space between phones) for words that the dictionary lacks.
    """

    name = "pocketsphinx"

    def __init__(
        self,
        decoys: Sequence[str],
        say: Mapping[str, Sequence[str]] | None = None,
        mixture: Mixture = SHARE,
    ) -> None:
        model = Path(get_model_path()) / "en-us"
        self._decoder = Decoder(
            hmm=str(model / "en-us"),
            dict=str(model / "cmudict-en-us.dict"),
            lm=None,
            loglevel="FATAL",
            samprate=SAMPLE_RATE,
            # A third of the work less for one or two answers in a hundred, measured.
            fwdflat=False,
            topn=2,
        )
        self._mixture = mixture
        self._say = dict(say or {})
        for word, sounds in self._say.items():
            if self._knows(word):
                # The dictionary's own sound stays as another one: "psi" is a Greek letter to it.
                for number, phones in enumerate(sounds, 2):
                    self._decoder.add_word(f"{word}({number})", phones, update=False)
        self._decoys = tuple(w for w in dict.fromkeys(decoys) if self._knows(w))
        self._searches: OrderedDict[LiveKey, str] = OrderedDict()
        self._made = 0

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Return the words that this ear cannot hear: not in its dictionary, no pronunciation given."""
        return tuple(sorted({w for w in words if not self._knows(w) and w not in self._say}))

    def prepare(self, live: Live) -> None:
        """Build the model of a live set ahead of time, so that the first answer is not late."""
        self._search(live)

    def recognise(self, samples: Samples, live: Live) -> Verdict:
        """Return the words heard and the live phrase that they are, all of them, or ""."""
        search = self._search(live)
        pad = np.zeros(int(PAD_SECONDS * SAMPLE_RATE), np.int16)
        words = self._decode(search, dithered(np.concatenate([pad, samples, pad])).tobytes())
        return Verdict(phrase_for(words, live), words)

    def _decode(self, search: str, sound: bytes) -> str:
        try:
            self._decoder.activate_search(search)
            self._decoder.start_utt()
            self._decoder.process_raw(sound, full_utt=True)
            self._decoder.end_utt()
            found = self._decoder.hyp()
        except RuntimeError:  # odd audio must not end a run: what cannot be decoded is not understood
            self._recover()
            return ""
        return found.hypstr if found is not None else ""

    def close(self) -> None:
        """Free the models."""
        for name in self._searches.values():
            self._decoder.remove_search(name)
        self._searches.clear()

    def _recover(self) -> None:
        try:
            self._decoder.end_utt()
        except RuntimeError:
            return

    def _knows(self, word: str) -> bool:
        return self._decoder.lookup_word(word) is not None

    def _learn(self, words: Iterable[str]) -> None:
        unknown = []
        for word in sorted(set(words)):
            if self._knows(word):
                continue
            if word in self._say:
                self._add(word, self._say[word])
            else:
                unknown.append(word)
        if unknown:
            raise InputError(
                f"pocketsphinx cannot hear: {', '.join(unknown)}; give a pronunciation in the grammar file."
            )

    def _add(self, word: str, sounds: Sequence[str]) -> None:
        """Add a word with all its pronunciations, the further ones marked as the dictionary does."""
        for number, phones in enumerate(sounds, 1):
            self._decoder.add_word(word if number == 1 else f"{word}({number})", phones, update=False)

    def _search(self, live: Live) -> str:
        """Return the name of the search for a live set, building it once."""
        key: LiveKey = (tuple(sorted(live.phrases.items())), live.reading, live.mate)
        if key in self._searches:
            self._searches.move_to_end(key)
            return self._searches[key]
        phrases = {tuple(way.split()): 1.0 for way in ways(live)}
        numbers = reading_words(live)
        self._learn([w for phrase in phrases for w in phrase] + list(numbers))
        live_words = {w for phrase in phrases for w in phrase} | set(numbers)
        decoys = [w for w in self._decoys if w not in live_words]
        self._made += 1
        name = f"live-{self._made}"
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "live.arpa"
            path.write_text(arpa(phrases, decoys, numbers, self._mixture), "ascii")
            model = NGramModel(self._decoder.config, self._decoder.logmath, str(path))
        self._decoder.add_lm(name, model)
        self._searches[key] = name
        if len(self._searches) > MODELS_KEPT:
            _, oldest = self._searches.popitem(last=False)
            self._decoder.remove_search(oldest)
        return name
