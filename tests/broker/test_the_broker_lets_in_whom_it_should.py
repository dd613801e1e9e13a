"""A broker with a password lets nobody in without it, and one with a certificate speaks TLS only."""

import datetime
import ipaddress
import socket
import ssl

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from service.errors import SettingError

# Everything that a configuration file could trip over.
PASSWORD = 'a "b" \\c $HOME {d} # e; ü'


@pytest.fixture
def private_authority(tmp_path):
    """A certificate authority of our own and a certificate for localhost: (authority, certificate, key) as PEM files."""
    now = datetime.datetime.now(datetime.UTC)
    signing_key = ec.generate_private_key(ec.SECP256R1())
    authority_name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Tern Cottage authority")])
    key = ec.generate_private_key(ec.SECP256R1())

    def certificate(name, public_key, extensions):
        builder = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(authority_name)
            .public_key(public_key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(hours=1))
            .not_valid_after(now + datetime.timedelta(hours=1))
        )
        for extension, critical in extensions:
            builder = builder.add_extension(extension, critical)
        return builder.sign(signing_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)

    usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    identifier = x509.SubjectKeyIdentifier.from_public_key(signing_key.public_key())
    names = [x509.DNSName("localhost"), x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(signing_key.public_key())
    (tmp_path / "authority.pem").write_bytes(
        certificate(
            authority_name,
            signing_key.public_key(),
            [(x509.BasicConstraints(True, None), True), (usage, True), (identifier, False)],
        )
    )
    (tmp_path / "broker.pem").write_bytes(
        certificate(
            x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")]),
            key.public_key(),
            [(x509.SubjectAlternativeName(names), False), (issuer, False)],
        )
    )
    (tmp_path / "broker.key").write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    return tmp_path / "authority.pem", tmp_path / "broker.pem", tmp_path / "broker.key"


def test_only_the_right_password_opens(make_broker, make_listener):
    broker = make_broker(username="chime", password=PASSWORD)
    broker.start()
    for credentials in (None, ("chime", "wrong"), ("other", PASSWORD)):
        stranger = make_listener()
        if credentials:
            stranger.client.username_pw_set(*credentials)
        assert stranger.connect(broker).refusal == "Not authorized"  # CONNACK return code 5, MQTT 3.1.1 table 3.1
    chime = make_listener()
    chime.client.username_pw_set("chime", PASSWORD)
    chime.connect(broker).subscribe("bellcrank/#").publish("bellcrank/1/tern-cottage/hall/pack", "one")
    assert chime.wait_for_messages(1) == [b"one"]


def test_the_file_with_the_password_is_for_the_owner_only(make_broker):
    broker = make_broker(username="chime", password="rope")
    broker.start()
    assert (broker.folder / "broker.conf").stat().st_mode & 0o077 == 0


def test_tls_by_a_private_authority(make_broker, make_listener, private_authority):
    authority, certificate, key = private_authority
    broker = make_broker(certificate=certificate, key=key)
    broker.start()
    assert broker.url == f"mqtts://127.0.0.1:{broker.port}"
    chime = make_listener()
    chime.client.tls_set_context(ssl.create_default_context(cafile=str(authority)))
    chime.connect(broker).subscribe("bellcrank/#").publish("bellcrank/1/tern-cottage/hall/pack", "one")
    assert chime.wait_for_messages(1) == [b"one"]

    strict = ssl.create_default_context()  # trusts the public authorities only
    with (
        socket.create_connection(("127.0.0.1", broker.port)) as plain,
        pytest.raises(ssl.SSLCertVerificationError),
        strict.wrap_socket(plain, server_hostname="localhost"),
    ):
        pass
    with socket.create_connection(("127.0.0.1", broker.port), timeout=10.0) as plain:
        plain.sendall(b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x3c\x00\x00")  # a CONNECT without TLS, MQTT 3.1.1 section 3.1
        answer = plain.recv(4)
    assert answer[:1] != b"\x20", "a CONNACK in the clear"


@pytest.mark.parametrize(
    ("settings", "sentence"),
    [
        ({"username": "chime"}, "a user name and a password, or neither"),
        ({"password": "rope"}, "a user name and a password, or neither"),
        ({"username": "chime", "password": ""}, "must not be empty"),
        ({"username": "chime", "password": "$2a$11$"}, "must not begin with '\\$2'"),
        ({"username": "chi\nme", "password": "rope"}, "control character"),
    ],
)
def test_a_login_that_the_broker_would_misunderstand_is_refused(make_broker, settings, sentence):
    broker = make_broker(**settings)
    with pytest.raises(SettingError, match=sentence):
        broker.start()
    assert broker.process is None


def test_a_certificate_that_cannot_be_read_is_named(make_broker, tmp_path):
    with pytest.raises(SettingError, match=r"absent\.pem cannot be read: No such file"):
        make_broker(certificate=tmp_path / "absent.pem", key=tmp_path / "absent.key").start()
