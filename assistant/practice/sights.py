"""What is so of every fact that procedures ask about, and what is seen when somebody looks at a thing. Pure.

`fact` gives a fact's true value in the words of ``yard.toml``. `picture` gives what the eye gets, by
key; the sentence for the key stands in the language's word file and tells what is seen, never whether
it is good.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from assistant.practice import replies, rig
from assistant.practice.truth import Lines, Truth

_FACTS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "tractor-brake": (("on", "parking-brake-set"), ("off", "parking-brake-off")),
    "gear": (("neutral", "in-neutral"), ("engaged", "in-gear")),
    "trailer-brake": (("on", "trailer-brake-on"), ("off", "trailer-brake-off")),
    "chocks": (("placed", "chocks-placed"), ("away", "chocks-stowed")),
    "engine": (("off", "engine-off"), ("running", "engine-running")),
    "people": (("near", "somebody-near"), ("near", "mate-out-of-sight"), ("clear", "nobody-near")),
    "ground": (("firm", "ground-firm"), ("soft", "ground-soft")),
    "load": (("secure", "load-secure"), ("loose", "load-loose")),
    "mounting": (("sound", "mounting-sound"), ("faulty", "mounting-faulty")),
    "plate-face": (("ready", "plate-greased"), ("not ready", "plate-bare")),
    "slider": (("locked", "slider-locked"), ("loose", "slider-loose")),
    "tilt": (("free", "plate-tilts"), ("stuck", "plate-stuck")),
    "lock": (("open", "jaws-open"), ("shut", "jaws-shut")),
    "throat": (("clean", "throat-clean"), ("fouled", "throat-fouled")),
    "trailer-plate": (("sound", "trailer-plate-sound"), ("faulty", "trailer-plate-damaged")),
    "line-up": (("straight", "lined-up"), ("crooked", "crooked")),
    "suspension": (("down", "suspension-down"), ("ride height", "suspension-up")),
    "contact": (("touching", "plate-touching"), ("gap", "plate-gap")),
    "lines": (("off", "lines-off"), ("connected", "lines-connected")),
    "cord": (("connected", "cord-connected"), ("off", "cord-off")),
    "tug": (("failed", "trailer-moved"), ("held", "tug-held")),
    "release": (("home", "release-home"), ("out", "release-out")),
    "gap": (("none", "no-gap"), ("seen", "gap-seen")),
    "jaw": (("closed", "jaw-closed"), ("open", "jaw-open"), ("open", "jaw-on-head")),
    "supports": (("holding", "legs-holding"), ("sinking", "legs-sinking")),
    "lights": (("out", "lamp-dead"), ("burning", "lamps-burn")),
    "pintle": (("latched", "pintle-latched"), ("open", "pintle-open")),
    "dolly": (("out", "dolly-out"), ("under", "dolly-under")),
}
"""Fact → its values and the phrase that is true when it has each; the first true one counts."""


def _kingpin(truth: Truth) -> str:
    return "faulty" if truth.has("kingpin-worn") or truth.has("metal-cracked") else "sound"


def _order(truth: Truth) -> str:
    return {Lines.OFF: "", Lines.RIGHT: "right", Lines.CROSSED: "crossed"}[truth.lines]


def _air_test(truth: Truth) -> str:
    return "failed" if any(truth.has(fault) for fault in AIR_FAULTS) else "passed"


AIR_FAULTS: Final = frozenset({"line-leaks", "slow-compressor", "warning-late", "valves-late", "cut-out-high"})


def _wear(truth: Truth) -> str:
    return "beyond" if truth.has("worn-play") or truth.has("pin-thin") else "within"


_DIRECT: Final[Mapping[str, Callable[[Truth], str]]] = {
    "kingpin": _kingpin,
    "rear-air": lambda truth: "proven" if truth.lines is Lines.RIGHT and "front-open" in truth.done else "missing",
    "height": rig.height,
    "pin": rig.pin,
    "lines-order": _order,
    "air": lambda truth: "charged" if truth.tank >= 60 else "low",
    "legs": rig.legs,
    "crank": lambda truth: "stowed" if "crank-stowed" in truth.done else "out",
    "air-test": _air_test,
    "wear": _wear,
}

FACTS: Final = frozenset({*_FACTS, *_DIRECT})
"""Every fact whose truth the yard can tell."""


def fact(truth: Truth, name: str) -> str:
    """Return the true value of a fact, or "" while none of its values is so; KeyError for an unknown fact."""
    if name in _DIRECT:
        return _DIRECT[name](truth)
    return next((value for value, phrase in _FACTS[name] if replies.true(truth, phrase)), "")


def _jaw(truth: Truth) -> str:
    return str(truth.jaw)


def _of_fact(name: str) -> Callable[[Truth], str]:
    return lambda truth: fact(truth, name).replace(" ", "-") or "nothing"


def _of_fault(fault: str, mended: str = "") -> Callable[[Truth], str]:
    return lambda truth: "fault" if truth.has(fault) and mended not in truth.done else "sound"


def _trailer_brake(truth: Truth) -> str:
    if truth.has("trailer-brake-weak"):
        return "pops-back"
    return "on" if rig.trailer_braked(truth) else "off"


def _tractor_brake(truth: Truth) -> str:
    if truth.tractor_brake and truth.has("park-brake-weak"):
        return "creeps"
    return "on" if truth.tractor_brake else "off"


def _chocks(truth: Truth) -> str:
    if truth.has("chock-missing"):
        return "one-only"
    if truth.has("chock-slipped") and "chocks-set-anew" not in truth.done:
        return "slipped"
    return "placed" if truth.chocks else "away"


def _lines(truth: Truth) -> str:
    if "torn" in truth.done:
        return "torn"
    return "seal" if truth.has("seal-damaged") else str(truth.lines)


def _lock_on_pin(truth: Truth) -> str:
    if truth.has("pin-lock-stuck"):
        return "stuck"
    return "off" if "pin-lock-off" in truth.done else "on"


def _done_picture(job: str) -> Callable[[Truth], str]:
    return lambda truth: "done" if job in truth.done else "not-done"


def _lamps(truth: Truth) -> str:
    if truth.has("lamp-dead"):
        return "one-dark"
    if truth.has("brake-lamp-dead"):
        return "brake-dark"
    return "burning" if truth.cord else "dark"


def _ground(truth: Truth) -> str:
    soft = fact(truth, "ground") == "soft"
    if truth.fit.slope > 0:
        return "soft-slope" if soft else "slope"
    return "soft" if soft else "firm"


def _gap(truth: Truth) -> str:
    return fact(truth, "gap") if rig.under(truth) else "nothing"


def _chains(truth: Truth) -> str:
    return "trailing" if replies.true(truth, "chain-trailing") else _done_picture("chains-hooked")(truth)


PICTURES: Final[Mapping[str, Callable[[Truth], str]]] = {
    "tractor-brake": _tractor_brake,
    "gear": _of_fact("gear"),
    "engine": _of_fact("engine"),
    "trailer-brake": _trailer_brake,
    "chocks": _chocks,
    "people": lambda truth: "near" if truth.people_near else "clear",
    "mate": lambda truth: "seen" if truth.mate_seen else "lost",
    "ground": _ground,
    "load": _of_fault("load-loose"),
    "mounting": _of_fault("mounting-cracked"),
    "plate": _of_fault("plate-bare", "greased-now"),
    "slider": _of_fact("slider"),
    "slider-place": _of_fault("slider-misplaced"),
    "rails": _of_fault("rails-dirty", "rails-cleaned"),
    "slider-ends": _of_fault("slider-end-missing"),
    "tilt": _of_fault("plate-seized"),
    "throat": _of_fault("throat-dirty", "throat-cleaned"),
    "jaw": _jaw,
    "second-lock": lambda truth: "set" if truth.latch else "released",
    "release": lambda truth: "broken" if truth.has("handle-broken") else _of_fact("release")(truth),
    "gap": _gap,
    "pin": _of_fact("pin"),
    "pin-lock": _lock_on_pin,
    "kingpin": _of_fact("kingpin"),
    "trailer-plate": _of_fault("trailer-plate-bent"),
    "line-up": _of_fact("line-up"),
    "suspension": _of_fact("suspension"),
    "height": _of_fact("height"),
    "plates": _of_fact("contact"),
    "legs": _of_fact("legs"),
    "supports": lambda truth: "bent" if truth.has("legs-bent") else _of_fact("supports")(truth),
    "crank": _of_fact("crank"),
    "lines": _lines,
    "hang": _of_fault("lines-rub", "lines-moved"),
    "cord": lambda truth: "fault" if truth.has("cord-damaged") else _of_fact("cord")(truth),
    "gauge": lambda truth: "low" if truth.tank < 60 else "normal",
    "hiss": lambda truth: "hiss" if replies.leak_heard(truth) else "quiet",
    "brakes": lambda truth: "drag" if truth.has("brakes-drag") else str(truth.lines),
    "lamps": _lamps,
    "clearance": _of_fault("clearance-tight"),
    "damage": _of_fault("metal-cracked"),
    "top-plate": _of_fault("top-plate-cracked"),
    "lock-parts": _of_fault("lock-parts-broken"),
    "pivots": _of_fault("pivot-pin-loose"),
    "weight": _of_fault("heavier-last"),
    "pintle": _of_fact("pintle"),
    "chains": _chains,
    "dolly": _of_fact("dolly"),
    "dolly-hold": _done_picture("dolly-held"),
    "rear-air": lambda truth: "proven" if replies.true(truth, "air-rushes-out") else "missing",
    "shut-offs": _done_picture("front-open"),
    "tractor": lambda truth: "clear" if replies.true(truth, "tractor-clear") else "under",
}
"""Thing → key of what is seen there: whatever a trainee may ask to look at."""
