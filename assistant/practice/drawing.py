"""The rig seen from the side, as an SVG drawing: people would rather look than read. Pure.

Drawn from what is so, to the scale of 1 px to 20 mm along and 1 to 10 mm up: heights are what matters.
A trainer shows it; a trainee who sees it needs no looks.
"""

from __future__ import annotations

from html import escape
from typing import Final

from assistant.practice import rig
from assistant.practice.truth import FRAME_MM, NOSE_MM, PIN_MM, PLATE_MM, Jaw, Lines, Truth

WIDTH: Final = 900
HEIGHT: Final = 285
GROUND: Final = 220
PIN_X: Final = 520.0
ALONG: Final = 20.0
UP: Final = 10.0
FURTHEST_MM: Final = 4500.0  # a tractor further off is drawn here, with its distance written beside it

_RED, _AMBER, _GREY, _DARK, _BLUE = "#b3261e", "#c77700", "#8a8f98", "#2b2f36", "#1f4e9c"
_JAW = {Jaw.OPEN: "open", Jaw.ON_SHANK: "round the shank", Jaw.ON_HEAD: "round the head", Jaw.IN_FRONT: "shut in front"}


def drawing(truth: Truth) -> str:
    """Return the rig as an SVG document."""
    parts = [_ground(truth), *_trailer(truth), *_tractor(truth), *_lines(truth), *_labels(truth)]
    body = "\n".join(parts)
    title = escape("The classroom yard: " + "; ".join(_facts(truth)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'font-family="sans-serif" font-size="13"><title>{title}</title>\n'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>\n{body}\n</svg>\n'
    )


def _y(mm: float) -> float:
    return GROUND - mm / UP


def _rect(x: float, top_mm: float, wide: float, high_mm: float, fill: str) -> str:
    return f'<rect x="{x:.1f}" y="{_y(top_mm):.1f}" width="{wide:.1f}" height="{high_mm / UP:.1f}" fill="{fill}"/>'


def _wheel(x: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{GROUND - 25}" r="25" fill="{_DARK}"/>'


def _text(x: float, y: float, words: str, fill: str = _DARK) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="{fill}">{escape(words)}</text>'


def _ground(truth: Truth) -> str:
    tilt = 18 if truth.fit.slope > 0 else 0
    return f'<path d="M0 {GROUND + tilt} L{WIDTH} {GROUND}" stroke="{_DARK}" stroke-width="3"/>'


def _trailer(truth: Truth) -> list[str]:
    plate = rig.trailer(truth)
    nose = PIN_X - NOSE_MM / ALONG
    legs = PIN_X + 70
    foot = max(0.0, rig.leg_gap(truth) if rig.under(truth) else 0.0)
    parts = [
        _rect(nose, plate + 350, WIDTH - nose - 10, 350, "#d7dbe2"),
        _rect(nose, plate + 20, WIDTH - nose - 10, 20, _GREY),
        _rect(PIN_X - 3, plate, 6, PIN_MM, _RED),
        _rect(legs, plate, 9, max(0.0, plate - foot), _GREY),
        _rect(legs - 6, foot + 20, 21, 20, _DARK),
        *(_wheel(x) for x in (WIDTH - 150, WIDTH - 95)),
    ]
    if truth.chocks:
        parts.append(f'<path d="M{WIDTH - 200} {GROUND} l24 0 l0 -20 z" fill="{_AMBER}"/>')
        parts.append(f'<path d="M{WIDTH - 44} {GROUND} l-24 0 l0 -20 z" fill="{_AMBER}"/>')
    return parts


def _tractor(truth: Truth) -> list[str]:
    ahead = min(truth.reach, FURTHEST_MM) / ALONG
    jaw = PIN_X - ahead
    top = rig.plate(truth)
    frame = top - 250
    parts = [
        _rect(jaw - 180, frame, 180 + FRAME_MM / ALONG, 110, _BLUE),
        _rect(jaw - 300, frame + 1150, 120, 1260, _BLUE),
        f'<path d="M{jaw - 14:.1f} {_y(frame):.1f} L{jaw:.1f} {_y(top):.1f} L{jaw + 14:.1f} {_y(frame):.1f} z" '
        f'fill="{_GREY}"/>',
        _rect(jaw - PLATE_MM / ALONG, top, 2 * PLATE_MM / ALONG, 45, _DARK),
        *(_wheel(x) for x in (jaw - 260, jaw - 20, jaw + 40)),
    ]
    if truth.reach > FURTHEST_MM:
        parts.append(_text(jaw - 180, _y(top) - 12, f"{truth.reach / 1000:.1f} m ahead"))
    return parts


def _lines(truth: Truth) -> list[str]:
    if truth.lines is Lines.OFF:
        return []
    start, end = PIN_X - min(truth.reach, FURTHEST_MM) / ALONG - 180, PIN_X - NOSE_MM / ALONG
    swap = truth.lines is Lines.CROSSED
    high = _y(rig.trailer(truth) + 200)
    return [
        f'<path d="M{start:.0f} {high - 20:.0f} Q{(start + end) / 2:.0f} {high + 40:.0f} {end:.0f} '
        f'{high + (14 if swap else 0):.0f}" stroke="{_RED}" fill="none" stroke-width="3"/>',
        f'<path d="M{start:.0f} {high - 6:.0f} Q{(start + end) / 2:.0f} {high + 54:.0f} {end:.0f} '
        f'{high + (0 if swap else 14):.0f}" stroke="{_BLUE}" fill="none" stroke-width="3"/>',
    ]


def _facts(truth: Truth) -> list[str]:
    tractor, behind = rig.held(truth)
    return [
        f"jaws {_JAW[truth.jaw]}",
        f"release {'home' if truth.handle_in else 'out'}",
        f"legs {rig.legs(truth)}",
        f"gap {rig.plate_gap(truth):.0f} mm" if rig.under(truth) else "not under",
        f"tractor {'held' if tractor else 'FREE'}",
        f"trailer {'held' if behind else 'FREE'}",
        f"air {truth.tank:.0f} psi",
    ]


def _labels(truth: Truth) -> list[str]:
    told = _facts(truth)
    parts = [_text(12, HEIGHT - 28, " · ".join(told[:4])), _text(12, HEIGHT - 9, " · ".join(told[4:]))]
    for row, harm in enumerate(truth.harms[-3:]):
        parts.append(_text(WIDTH - 250, 22 + 18 * row, harm.kind.replace("-", " ").upper(), _RED))
    return parts
