"""What comes into the record as a file: recordings, and presses.

Presses become packs of the contract, so that a rebuild keeps them; what is there already changes nothing. Knows no
file format, no SQL and no command line.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from itertools import islice
from typing import NamedTuple, TypeVar

import msgspec
import numpy as np
from numpy.typing import NDArray

from service import examination, model, pack, topics
from service.contract import DOOR, LATEST_S
from service.errors import BadPack
from service.examine import BATCH, take_in
from service.intake import Understander
from service.model import Address, Arrival
from service.past_surveys import past_surveys
from service.ports import Store
from service.press_matching import not_there
from service.senml_forms import JSON

SURVEYS = 12
"""Of a past that comes in, so many surveys are measured, evenly spread: some five seconds for each chime."""

ROUNDED_S = 1e-6
"""Times in files have six decimals."""


T = TypeVar("T")


class ToldPress(NamedTuple):
    """One line of a file of presses; `press` is None where it tells of something else in the log."""

    line: int
    press: model.Press | None


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a file. `read` = `new` + `there` + `refused` + `others`."""

    read: int
    new: int
    there: int  # the record had it already
    refused: int  # kept and set aside, or of a chime that nobody has claimed while enrolment is closed
    others: int = 0  # entries about unseen presses and blind time: they follow from packs, and are none
    less_sure: int = 0  # of the new: dated less surely than the record can keep of a press that was told afterwards

    def __str__(self) -> str:
        """
        >>> str(Taken(5, 3, 1, 0, others=1))
        '5 read: 3 new, 1 already there, 0 refused, 1 that is no press.'
        """
        told = f"{self.read} read: {self.new} new, {self.there} already there, {self.refused} refused"
        told += f", {self.others} that {'is' if self.others == 1 else 'are'} no press." if self.others else "."
        if self.less_sure:
            told += f" {self.less_sure} of the new were dated less surely than to a second; the record shows a second for them."
        return told


def take_in_recording(
    store: Store, arrivals: Iterable[Arrival], kept: Iterable[Arrival], understander: Understander
) -> Taken:
    """A recording into the record, and what its surveys measured, as if an examination had followed each.

    `kept` : what the record holds already and has not refused; nothing of it is kept twice. Raises BadPack at the first bad line,
    when the whole batches before it are in the record.
    """
    known, heard = _digests(kept), set[tuple[str, str]]()
    read = new = there = refused = 0
    for batch in _batches(arrivals):
        fresh = _fresh(batch, known)
        heard |= {(parts[-3], parts[-2]) for one in fresh if len(parts := one.topic.split("/")) > 3}
        doubled, set_aside = _take_in(store, fresh, understander)
        read, there = read + len(batch), there + len(batch) - len(fresh) + doubled
        refused, new = refused + set_aside, new + len(fresh) - doubled - set_aside
    reader = store.reader()
    for chime in reader.chimes():
        if (chime.site, chime.chime) in heard:
            surveys = past_surveys(reader, chime.site, chime.chime, most=SURVEYS)
            with store.work() as work:
                for survey in surveys:
                    examination.keep_survey(work, chime.site, chime.chime, survey)
    return Taken(read, new, there, refused)


def take_in_presses(
    store: Store, told: Iterable[ToldPress], kept: Iterable[Arrival], understander: Understander, prefix: str
) -> Taken:
    """Presses into the record, each as a pack of its own that was received when the press ended."""
    reader = store.reader()
    known, last_kept, taken = _digests(kept), reader.counts().kept, set[int]()
    read = new = there = refused = others = less_sure = 0
    for batch in _batches(told):
        presses = [one.press for one in batch if one.press is not None]
        unknown = not_there(reader, presses, last_kept, taken)
        fresh = _fresh([arrival_of(press, prefix) for press in unknown], known)
        doubled, set_aside = _take_in(store, fresh, understander)
        read, others = read + len(batch), others + len(batch) - len(presses)
        there, refused = there + len(presses) - len(fresh) + doubled, refused + set_aside
        new += len(fresh) - doubled - set_aside
        less_sure += sum(press.uncertainty_s > 1.0 for press in unknown)
    return Taken(read, new, there, refused, others, less_sure)


