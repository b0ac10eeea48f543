"""Limits on spoken readings, at their edges, as each published source words them.

Said in words, as a driver says them, and put through the same engine that runs in the cab.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache

import pytest
from drive import Drive

from assistant.engine import commands
from assistant.engine.events import Heard, Measured, Tick
from assistant.phrases.number_types import NumberRefused
from assistant.phrases.numbers import parse_reading
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.procedure.plan import PlanLimit

US, CA, UK, DEPOT = "us-handbook", "lines-after", "uk-standard", "depot-lines-first"
CDL5, CDL6 = "CDL manual section 5", "CDL manual 6.2"
CALI = "California Commercial Driver Handbook"
ON_AB, ON_614, ON_6110 = "Ontario air brake handbook", "Ontario test 6-1-4", "Ontario test 6-1-10"
UTAH, MD27, MD11, TM = "Utah R714-162-10", "COMAR 11.22.02.27", "COMAR 11.22.04.11", "TM 9-2330-335-14&P"
IN, OUT = "within", "outside"

ROAD = [
    # site, step, what is said, verdict, source
    (US, "cut-in", "one hundred psi", IN, "61 FR 6173: 100 psi or above"),
    (US, "cut-in", "nine nine psi", OUT, "61 FR 6173: 100 psi or above"),
    (US, "cut-out", "one four zero psi", IN, "CDL in-cab text: about 120 to 140"),
    (US, "cut-out", "one four one psi", OUT, "CDL in-cab text: about 120 to 140"),
    (US, "cut-out", "one two zero psi", IN, "CDL in-cab text: about 120 to 140"),
    (US, "cut-out", "one one nine psi", OUT, "CDL in-cab text: about 120 to 140"),
    (US, "low-air", "six zero psi", IN, f"{CDL5}: on before it falls under 60"),
    (US, "low-air", "five nine psi", OUT, f"{CDL5}: on before it falls under 60"),
    (DEPOT, "low-air", "five five psi", IN, "CDL in-cab text: 55"),
    (DEPOT, "low-air", "five four psi", OUT, "CDL in-cab text: 55"),
    (CA, "low-air", "five five psi", IN, f"{ON_AB}: by 55"),
    (CA, "low-air", "three eight zero kilopascals", IN, f"{ON_AB}: by 380 kPa as printed"),
    (CA, "low-air", "three seven nine kilopascals", OUT, f"{ON_AB}: by 380 kPa as printed"),
    (UK, "low-air", "three point eight bar", IN, f"{ON_AB}: by 55 psi"),
    (UK, "low-air", "three point seven bar", OUT, f"{ON_AB}: by 55 psi"),
    (US, "protection-pop", "two zero psi", IN, f"{CDL6}: between 20 and 45"),
    (US, "protection-pop", "one nine psi", OUT, f"{CDL6}: between 20 and 45"),
    (US, "spring-pop", "four five psi", IN, f"{CDL5}: between 20 and 45"),
    (US, "spring-pop", "four six psi", OUT, f"{CDL5}: between 20 and 45"),
    (CA, "spring-pop", "three one zero kilopascals", IN, f"{CDL5}: 45 psi is 310 kPa"),
    (US, "static", "three psi", OUT, f"{CDL5}: less than 3 in one minute"),
    (US, "static", "two point nine psi", IN, f"{CDL5}: less than 3 in one minute"),
    (CA, "static", "two zero kilopascals", IN, f"{CDL5}: less than 3 psi"),
    (CA, "static", "three psi", OUT, f"{CDL5}: less than 3 psi"),
    (US, "applied", "four psi", IN, f"{CDL5}: not more than 4"),
    (US, "applied", "four point one psi", OUT, f"{CDL5}: not more than 4"),
    (US, "applied", "one four psi", OUT, f"{CDL5}: not more than 4"),
    (CA, "applied", "two eight kilopascals", IN, f"{ON_614}: 28 kPa"),
    (CA, "applied", "four psi", IN, f"{ON_614}: 4 psi"),
    (CA, "applied", "two nine kilopascals", OUT, f"{ON_614}: 28 kPa"),
    (UK, "applied", "zero point two eight bar", IN, f"{ON_614}: 28 kPa"),
    (US, "build-up-psi", "four five seconds", IN, f"{CDL5}: within 45 seconds"),
    (US, "build-up-psi", "four six seconds", OUT, f"{CDL5}: within 45 seconds"),
    (US, "build-up-psi", "two minutes", OUT, f"{CDL5}: within 45 seconds"),
    (CA, "build-up-kpa", "two minutes", IN, f"{ON_AB} 10-3: within 2 minutes"),
    (CA, "build-up-kpa", "one two one seconds", OUT, f"{ON_AB} 10-3: within 2 minutes"),
    (DEPOT, "pressure", "six zero psi", IN, "NAVFAC MO-403 par. 7.2: 60 psi"),
    (DEPOT, "pressure", "five nine psi", OUT, "NAVFAC MO-403 par. 7.2: 60 psi"),
    (DEPOT, "pressure", "six zero kilopascals", OUT, "NAVFAC MO-403 par. 7.2: 60 psi, and 60 kPa is far less"),
    (CA, "pressure", "eight zero psi", IN, "Ontario test 6-1-6: from 80 psi"),
    (CA, "pressure", "five five two kilopascals", IN, "Ontario test 6-1-6: 552 kPa as printed"),
    (CA, "pressure", "seven nine psi", OUT, "Ontario test 6-1-6: from 80 psi"),
]

TWO_TRAILERS = [
    (US, "static-three", "five psi", IN, f"{CALI}: 5 at most"),
    (US, "static-three", "five point one psi", OUT, f"{CALI}: 5 at most"),
    (US, "applied-three", "six psi", IN, f"{CALI}: 6 at most"),
    (US, "applied-three", "seven psi", OUT, f"{CALI}: 6 at most"),
]

APART = [
    (US, "pin-lock", "one point eight seven five inches", OUT, f"{MD11} B: worn 1/8 in or more rejects"),
    (US, "pin-lock", "one and seven eighths inches", OUT, f"{MD11} B: worn 1/8 in or more rejects"),
    (US, "pin-lock", "one point eight seven six inches", IN, f"{MD11} B: worn 1/8 in or more rejects"),
    (US, "pin-lock", "four seven point six millimeters", OUT, f"{MD11} B: worn 3.2 mm or more"),
    (UK, "pin-lock", "four seven point seven millimeters", IN, f"{MD11} B: worn 3.175 mm or more"),
    (DEPOT, "pin-lock", "one point eight seven inches", OUT, f"{TM}: worn out at 1.87 in"),
    (DEPOT, "pin-lock", "four seven point five millimeters", OUT, f"{TM}: worn out at 47.5 mm"),
    (DEPOT, "pin-lock", "one point eight seven five inches", IN, f"{TM}: worn out at 1.87 in"),
    (US, "pin-upper", "two and three quarters inches", OUT, f"{TM}: worn out at 2.75 in"),
    (US, "pin-upper", "two point seven six inches", IN, f"{TM}: worn out at 2.75 in"),
    (US, "plate-wear", "one eighth of an inch", OUT, f"{MD11} A: 1/8 in or more rejects"),
    (US, "plate-wear", "one sixteenth of an inch", IN, f"{MD11} A: 1/8 in or more rejects"),
    (US, "plate-wear", "three point two millimeters", OUT, f"{MD11} A: 3.2 mm as printed"),
    (US, "pivot-play", "three eighths of an inch", IN, f"{UTAH}: more than 3/8 in rejects"),
    (US, "pivot-play", "zero point three eight inches", OUT, f"{UTAH}: more than 3/8 in rejects"),
    (CA, "pivot-play", "nine point five millimeters", IN, f"{UTAH}: 9.5 mm"),
    (CA, "pivot-play", "nine point six millimeters", OUT, f"{UTAH}: 9.5 mm"),
    (US, "slider-play", "three eighths of an inch", IN, f"{UTAH}: more than 3/8 in rejects"),
    (DEPOT, "slider-play", "three eighths of an inch", OUT, f"{MD27}: more than 1/4 in rejects"),
    (DEPOT, "slider-play", "one quarter of an inch", IN, f"{MD27}: more than 1/4 in rejects"),
]

COUPLED = [
    (US, "halves-play", "one half of an inch", IN, f"{UTAH}: more than 1/2 in rejects"),
    (US, "halves-play", "nine sixteenths of an inch", OUT, f"{UTAH}: more than 1/2 in rejects"),
    (CA, "halves-play", "one three millimeters", IN, f"{ON_6110}: 13 mm"),
    (CA, "halves-play", "one four millimeters", OUT, f"{ON_6110}: 13 mm"),
    (CA, "halves-play", "one half of an inch", IN, f"{ON_6110}: 13 mm"),
]

PINTLE = [
    (CA, "pintle-play", "one zero millimeters", IN, "Ontario: more than 10 mm rejects"),
    (CA, "pintle-play", "one one millimeters", OUT, "Ontario: more than 10 mm rejects"),
    (US, "pintle-play", "three eighths of an inch", IN, "Ontario: more than 3/8 in rejects"),
]

TABLES = [
    ("road-ready", "slider-air", "", ROAD),
    ("road-ready", "doubles-dolly", "", TWO_TRAILERS),
    ("wear-check", "slider-air", "", APART),
    ("wear-check", "slider-air", "coupled-up", COUPLED),
    ("wear-check", "doubles-dolly", "coupled-up", PINTLE),
]
ROWS = [(procedure, rig, way, *row) for procedure, rig, way, rows in TABLES for row in rows]


@cache
def prepared(procedure: str, rig: str, site: str) -> Prepared:
    """One run, loaded once."""
    return prepare(library(), grammars(), procedure, rig=rig, site=site)


def at(procedure: str, rig: str, site: str, way: str, step: str) -> Drive:
    """Drive faultlessly to a reading, by the way named, and through the hold before it."""
    drive = Drive(prepared(procedure, rig, site))
    if way:
        drive.to("how-stands").say(way)
    drive.to(step)
    due = drive.plan.steps[drive.state.step].hold
    if due is not None:
        drive.say(due.begin)
        drive.put(Tick(), due.ms)
    return drive


def limit_of(drive: Drive) -> PlanLimit:
    """The limit of the reading that is due."""
    due = drive.plan.steps[drive.state.step].reading
    assert due is not None
    return due.limit


def tell(drive: Drive, words: str) -> str:
    """Say a number, agree with what is read back, and return what became of it."""
    reading = parse_reading(words, limit_of(drive).kind)
    assert not isinstance(reading, NumberRefused), reading
    told = drive.put(Measured(reading.value, reading.unit))
    if drive.state.phase != "confirming":
        return told.reason
    return drive.put(Heard(commands.RIGHT)).lines[0].key  # what is said first: within or outside


@pytest.mark.parametrize(("procedure", "rig", "way", "site", "step", "words", "verdict", "source"), ROWS)
def test_a_reading_at_the_edge_is_judged_as_the_source_words_it(
    procedure: str, rig: str, way: str, site: str, step: str, words: str, verdict: str, source: str
) -> None:
    """Hazard: a worn pin or a leaking brake passes because "or more" was taken for "more than"."""
    drive = at(procedure, rig, site, way, step)
    assert limit_of(drive).source
    assert tell(drive, words) == verdict, source


@pytest.mark.parametrize(
    ("procedure", "step", "words", "what"),
    [
        ("road-ready", "low-air", "six zero", "no-unit"),
        ("road-ready", "build-up-psi", "four five", "no-unit"),
        ("wear-check", "pivot-play", "three eighths", "no-unit"),
        ("road-ready", "low-air", "nine zero zero psi", "impossible"),
        ("wear-check", "pin-lock", "four seven inches", "impossible"),
        ("wear-check", "pin-lock", "zero point two millimeters", "impossible"),
    ],
)
def test_a_number_without_its_unit_or_sense_is_asked_again(
    procedure: str, step: str, words: str, what: str
) -> None:
    """Hazard: 60 kPa taken for 60 psi; 47 mm taken for inches. FAA AIM 4-2-8: a value has its unit."""
    drive = at(procedure, "slider-air", US, "", step)
    assert tell(drive, words) == what
    assert drive.step == step


@pytest.mark.parametrize(
    ("procedure", "step", "words"),
    [
        ("road-ready", "low-air", "six zero seconds"),
        ("road-ready", "build-up-psi", "four five psi"),
        ("wear-check", "pivot-play", "nine psi"),
        ("road-ready", "low-air", "one ten psi"),
        ("road-ready", "low-air", "oh five psi"),
    ],
)
def test_a_wrong_unit_or_a_run_together_number_is_no_reading(procedure: str, step: str, words: str) -> None:
    """Hazard: a time taken for a pressure, or tens run together (FAA AIM 4-2-8), heard as a value."""
    drive = at(procedure, "slider-air", US, "", step)
    assert isinstance(parse_reading(words, limit_of(drive).kind), NumberRefused)


def test_a_wrong_kind_of_unit_from_the_screen_is_asked_again() -> None:
    """Hazard: the pad could send a length where a pressure is due."""
    drive = at("road-ready", "slider-air", US, "", "low-air")
    assert drive.put(Measured(Decimal(60), "mm")).reason == "wrong-kind"
    assert drive.step == "low-air"


def test_fifteen_is_not_fifty() -> None:
    """Hazard: fifteen for fifty and thirteen for thirty; what is read back is what was said."""
    drive = at("road-ready", "slider-air", US, "", "low-air")
    for words, value in (("one five psi", 15), ("five zero psi", 50), ("one three psi", 13), ("three zero psi", 30)):
        drive.put(Measured(Decimal(value), "psi"))
        assert drive.state.pending is not None
        reading = parse_reading(words, "pressure")
        assert not isinstance(reading, NumberRefused)
        assert (reading.value, reading.unit) == (drive.state.pending.value, drive.state.pending.unit)
        drive.say(commands.CORRECTION)


def test_every_limit_of_every_site_names_its_source() -> None:
    """Promise: no number is judged by a limit that nobody answers for."""
    for site in (US, CA, UK, DEPOT):
        for name, limit in prepared("road-ready", "slider-air", site).files.site.limits.items():
            assert len(limit.source) > 10, (site, name)
