"""Real recognisers on real sound: what a driver says is heard, what is no answer never is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from assistant.ears.audio import write_wav
from assistant.ears.base import Signal
from assistant.ears.evidence import Evidence
from assistant.ears.fusion import Pair, candidates
from assistant.ears.hear import hear_file
from assistant.ears.moonshine import MoonshineEar
from assistant.ears.sphinx import SphinxEar
from assistant.ears.utterances import Utterance, utterances
from assistant.ears.wavs import WavEars
from assistant.errors import InputError
from assistant.phrases.book import PhraseBook
from assistant.phrases.live import Hearing, Live, Role, Unheard
from benchmarks.hearing_parts.voices import Voice
from tests.ears.conftest import PEOPLE, STOP, Clip, person

TALK = (
    "we should stop at the store on the way home", "did you see the game last night", "okay that sounds good to me",
    "yes", "the coffee machine is broken again", "tell him to go ahead without me", "no not yet",
    "my brother has the same truck in blue", "is that trailer going to the harbor", "what time do we get there",
    "i left the keys on the kitchen table", "the jaw of that fish was full of teeth", "say that again i did not hear",
    "there is a gap in the fence", "he closed the door and walked away", "all right then", "stand by me is an old song",
    "i think it is going to rain this afternoon", "we need more diesel before the border", "sure no problem",
)  # fmt: skip


def hear(pair: Pair, sound: np.ndarray, live: Live) -> list[Hearing]:
    """Everything that a clip is heard as."""
    return [pair.hear(utterance, live) for utterance in utterances([sound])]


@pytest.mark.timeout(900)  # forty clips on a machine that may be busy
def test_a_talkative_passenger_never_answers(pair: Pair, live: Live, voices: list[Voice], clip: Clip) -> None:
    """Twenty everyday sentences by two voices: none may set a fact. A needless stop is safe."""
    said = dict.fromkeys(voices[:2], 0)
    for voice in said:
        for sentence in TALK:
            for heard in hear(pair, clip(sentence, voice), live):
                assert heard.phrase in (None, STOP), (voice, sentence, heard)
                assert heard.reading is None
                said[voice] += 1
    assert all(count >= 15 for count in said.values()), "the sentences were not even noticed"


@pytest.mark.parametrize("phrase", ["jaw-closed", "jaw-open", "say-again", "go-ahead", "raising-suspension", STOP])
def test_a_clear_voice_is_heard(
    pair: Pair, live: Live, book: PhraseBook, voices: list[Voice], clip: Clip, phrase: str
) -> None:
    """A driver who must say it five times switches the thing off; nobody is heard as something else."""
    heard = [h.phrase for v in voices for h in hear(pair, clip(book.says(phrase)[0], v), live)]
    assert set(heard) <= {phrase, None}
    assert heard.count(phrase) >= len(voices) - 1, heard


@pytest.mark.timeout(900)
def test_a_wrong_critical_answer_is_never_accepted(
    pair: Pair, live: Live, book: PhraseBook, voices: list[Voice], clip: Clip
) -> None:
    """The cut of the benchmark: everything else that is live, in noise, is never "jaw closed"."""
    tried = 0
    for phrase in live.phrases:
        if phrase == "jaw-closed":
            continue
        for voice in voices[:2]:
            for snr, noise in ((10.0, "idle"), (5.0, "rain")):
                for heard in hear(pair, clip(book.says(phrase)[0], voice, snr, noise), live):
                    tried += 1
                    assert heard.phrase != "jaw-closed", (phrase, voice, snr, heard)
    assert tried >= 20


@pytest.mark.timeout(900)
@pytest.mark.skipif(not PEOPLE.is_dir(), reason="skipped: the human recordings beside the checkout are missing")
def test_people_who_say_stop_are_stopped_and_other_words_are_nothing(pair: Pair, live: Live) -> None:
    """Synthetic voices flatter: on people, "stop" was once heard as "go ahead" 60 times in 70."""
    stops = sorted((PEOPLE / "words" / "stop").glob("*.wav"))[::2]
    caught = [any(h.phrase == STOP for h in hear(pair, person(path), live)) for path in stops]
    assert sum(caught) >= 0.95 * len(stops)
    for word in ("front", "back", "left", "right"):
        for path in sorted((PEOPLE / "words" / word).glob("*.wav"))[::8]:
            for heard in hear(pair, person(path), live):
                assert heard.phrase is None, (path, heard)


def test_without_decoys_talk_becomes_answers(book: PhraseBook, live: Live, voices: list[Voice], clip: Clip) -> None:
    """Decoys are what refuses: with them talk is no phrase, and taking them away is noticed here."""
    with_decoys = SphinxEar(book.decoys, book.pronounce)
    clips = [u.samples for s in TALK[:6] for u in utterances([clip(s, voices[0])])]
    assert len(clips) >= 5
    heard = [with_decoys.recognise(sound, live) for sound in clips]
    assert [v.phrase for v in heard] == [""] * len(clips)
    # The decoys' own words must be what came out, not silence.
    live_words = {word for texts in live.phrases.values() for text in texts for word in text.split()}
    assert sum(any(word not in live_words for word in v.words.split()) for v in heard) >= len(clips) - 1
    with_decoys.close()


def test_a_phrase_with_more_around_it_is_no_answer(pair: Pair, live: Live, voices: list[Voice], clip: Clip) -> None:
    """Whole utterance or nothing, though the phrase itself is there word for word."""
    for text in (
        "i will say again what i said before", "please go ahead and eat your lunch now", "go ahead without me",
        "say again and then we went home", "jaw closed around the shank is what he told me", "stand by me",
    ):
        for voice in voices[:2]:
            for heard in hear(pair, clip(text, voice), live):
                assert heard.phrase in (None, STOP), (text, heard)


def gain_of(found: Evidence) -> float:
    """What hearing gains for the leading phrase in the ranking ear."""
    return next(one.gain for one in found.ranked if one.phrase == found.leading)


@pytest.mark.parametrize(
    ("forms", "told"),
    [
        (("not {}", "is that {}", "he said {}"), lambda found: found.contrary > 0.0),
        (("they always say {}", "i would not call that {}", "{} he thinks"), lambda found: found.freely > gain_of(found)),
    ],
    ids=["denied", "within more"],
)
def test_a_sight_that_is_denied_or_told_of_is_no_answer_in_noise_either(
    pair: Pair, live: Live, book: PhraseBook, voices: list[Voice], clip: Clip,
    forms: tuple[str, ...], told: Callable[[Evidence], bool],
) -> None:  # fmt: skip
    """Hazard: "not jaw closed", "they always say jaw closed" beside a diesel, of which only "jaw closed" is caught.

    What denies the sight, or what was written of the whole, is weighed where the sight leads.
    """
    saved = 0
    for form in forms:
        for voice in voices[:2]:
            (utterance,) = utterances([clip(form.format(book.says("jaw-closed")[0]), voice, 10.0)])
            assert pair.hear(utterance, live).phrase is None, (form, voice)
            found = pair.evidence(utterance.samples, live)
            if found.leading == "jaw-closed":
                assert told(found), (form, voice, found)
                saved += 1
    assert saved >= 3


def test_what_does_not_count_now_is_not_taken_for_what_does(
    pair: Pair, live: Live, book: PhraseBook, voices: list[Voice], clip: Clip
) -> None:
    """Hazard: "legs are holding" is said where only "legs are fully up" counts, and the nearest live phrase is taken."""
    known = 0
    for phrase in ("brakes-stay-locked", "legs-holding", "tractor-clear", "slider-wrong-place"):
        for voice in voices[:2]:
            text = book.says(phrase)[0]
            (utterance,) = utterances([clip(text, voice, 10.0)])
            assert pair.hear(utterance, live).phrase is None, (text, voice)
            found = pair.evidence(utterance.samples, live)
            known += found.elsewhere > found.ranked[0].gain and found.second_elsewhere > found.weighed[0].gain
    assert known >= 6


def test_a_quiet_moment_spares_the_next_answer_and_changes_nothing(
    live: Live, book: PhraseBook, voices: list[Voice], clip: Clip
) -> None:
    """Hazard: the first answers come late because what counts elsewhere is scored then; or are others for being early."""
    cold, warm = MoonshineEar(), MoonshineEar()
    portions = 0
    while warm.warm(live):
        portions += 1
    assert portions > len(live.book) // 16
    assert not warm.warm(live)
    (utterance,) = utterances([clip(book.says("legs-holding")[0], voices[0])])
    said = [[one.text for one in ear.elsewhere(ear.listen(utterance.samples), live)] for ear in (cold, warm)]
    assert said[0] == said[1]
    assert said[0][0] == "Legs are holding."
    cold.close()
    warm.close()


def test_a_stop_is_weighed_whatever_is_heard(book: PhraseBook, voices: list[Voice], clip: Clip) -> None:
    """Hazard: with many phrases live the stop falls out of the ranking, and the other ear is never asked for it."""
    ear = MoonshineEar()
    many = book.live(sorted(book.phrases), emergency=[STOP])
    (said,) = utterances([clip(book.says("jaw-closed")[0], voices[0])])
    ranked = ear.rank(ear.listen(said.samples), many)
    assert ranked[0].phrase == "jaw-closed"
    assert STOP in {phrase for phrase, _ in candidates(ranked, many)}
    ear.close()


@pytest.mark.parametrize("seconds", [0.05, 0.3, 4.0, 9.0, 9.6, 12.0])
def test_sound_of_any_length_is_an_answer_or_a_refusal(pair: Pair, live: Live, seconds: float) -> None:
    """Hazard: a long or a very short noise ends the run with an error of the recogniser."""
    noise = np.random.default_rng(3).standard_normal(int(seconds * 16_000)) * 900
    heard = pair.hear(Utterance(noise.astype(np.int16), 0.0, seconds, -60.0), live)
    assert heard.phrase is None


def test_what_is_not_live_is_not_heard(
    pair: Pair, live: Live, book: PhraseBook, voices: list[Voice], clip: Clip
) -> None:
    """The live set is what counts now: an answer of another step must not be taken at this one."""
    fewer = replace(live, phrases={k: v for k, v in live.phrases.items() if k != "raising-suspension"})
    sound = clip(book.says("raising-suspension")[0], voices[0])
    assert any(h.phrase == "raising-suspension" for h in hear(pair, sound, live))
    assert all(h.phrase is None for h in hear(pair, sound, fewer))


def test_a_reading_is_heard_with_its_unit(pair: Pair, book: PhraseBook, voices: list[Voice], clip: Clip) -> None:
    """A number is taken only when both ears put it first; never a wrong one."""
    due = book.live([STOP, "say-again"], emergency=[STOP], reading="pressure")
    heard = [h for v in voices for h in hear(pair, clip("one hundred ten p s i", v), due)]
    values = [h.reading.value for h in heard if h.reading is not None]
    assert set(values) <= {110}
    assert values


def test_a_folder_is_heard_in_the_order_of_names(
    pair: Pair, live: Live, book: PhraseBook, voices: list[Voice], clip: Clip, tmp_path: Path
) -> None:
    """A recorded driver: several answers in one file, silence told as silence, then the end."""
    two = np.concatenate([clip(book.says(p)[0], voices[0]) for p in ("say-again", "raising-suspension")])
    write_wav(tmp_path / "1.wav", two)
    write_wav(tmp_path / "2.wav", np.zeros(16_000, np.int16))
    ears = WavEars(tmp_path, pair)
    first, second, third = (ears.listen(live, None) for _ in range(3))
    assert isinstance(first, Hearing)
    assert isinstance(second, Hearing)
    assert isinstance(third, Hearing)
    assert (first.phrase, second.phrase, third.unheard) == (
        "say-again",
        "raising-suspension",
        Unheard.SILENCE,
    )
    assert len(first.audio_sha256) == 64
    assert set(first.ears) == {"moonshine-tiny.en", "whisper-tiny.en"}
    assert ears.listen(live, None) is Signal.ENDED


def test_an_empty_or_missing_folder_is_told(pair: Pair, tmp_path: Path) -> None:
    """One sentence, not a run that ends at once."""
    for folder in (tmp_path, tmp_path / "no"):
        with pytest.raises(InputError, match=str(folder)):
            WavEars(folder, pair)


def test_hear_tells_words_levels_and_reason(
    pair: Pair, live: Live, voices: list[Voice], clip: Clip, tmp_path: Path
) -> None:
    """A trainer must see why a recording was refused."""
    write_wav(tmp_path / "a.wav", clip(TALK[1], voices[0]))
    (record,) = hear_file(tmp_path / "a.wav", pair, live)
    assert record["refused"] == "not-a-phrase"
    assert record["why"]
    assert isinstance(record["speech_db"], float)
    assert set(record["ears"]) == {"moonshine-tiny.en", "whisper-tiny.en"}


def test_the_mate_is_heard_though_all_his_phrases_begin_alike(
    pair: Pair, book: PhraseBook, voices: list[Voice], clip: Clip
) -> None:
    """Hazard: sixty phrases begin with the call sign, the mate's own is dropped before it is heard to its end."""
    many = [*sorted(book.phrases)[:60], "jaw-closed", "lock-not-closed", STOP]
    live = replace(book.live(many, emergency=[STOP]), mate="mate")
    for phrase in ("jaw-closed", "lock-not-closed"):
        said = f"mate {book.says(phrase)[0]}"
        heard = [h for voice in voices[:2] for h in hear(pair, clip(said, voice), live)]
        assert [(h.phrase, h.who) for h in heard] == [(phrase, Role.MATE)] * 2, heard
