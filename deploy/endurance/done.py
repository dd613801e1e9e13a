"""What was done to the house in a run, and what the service says it made of it. Only numbers."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Done:
    """What was done, and what the service made of it."""

    service_kills: int = 0
    broker_kills: int = 0
    fills: int = 0
    fills_told: int = 0
    steps: int = 0
    service_cuts: int = 0
    sent_again: int = 0
    rubbish: int = 0
    quarantined: int = 0
    duplicates: int = 0
    unexpected: int = 0
    exits: list[int] = field(default_factory=list)  # codes of those ends that nobody had asked for
    starts: int = 0
    settled_s: float = 0.0
    settled: bool = False
    packs: int = 0
    pending: int = 0
    troubles: list[str] = field(default_factory=list)  # that the health page still tells at the end
