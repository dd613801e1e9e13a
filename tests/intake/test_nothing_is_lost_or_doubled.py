"""Promise: what is acknowledged is on the disk; what is bad or unforeseen stops nothing; what comes twice counts once."""

import threading
from collections.abc import Iterator

import pytest

from adapters.sql.work import SqlStore
from service import keeper as keeping
from service import pack as packs
from service.errors import NotFound, StoreUnavailable
from service.health import Health
from service.intake import Understander, receive
from service.keeper import Keeper
from service.model import Arrival, Event, Pack
from tests.builders import CHIME, PRESS, SITE, T0, TOPIC, arrival, pack
from tests.fakes import FailingStore, FakeSource


@pytest.fixture
def store() -> Iterator[SqlStore]:
    opened = SqlStore("sqlite://")
    yield opened
    opened.close()


def take_in(store: SqlStore, *arrivals: Arrival, enrolment_open: bool = True) -> None:
    receive(store, arrivals)
    understander = Understander(store, enrolment_open=enrolment_open)
    while understander.process_pending():
        pass


def press_count(store: SqlStore) -> int:
    return len(store.reader().presses(SITE, 0.0, T0 * 2)[0])


def test_a_pack_delivered_twice_is_one_press(store: SqlStore) -> None:
    take_in(store, arrival(pack(0, PRESS)), arrival(pack(0, PRESS), 130.0, redelivered=True))
    counts = store.reader().counts()
    assert (press_count(store), counts.kept, counts.duplicates) == (1, 2, 1)


KEYLESS = b'[{"n":"front.press","vb":%s}]'


def test_without_a_key_the_same_word_twice_in_a_row_is_an_echo_but_a_new_press_is_not(store: SqlStore) -> None:
    told = [(0.0, b"true"), (0.4, b"false"), (0.6, b"false"), (3.0, b"true"), (3.2, b"false")]
    take_in(store, *(arrival(KEYLESS % word, at) for at, word in told))
    assert (press_count(store), store.reader().counts().duplicates) == (2, 1)


def test_without_a_key_what_the_broker_sends_again_is_known_by_its_packet_id(store: SqlStore) -> None:
    take_in(store, arrival(KEYLESS % b"true", 0.0, packet_id=7), arrival(KEYLESS % b"false", 0.4, packet_id=8))
    again = [arrival(KEYLESS % b"true", 60.0, packet_id=7, redelivered=True)]
    much_later = [arrival(KEYLESS % b"true", 7200.0, packet_id=7, redelivered=True)]  # Mosquitto was away for long
    take_in(store, *again, *much_later)
    assert (press_count(store), store.reader().counts().duplicates) == (1, 2)


def test_without_a_key_a_broker_that_has_numbered_afresh_does_not_double_what_it_sends_again(store: SqlStore) -> None:
    take_in(store, arrival(KEYLESS % b"true", 0.0, packet_id=7), arrival(KEYLESS % b"false", 0.4, packet_id=8))
    again = [
        arrival(KEYLESS % b"true", 60.0, packet_id=1, redelivered=True),
        arrival(KEYLESS % b"false", 60.0, packet_id=2, redelivered=True),
    ]
    another = [arrival(KEYLESS % b"true", 7200.0, packet_id=1, redelivered=True)]  # delivered before, but never kept
    take_in(store, *again, *another)
    assert (press_count(store), store.reader().counts().duplicates) == (2, 2)


@pytest.mark.parametrize(
    ("payload", "topic", "reason"),
    [
        (b"\xff\xfe", TOPIC, ""),
        (b'[{"n":"rail.mean","u":"V","v":400}]', TOPIC, "400"),
        (b'[{"n":"front.press","vb":true,"t":31536000}]', TOPIC, "front.press"),
        (pack(0, PRESS), "bellcrank/1/Tern Cottage/hall/pack", ""),
        (b"maybe", f"bellcrank/1/{SITE}/{CHIME}/alive", "maybe"),
    ],
)
def test_a_bad_pack_is_set_aside_with_its_bytes_and_reason(
    store: SqlStore, payload: bytes, topic: str, reason: str
) -> None:
    take_in(store, arrival(payload, topic=topic), arrival(pack(1, PRESS), 200.05))
    (aside,), _ = store.reader().set_aside()
    assert (aside.payload, aside.topic, aside.fate) == (payload, topic, "quarantined")
    assert aside.reason
    assert reason in aside.reason
    assert press_count(store) == 1


