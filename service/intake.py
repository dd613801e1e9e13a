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
    tell : whether those who listen live are told of what is understood.
    """

    def __init__(self, store: Store, prefix: str = "bellcrank", enrolment_open: bool = True, tell: bool = True) -> None:
        self._store, self._prefix, self._enrolment_open, self._tell = store, prefix, enrolment_open, tell

    def process_pending(self, limit: int = 200) -> int:
        """Understand up to `limit` kept packs in one transaction; how many there were.

        If one of them brings down the transaction, they are taken one by one and that one is marked.
        """
        try:
            with self._store.work() as work:
                return self._process(work, limit)
        except StoreUnavailable:
            raise
        except Exception:
            log.exception("A pack brought down its batch; taking the batch one by one")
        return self._process_one_by_one(limit)

    def _process_one_by_one(self, limit: int) -> int:
        for count in range(limit):
            try:
                with self._store.work() as work:
                    if not self._process(work, 1):
                        return count
            except StoreUnavailable:
                raise
            except Exception as error:
                with self._store.work() as work:
                    pack_id = work.next_kept(1)[0][0]
                    log.exception("Pack %d could not be understood", pack_id)
                    work.set_aside(
                        pack_id, "unexpected", f"{type(error).__name__}: {error}"[:ENDS_ABRUPTLY], None, None
                    )
                    work.understood(pack_id)
        return limit

    def _process(self, work: Work, limit: int) -> int:
        waiting, batch = work.next_kept(limit), understanding.Batch(work, self._tell)
        for pack_id, arrival in waiting:
            address: Address | None = None
            try:
                address = topics.parse(arrival.topic, self._prefix)
                self._understand(batch, pack_id, address, arrival)
            except BadPack as bad:
                site, chime = (address.site, address.chime) if address else (None, None)
                work.set_aside(pack_id, "quarantined", bad.reason, site, chime)
            work.understood(pack_id)
        batch.finish()
        return len(waiting)

    def _understand(self, batch: understanding.Batch, pack_id: int, address: Address, arrival: Arrival) -> None:
        work = batch.work
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
            batch.note_presence(chime, arrival.payload == b"1", arrival)
        elif not batch.understand(chime, content, arrival, pack_id):
            work.set_aside(pack_id, "duplicate", "the record already has this pack", site, name)
