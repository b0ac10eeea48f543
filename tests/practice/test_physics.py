"""The yard's physics: simple, and right. Every invariant by property, over rigs, moments and times."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.practice import acts, rig
from assistant.practice.driving import forward_to
from assistant.practice.passing import pass_time
from assistant.practice.truth import Fit, Jaw, Lines, Place, Truth

FITS = st.builds(
    Fit,
    air_suspension=st.booleans(), spring_brakes=st.booleans(), valve_at_trailer=st.booleans(),
    slope=st.sampled_from([0.0, 0.02, 0.035, 0.08]), compressor=st.floats(0.1, 1.0),
    leak=st.floats(0.0, 5.0), leak_charged=st.floats(0.0, 8.0), leak_applied=st.floats(0.0, 8.0),
    leak_trailer=st.floats(0.0, 10.0),
    faults=st.frozensets(st.sampled_from(["trailer-brake-weak", "park-brake-weak", "ground-soft"]), max_size=2),
)  # fmt: skip
MOMENTS = st.builds(
    Truth,
    fit=FITS,
    reach=st.sampled_from([6000.0, 2000.0, 1500.0, 700.0, 200.0, 80.0]),
    angle=st.just(0.0), lowered=st.booleans(), leg_mm=st.floats(900.0, 1300.0),
    jaw=st.sampled_from([Jaw.OPEN, Jaw.IN_FRONT]), engine=st.booleans(), knob_in=st.booleans(),
    valve_set=st.booleans(), chocks=st.booleans(), pedal=st.booleans(), tractor_brake=st.booleans(),
    tank=st.floats(0.0, 130.0), trailer_tank=st.floats(0.0, 130.0), lines=st.sampled_from(list(Lines)),
    place=st.sampled_from(list(Place)),
)  # fmt: skip
COUPLED = MOMENTS.map(lambda truth: truth.but(reach=0.0, jaw=Jaw.ON_SHANK, handle_in=True))
MS = st.integers(0, 900_000)


@given(MOMENTS | COUPLED, MS)
@settings(max_examples=150, deadline=None)
def test_air_only_falls_without_a_compressor_and_never_below_nothing(truth: Truth, ms: int) -> None:
    """A gauge that rose by itself would let a trainee wait for air that never comes."""
    later = pass_time(truth.but(engine=False), ms)
    joined = truth.lines is Lines.RIGHT and truth.knob_in
    assert 0 <= later.tank <= truth.tank + 1e-6
    assert 0 <= later.trailer_tank <= max(truth.trailer_tank, truth.tank if joined else 0.0) + 1e-6
    running = pass_time(truth.but(engine=True), ms)
    assert 0 <= running.tank <= max(truth.tank, truth.fit.cut_out) + 1e-3


@given(MOMENTS | COUPLED, st.lists(st.integers(0, 200_000), min_size=1, max_size=8))
@settings(max_examples=150, deadline=None)
def test_time_in_pieces_is_time_in_one(truth: Truth, pieces: list[int]) -> None:
    """What is so must not depend on how often somebody looked at the clock."""
    apart = truth
    for ms in pieces:
        apart = pass_time(apart, ms)
    whole = pass_time(truth, sum(pieces))
    assert apart.time_ms == whole.time_ms
    for name in ("tank", "trailer_tank", "sunk"):
        assert getattr(apart, name) == pytest.approx(getattr(whole, name), abs=0.02)
    assert apart.rolled == pytest.approx(whole.rolled, rel=1e-3, abs=1.0)
    assert {harm.kind for harm in apart.harms} == {harm.kind for harm in whole.harms}


@given(MOMENTS | COUPLED, st.integers(1_000, 600_000))
@settings(max_examples=150, deadline=None)
def test_what_is_held_stays_and_what_is_free_on_a_slope_rolls(truth: Truth, ms: int) -> None:
    """A rig without brake or chock rolls down a slope; a braked or chocked one does not, nor any on the flat."""
    later = pass_time(truth, ms)
    if truth.fit.slope == 0:
        assert later.rolled == 0
    elif all(rig.held(truth)) and all(rig.held(later)):
        assert later.rolled == pytest.approx(0, abs=1e-3) or not truth.fit.spring_brakes
    elif not all(rig.held(truth)) and not all(rig.held(later)):
        assert later.rolled > 0


@given(MOMENTS, st.integers(1_000, 600_000))
@settings(max_examples=60, deadline=None)
def test_chocks_hold_without_any_air(truth: Truth, ms: int) -> None:
    """Air leaks off; a chock does not (driver manual 6.4.2 step 3; NAVFAC MO-403 par. 7.3)."""
    chocked = truth.but(chocks=True, tank=0.0, trailer_tank=0.0, place=Place.CAB)
    assert pass_time(chocked, ms).rolled == 0


@given(COUPLED, st.sampled_from([200.0, 1500.0, 3000.0]))
@settings(max_examples=80, deadline=None)
def test_a_pin_in_a_closed_jaw_stays(truth: Truth, reach: float) -> None:
    """No pull parts a trailer from jaws that hold its pin; only an opened jaw lets it go."""
    pulled = forward_to(truth, reach, "pull-forward")
    assert pulled.reach == 0
    assert pulled.jaw is Jaw.ON_SHANK
    assert acts.act(truth, "tug").reach == 0
    assert forward_to(truth.but(jaw=Jaw.OPEN), reach, "pull-forward").reach == reach


@given(MOMENTS, st.sampled_from(sorted(acts.ACTS)))
@settings(max_examples=300, deadline=None)
def test_jaws_close_round_a_pin_only_where_a_pin_is(truth: Truth, act: str) -> None:
    """Jaws that hold "the pin" with the pin elsewhere would be what killed in the Washington State FACE narrative."""
    after = acts.act(truth, act)
    if rig.coupled(after):
        assert abs(after.reach) <= rig.SEATED_MM
        assert act == "back-in"
        assert truth.jaw is Jaw.OPEN
        assert not rig.out_of_line(after)


@given(st.floats(-60.0, 60.0))
@settings(max_examples=80, deadline=None)
def test_the_plates_must_touch_for_the_jaws_to_take_the_shank(above: float) -> None:
    """A gap between the plates puts the jaws round the head (driver manual 6.4.1 step 13), and a tug does not tell."""
    fit = Fit(air_suspension=False)
    truth = Truth(fit, reach=700.0, angle=0.0, jaw=Jaw.OPEN, chocks=True, leg_mm=fit.ride_mm + above)
    after = acts.act(truth, "back-in")
    if rig.coupled(after):
        assert (after.jaw is Jaw.ON_SHANK) == (above <= rig.HEAD_GRIP_MM)
        assert acts.act(after.but(knob_in=False), "tug").tug == "held"


@given(st.floats(0.0, 400.0), st.booleans())
@settings(max_examples=80, deadline=None)
def test_legs_carry_the_trailer_when_the_tractor_leaves_or_it_falls(short_mm: float, loaded: bool) -> None:
    """Legs on the ground carry; legs that hang let the nose fall (driver manual 6.4.2 steps 4 and 7)."""
    fit = Fit(air_suspension=False, loaded=loaded)
    truth = Truth(fit, reach=0.0, angle=0.0, jaw=Jaw.OPEN, chocks=True, leg_mm=fit.ride_mm - short_mm)
    assert rig.trailer(truth) == pytest.approx(fit.ride_mm)
    after = acts.act(truth, "pull-forward")
    fell = any(harm.kind == "dropped" for harm in after.harms)
    assert fell == (short_mm > 100.0)
    assert rig.legs(after) == "down"
    if short_mm <= 50:
        assert after.harms == ()


@given(st.integers(0, 600))
@settings(max_examples=40, deadline=None)
def test_legs_sink_in_soft_ground_only_under_load_and_not_on_boards(seconds: int) -> None:
    """Soft ground gives way under the legs when the tractor is out, and boards help (TM 9-2330-335-14&P)."""
    soft = Fit(faults=frozenset({"ground-soft"}))
    alone = Truth(soft, reach=6000.0, chocks=True)
    assert (pass_time(alone, seconds * 1000).sunk > 0) == (seconds > 0)
    assert pass_time(alone.did("boards-laid"), seconds * 1000).sunk == 0
    carried = Truth(soft, reach=0.0, chocks=True, jaw=Jaw.ON_SHANK, leg_mm=900.0)
    assert pass_time(carried, seconds * 1000).sunk == 0
    assert pass_time(replace(alone, fit=Fit()), seconds * 1000).sunk == 0


def test_a_name_that_is_no_part_of_the_rig_is_refused() -> None:
    """A slip of the pen in the simulation must not become a part that nobody reads."""
    with pytest.raises(TypeError, match="tractor_break"):
        Truth(Fit()).but(tractor_break=True)
