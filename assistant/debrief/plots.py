"""Plots that are read at a glance: what they show as plain data, and matplotlib to draw them.

Two colours at most, told apart in any kind of colour sight and by pattern; every axis has its words and
its unit, every bar its number.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial
from threading import Lock
from typing import Any, Final, TypeAlias

from assistant.debrief.blocks import Cell, Picture
from assistant.errors import InputError

_INK, _GRID = "#16202a", "#c3ccd4"
_FIRST, _SECOND = "#0b4f8a", "#e69f00"  # dark blue and orange: apart in brightness too
_BOUND = "#a83200"
_DPI: Final = 130
_drawing = Lock()


@dataclass(frozen=True, slots=True)
class Bars:
    """Bars lying down, one a label; a second value a label where there are two to be held beside each other."""

    title: str
    unit: str
    labels: tuple[str, ...]
    values: tuple[Cell, ...]
    others: tuple[Cell, ...] = ()
    name: str = ""
    other_name: str = ""

    @property
    def worth(self) -> bool:
        """Whether there is anything to be seen: one bar or more, not all of them nothing or masked."""
        return any((*self.values, *self.others))

    def alt(self) -> str:
        """The plot in words."""
        told = [
            (label, float(value or 0))
            for label, value in zip(self.labels, self.values, strict=True)
            if value is not None
        ]
        if not told:
            return f"{self.title}: nothing to show."
        most = max(told, key=lambda one: one[1])
        return f"{self.title} ({self.unit}). Most: {most[0]}, {most[1]:g}."


@dataclass(frozen=True, slots=True)
class Points:
    """Readings over time, each a point, and the bounds they must keep within; ``outside`` ones have their own mark."""

    title: str
    unit: str
    days: tuple[date, ...]
    values: tuple[float, ...]
    outside: tuple[bool, ...]
    bounds: tuple[float, ...] = ()

    @property
    def worth(self) -> bool:
        """Whether there is a course to be seen: readings of two days or more."""
        return len(set(self.days)) > 1

    def alt(self) -> str:
        """The plot in words."""
        if not self.days:
            return f"{self.title}: nothing to show."
        bounds = " and ".join(f"{one:g}" for one in self.bounds) or "not known"
        first, last = f"{self.days[0]:%d %B %Y}", f"{self.days[-1]:%d %B %Y}"
        return (
            f"{self.title} ({self.unit}): {len(self.days)} readings from {first} to {last}, "
            f"lowest {min(self.values):g}, highest {max(self.values):g}, {sum(self.outside)} outside. Bounds: {bounds}."
        )


Plot: TypeAlias = Bars | Points


def svg(plot: Plot) -> bytes:
    """Return a plot as SVG; InputError when the trainer's extra is not installed."""
    return _drawn(plot, "svg")


def picture(plot: Plot) -> Picture:
    """Return a plot for a report."""
    return Picture(partial(_drawn, plot), _size(plot), plot.alt())


def _size(plot: Plot) -> tuple[float, float]:
    return (9.0, 1.4 + 0.3 * len(plot.labels)) if isinstance(plot, Bars) else (9.0, 3.4)


@lru_cache(maxsize=64)
def _drawn(plot: Plot, form: str) -> bytes:
    try:
        # Slow to load, and only with the trainer's extra.
        import matplotlib as mpl  # noqa: PLC0415
        from matplotlib.figure import Figure  # noqa: PLC0415
    except ImportError as error:
        raise InputError("Plots need the trainer's extra: pip install 'hitchcall[trainer]'.") from error
    look: Any = {"font.size": 10, "svg.hashsalt": "hitchcall", "axes.edgecolor": _INK, "font.family": "DejaVu Sans"}
    with _drawing, mpl.rc_context(look):
        figure = Figure(figsize=_size(plot), layout="constrained")
        axes = figure.subplots()
        if isinstance(plot, Bars):
            _bars(axes, plot)
        else:
            _points(axes, plot)
        # A legend stands between the title and the plot.
        pad = 20 if axes.get_legend() is not None else 6
        axes.set_title(plot.title, loc="left", fontweight="bold", fontsize=11, pad=pad)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=_DPI, metadata={"Date": None} if form == "svg" else None)
    return out.getvalue()


def _bars(axes: Any, plot: Bars) -> None:
    from matplotlib.ticker import MaxNLocator  # noqa: PLC0415 - as above

    places = range(len(plot.labels))
    two = bool(plot.others)
    high = 0.38 if two else 0.7
    axes.barh([at - high / 2 if two else at for at in places], _values(plot.values), height=high, color=_FIRST,
              label=plot.name or None)  # fmt: skip
    if two:
        axes.barh([at + high / 2 for at in places], _values(plot.others), height=high, color=_SECOND,
                  edgecolor=_INK, linewidth=0.6, hatch="///", label=plot.other_name)  # fmt: skip
        axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, frameon=False, borderaxespad=0.1, fontsize=9)
    for shift, values in ((-high / 2 if two else 0, plot.values), (high / 2, plot.others)):
        for at, value in enumerate(values):
            if value is not None:
                axes.annotate(f"{value:g}", (value, at + shift), xytext=(3, 0), fontsize=8,
                              textcoords="offset points", va="center", color=_INK)  # fmt: skip
    axes.set_yticks(list(places), [_short(str(one)) for one in plot.labels])
    axes.set_ylim(len(plot.labels) - 0.4, -0.6)
    axes.margins(x=0.08)
    axes.set_xlim(left=0)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=8, integer=True, min_n_ticks=2))
    axes.set_xlabel(plot.unit)
    axes.grid(visible=True, axis="x", color=_GRID, linewidth=0.6)
    axes.set_axisbelow(True)


def _points(axes: Any, plot: Points) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter  # noqa: PLC0415 - as above

    for outside, mark, colour, name in ((False, "o", _FIRST, "within"), (True, "X", _BOUND, "outside")):
        these = [place for place, one in enumerate(plot.outside) if one is outside]
        if these:
            days, values = [plot.days[one] for one in these], [plot.values[one] for one in these]
            axes.plot(days, values, mark, color=colour, markersize=5, alpha=0.8, label=name)
    for at, bound in enumerate(plot.bounds):
        axes.axhline(bound, color=_BOUND, linestyle="--", label="limit" if at == 0 else None)
        axes.annotate(f"{bound:g}", (1, bound), xycoords=("axes fraction", "data"), xytext=(3, 0), va="center",
                      textcoords="offset points", color=_BOUND, fontsize=8)  # fmt: skip
    locator: Any = AutoDateLocator(minticks=2, maxticks=12)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    axes.set_ylabel(plot.unit)
    axes.grid(visible=True, axis="y", color=_GRID, linewidth=0.6)
    axes.legend(frameon=False, ncols=3, loc="lower left", bbox_to_anchor=(0, 1.0), fontsize=9)


def _values(values: Sequence[Any]) -> list[float]:
    return [float(one or 0.0) for one in values]


def _short(text: str) -> str:
    return text if len(text) <= 44 else text[:43] + "…"
