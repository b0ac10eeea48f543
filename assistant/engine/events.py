"""What can happen to a run, as small data that goes into the log and comes back the same.

Times are not in the events: they are passed beside them, as whole milliseconds on one steady clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import TypeAlias

from assistant.errors import LogError
from assistant.phrases.live import Hearing, Role, Unheard


@dataclass(frozen=True, slots=True)
class Begin:
    """The run begins."""


@dataclass(frozen=True, slots=True)
class Resumed:
    """The run goes on after the program ended; ``changed`` when its files are no longer the same."""

    changed: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """A phrase was said, typed or pressed."""

    phrase: str
    who: Role = Role.DRIVER


@dataclass(frozen=True, slots=True)
class Measured:
    """A number was said: exact value, unit or None."""

    value: Decimal
    unit: str | None
    who: Role = Role.DRIVER


@dataclass(frozen=True, slots=True)
class NotHeard:
    """Something was said that is no live phrase, or could not be trusted."""

    why: Unheard


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""


class DeviceChange(StrEnum):
    """What can happen to the microphone."""

    LOST = "lost"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class Microphone:
    """The microphone is lost, or back."""

    change: DeviceChange


Event: TypeAlias = Begin | Resumed | Heard | Measured | NotHeard | Tick | Microphone


def event_of(hearing: Hearing) -> Event:
    """Return the event a hearing comes to."""
    if hearing.phrase is not None:
        return Heard(hearing.phrase, hearing.who)
    if hearing.reading is not None:
        return Measured(hearing.reading.value, hearing.reading.unit, hearing.who)
    return NotHeard(hearing.unheard or Unheard.NOT_A_PHRASE)


def event_to_data(event: Event) -> dict[str, object]:
    """Return the event as the log holds it."""
    match event:
        case Begin():
            return {"event": "begin"}
        case Resumed(changed):
            return {"event": "resumed", "changed": changed}
        case Heard(phrase, who):
            return {"event": "heard", "phrase": phrase, "who": str(who)}
        case Measured(value, unit, who):
            return {"event": "measured", "value": str(value), "unit": unit, "who": str(who)}
        case NotHeard(why):
            return {"event": "not-heard", "why": str(why)}
        case Tick():
            return {"event": "tick"}
        case Microphone(change):
            return {"event": "microphone", "change": str(change)}


def event_from_data(data: Mapping[str, object]) -> Event:
    """Read an event back from the log; raises LogError on anything it does not know."""
    try:
        match data["event"]:
            case "begin":
                return Begin()
            case "resumed":
                return Resumed(bool(data["changed"]))
            case "heard":
                return Heard(str(data["phrase"]), Role(str(data["who"])))
            case "measured":
                unit = data["unit"]
                value = Decimal(str(data["value"]))
                return Measured(value, None if unit is None else str(unit), Role(str(data["who"])))
            case "not-heard":
                return NotHeard(Unheard(str(data["why"])))
            case "tick":
                return Tick()
            case "microphone":
                return Microphone(DeviceChange(str(data["change"])))
    except (KeyError, ValueError, ArithmeticError) as error:
        raise LogError(f"The log holds an event that cannot be read ({error}); verify the log.") from None
    raise LogError(f"The log holds an event of unknown kind {data['event']!r}; it may be from a newer version.")
