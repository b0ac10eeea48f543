"""The scale times are counted on: whole seconds at first, then steps that grow with the time.

People compare 12 s with 15 s, never 112 s with 115 s. Few steps keep the counts small however many runs
there are, and then a median costs the same on a thousand runs and on a million. A time stands at the
lower edge of its step; a step is never wider than an eighth of its time, nor than a second below 20 s.
"""

from __future__ import annotations

_STEPS = ((20, 1), (40, 2), (100, 5), (200, 10), (400, 20), (1000, 50), (2000, 100), (4000, 200), (10_000, 500))
LONGEST_S = 10_000


def _lower_edge(seconds: int) -> int:
    for below, step in _STEPS:
        if seconds < below:
            return seconds - seconds % step
    return LONGEST_S


_EDGES = tuple(map(_lower_edge, range(LONGEST_S + 1)))


def on_scale(ms: int) -> int:
    """Return the lower edge, in seconds, of the step that a time of ``ms`` falls in."""
    return 0 if ms < 0 else _EDGES[ms // 1000] if ms < 1000 * LONGEST_S else LONGEST_S


def edge(seconds: int) -> int:
    """Return the edge of the scale at or below ``seconds``: what a threshold can be told apart by."""
    return on_scale(seconds * 1000)
