"""What really happened at one chime: which packs were made and what became of them, who pressed, and when it was blind.

Times are POSIX seconds by the rig's own clock, which is never stepped. Knows no log.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from enum import Enum

from deploy.endurance.pressing import TICK_S, Mark, Shape
from deploy.endurance.stretches import Stretch, united


class Fate(Enum):
    WAITING = "not delivered yet"
    DELIVERED = "acknowledged by the broker"
    OVERRUN = "thrown away: the backlog was full"
    POWERLESS = "lost with the power"


@dataclass(eq=False, slots=True)
class Pack:
    """`since_s` to `made_s` is the time it stands for: what happened since the pack before it. `flown`: it was sent at least once,
    so that it may have come through even where nobody acknowledged it."""

    boot: int
    seq: int
    payload: bytes
    records: int
    since_s: float
    made_s: float
    fate: Fate = Fate.WAITING
    flown: bool = False


class Due(Enum):
    """What the log owes to a press."""

    RECORDED = "must stand in the log, whole"
    IN_PART = "must stand in the log; a part of it was not delivered"
    EITHER = "stands in the log or in blind time: it was under way when it was lost"
    BLIND = "must lie in blind time"


@dataclass(eq=False, slots=True)
class Press:
    """`packs`: one for each part that could still be told; fewer than `shape.parts` where the chime had no power."""

    chime: str
    door: str
    start_s: float
    shape: Shape
    packs: list[Pack] = field(default_factory=list)

    @property
    def end_s(self) -> float:
        return self.start_s + self.shape.length_s

    @property
    def marks(self) -> list[tuple[Mark, float]]:
        """How the whole, then each of its parts, would stand in the log: mark and start [s]."""
        starts = [0, *(part[0][0] for part in self.shape.parts)]
        return [(mark, self.start_s + ticks * TICK_S) for mark, ticks in zip(self.shape.marks, starts, strict=False)]

    def due(self, lost_by_broker: Collection[bytes]) -> Due:
        """`lost_by_broker`: payloads that the broker acknowledged and never handed on."""
        kept = (Fate.DELIVERED, Fate.WAITING)  # what still waits at the end should have been taken long ago
        came = [pack.fate in kept and pack.payload not in lost_by_broker for pack in self.packs]
        if len(self.packs) == len(self.shape.parts) and all(came):
            return Due.RECORDED
        if any(came):
            return Due.IN_PART
        return Due.EITHER if any(pack.flown for pack in self.packs) else Due.BLIND

    def why(self, lost_by_broker: Collection[bytes]) -> str:
        """Why it could not be recorded, where it could not."""
        if len(self.packs) < len(self.shape.parts):
            return "chime without power"
        if any(pack.payload in lost_by_broker for pack in self.packs):
            return "lost by the broker"
        overrun = any(pack.fate is Fate.OVERRUN for pack in self.packs)
        return "backlog overrun" if overrun else "lost with the power"


@dataclass(slots=True)
class Life:
    """Everything about one chime."""

    chime: str
    start_s: float
    packs: list[Pack] = field(default_factory=list)
    presses: list[Press] = field(default_factory=list)
    powerless: list[Stretch] = field(default_factory=list)
    tails: list[Stretch] = field(default_factory=list)  # offline, from the last pack to the loss of power

    def blind(self, lost_by_broker: Collection[bytes]) -> list[Stretch]:
        """When a press could not have been recorded, or what told of it was lost."""
        lost = [
            (pack.since_s, pack.made_s)
            for pack in self.packs
            if pack.fate in (Fate.OVERRUN, Fate.POWERLESS) or pack.payload in lost_by_broker
        ]
        return united([*self.powerless, *self.tails, *lost])
