"""What the embedded broker has acknowledged, it delivers: it survives SIGKILL, and unacknowledged messages come again.

The words are those of MQTT 3.1.1 (OASIS Standard, 2014, from memory): PUBACK 4.3.2, DUP 3.3.1.1, retained 3.3.1.3,
last will 3.1.2.5. How late a message comes again is nats-server's own rule, not the standard's.
"""

import os
import signal

PACK = "bellcrank/1/tern-cottage/hall/pack"
ALIVE = "bellcrank/1/tern-cottage/hall/alive"


def test_messages_for_an_absent_subscriber_survive_a_kill_of_the_broker(make_broker, make_listener):
    broker = make_broker()
    broker.start()
    make_listener("service", persistent=True).connect(broker).subscribe("bellcrank/1/+/+/pack").close()
    chime = make_listener().connect(broker)
    for number in range(50):
        chime.publish(PACK, str(number))

    os.kill(broker.process.pid, signal.SIGKILL)
    broker.process.wait()
    broker.stop()
    broker.start()

    service = make_listener("service", persistent=True).connect(broker)  # the session is kept: no subscription again
    assert service.wait_for_messages(50) == [str(number).encode() for number in range(50)]


def test_a_message_not_acknowledged_comes_again_marked_as_a_copy(make_broker, make_listener):
    broker = make_broker()
    broker.start()
    service = make_listener("service", persistent=True, acknowledge=False).connect(broker).subscribe(PACK)
    chime = make_listener().connect(broker)
    chime.publish(PACK, "one")
    assert service.wait_for_messages(2) == [b"one", b"one"]  # the second after `ack_wait`, on the same connection
    (_, _, first_identifier, first_dup, _), (_, _, second_identifier, second_dup, _) = service.heard
    assert (first_dup, second_dup) == (False, True)
    assert first_identifier == second_identifier  # so the subscriber can tell that it holds this one already

    service.cut()
    again = make_listener("service", persistent=True).connect(broker)
    assert again.wait_for_messages(1) == [b"one"]
    assert again.heard[0][2:4] == (first_identifier, True)


def test_an_acknowledged_message_does_not_come_again(make_broker, make_listener):
    broker = make_broker()
    broker.start()
    service = make_listener("service", persistent=True).connect(broker).subscribe(PACK)
    chime = make_listener().connect(broker)
    chime.publish(PACK, "one")
    assert service.wait_for_messages(1) == [b"one"]
    service.close()
    broker.stop()
    broker.start()
    service = make_listener("service", persistent=True).connect(broker)
    make_listener().connect(broker).publish(PACK, "two")
    assert service.wait_for_messages(1) == [b"two"]


def test_presence_is_retained_over_a_restart_and_the_last_will_tells_of_a_lost_chime(make_broker, make_listener):
    broker = make_broker()
    broker.start()
    chime = make_listener("hall")
    chime.client.will_set(ALIVE, "0", qos=1, retain=True)
    chime.connect(broker).publish(ALIVE, "1", retain=True)
    watcher = make_listener().connect(broker).subscribe(ALIVE)
    assert watcher.wait_for_messages(1) == [b"1"]
    assert watcher.heard[0][4], "a message from before the subscription is marked as retained"
    chime.cut()
    assert watcher.wait_for_messages(2) == [b"1", b"0"]

    broker.stop()
    broker.start()
    assert make_listener().connect(broker).subscribe(ALIVE).wait_for_messages(1) == [b"0"]


def test_a_pack_beyond_the_contract_still_arrives_to_be_judged(make_broker, make_listener):
    broker = make_broker()
    broker.start()
    service = make_listener().connect(broker).subscribe(PACK)
    chime = make_listener().connect(broker)
    chime.publish(PACK, "x" * 200_000)  # the contract's limit is 64 KiB = 65,536
    assert [len(payload) for payload in service.wait_for_messages(1)] == [200_000]
