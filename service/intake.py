"""Intake that loses nothing: `receive` keeps bytes first, `process_pending` understands them afterwards.

What breaks the contract is set aside with its reason; what cannot be understood for a reason nobody foresaw is marked and
never stops the rest. Knows no network and no SQL.
"""

import logging
from collections.abc import Sequence

from service import pack, topics, understanding
from service.errors import BadPack, StoreUnavailable
from service.model import Address, Arrival
from service.ports import Store, Work

log = logging.getLogger(__name__)

ENDS_ABRUPTLY = 200
"""Characters of an unforeseen error that are kept as the reason."""


def receive(store: Store, arrivals: Sequence[Arrival]) -> None:
    """Keep what arrived. When this returns it is on the disk, and may be acknowledged."""
    with store.work() as work:
        work.keep(arrivals)


class Understander:
    """Understands kept packs, in order of arrival.

    Parameters
    ----------
    prefix : first part of every topic.
    enrolment_open : whether packs of chimes that nobody has claimed are understood; else they are refused and counted.
    """

    def __init__(self, store: Store, prefix: str = "bellcrank", enrolment_open: bool = True) -> None:
        self._store, self._prefix, self._enrolment_open = store, prefix, enrolment_open

    def process_pending(self, limit: int = 200) -> int:
        """Understand up to `limit` kept packs in one transaction; how many there were.

        If one of them brings down the transaction, they are taken one by one and that one is marked.
        """
        try:
            with self._store.work() as work:
                waiting = work.next_kept(limit)
                for pack_id, arrival in waiting:
                    self._process(work, pack_id, arrival)
                return len(waiting)
        except StoreUnavailable:
            raise
        except Exception:
            log.exception("A pack brought down its batch; taking the batch one by one")
        return self._process_one_by_one(limit)

    def _process_one_by_one(self, limit: int) -> int:
        for count in range(limit):
            pack_id = 0
            try:
                with self._store.work() as work:
                    waiting = work.next_kept(1)
                    if not waiting:
                        return count
                    pack_id, arrival = waiting[0]
                    self._process(work, pack_id, arrival)
            except StoreUnavailable:
                raise
            except Exception as error:
                log.exception("Pack %d could not be understood", pack_id)
                with self._store.work() as work:
                    work.set_aside(
                        pack_id, "unexpected", f"{type(error).__name__}: {error}"[:ENDS_ABRUPTLY], None, None
                    )
                    work.understood(pack_id)
        return limit

    def _process(self, work: Work, pack_id: int, arrival: Arrival) -> None:
        address: Address | None = None
        try:
            address = topics.parse(arrival.topic, self._prefix)
            self._understand(work, pack_id, address, arrival)
        except BadPack as bad:
            site, chime = (address.site, address.chime) if address else (None, None)
            work.set_aside(pack_id, "quarantined", bad.reason, site, chime)
        work.understood(pack_id)

    def _understand(self, work: Work, pack_id: int, address: Address, arrival: Arrival) -> None:
        site, name, leaf = address
        if leaf == "alive":
            if arrival.payload not in (b"0", b"1"):
                raise BadPack(f"presence is {arrival.payload[:20]!r}; the contract knows 1 and 0")
        elif leaf != "pack":
            raise BadPack(f"topic ends in {leaf!r}; chimes send to pack and alive")
        content = pack.decode(arrival.payload, arrival.content_type, arrival.received_s) if leaf == "pack" else None
        if not self._enrolment_open and not work.is_known(site, name):
            work.set_aside(pack_id, "refused", "nobody has claimed this chime, and enrolment is closed", site, name)
            return
        chime = work.chime(site, name, arrival.received_s)
        if content is None:
            understanding.note_presence(work, chime, arrival.payload == b"1", arrival)
        elif not understanding.understand(work, chime, content, arrival):
            work.set_aside(pack_id, "duplicate", "the record already has this pack", site, name)
