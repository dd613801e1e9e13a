"""How the running parts are: written by each part about itself, read by pages and by `/health`.

Plain attributes, replaced whole, so that any thread may read them. Knows no rules: what counts as ill is decided by `troubles`.
"""

from dataclasses import dataclass, field
from typing import Literal


@dataclass(slots=True)
class Health:
    """One per process.

    `broker` is where intake listens, without password. `broker_trouble` and `store_trouble` are one sentence each,
    None while all is well; the `_since_s` beside them is when the present state began.
    """

    version: str
    started_s: float
    listening_on: str  # "127.0.0.1:8765"
    reachable_from: Literal["this machine", "the network"] = "this machine"
    broker: str | None = None
    broker_connected: bool = False
    broker_since_s: float = 0.0
    broker_trouble: str | None = None
    store: str = ""
    store_trouble: str | None = None
    store_since_s: float = 0.0
    last_commit_s: float | None = None
    parts: dict[str, str] = field(default_factory=dict)  # part -> "running" | "stopped"

    def troubles(self) -> list[str]:
        """Sentences about what is wrong now; empty = all well."""
        found = [trouble for trouble in (self.store_trouble, self.broker_trouble) if trouble]
        if self.broker and not self.broker_connected and not self.broker_trouble:
            found.append(f"Not yet connected to the broker at {self.broker}.")
        return found
