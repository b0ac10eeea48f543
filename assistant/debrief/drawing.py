"""A run's timeline as a drawing: lanes for told, said, decided, noise and tablet. Pure.

The drawing is a list of plain SVG elements; the page makes them, the reports write them. A refusal is told
by its shape and by its word, a failure by another, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from assistant.debrief.moments import Lane, Moment, What
from assistant.debrief.records import clock, lasted

WIDTH: Final = 1000
LABELS: Final = 74
ROW: Final = 28
TOP: Final = 22
LANES: Final[Mapping[Lane, str]] = {
    Lane.TOLD: "Told", Lane.SAID: "Said", Lane.DECIDED: "Decided", Lane.NOISE: "Noise", Lane.TABLET: "Tablet",
}  # fmt: skip
HEIGHT: Final = TOP + ROW * len(LANES) + 22
LONGEST_PAUSE_MS: Final = 60_000
"""A longer pause is drawn this long, with a break and its real length."""

_EVERY_MS: Final = tuple(60_000 * minutes for minutes in (1, 2, 5, 10, 30, 60, 240, 1440))
_QUIETEST_DB, _LOUDEST_DB = -70.0, -10.0
_WORDS: Final[Mapping[What, str]] = {What.REFUSAL: "Refused", What.FAILURE: "Failed", What.EMERGENCY: "STOP"}


@dataclass(frozen=True, slots=True)
class Shape:
    """One SVG element: its tag, its attributes, its text, what a reader is told of it, and its moment."""

    tag: str
    attributes: Mapping[str, str]
    text: str = ""
    told: str = ""
    moment: int | None = None


class _Scale:
    """From ms on the run's clock to the drawing, with long pauses cut."""

    def __init__(self, moments: Sequence[Moment]) -> None:
        self.breaks: list[tuple[int, int]] = []  # (where it ends on the clock, how long it was)
        self._cut: list[tuple[int, int]] = []  # (from this time on, so much is taken off)
        taken = was = 0
        if moments:
            was = min(one.start for one in moments)
            taken = was
            self._cut.append((0, was))
        for moment in sorted(moments, key=lambda one: one.start):
            pause = moment.start - was
            if pause > LONGEST_PAUSE_MS:
                taken += pause - LONGEST_PAUSE_MS
                self._cut.append((moment.start, taken))
                self.breaks.append((moment.start, pause))
            was = max(was, moment.at)
        self.ends = (self._cut[0][1] if self._cut else 0), was
        self._length = max(1, was - taken)

    def x(self, ms: int) -> float:
        """Return where a time is drawn."""
        taken = 0
        for since, cut in self._cut:
            if ms >= since:
                taken = cut
        return LABELS + (WIDTH - LABELS - 12) * min(max(0, ms - taken), self._length) / self._length


def drawing(moments: Sequence[Moment]) -> list[Shape]:
    """Return the shapes of some moments in a row."""
    scale = _Scale(moments)
    shapes = list(_lanes())
    shapes += _clock(scale)
    for ends, pause in scale.breaks:
        shapes += _break(scale.x(ends), pause)
    free: dict[Lane, float] = {}
    for moment in moments:
        shapes += _moment(moment, scale, free)
    return shapes


def _lanes() -> Iterable[Shape]:
    for row, name in enumerate(LANES.values()):
        y = TOP + ROW * row
        yield _shape("rect", "lane-odd" if row % 2 else "lane", x=0, y=y, width=WIDTH, height=ROW)
        yield _shape("text", "lane-name", name, x=6, y=y + 18)


