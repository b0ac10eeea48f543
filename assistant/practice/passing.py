"""Time passing in the classroom yard: air rises and falls, brakes come on by themselves, things roll and sink.

Every rate is constant between two moments at which something switches over, so time is cut at those
moments and each piece worked out exactly: one long wait gives the same as many short ones. Pure.
"""

from __future__ import annotations

from typing import Final

from assistant.practice.rig import charging, held, leg_gap, plate_gap, touching, under
from assistant.practice.truth import EMERGENCY_OFF_PSI, HEAD_GRIP_MM, LEG_CONTACT_MM, SPRING_ON_PSI, Place, Truth

GRAVITY: Final = 9810.0  # mm/s²
ROLLING: Final = 0.008  # rolling resistance of a truck's tyres on asphalt as a share of weight, from memory
RUNAWAY_MM: Final = 1000.0  # a rig that has rolled this far hits something
SINK_MM_S: Final = 0.5  # a loaded leg in soft ground, common practice, no source
DEEPEST_MM: Final = 150.0
_LEAST_S: Final = 1e-6
_MOST_PIECES: Final = 2000


def pass_time(truth: Truth, ms: int) -> Truth:
    """Return the rig ``ms`` milliseconds later when nobody does anything."""
    left = ms / 1000
    for _ in range(_MOST_PIECES):
        truth = switched(truth)
        if left <= _LEAST_S:
            break
        step = min(left, _until(truth))
        truth = _piece(truth, step)
        left -= step
    return truth.but(time_ms=truth.time_ms + ms)


def air_rates(truth: Truth) -> tuple[float, float]:
    """Return how fast tractor's and trailer's pressure change now, psi a second."""
    leak = truth.fit.leak
    joined = charging(truth)
    if joined:
        leak += truth.fit.leak_charged
    if truth.pedal or (truth.hand_valve and joined):
        leak += truth.fit.leak_applied
    rate = (truth.fit.compressor if truth.pumping else 0.0) - leak / 60
    if truth.tank <= 0 and rate < 0:
        rate = 0.0
    if joined:
        return rate, rate
    return rate, -truth.fit.leak_trailer / 60 if truth.trailer_tank > 0 else 0.0


def switched(truth: Truth) -> Truth:
    """Return the rig after what switches by itself: governor, joined tanks, spring brakes that hold a roll."""
    pumping = truth.engine and (truth.tank < truth.fit.cut_out if truth.pumping else truth.tank <= truth.fit.cut_in)
    if pumping != truth.pumping:
        truth = truth.but(pumping=pumping)
    if charging(truth) and truth.trailer_tank != truth.tank:
        truth = truth.but(trailer_tank=truth.tank)
    if truth.speed and all(held(truth)):
        truth = truth.but(speed=0.0)
    return truth


def _until(truth: Truth) -> float:
    """Return the seconds to the next moment at which something switches over."""
    tank, behind = air_rates(truth)
    marks = [truth.fit.cut_out, truth.fit.cut_in, SPRING_ON_PSI, 0.0]
    times = [_crossing(truth.tank, tank, mark) for mark in marks]
    times += [_crossing(truth.trailer_tank, behind, mark) for mark in (EMERGENCY_OFF_PSI, 0.0)]
    if under(truth) and sinking(truth):
        times.append((plate_gap(truth) - HEAD_GRIP_MM) / SINK_MM_S + _LEAST_S)  # then it rests on the plate
    return min(times)


def _crossing(value: float, rate: float, mark: float) -> float:
    if rate == 0 or (mark - value) / rate <= _LEAST_S:
        return float("inf")
    # A hair beyond, so that the comparison on the other side of it holds.
    return (mark - value) / rate + _LEAST_S


def _piece(truth: Truth, seconds: float) -> Truth:
    tank, behind = air_rates(truth)
    changes: dict[str, object] = {"tank": max(0.0, truth.tank + tank * seconds)}
    changes["trailer_tank"] = max(0.0, truth.trailer_tank + behind * seconds)
    pull = GRAVITY * (truth.fit.slope - ROLLING)
    if not all(held(truth)) and pull > 0:
        changes["rolled"] = truth.rolled + truth.speed * seconds + pull * seconds**2 / 2
        changes["speed"] = truth.speed + pull * seconds
    if sinking(truth):
        changes["sunk"] = min(DEEPEST_MM, truth.sunk + SINK_MM_S * seconds)
    after = truth.but(**changes)
    if after.rolled >= RUNAWAY_MM > truth.rolled:
        after = after.harmed("runaway" if after.place is Place.CAB else "runaway-outside", "")
        after = after.harmed("crushed-under", "") if after.place is Place.UNDER else after
    return after


def sinking(truth: Truth) -> bool:
    """Whether the legs carry the trailer on ground that does not bear it."""
    carries = leg_gap(truth) <= LEG_CONTACT_MM and not touching(truth)
    return carries and truth.has("ground-soft") and "boards-laid" not in truth.done
