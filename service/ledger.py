"""What the writer keeps at hand of a chime and its boots while it understands packs. Knows no SQL.

These are the only values in the service that change in place; `changed` asks the store to write them with the next commit.
"""

from dataclasses import dataclass, field

from service.presses.heard import Run, hear
from service.walltime import BootClock, Line


@dataclass(slots=True)
class BootLedger:
    """One power-up. `number` is None for one that stands for a chime without `boot` and `up`: its up is wall time, by the clock
    of the power-up `host` of the host."""

    id: int
    number: int | None
    first_received_s: float
    cause: str | None = None
    clock: BootClock = field(default_factory=BootClock)
    dated: Line = field(default_factory=lambda: Line(0.0))
    readings_dated: Line = field(default_factory=lambda: Line(0.0))
    last_up_s: float = 0.0
    highest_seq: int = -1
    host: str | None = None
    runs: list[Run] = field(default_factory=list)
    changed_runs: dict[int, Run] = field(default_factory=dict)
    gone_runs: list[int] = field(default_factory=list)
    changed: bool = False

    def hear(self, up_s: float, seq: int | None, dropped: int) -> None:
        """A pack of it has come."""
        run, swallowed = hear(self.runs, up_s, seq, dropped)
        self.changed_runs[id(run)] = run
        if swallowed is not None:
            self.changed_runs.pop(id(swallowed), None)
            if swallowed.id is not None:
                self.gone_runs.append(swallowed.id)


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