def check(told: Iterable[ToldPress], prefix: str, now_s: float) -> int:
    """Refuse a file of presses before anything of it is taken; how many entries it has. Raises BadPack, with the line's number."""
    count = 0
    for number, press in told:
        count += 1
        if press is None:
            continue
        try:
            _check(press, prefix, now_s)
        except BadPack as error:
            raise BadPack(f"line {number} of the file: {error}") from None
    return count


def _check(press: model.Press, prefix: str, now_s: float) -> None:
    if not 0.0 <= press.start_s <= now_s + LATEST_S:
        raise BadPack("the press begins before 1970 or after now")
    if press.end_s is not None and press.end_s < press.start_s:
        raise BadPack("the press ends before it begins")
    arrival = arrival_of(press, prefix)
    pack.decode(
        arrival.payload, arrival.content_type, arrival.received_s
    )  # what the record would set aside is refused here


def arrival_of(press: model.Press, prefix: str = "bellcrank") -> Arrival:
    """A press as the contract tells it in numbers, or by its contact. Its times are absolute: the same press is the same bytes, and
    another that was held for as long is not. Raises BadPack where a name is outside the grammar."""
    if not DOOR.fullmatch(press.door):
        raise BadPack(f"door {press.door[:80]!r} is not 1 to 16 of a-z and 0-9")
    start_s = round(press.start_s, 6)
    end_s = start_s if press.end_s is None else round(press.end_s, 6)
    records: list[dict[str, object]]
    if press.source == "contact" or press.end_s is None:
        records = [{"n": f"{press.door}.press", "t": start_s, "vb": True}]
        if press.end_s is not None:
            end_s = max(end_s, start_s + ROUNDED_S)  # a contact cannot close and open at one moment
            records.append({"n": f"{press.door}.press", "t": end_s, "vb": False})
    else:
        span_s = round(end_s - start_s, 6)
        numbers = [("span", "s", span_s), ("pulses", "count", press.pulses), ("gap", "s", press.longest_gap_s or None)]
        if press.pulses == 1:  # then it is the width of that pulse, which says whether it was a finger's
            numbers.append(("width", "s", span_s))
        records = [
            {"n": f"{press.door}.{name}", "u": unit, "v": value, "t": start_s}
            for name, unit, value in numbers
            if value is not None
        ]
    topic = topics.build(Address(press.site, press.chime, "pack"), prefix)
    return Arrival(topic, msgspec.json.encode(records), end_s, "file", JSON)


def _batches(items: Iterable[T]) -> Iterator[list[T]]:
    following = iter(items)
    while batch := list(islice(following, BATCH)):
        yield batch


def _take_in(store: Store, arrivals: Sequence[Arrival], understander: Understander) -> tuple[int, int]:
    """How many of them the record knew by what they say, and how many it has set aside."""
    before = store.reader().counts()
    take_in(store, arrivals, understander)
    after = store.reader().counts()
    doubled = after.duplicates - before.duplicates
    aside = [
        after.quarantined - before.quarantined,
        after.refused - before.refused,
        after.unexpected - before.unexpected,
    ]
    return doubled, sum(aside)


# ── what is kept already ────────────────────────────────────────────────────────────────────────────────────────────


def _digest(arrival: Arrival) -> int:
    told = f"{arrival.topic} {arrival.received_s!r} ".encode() + arrival.payload
    return int.from_bytes(blake2b(told, digest_size=8).digest(), "big", signed=True)


def _digests(kept: Iterable[Arrival]) -> NDArray[np.int64]:
    """Sorted; eight bytes a pack, so that years of them find room."""
    return np.unique(np.fromiter(map(_digest, kept), np.int64))


def _fresh(arrivals: Sequence[Arrival], known: NDArray[np.int64]) -> list[Arrival]:
    if not known.size:
        return list(arrivals)
    digests = np.fromiter(map(_digest, arrivals), np.int64, len(arrivals))
    places = np.minimum(np.searchsorted(known, digests), known.size - 1)
    return [one for one, is_known in zip(arrivals, known[places] == digests, strict=True) if not is_known]
