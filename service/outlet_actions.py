"""What a person may do about ways out: add, change, switch, remove and test them, and see to letters that were not taken.

Each change is one transaction in the writer's thread; a test is sent at once, past the queue.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from service.errors import Refused
from service.keeper import Keeper
from service.names import clean_note
from service.outbox import Outbox
from service.outbox_ports import OutboxReader, OutboxWork
from service.outlet_form import SECRET, read_outlet, write_outlet
from service.outlets import OFF_BY_HAND, OFF_BY_SETTING, Broker, Outlet
from service.ports import Clock
from service.retries import Answer


class OutletActions:
    """Raises NotFound for a way out that is not there; StoreUnavailable.

    Parameters
    ----------
    time_zone : of quiet hours and digests, where a way out names none.
    """

    def __init__(self, reader: OutboxReader, keeper: Keeper, outbox: Outbox, clock: Clock, time_zone: str) -> None:
        self._reader, self._keeper, self._outbox = reader, keeper, outbox
        self._clock, self._time_zone = clock, time_zone

    def add(self, given: Mapping[str, Any]) -> Outlet:
        """Raises OutletRefused with every mistake."""
        outlet = read_outlet(given, self._time_zone)
        number = self._keeper.do(lambda work: work.put_outlet(outlet))
        self._outbox.changed()
        return self._reader.outlet(number)

    def change(self, outlet_id: int, given: Mapping[str, Any]) -> Outlet:
        """In place of what it was; secrets that are not given stay. Raises OutletRefused."""
        before = self._reader.outlet(outlet_id)
        kept = {name: value for name, value in write_outlet(before).items() if name in SECRET}
        same_way = given.get("way") == write_outlet(before)["way"]
        outlet = read_outlet({**(kept if same_way else {}), **given}, self._time_zone)
        self._keeper.do(lambda work: work.put_outlet(_numbered(outlet, before)))
        self._outbox.changed()
        return self._reader.outlet(outlet_id)

    def switch(self, outlet_id: int, on: bool, why: str = "") -> Outlet:
        """Off: no letters are written for it, and those that wait go on waiting."""
        off = "" if on else clean_note(why, 200) or OFF_BY_HAND
        self._keeper.do(lambda work: work.switch_outlet(outlet_id, off))
        self._outbox.changed()
        return self._reader.outlet(outlet_id)

    def remove(self, outlet_id: int) -> None:
        """With the letters that wait for it."""
        self._keeper.do(lambda work: work.remove_outlet(outlet_id))
        self._outbox.changed()

    def hurry(self, outlet_id: int) -> None:
        """What waits to be tried again is tried now, and its schedule begins anew."""
        self._reader.outlet(outlet_id)
        self._keeper.do(lambda work: work.hurry_letters(outlet_id))
        self._outbox.changed()

    def resend(self, outlet_id: int, letter_ids: Sequence[int] | None) -> int:
        """Dead letters (None: all) go to the end of the queue; how many. Raises Refused where there is none."""
        self._reader.outlet(outlet_id)
        now_s = self._clock()
        count = self._keeper.do(lambda work: work.resend_letters(outlet_id, letter_ids, now_s))
        if not count:
            raise Refused("There is no such dead letter.")
        self._outbox.changed()
        return count

    def test(self, outlet_id: int) -> Answer:
        """Send a test event now; what became of it."""
        return self._outbox.test(outlet_id)


def tell_the_broker(reader: OutboxReader, work: OutboxWork, wanted: bool) -> None:
    """At each start: whether events go to the broker at which this bridge listens is a setting, not a way out to be added."""
    mine = [outlet for outlet in reader.outlets() if isinstance(outlet.way, Broker)]
    if wanted and not mine:
        work.put_outlet(Outlet("MQTT", Broker()))
    for outlet in mine:
        if not wanted and not outlet.off:
            work.switch_outlet(outlet.id, OFF_BY_SETTING)
        elif wanted and outlet.off == OFF_BY_SETTING:
            work.switch_outlet(outlet.id, "")


def _numbered(outlet: Outlet, before: Outlet) -> Outlet:
    return replace(outlet, id=before.id, off=before.off)
