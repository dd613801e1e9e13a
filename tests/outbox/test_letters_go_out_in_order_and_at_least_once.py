"""Promise: an event that is in the record goes out, at least once, in order for each way out, with the same key however often."""

import pytest

from adapters.sql.work import SqlStore
from service.errors import StoreUnavailable
from service.outbox_ports import Waiting
from service.ports import Work
from service.retries import Answer
from tests.builders import CHIME, SITE, T0
from tests.outbox.conftest import DOWN, TAKEN, Post, Receiver


def test_events_go_out_in_order(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver()
    post.ring("front", "garden", "front")
    post.run(post.carrier(outlet, receiver), T0 + 1.0)
    assert receiver.doors == ["front", "garden", "front"]
    assert [letter.content["id"] for letter in receiver.taken] == [letter.key for letter in receiver.taken]
    assert len({letter.key for letter in receiver.taken}) == 3
    assert post.reader.outbox(outlet).waiting == 0


def test_more_than_a_page_goes_out_in_order(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver()
    doors = [f"door{number}" for number in range(53)]
    post.ring(*doors)
    post.run(post.carrier(outlet, receiver), T0)
    assert receiver.doors == doors


def test_an_event_that_is_undone_leaves_no_letter(post: Post) -> None:
    outlet = post.outlet()

    def undone(work: Work) -> None:
        work.add_event("press", T0, SITE, CHIME, {"door": "front"})
        raise ZeroDivisionError("by design")

    with pytest.raises(ZeroDivisionError):
        post.do(undone)
    assert post.reader.outbox(outlet).waiting == 0
    assert post.reader.last_event_id() == 0


def test_a_failure_holds_up_what_is_behind_it_and_the_key_stays(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver([DOWN, DOWN])
    post.ring("front", "garden")
    post.run(post.carrier(outlet, receiver), T0 + 400.0)
    assert receiver.doors == ["front", "garden"]
    assert len({letters[0].key for _, letters in receiver.letters[:3]}) == 1


def test_tries_follow_the_published_schedule_and_then_the_letter_is_dead(post: Post) -> None:
    # Standard Webhooks 1.0.0: immediately, then after 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h
    outlet, receiver = post.outlet(), Receiver(down=True)
    post.ring("front")
    post.run(post.carrier(outlet, receiver), T0 + 300_000.0)
    offsets = [0, 5, 305, 2105, 9305, 27305, 63305, 113705, 185705, 272105]
    assert receiver.tried_after_s == pytest.approx(offsets, abs=0.01)
    (dead,), _ = post.reader.letters(outlet, "dead")
    assert (dead.tries, dead.answer) == (10, "503 Service Unavailable")
    assert post.reader.outbox(outlet) == Waiting(0, None, 1, None)


def test_a_dead_letter_can_be_sent_again_with_its_key(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver([Answer(False, "400 Bad Request", refused=True)] * 4)
    post.ring("front", "garden")
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + 3000.0)
    (dead,), _ = post.reader.letters(outlet, "dead")
    assert receiver.doors == ["garden"]
    assert post.do(lambda work: work.resend_letters(outlet, [dead.id], post.now_s)) == 1
    carrier.again()
    post.run(carrier, T0 + 3001.0)
    assert receiver.doors == ["garden", "front"]
    assert receiver.taken[1].key == dead.key
    assert post.reader.outbox(outlet).dead == 0


def test_a_letter_that_is_refused_holds_up_the_others_for_half_an_hour_at_the_most(post: Post) -> None:
    # chosen: the third offset, 2105 s; the receiver is there, it only will not have this letter
    outlet, receiver = post.outlet(), Receiver([Answer(False, "422", refused=True)] * 4)
    post.ring("front", "garden")
    post.run(post.carrier(outlet, receiver), T0 + 2200.0)
    assert receiver.doors == ["garden"]
    assert receiver.letters[-1][0] - T0 == pytest.approx(2110.0, abs=0.1)


def test_what_was_taken_but_could_not_be_noted_is_noted_before_anything_else(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver()
    post.ring("front")
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + 0.1)
    post.ring("garden")
    carrier.again()
    post.now_s, post.fails = T0 + 0.3, 3
    for _ in range(3):
        with pytest.raises(StoreUnavailable):
            carrier.turn()
    assert receiver.doors == ["front"]
    post.run(carrier, T0 + 1.0)
    assert receiver.doors == ["front", "garden"]
    assert post.reader.outbox(outlet).waiting == 0


def test_what_follows_closely_is_noted_together(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver()
    carrier, before = post.carrier(outlet, receiver), post.done
    for _ in range(15):
        post.ring("front")
        carrier.again()
        post.run(carrier, post.now_s + 0.01)
    assert len(receiver.taken) == 15
    assert post.done - before == 15  # of which each wrote an event, and none noted a letter
    post.run(carrier, post.now_s + 1.0)
    assert post.done - before == 16
    assert post.reader.outbox(outlet).waiting == 0


def test_whoever_is_killed_before_it_was_noted_sends_again_with_the_same_key(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver()
    post.ring("front", "garden")
    post.carrier(outlet, receiver).turn()
    reopened = SqlStore(f"sqlite:///{post.path}")  # another process: nothing is left but the record
    post.run(Post(reopened, post.path).carrier(outlet, receiver), T0)
    reopened.close()
    assert receiver.doors == ["front", "front", "garden"]
    assert receiver.taken[0].key == receiver.taken[1].key


def test_the_schedule_goes_on_after_a_restart(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver(down=True)
    post.ring("front")
    post.run(post.carrier(outlet, receiver), T0 + 100.0)
    post.run(post.carrier(outlet, receiver), T0 + 310.0)
    assert receiver.tried_after_s == pytest.approx([0, 5, 305], abs=0.01)


def test_one_that_is_down_delays_no_other(post: Post) -> None:
    deaf, other = post.outlet(), post.outlet(name="another")
    post.ring("front")
    post.run(post.carrier(deaf, Receiver(down=True)), T0)
    receiver = Receiver()
    post.run(post.carrier(other, receiver), T0)
    assert receiver.doors == ["front"]


def test_what_nobody_foresaw_counts_as_a_failure_of_the_letter(post: Post, caplog: pytest.LogCaptureFixture) -> None:
    outlet, receiver = post.outlet(), Receiver([ZeroDivisionError("by design")])
    post.ring("front")
    post.run(post.carrier(outlet, receiver), T0 + 6.0)
    assert receiver.doors == ["front"]
    assert "could not be sent" in caplog.text


def test_a_receiver_that_says_gone_gets_no_more_until_somebody_says_so(post: Post) -> None:
    # Standard Webhooks 1.0.0: 410 disables the endpoint
    outlet, receiver = post.outlet(), Receiver([Answer(False, "410 Gone", refused=True, gone=True)])
    post.ring("front")
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + 10_000.0)
    post.ring("garden")  # no letter any more
    assert len(receiver.letters) == 1
    assert "410" in post.reader.outlet(outlet).off
    post.do(lambda work: work.switch_outlet(outlet, ""))
    post.run(post.carrier(outlet, receiver), T0 + 10_001.0)
    assert receiver.doors == ["front"]


def test_an_overloaded_receiver_is_spared_and_its_own_time_is_kept(post: Post) -> None:
    # Standard Webhooks 1.0.0: 429, 502 and 504 slow down; Retry-After is honoured
    slow = Answer(False, "429 Too Many Requests", slow=True, retry_after_s=120.0)
    outlet, receiver = post.outlet(), Receiver([slow])
    post.ring("front", "garden", "front")
    post.run(post.carrier(outlet, receiver), T0 + 200.0)
    assert receiver.tried_after_s == pytest.approx([0.0, 120.0, 120.5, 120.5], abs=0.01)


def test_a_due_time_of_a_clock_that_was_wrong_is_not_waited_for(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver([DOWN])
    post.now_s = T0 + 10 * 365 * 86_400.0
    post.ring("front")
    carrier = post.carrier(outlet, receiver)
    carrier.turn()
    post.now_s = T0  # somebody has set it right
    post.run(carrier, T0 + 40.0)
    assert receiver.answers == []
    assert receiver.doors == ["front"]


def test_old_letters_are_forgotten(post: Post) -> None:
    outlet, receiver = post.outlet(), Receiver([TAKEN, *[Answer(False, "400", refused=True)] * 4])
    post.ring("front", "garden")
    post.run(post.carrier(outlet, receiver), T0 + 3000.0)
    post.ring("cellar")
    post.do(lambda work: work.forget_letters(T0 + 1.0, T0))
    assert [len(post.reader.letters(outlet, state)[0]) for state in ("waiting", "delivered", "dead")] == [1, 0, 1]
    post.do(lambda work: work.forget_letters(T0 + 1.0, T0 + 4000.0))
    assert [len(post.reader.letters(outlet, state)[0]) for state in ("waiting", "delivered", "dead")] == [1, 0, 0]
