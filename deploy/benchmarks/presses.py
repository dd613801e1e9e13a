"""How many presses of simulated fingers the log has, how many it invents, and how well it dates them. `presses.py [PRESSES]`.

Fingers and contacts are drawn after published figures (below), at 50 and 60 Hz, at front doors with a diode in the button and at
rear doors without. Their pulses go through packs, as bytes, into a record in memory: once in order, once with all packs shuffled.
A press that closed the contact only while the mains stood the wrong way gave no pulse, and is counted apart.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from adapters.simulated import contacts, packing
from adapters.simulated.circuit import Circuit, Parts
from adapters.simulated.contacts import Contact, Span
from adapters.sql.work import SqlStore
from service import intake
from service.dating import REDATE_S
from service.model import Arrival, Press

SITE, START_S = "tern-cottage", 1_789_380_000.0

HOLD_S = (0.097, 0.026, 0.044)
"""Mean, spread and shortest of 607 key holds of one person in a public keystroke record (measured)."""

BOUNCE_S = 6.2e-3
"""The worst of a survey of switches, bar outliers (Ganssle, from memory)."""

DROP_OUT_S = 45e-3
"""A published press contains a hole of 42 ms (adamfk/bouncy-button-data)."""

TWO_DROP_OUTS_S = 0.5
"""Only a press this long drops out a second time: two that run together would be an opening of twice the length (chosen)."""

SHORTEST_PAUSE_S = 0.090
"""Between two presses of a hurried finger (chosen)."""

LEANING = (0.1, 0.5, 6.0)
"""Share of presses that are held for longer, and for how long [s] (chosen)."""

DRIFT = 23e-6
MATCH_S = 0.060
ALIKE_S = 2.0 * REDATE_S


@dataclass(frozen=True, slots=True)
class Pressed:
    """One press as it was. `pulses` in true time [s]."""

    start_s: float
    pulses: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class House:
    mains_hz: float
    rear: bool

    @property
    def chime(self) -> str:
        return f"{'rear' if self.rear else 'front'}-{self.mains_hz:.0f}"


HOUSES = tuple(House(hertz, rear) for hertz in (50.0, 60.0) for rear in (False, True))


@dataclass(frozen=True, slots=True)
class Score:
    """`missed`: presses that gave a pulse and are not in the record; `invented`: recorded ones that nobody made. [s]"""

    made: int
    unseen: int
    missed: int
    invented: int
    worst_s: float
    pulses: int
    drop_outs: int
    bouncing: int

    @property
    def recall(self) -> float:
        return 1.0 - self.missed / (self.made - self.unseen)


def press(house: House, count: int, rng: np.random.Generator) -> list[Pressed]:
    """Presses of callers, in order: one to four each, a quarter of the pauses as short as a hurried finger makes them."""
    circuit = Circuit(Parts(mains_hz=house.mains_hz))
    made: list[Pressed] = []
    at_s, left = 60.0, 0
    for _ in range(count):
        if left == 0:
            at_s, left = at_s + float(rng.uniform(70.0, 400.0)), int(rng.integers(1, 5))
        closed = _closed(at_s, rng)
        cycles = float(rng.uniform())  # the mains wander: where in a cycle a press begins is chance
        found = contacts.pulses(
            circuit, at_s - 0.02, closed[-1][1] + 0.02, cycles, house.mains_hz, 1.0, closed, house.rear
        )
        made.append(Pressed(at_s, tuple(found)))
        quick = rng.uniform() < 0.25
        at_s = closed[-1][1] + SHORTEST_PAUSE_S + float(rng.uniform(0.0, 0.1) if quick else rng.exponential(2.0))
        left -= 1
    return made


def _closed(start_s: float, rng: np.random.Generator) -> list[Span]:
    mean, spread, shortest = HOLD_S
    hold_s = max(float(rng.normal(mean, spread)), shortest)
    share, least_s, most_s = LEANING
    if rng.uniform() < share:
        hold_s = float(rng.uniform(least_s, most_s))
    bounce = (0.1e-3, BOUNCE_S)
    most = 1 + int(hold_s / TWO_DROP_OUTS_S)
    contact = Contact(bounce, bounce, int(rng.integers(0, 5)), (0, int(rng.integers(0, most + 1))), (2e-3, DROP_OUT_S))
    return contacts.closures(start_s, hold_s, contact, rng)


def packs(house: House, made: Sequence[Pressed], rng: np.random.Generator) -> list[Arrival]:
    """The first pulse of a press at once, the others cut anywhere; JSON and CBOR; each on its way for as long as it takes."""
    door, topic = "garden" if house.rear else "front", f"bellcrank/1/{SITE}/{house.chime}/pack"
    found: list[Arrival] = []
    for pressed in made:
        count = len(pressed.pulses)
        bounds = sorted({0, min(1, count), count, *rng.integers(0, count + 1, int(rng.integers(0, 4))).tolist()})
        for a, b in pairwise(bounds):
            chunk = pressed.pulses[a:b]
            up_s = round((chunk[-1][1] + 1e-3) * (1.0 + DRIFT), 4)
            ago_s = round((chunk[0][0] - chunk[-1][1] - 1e-3) * (1.0 + DRIFT), 4)
            records = [
                packing.value("boot", "count", 1),
                packing.value("seq", "count", len(found)),
                packing.value("up", "s", up_s),
                packing.data(f"{door}.edges", packing.edges(chunk), ago_s),
            ]
            received_s = START_S + chunk[-1][1] + 0.005 + float(rng.exponential(0.02))
            found.append(Arrival(topic, packing.encode(records, cbor=bool(rng.integers(2))), received_s))
    return found


def record(arrivals: Sequence[Arrival]) -> dict[str, list[Press]]:
    """What the log has of each chime after these packs, understood in this order."""
    store = SqlStore("sqlite://")
    intake.receive(store, arrivals)
    understander = intake.Understander(store)
    while understander.process_pending():
        pass
    counts = store.reader().counts()
    assert counts.quarantined == counts.unexpected == counts.duplicates == 0, counts
    found: dict[str, list[Press]] = {house.chime: [] for house in HOUSES}
    cursor: str | None = None
    while True:
        page, cursor = store.reader().presses(SITE, 0.0, 2.0 * START_S, cursor=cursor, limit=1000)
        for one in page:
            found[one.chime].append(one)
        if cursor is None:
            break
    store.close()
    return found


def score(made: Sequence[Pressed], found: Sequence[Press]) -> Score:
    """Each press that gave a pulse is to be there once, and begin within `MATCH_S` of its first pulse."""
    seen = [one for one in made if one.pulses]
    begun = np.array([one.start_s - START_S for one in found])
    free, missed, worst_s = np.ones(len(begun), dtype=bool), 0, 0.0
    for one in seen:
        off = np.where(free, np.abs(begun - one.pulses[0][0]), np.inf)
        nearest = int(off.argmin()) if len(off) else -1
        if nearest < 0 or off[nearest] > MATCH_S:
            missed += 1
            continue
        free[nearest], worst_s = False, max(worst_s, float(off[nearest]))
    return Score(
        len(made),
        len(made) - len(seen),
        missed,
        int(free.sum()),
        worst_s,
        sum(one.pulses or 0 for one in found),
        sum(one.drop_outs for one in found),
        sum(one.bounce for one in found),
    )


def alike(one: Sequence[Press], other: Sequence[Press]) -> bool:
    """The same presses, whatever the order of arrival; times to what each of the two logs leaves undated anew."""
    return len(one) == len(other) and all(
        (a.door, a.pulses, a.sure) == (b.door, b.pulses, b.sure)
        and abs(a.start_s - b.start_s) < ALIKE_S
        and abs((a.end_s or 0.0) - (b.end_s or 0.0)) < ALIKE_S
        for a, b in zip(one, other, strict=True)
    )


def measure(count: int, seed: int) -> tuple[dict[House, Score], dict[House, bool]]:
    """By house: the score in order, and whether the shuffled packs gave the same."""
    rng = np.random.default_rng(seed)
    made = {house: press(house, count // len(HOUSES), rng) for house in HOUSES}
    arrivals = sorted((a for house in HOUSES for a in packs(house, made[house], rng)), key=lambda a: a.received_s)
    in_order = record(arrivals)
    shuffled = record([arrivals[n] for n in rng.permutation(len(arrivals))])
    scores = {house: score(made[house], in_order[house.chime]) for house in HOUSES}
    return scores, {house: alike(in_order[house.chime], shuffled[house.chime]) for house in HOUSES}


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2400
    scores, same = measure(count, seed=1)
    print("house      presses  no pulse  missed  invented  worst   pulses  drop-outs  bouncing  shuffled")
    for house, one in scores.items():
        print(
            f"{house.chime:10} {one.made:7d} {one.unseen:9d} {one.missed:7d} {one.invented:9d} {one.worst_s * 1e3:4.0f} ms"
            f" {one.pulses:8d} {one.drop_outs:10d} {one.bouncing:9d}  {'the same' if same[house] else 'DIFFERENT'}"
        )
    seen = sum(one.made - one.unseen for one in scores.values())
    missed, invented = (sum(getattr(one, name) for one in scores.values()) for name in ("missed", "invented"))
    print(f"recall {100.0 * (1.0 - missed / seen):.2f} % of {seen} presses that gave a pulse, {invented} invented")


if __name__ == "__main__":
    main()
