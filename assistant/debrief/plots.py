"""Plots that are read at a glance: what they show as plain data, and matplotlib to draw them.

Two colours at most, told apart in any kind of colour sight and by pattern; every axis has its words and
its unit, every bar its number.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from threading import Lock
from typing import Any, Final, TypeAlias

from assistant.debrief.blocks import Cell, Picture
from assistant.errors import InputError

_INK, _GRID = "#16202a", "#c3ccd4"
_FIRST, _SECOND = "#0b4f8a", "#e69f00"  # dark blue and orange: apart in brightness too
_BOUND = "#a83200"
_DPI: Final = 130
_drawing = Lock()

Number: TypeAlias = float | None


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
        return f"{self.title}, in {self.unit}. Most: {most[0]}, {most[1]:g}."


@dataclass(frozen=True, slots=True)
class Lines:
    """A mean over time with its lowest and highest, and the bounds it must keep within."""

    title: str
    unit: str
    days: tuple[date, ...]
    mean: tuple[Number, ...]
    lowest: tuple[Number, ...]
    highest: tuple[Number, ...]
    bounds: tuple[float, ...] = ()

    @property
    def labels(self) -> tuple[date, ...]:
        """What is on the axis."""
        return self.days

    def alt(self) -> str:
        """The plot in words."""
        if not self.days:
            return f"{self.title}: nothing to show."
        bounds = " and ".join(f"{one:g}" for one in self.bounds) or "not known"
        return (f"{self.title}, in {self.unit}: mean {self.mean[0]:g} in {self.days[0]:%B %Y}, {self.mean[-1]:g} in "
                f"{self.days[-1]:%B %Y}. Bounds: {bounds}.")  # fmt: skip


Plot: TypeAlias = Bars | Lines


def svg(plot: Plot) -> bytes:
    """Return a plot as SVG; InputError when the trainer's extra is not installed."""
    return _drawn(plot, "svg")


def picture(plot: Plot) -> Picture:
    """Return a plot for a report."""
    wide, high = _size(plot)
    return Picture(_drawn(plot, "svg"), _drawn(plot, "png"), (wide, high), plot.alt())


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
            _lines(axes, plot)
        axes.set_title(plot.title, loc="left", fontweight="bold", fontsize=11)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=_DPI, metadata={"Date": None} if form == "svg" else None)
    return out.getvalue()


def _bars(axes: Any, plot: Bars) -> None:
    places = range(len(plot.labels))
    two = bool(plot.others)
    high = 0.38 if two else 0.7
    axes.barh([at - high / 2 if two else at for at in places], _values(plot.values), height=high, color=_FIRST,
              label=plot.name or None)  # fmt: skip
    if two:
        axes.barh([at + high / 2 for at in places], _values(plot.others), height=high, color=_SECOND,
                  edgecolor=_INK, linewidth=0.6, hatch="///", label=plot.other_name)  # fmt: skip
        axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, frameon=False, borderaxespad=0.1, fontsize=9)
        axes.set_title(" ", pad=22)
    for shift, values in ((-high / 2 if two else 0, plot.values), (high / 2, plot.others)):
        for at, value in enumerate(values):
            if value is not None:
                axes.annotate(f"{value:g}", (value, at + shift), xytext=(3, 0), fontsize=8,
                              textcoords="offset points", va="center", color=_INK)  # fmt: skip
    axes.set_yticks(list(places), [_short(str(one)) for one in plot.labels])
    axes.set_ylim(len(plot.labels) - 0.4, -0.6)
    axes.set_xlim(left=0)
    axes.margins(x=0.08)
    axes.set_xlabel(plot.unit)
    axes.grid(visible=True, axis="x", color=_GRID, linewidth=0.6)
    axes.set_axisbelow(True)


def _lines(axes: Any, plot: Lines) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter  # noqa: PLC0415 - as above

    days = list(plot.days)
    low, high = _values(plot.lowest), _values(plot.highest)
    axes.fill_between(days, low, high, color=_FIRST, alpha=0.18, label="lowest to highest")
    axes.plot(days, _values(plot.mean), color=_FIRST, marker="o", label="mean")
    for at, bound in enumerate(plot.bounds):
        axes.axhline(bound, color=_BOUND, linestyle="--", label="limit" if at == 0 else None)
        axes.annotate(f"{bound:g}", (1, bound), xycoords=("axes fraction", "data"), xytext=(3, 0), va="center",
                      textcoords="offset points", color=_BOUND, fontsize=8)  # fmt: skip
    locator: Any = AutoDateLocator(minticks=2, maxticks=12)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
    axes.set_ylabel(plot.unit)
    axes.grid(visible=True, axis="y", color=_GRID, linewidth=0.6)
    axes.legend(frameon=False, ncols=3, loc="lower left", bbox_to_anchor=(0.3, 1.0), fontsize=9)


def _values(values: Sequence[Any]) -> list[float]:
    return [float(one or 0.0) for one in values]


def _short(text: str) -> str:
    return text if len(text) <= 44 else text[:43] + "…"
