"""Small yards of their own, so that a fault can be put in and found within a second."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from toml_text import written

from assistant.procedure.compile import compile_plan
from assistant.procedure.load import Files, Library, load_files
from assistant.procedure.plan import Plan
from assistant.shipped import shipped

YARD = """
format = 1
[features]
kind = ["plain", "other"]
[choices]
way = ["one", "two"]
[facts]
brake = { values = ["on", "off"], decays = true, secure = "on" }
pin = { values = ["clear", "in jaw"], decays = true }
jaw = { values = ["closed", "open"] }
note = { values = ["made", "missing"] }
[acts.leave]
announce = "leaving-cab"
anytime = true
[acts.tug]
announce = "tugging"
starts = { brake = "off" }
[[never]]
id = "leave-brake-off"
act = "leave"
when = { brake = ["off"] }
signal = "danger"
source = "test yard"
[[never]]
id = "tug-unlocked"
act = "tug"
when = { pin = ["clear"] }
signal = "danger"
source = "test yard"
[[hazard]]
id = "rolls"
signal = "danger"
source = "test yard"
[look.brake]
answer = [
  { phrase = "parking-brake-set", sets = { brake = "on" }, critical = true },
  { phrase = "parking-brake-off", sets = { brake = "off" } },
]
[look.pin]
act = "leave"
answer = [
  { phrase = "pin-clear", sets = { pin = "clear" } },
  { phrase = "pin-in-jaw", sets = { pin = "in jaw" }, critical = true },
]
"""
RIG = """format = 1
title = { en = "plain rig" }
[features]
kind = "plain"
"""
SITE = """format = 1
title = { en = "plain site" }
source = "test yard"
[choices]
way = "one"
[limits.pressure]
kind = "pressure"
unit = "psi"
at_least = 100
plausible = [0, 200]
source = "test yard"
"""
STEPS = """
format = 1
id = "join"
order = ["all"]
[done]
claim = "joined"
[done.needs]
brake = ["on"]
pin = ["in jaw"]
jaw = ["closed"]

[[step]]
id = "brake"
block = "all"
hazard = "rolls"
source = "test yard"
answer = [{ phrase = "parking-brake-set", sets = { brake = "on" }, critical = true }]

[[step]]
id = "note"
block = "all"
source = "test yard"
answer = [{ phrase = "lines-hang-clear", sets = { note = "made" } }]

[[step]]
id = "air"
block = "all"
act = "leave"
source = "test yard"
reading = { limit = "pressure", within = {}, outside = { next = "air" } }

[[step]]
id = "pin"
block = "all"
source = "test yard"
hold = { seconds = 5, begin = "holding-now", source = "test yard" }
answer = [
  { phrase = "pin-in-jaw", sets = { pin = "in jaw" }, critical = true },
  { phrase = "pin-clear", sets = { pin = "clear" }, next = "pin" },
]

[[step]]
id = "tug"
block = "all"
act = "tug"
source = "test yard"
answer = [{ phrase = "tug-held" }, { phrase = "trailer-moved", next = "fail" }]

[[step]]
id = "brake-again"
block = "all"
source = "test yard"
answer = [{ phrase = "parking-brake-set", sets = { brake = "on" }, critical = true }]

[[step]]
id = "jaw"
block = "all"
needs = { brake = ["on"] }
source = "test yard"
answer = [
  { phrase = "jaw-closed", sets = { jaw = "closed" }, critical = true },
  { phrase = "jaw-open", sets = { jaw = "open" }, next = "halt" },
]
"""

def words_for(yard: dict[str, object]) -> str:
    """Return the shared words of a small yard: the shipped lines, and a text for each thing it has."""
    words = tomllib.loads((shipped("procedures") / "en.toml").read_text(encoding="utf-8"))
    said = {"say": "x x"}
    words["never"] = {rule["id"]: said for rule in yard["never"]}  # type: ignore[attr-defined, index]
    words["hazard"] = {hazard["id"]: said for hazard in yard["hazard"]}  # type: ignore[attr-defined, index]
    words["look"] = dict.fromkeys(yard["look"], said)  # type: ignore[call-overload]
    words["act"] = dict.fromkeys(yard["acts"], "x x")  # type: ignore[call-overload]
    return written(words)


Build = Callable[..., tuple[Files, Plan]]


@pytest.fixture
def build(tmp_path: Path) -> Build:
    """Return a builder of the small yard; keywords replace texts in its procedure or yard file."""

    def make(*changes: tuple[str, str], crew: str = "alone") -> tuple[Files, Plan]:
        texts = {"yard.toml": YARD, "join/procedure.toml": STEPS, "rigs/plain.toml": RIG, "sites/plain.toml": SITE}
        for old, new in changes:
            holding = [name for name, text in texts.items() if old in text]
            assert len(holding) == 1, (old, holding)
            texts[holding[0]] = texts[holding[0]].replace(old, new)
        names = [line.split('"')[1] for line in texts["join/procedure.toml"].splitlines() if line.startswith("id = ")]
        steps = "".join(f'{name} = {{ say = "x x" }}\n' for name in names if name != "join")
        texts["join/en.toml"] = f'format = 1\ntitle = "Join"\ndone = "Done."\n[step]\n{steps}'
        texts["en.toml"] = words_for(tomllib.loads(texts["yard.toml"]))
        for name, text in texts.items():
            path = tmp_path / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        files = load_files(Library((tmp_path,)), "join", "plain", "plain", "en")
        return files, compile_plan(files, crew)

    return make
