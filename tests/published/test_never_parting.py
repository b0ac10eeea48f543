"""Orders that must never happen while trailers and dollies are parted, each against the published text."""

from __future__ import annotations

import pytest

from .never import asks, refuses, says_before


def test_n17_the_release_needs_legs_down_on_firm_ground() -> None:
    """CDL manual 6.4.2 steps 1, 4 and 6; NAVFAC MO-403 par. 7.3: the trailer drops."""
    refuses("pull-release", "legs", "just off", "up")
    refuses("pull-release", "ground", "soft")
    refuses("pull-forward", "legs", "just off", "up")


@pytest.mark.parametrize("act", ["pull-release", "unlock-slider", "slide"])
def test_n18_the_release_needs_the_trailer_held(act: str) -> None:
    """CDL manual 6.4.2 steps 2 and 3; NAVFAC MO-403 par. 7.3 step 4: the trailer rolls as soon as it is free."""
    refuses(act, "trailer-brake", "off")
    refuses(act, "chocks", "away")
    if act == "pull-release":
        refuses(act, "tractor-brake", "off")


def test_n18_easing_back_needs_the_trailer_brakes() -> None:
    """CDL manual 6.4.2 step 2: trailer brakes first, then the load is eased off the jaws."""
    refuses("ease-back", "trailer-brake", "off")


def test_n19_nothing_is_pulled_off_its_lines() -> None:
    """CDL manual 6.4.2 steps 5 and 7; NAVFAC MO-403 par. 7.3: torn lines let the brakes go or whip."""
    refuses("pull-forward", "lines", "connected")
    refuses("pull-forward", "cord", "connected")
    refuses("draw-out", "lines", "connected")
    refuses("pull-clear", "lines", "connected")


def test_n20_feet_are_out_of_line_before_the_release_is_pulled() -> None:
    """CDL manual 6.4.2 step 6: legs and feet clear of the rear tractor wheels. By hand; from the cab none are near."""
    for plan, step in asks("pull-release"):
        if step.id.endswith("-air"):
            continue
        assert says_before(plan, step, "feet-in-line"), (plan.procedure, step.id)


def test_n21_nobody_pulls_clear_in_one_move() -> None:
    """CDL manual 6.4.2 steps 7 to 10; NAVFAC MO-403 par. 7.3 steps 6 and 7: the frame catches a sinking trailer."""
    refuses("pull-clear", "supports", "sinking")
    refuses("pull-clear", "pin", "clear", "in line", "over throat", "out of line", "in jaw")


def test_n22_supports_are_looked_at_beside_a_held_tractor() -> None:
    """CDL manual 6.4.2 steps 8 and 9."""
    refuses("look-at-supports", "tractor-brake", "off")


def test_n23_no_coupled_trailer_is_lifted_with_its_legs() -> None:
    """CDL manual 6.4.2 step 4: do not lift the trailer off the fifth wheel."""
    refuses("lift-with-legs", "pin", "in jaw")


def test_n24_no_pintle_is_opened_under_a_trailer() -> None:
    """CDL manual 7.2: the tow bar may fly up."""
    refuses("open-pintle", "dolly", "under")
    refuses("open-pintle", "tractor-brake", "off")


def test_n25_doubles_move_only_with_air_at_the_very_rear() -> None:
    """CDL manual 7.2; California commercial driver handbook p. 109."""
    refuses("drive-off", "rear-air", "missing")
