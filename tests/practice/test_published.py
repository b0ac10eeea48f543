"""The yard's numbers against published ones: what a sound rig shows passes, what a faulty one shows does not."""

from __future__ import annotations

from decimal import Decimal

import pytest
from honest import Yard, yards

from assistant.practice import deeds, readings, replies, rig
from assistant.practice.faults import seeded
from assistant.practice.passing import pass_time
from assistant.practice.sights import PICTURES
from assistant.practice.truth import PIN_MM, SPRING_ON_PSI, Fit, Lines, Place, Truth
from assistant.procedure.plan import PlanLimit


def _road() -> list[Yard]:
    return [yard for yard in yards() if yard.procedure == "road-ready" and yard.crew == "alone"]


def _limits(yard: Yard) -> dict[str, PlanLimit]:
    return {step.reading.limit.name: step.reading.limit for step in yard.plan.steps if step.reading is not None}


def _leak(truth: Truth, limit: PlanLimit, *, pedal: bool) -> Decimal:
    """The reading of a leak test of one minute."""
    charged = truth.but(knob_in=True, engine=False, tank=118.0)
    held = deeds.deed(charged, "holding-now") if pedal else charged
    timed = deeds.timed(pass_time(deeds.marked(held), 60_000))
    return readings.in_unit(readings.take(timed, limit.name)[0], limit.name, limit.unit)


@pytest.mark.parametrize("yard", _road(), ids=lambda yard: f"{yard.rig}-{yard.site}")
def test_leaks_of_a_sound_rig_pass_and_of_a_leaking_one_do_not(yard: Yard) -> None:
    """3 psi a minute released and 4 applied for two units (CDL manual section 5; Ontario test 6-1-4); 5 and 6 for three (California handbook)."""
    for name, limit in _limits(yard).items():
        if name.startswith("leak"):
            pedal = "applied" in name
            assert limit.passes(_leak(yard.truth(), limit, pedal=pedal)), name
            assert not limit.passes(_leak(seeded(yard.truth(), ["line-leaks"]), limit, pedal=pedal)), name


@pytest.mark.parametrize("yard", _road(), ids=lambda yard: f"{yard.rig}-{yard.site}")
def test_every_other_air_reading_of_a_sound_rig_passes(yard: Yard) -> None:
    """Build-up 85 to 100 psi within 45 s or 2 min, cut-out, cut-in 100 psi or above (61 FR 6173), warning by 60 or 55, valves at 20 to 45 psi."""
    faulty = {"build-up": "slow-compressor", "low-air": "warning-late", "cut-out": "cut-out-high",
              "spring-pop": "valves-late", "protection-pop": "valves-late"}  # fmt: skip
    for name, limit in _limits(yard).items():
        if name.startswith("leak"):
            continue
        value, _ = readings.take(yard.truth(), name)
        assert limit.passes(readings.in_unit(value, name, limit.unit)), name
        if name in faulty:
            bad, _ = readings.take(seeded(yard.truth(), [faulty[name]]), name)
            assert not limit.passes(readings.in_unit(bad, name, limit.unit)), name


def test_spring_brakes_come_on_within_the_published_band() -> None:
    """Between 20 and 45 psi (CDL manual section 5; 6.2): above it the trailer runs free, below it stands."""
    assert 20 <= SPRING_ON_PSI <= 45
    free = Truth(Fit(), reach=0.0, lines=Lines.RIGHT, knob_in=True, valve_set=False, tank=46.0)
    assert not rig.trailer_braked(free)
    assert rig.trailer_braked(free.but(tank=SPRING_ON_PSI - 0.1))
    assert rig.trailer_braked(free.but(tank=19.0))
    assert rig.tractor_held(Truth(Fit(), tank=19.0, place=Place.GROUND))


def test_crossed_lines_leave_spring_brakes_on_and_an_old_trailer_free() -> None:
    """CDL manual 6.2: with spring brakes they will not release; an old trailer may have no brakes at all."""
    crossed = Truth(Fit(), reach=0.0, lines=Lines.CROSSED, knob_in=True, valve_set=False, tank=118.0)
    assert rig.trailer_braked(crossed)
    old = crossed.but(fit=Fit(spring_brakes=False), trailer_tank=0.0)
    assert not rig.trailer_braked(old)


def test_an_old_trailers_emergency_brakes_leak_off() -> None:
    """A dropped red line is no parking brake (HSE driver leaflet; CDL manual 6.4.2 step 3: air may leak off)."""
    parked = Truth(Fit(spring_brakes=False, leak_trailer=2.0, slope=0.035), trailer_tank=80.0)
    assert rig.trailer_braked(pass_time(parked, 10 * 60_000))
    gone = pass_time(parked, 60 * 60_000)
    assert not rig.trailer_braked(gone)
    assert [harm.kind for harm in gone.harms] == ["runaway"]
    assert pass_time(parked.but(chocks=True), 60 * 60_000).harms == ()


def test_a_chock_that_stands_stays_though_its_pair_is_missing() -> None:
    """On a slope one chock holds an old trailer (CDL manual 6.4.2 step 3): whoever looks for the other leaves it be."""
    fit = Fit(spring_brakes=False, leak_trailer=2.0)
    start = seeded(Truth(fit, reach=6000.0, trailer_tank=0.0, tractor_brake=True), ["chock-missing", "slope"])
    assert rig.trailer_held(start)
    tried = deeds.deed(start, "chocks-placed")
    assert rig.trailer_held(tried)
    assert pass_time(tried, 60 * 60_000).harms == ()
    assert PICTURES["chocks"](tried) == "one-only"
    assert not replies.true(tried, "chocks-placed"), "said that both stand while one is seen"
    assert not replies.true(tried, "chocks-stowed"), "said that none stands while one is seen"


def test_a_slipped_chock_is_set_anew_under_a_trailer_that_stays_held() -> None:
    """A trailer may not roll while its chock is set right (CDL manual 6.4.2 step 3: air may leak off)."""
    fit = Fit(spring_brakes=False, leak_trailer=2.0)
    slipped = seeded(Truth(fit, reach=6000.0, trailer_tank=0.0, tractor_brake=True), ["chock-slipped", "slope"])
    assert replies.true(slipped, "chocks-not-tight")
    assert PICTURES["chocks"](slipped) == "slipped"
    again = deeds.mended(slipped, "chocks-not-tight")
    assert pass_time(again, 60 * 60_000).harms == ()
    assert replies.true(again, "chocks-tight")
    assert PICTURES["chocks"](again) == "placed"


def test_the_pin_is_as_long_as_published() -> None:
    """3.324 in, 84.43 mm (TM 9-2330-335-14&P, inspection table)."""
    assert pytest.approx(84.43, abs=0.5) == PIN_MM


def test_wear_of_a_sound_rig_passes_everywhere_and_of_a_worn_one_nowhere() -> None:
    """Play of the halves up to 1/2 in (Utah R714-162-10), pin above 1.875 in (COMAR 11.22.04.11), upper part above 2.75 in (TM 9-2330-335-14&P)."""
    worn = {"halves-play": "worn-play", "pin-lock-diameter": "pin-thin"}
    for yard in yards():
        if yard.procedure != "wear-check" or yard.crew != "alone":
            continue
        for name, limit in _limits(yard).items():
            assert limit.passes(readings.in_unit(readings.take(yard.truth(), name)[0], name, limit.unit)), name
            if name in worn:
                bad, _ = readings.take(seeded(yard.truth(), [worn[name]]), name)
                assert not limit.passes(readings.in_unit(bad, name, limit.unit)), (name, yard.site)