def test_a_pack_that_fails_for_an_unforeseen_reason_is_marked_and_the_rest_goes_on(
    store: SqlStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    genuine = packs.decode

    def failing(payload: bytes, content_type: str | None, received_s: float) -> Pack:
        if payload == pack(1, PRESS):
            raise ZeroDivisionError("a bug")
        return genuine(payload, content_type, received_s)

    monkeypatch.setattr(packs, "decode", failing)
    take_in(store, *(arrival(pack(seq, PRESS), 100.05 * (seq + 1)) for seq in range(3)))
    (aside,), _ = store.reader().set_aside()
    assert (aside.fate, aside.reason) == ("unexpected", "ZeroDivisionError: a bug")
    assert (press_count(store), store.reader().counts().pending) == (2, 0)


def test_an_unknown_chime_is_kept_as_unclaimed_until_its_owner_claims_it(store: SqlStore) -> None:
    take_in(store, arrival(pack(0, PRESS)))
    assert [chime.claimed for chime in store.reader().chimes()] == [False]
    assert store.reader().sites() == []
    with store.work() as work:
        work.claim(SITE, CHIME, "Tern Cottage")
    assert [site.name for site in store.reader().sites()] == ["Tern Cottage"]
    assert press_count(store) == 1


def test_where_enrolment_is_closed_an_unknown_chime_is_refused_and_counted(store: SqlStore) -> None:
    take_in(store, arrival(pack(0, PRESS)), enrolment_open=False)
    assert store.reader().counts().refused == 1
    assert store.reader().chimes() == []


def test_presence_is_noted_when_it_changes(store: SqlStore) -> None:
    topic = f"bellcrank/1/{SITE}/{CHIME}/alive"
    take_in(store, *(arrival(word, at, topic=topic) for at, word in [(0.0, b"1"), (5.0, b"1"), (9.0, b"0")]))
    (chime,) = store.reader().chimes()
    assert (chime.alive, chime.alive_since_s) == (False, T0 + 9.0)
    assert [event.data["alive"] for event in store.fresh_events()] == [True, False]


def run_keeper(store: FailingStore, source: FakeSource, until: threading.Event, told: list[Event]) -> Health:
    health = Health("0", 0.0, "")

    def tell(events: object) -> None:
        told.extend(events)  # type: ignore[arg-type]
        until.set()

    keeper = Keeper(store, source, Understander(store), health, lambda: T0, tell)  # type: ignore[arg-type]
    thread = threading.Thread(target=keeper.run)
    thread.start()
    assert until.wait(20)
    with pytest.raises(NotFound):  # an action's error comes back to whoever asked, and the keeper goes on
        keeper.do(lambda work: work.claim("nowhere", "none", None))
    keeper.do(lambda work: work.claim(SITE, CHIME, None))
    keeper.stop()
    thread.join()
    with pytest.raises(StoreUnavailable):
        keeper.do(lambda work: None)
    return health


def test_nothing_is_acknowledged_before_it_is_on_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "RETRY_S", 0.0)
    store, source = FailingStore(failing=3), FakeSource([[arrival(pack(0, PRESS))]])
    acknowledged_while_failing = []
    genuine = store.work

    def watched() -> object:
        if store.failing:
            acknowledged_while_failing.extend(source.acknowledged)
        return genuine()

    monkeypatch.setattr(store, "work", watched)
    told: list[Event] = []
    health = run_keeper(store, source, threading.Event(), told)
    assert acknowledged_while_failing == []
    assert len(source.acknowledged) == 1
    assert health.store_trouble is None
    assert [event.kind for event in told] == ["press"]
    assert source.stopped
    store.close()


def test_events_tell_of_live_packs_but_not_of_recordings(store: SqlStore) -> None:
    take_in(store, arrival(pack(0, PRESS), via="file"))
    assert store.fresh_events() == []
    take_in(store, arrival(pack(1, PRESS), 200.05))
    (event,) = store.fresh_events()
    assert (event.kind, event.data["door"], event.data["pulses"]) == ("press", "front", 7)
    assert store.reader().events_after(0) == [event]
