"""What the writer keeps at hand of a chime and its boots while it understands packs. Knows no SQL.

These are the only values in the service that change in place; `changed` asks the store to write them with the next commit.
"""

from dataclasses import dataclass, field

from service.walltime import BootClock, Line


@dataclass(slots=True)
class BootLedger:
    """One power-up. `number` is None for the one that stands for a chime without `boot` and `up`: its up is wall time."""

    id: int
    number: int | None
    first_received_s: float
    cause: str | None = None
    clock: BootClock = field(default_factory=BootClock)
    dated: Line = field(default_factory=lambda: Line(0.0))
    readings_dated: Line = field(default_factory=lambda: Line(0.0))
    last_up_s: float = 0.0
    highest_seq: int = -1
    dropped: int = 0
    changed: bool = False

    def uncertainty_s(self, up_s: float) -> float:
        """Of the wall time of a moment, 90 % [s]. A chime without a clock gives only the time of arrival."""
        return self.clock.uncertainty_s(up_s) if self.number is not None else 1.0


@dataclass(slots=True)
class ChimeLedger:
    """One chime with its doors (name -> row) and the boots met so far (number -> newest first)."""

    id: int
    site: str
    chime: str
    first_heard_s: float
    last_heard_s: float
    device: str | None = None
    alive: bool | None = None
    alive_since_s: float | None = None
    level: set[str] = field(default_factory=set)
    doors: dict[str, int] = field(default_factory=dict)
    boots: dict[int | None, list[BootLedger]] = field(default_factory=dict)
    changed: bool = False
