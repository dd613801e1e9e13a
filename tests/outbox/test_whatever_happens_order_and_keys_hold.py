"""Promise: whatever receivers answer, whenever the service dies or a clock is set, each letter is taken or dead, first in order,
under one key."""

from dataclasses import dataclass, field
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.sql.work import SqlStore
from service.outbox import LOOK_EVERY_S
from service.outlet_form import read_outlet
from service.retries import Answer
from tests.builders import CHIME, SITE, T0
from tests.outbox.conftest import DOWN, HOOK, TAKEN, Post, Receiver

SLOW = Answer(False, "429", slow=True, retry_after_s=30.0)
REFUSED = Answer(False, "400", refused=True)
HAPPENINGS = st.one_of(
    st.just("ring"),
    st.just("killed"),
    st.just("record fails"),
    st.sampled_from([TAKEN, DOWN, SLOW, REFUSED, ZeroDivisionError("by design")]),
    st.floats(-7200.0, 7200.0),  # the clock goes on, or is set
)


@dataclass
class House:
    post: Post
    receiver: Receiver = field(default_factory=Receiver)
    rung: int = 0


def _turn(carrier: Any) -> None:
    try:
        carrier.turn()
    except Exception as error:
        if type(error).__name__ != "StoreUnavailable":
            raise


@settings(max_examples=60, deadline=None)
@given(st.lists(HAPPENINGS, max_size=40))
def test_any_sequence(happenings: list[Any]) -> None:
    store = SqlStore("sqlite://", "Europe/London")
    with store.work() as work:
        work.chime(SITE, CHIME, T0)
    with store.work() as work:
        work.claim(SITE, CHIME, None)
        outlet = work.put_outlet(read_outlet(HOOK))
    house = House(Post(store, None))  # type: ignore[arg-type]
    post, receiver = house.post, house.receiver
    carrier = post.carrier(outlet, receiver)
    for what in happenings:
        post.fails = 0
        if what == "ring":
            post.ring(f"door{house.rung}")
            house.rung += 1
            carrier.again()
        elif what == "killed":
            carrier = post.carrier(outlet, receiver)
        elif what == "record fails":
            post.fails = 1
        elif isinstance(what, float):
            post.now_s += what
        else:
            receiver.answers.append(what)
        _turn(carrier)
    post.fails, receiver.answers = 0, []
    for _ in range(1000):  # far more steps than any schedule has
        if post.reader.outbox(outlet).waiting == 0:
            break
        wait_s = carrier.turn()
        post.now_s += 7200.0 if wait_s >= LOOK_EVERY_S else wait_s
    assert post.reader.outbox(outlet).waiting == 0
    dead = post.reader.outbox(outlet).dead
    post.store.close()

    first: dict[str, str] = {}
    for letter in receiver.taken:
        first.setdefault(letter.content["data"]["door"], letter.key)
        assert letter.key == first[letter.content["data"]["door"]] == letter.content["id"]
    tried = {letter.key for _, letters in receiver.letters for letter in letters}
    assert len(tried) == house.rung  # nothing is given up that was not tried
    assert len(first) + dead >= house.rung
    numbers = [int(door.removeprefix("door")) for door in first]
    assert numbers == sorted(numbers)
    assert len(set(first.values())) == len(first)