def _clock(scale: _Scale) -> Iterable[Shape]:
    """Times of the run's clock along the foot: every so many minutes, at most a dozen."""
    first, last = scale.ends
    every = next((one for one in _EVERY_MS if (last - first) / one <= 12), _EVERY_MS[-1])
    bottom = TOP + ROW * len(LANES)
    was = -100.0
    for ms in range(-(-first // every) * every, last + 1, every):
        x = scale.x(ms)
        if x - was > 40 and not any(-20 < scale.x(ends) - x < 130 for ends, _ in scale.breaks):
            was = x
            yield _shape("line", "tick", x1=x, y1=bottom, x2=x, y2=bottom + 4)
            yield _shape("text", "time", clock(ms), x=x, y=bottom + 15, text_anchor="middle")


def _break(x: float, pause: int) -> Iterable[Shape]:
    bottom = TOP + ROW * len(LANES)
    yield _shape("line", "break", x1=x - 6, y1=TOP, x2=x - 6, y2=bottom)
    yield _shape("line", "break", x1=x - 3, y1=TOP, x2=x - 3, y2=bottom)
    yield _shape("text", "break-text", f"pause {lasted(pause)}", x=max(x, LABELS + 60), y=TOP + ROW * len(LANES) + 15)


def _moment(moment: Moment, scale: _Scale, free: dict[Lane, float]) -> Iterable[Shape]:
    row = list(LANES).index(moment.lane)
    y, left, right = TOP + ROW * row, scale.x(moment.start), scale.x(moment.at)
    told = f"{lasted(moment.start)}: {moment.title}. {moment.text}"[:300]
    if moment.lane is Lane.SAID and moment.noise_db is not None:
        yield from _noise(moment, scale)
    if moment.what in _WORDS and moment.lane is Lane.DECIDED:
        yield _mark(moment, right, y + ROW / 2, told)
        if right >= free.get(moment.lane, 0.0):
            free[moment.lane] = right + 60
            anchor = "end" if right > WIDTH - 60 else "middle"
            yield _shape("text", f"word {moment.what}", _WORDS[moment.what], x=right, y=TOP - 7, text_anchor=anchor)
            yield _shape("line", "lead", x1=right, y1=TOP - 4, x2=right, y2=y + 6)
        return
    if moment.lane in {Lane.TOLD, Lane.SAID}:
        hazard = any(line.kind == "hazard" for line in moment.lines)
        look = "hazard" if hazard else str(moment.what)
        box = _shape("rect", f"m {look}", x=left, y=y + 7, width=max(3.0, right - left), height=ROW - 14)
        yield Shape(box.tag, box.attributes, "", told, moment.number)
        return
    dot = _shape("circle", f"m {moment.what}", cx=right, cy=y + ROW / 2, r=4)
    yield Shape(dot.tag, dot.attributes, "", told, moment.number)


def _mark(moment: Moment, x: float, y: float, told: str) -> Shape:
    """A refusal is a diamond, a failure a cross, a stop an octagon; each large enough to be hit."""
    if moment.what is What.REFUSAL:
        points = [(0, -11), (11, 0), (0, 11), (-11, 0)]
    elif moment.what is What.EMERGENCY:
        points = [(-4, -10), (4, -10), (10, -4), (10, 4), (4, 10), (-4, 10), (-10, 4), (-10, -4)]
    else:
        corner = [(-9, -6), (-6, -9), (0, -3), (6, -9), (9, -6), (3, 0)]
        points = [*corner, *((-dx, -dy) for dx, dy in corner)]
    drawn = " ".join(f"{x + dx:.1f},{y + dy:.1f}" for dx, dy in points)
    return Shape("polygon", {"class": f"m {moment.what}", "points": drawn}, "", told, moment.number)


def _noise(moment: Moment, scale: _Scale) -> Iterable[Shape]:
    """How loud it was around the speaker: a bar, higher for louder."""
    level = min(max(moment.noise_db or _QUIETEST_DB, _QUIETEST_DB), _LOUDEST_DB)
    high = (ROW - 8) * (level - _QUIETEST_DB) / (_LOUDEST_DB - _QUIETEST_DB) + 2
    y = TOP + ROW * list(LANES).index(Lane.NOISE)
    x = scale.x(moment.start)
    bar = _shape("rect", "noise-bar", x=x, y=y + ROW - 3 - high, width=max(3.0, scale.x(moment.at) - x), height=high)
    yield Shape(bar.tag, bar.attributes, "", f"Noise {moment.noise_db:.0f} dB of full scale", moment.number)


def _shape(tag: str, look: str, text: str = "", **places: float | str) -> Shape:
    told = {
        name.replace("_", "-"): f"{value:.1f}" if isinstance(value, float) else str(value)
        for name, value in places.items()
    }
    return Shape(tag, {"class": look, **told}, text)


def as_data(shapes: Iterable[Shape]) -> list[dict[str, object]]:
    """Return the shapes as JSON for the page."""
    return [
        {"tag": one.tag, "at": dict(one.attributes), "text": one.text, "told": one.told, "moment": one.moment}
        for one in shapes
    ]


def as_svg(shapes: Iterable[Shape], title: str) -> str:
    """Return the drawing as an SVG element to stand in an HTML page; its looks come from that page's style."""
    parts = []
    for one in shapes:
        attributes = "".join(f' {name}="{escape(value)}"' for name, value in one.attributes.items())
        told = f"<title>{escape(one.told)}</title>" if one.told else ""
        parts.append(f"<{one.tag}{attributes}>{told}{escape(one.text)}</{one.tag}>")
    return (
        f'<svg class="timeline" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(title)}">'
        + "".join(parts) + "</svg>"
    )  # fmt: skip
