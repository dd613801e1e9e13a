"""Promise: over TLS and with a password, by MQTT 3.1.1 or 5, what was sent while the service was away is kept when it is back.

The broker is Mosquitto, with a certificate of a private authority made for the test.
"""

import datetime
import gc
import ipaddress
import shutil
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from adapters.mqtt import BrokerAccess, Listener
from adapters.sql.work import SqlStore
from service.errors import SettingError
from service.health import Health
from service.intake import Understander
from service.keeper import Keeper
from tests.builders import PRESS, SITE, TOPIC, pack
from tests.house.conftest import free_port

DAY = datetime.timedelta(days=1)


def certificates(folder: Path) -> None:
    """ca.pem, broker.pem and broker.key."""
    now = datetime.datetime.now(datetime.UTC)
    keys = {name: ec.generate_private_key(ec.SECP256R1()) for name in ("ca", "broker")}
    authority = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Tern Cottage authority")])
    for name in ("ca", "broker"):
        subject = authority if name == "ca" else x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "broker")])
        builder = (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(authority)
            .public_key(keys[name].public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - DAY)
            .not_valid_after(now + DAY)
            .add_extension(x509.BasicConstraints(ca=name == "ca", path_length=None), critical=True)
        )
        if name == "broker":
            address = x509.IPAddress(ipaddress.ip_address("127.0.0.1"))
            builder = builder.add_extension(x509.SubjectAlternativeName([address]), critical=False)
        made = builder.sign(keys["ca"], hashes.SHA256())
        (folder / f"{name}.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private = keys["broker"].private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (folder / "broker.key").write_bytes(private)


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, Path]]:
    folder, port = tmp_path_factory.mktemp("broker"), free_port()
    folder.chmod(0o755)
    certificates(folder)
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(folder / "passwords"), "bridge", "a bell wire"], check=True)
    (folder / "mosquitto.conf").write_text(
        f"listener {port} 127.0.0.1\ncafile {folder}/ca.pem\ncertfile {folder}/broker.pem\nkeyfile {folder}/broker.key\n"
        f"allow_anonymous false\npassword_file {folder}/passwords\nuser root\n"
    )
    binary = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin")
    assert binary is not None
    process = subprocess.Popen([binary, "-c", str(folder / "mosquitto.conf")], stderr=subprocess.DEVNULL)
    yield port, folder
    process.terminate()
    process.wait()


def send(port: int, folder: Path, *payloads: bytes) -> None:
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set("bridge", "a bell wire")
    client.tls_set_context(ssl.create_default_context(cafile=str(folder / "ca.pem")))
    for _ in range(50):  # the broker may only just be starting
        try:
            client.connect("127.0.0.1", port)
            break
        except OSError:
            time.sleep(0.1)
    client.loop_start()
    for payload in payloads:
        client.publish(TOPIC, payload, 1).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


class Service:
    """Listener, keeper and record, as bootstrap puts them together."""

    def __init__(self, access: BrokerAccess, url: str) -> None:
        self.health = Health("0", 0.0, "")
        self.store = SqlStore(url)
        listener = Listener(access, "bellcrank", self.health, time.time)
        self.keeper = Keeper(self.store, listener, Understander(self.store), self.health, time.time, lambda _: None)
        self.thread = threading.Thread(target=self.keeper.run)
        self.thread.start()

    def until_presses(self, number: int) -> int:
        end = time.monotonic() + 15
        while (found := len(self.store.reader().presses(SITE, 0.0, 1e11)[0])) < number and time.monotonic() < end:
            time.sleep(0.02)
        return found

    def until_told(self, words: str) -> bool:
        end = time.monotonic() + 15
        while words not in " ".join(self.health.troubles()) and time.monotonic() < end:
            time.sleep(0.02)
        return words in " ".join(self.health.troubles())

    def end(self) -> None:
        self.keeper.stop()
        self.thread.join()
        self.store.close()


@pytest.mark.parametrize("version", ["3.1.1", "5"])
def test_what_came_while_the_service_was_away_is_kept_when_it_is_back(
    version: str, broker: tuple[int, Path], tmp_path: Path
) -> None:
    port, folder = broker
    name = f"bellcrank-{version}"
    access = BrokerAccess(
        f"mqtts://127.0.0.1:{port}", "bridge", "a bell wire", str(folder / "ca.pem"), version, client_id=name
    )
    url = f"sqlite:///{tmp_path / 'record.sqlite'}"
    first = Service(access, url)
    end = time.monotonic() + 15
    while not first.health.broker_connected and time.monotonic() < end:
        time.sleep(0.02)
    send(port, folder, pack(0, PRESS, up_s=1000.0))
    assert first.until_presses(1) == 1
    first.end()
    send(port, folder, *(pack(seq, PRESS, up_s=1000.0 + 100.0 * seq) for seq in (1, 2, 3)))
    second = Service(access, url)
    assert second.until_presses(4) == 4
    assert second.store.reader().counts().duplicates == 0
    second.end()


def test_a_wrong_password_is_told(broker: tuple[int, Path]) -> None:
    port, folder = broker
    service = Service(BrokerAccess(f"mqtts://127.0.0.1:{port}", "bridge", "guess", str(folder / "ca.pem")), "sqlite://")
    assert service.until_told("refuses Bellcrank")
    service.end()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_broker_whose_certificate_nobody_vouches_for_is_not_trusted(broker: tuple[int, Path]) -> None:
    port, _ = broker
    service = Service(BrokerAccess(f"mqtts://127.0.0.1:{port}", "bridge", "a bell wire"), "sqlite://")
    assert service.until_told("does not answer")
    assert not service.health.broker_connected
    service.end()
    gc.collect()  # paho leaves the socket of a failed handshake to the collector, which warns


def test_a_ca_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    access = BrokerAccess("mqtts://127.0.0.1:1", ca=str(tmp_path / "none.pem"))
    with pytest.raises(SettingError, match=r"none\.pem"):
        Listener(access, "bellcrank", Health("0", 0.0, ""), time.time)
