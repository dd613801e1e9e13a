"""A Mosquitto 2.0 with the project's own deploy/mosquitto.conf keeps what is sent while Bellcrank is away.

Only the port and the place of the files differ from what stands there. How Mosquitto numbers and marks what it sends again
is MQTT 3.1.1, section 4.4 (from memory): original packet identifier, DUP.
"""

import contextlib
import os
import pwd
import re
import shutil
import socket
import subprocess
import types
from pathlib import Path

import pytest

CONFIGURATION = Path(__file__).parents[2] / "deploy" / "mosquitto.conf"
PACK = "bellcrank/1/tern-cottage/hall/pack"


class Mosquitto(types.SimpleNamespace):
    def start(self):
        self.process = subprocess.Popen([self.binary, "-c", self.file], stderr=subprocess.DEVNULL)
        while self.process.poll() is None:
            with contextlib.suppress(ConnectionRefusedError), socket.create_connection(("127.0.0.1", self.port)):
                return
        raise AssertionError(f"Mosquitto ended with {self.process.returncode}")

    def stop(self):
        self.process.terminate()
        self.process.wait(10.0)


@pytest.fixture
def mosquitto(tmp_path):
    binary = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    passwords = tmp_path / "passwords"
    passwords.write_text("chime:rope\n")
    subprocess.run(["mosquitto_passwd", "-U", passwords], check=True)
    text = re.sub(r"(?m)^listener .*", f"listener {port} 127.0.0.1", CONFIGURATION.read_text())
    text = re.sub(r"(?m)^password_file .*", f"password_file {passwords}", text)
    user = pwd.getpwuid(os.getuid()).pw_name
    (tmp_path / "mosquitto.conf").write_text(f"{text}\npersistence_location {tmp_path}/\nuser {user}\nlog_dest none\n")
    broker = Mosquitto(
        binary=binary, file=tmp_path / "mosquitto.conf", port=port, url=f"mqtt://127.0.0.1:{port}", folder=tmp_path
    )
    broker.start()
    yield broker
    broker.stop()


def known(listener):
    listener.client.username_pw_set("chime", "rope")
    return listener


def test_it_lets_nobody_in_without_the_password(mosquitto, make_listener):
    assert make_listener().connect(mosquitto).refusal == "Not authorized"  # CONNACK code 5, MQTT 3.1.1 table 3.1


def test_more_than_a_thousand_messages_wait_for_an_absent_service(mosquitto, make_listener):
    known(make_listener("service", persistent=True)).connect(mosquitto).subscribe("bellcrank/1/+/+/pack").close()
    chime = known(make_listener())
    chime.client.max_inflight_messages_set(1500)
    chime.connect(mosquitto)
    sent = [chime.client.publish(PACK, str(number), qos=1) for number in range(1500)]  # its own limit would be 1000
    for one in sent:
        one.wait_for_publish(10.0)
    mosquitto.stop()
    mosquitto.start()
    service = known(make_listener("service", persistent=True)).connect(mosquitto)
    assert service.wait_for_messages(1500) == [str(number).encode() for number in range(1500)]


def test_an_unacknowledged_message_keeps_its_identifier_over_a_restart(mosquitto, make_listener):
    service = known(make_listener("service", persistent=True, acknowledge=False)).connect(mosquitto).subscribe(PACK)
    chime = known(make_listener()).connect(mosquitto)
    for text in ("one", "two"):
        chime.publish(PACK, text)
    service.wait_for_messages(2)
    service.close()
    mosquitto.stop()
    mosquitto.start()
    again = known(make_listener("service", persistent=True)).connect(mosquitto)
    assert again.wait_for_messages(2) == [b"one", b"two"]
    assert [entry[2] for entry in again.heard] == [entry[2] for entry in service.heard]
    assert all(dup for *_, dup, _ in again.heard)


def test_it_writes_its_store_without_being_asked(mosquitto, make_listener):
    store = mosquitto.folder / "mosquitto.db"
    known(make_listener("service", persistent=True)).connect(mosquitto).subscribe(PACK).close()
    chime = known(make_listener()).connect(mosquitto)
    chime.publish(PACK, "the doorbell at night")
    for _ in range(200):  # each exchange takes it once round its loop, at the end of which it writes
        if store.exists() and b"the doorbell at night" in store.read_bytes():
            break
        chime.publish("elsewhere", "")
    else:
        raise AssertionError("not on the disk")
    mosquitto.process.kill()
    mosquitto.process.wait()
    mosquitto.start()
    service = known(make_listener("service", persistent=True)).connect(mosquitto)
    assert service.wait_for_messages(1) == [b"the doorbell at night"]
