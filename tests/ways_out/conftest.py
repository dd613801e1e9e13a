"""Receivers on this machine that answer as they are told, a certificate authority, and a letter of Tern Cottage."""

import datetime
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from adapters.outlets.addresses import read_networks
from service.cloud_events import cloud_event
from service.model import Event
from service.outbox_ports import Letter
from tests.builders import CHIME, SITE, T0

HERE = read_networks("127.0.0.0/8, ::1")
OK = b"HTTP/1.1 204 No Content\r\n\r\n"


def letter(key: str = "7-1f", kind: Any = "press", **data: Any) -> Letter:
    told = {"door": "front", "start": "2026-09-14T10:00:00.000000Z", "end": "2026-09-14T10:00:00.400000Z"} | data
    event = Event(7, T0, kind, SITE, CHIME, told)
    return Letter(1, 1, key, T0, 1, cloud_event(event, key))


@dataclass
class Request:
    line: str
    headers: dict[str, str]
    body: bytes


@dataclass
class HttpReceiver:
    """Takes requests and sends `answers` in turn, bytes as they are; None: hangs up. After the last one: 204."""

    port: int
    answers: list[bytes | None] = field(default_factory=list)
    requests: list[Request] = field(default_factory=list)
    connections: int = 0
    hang_up_after: bool = False  # each answer, though it did not say so
    wait: Callable[[], None] = lambda: None

    def serve(self, sock: socket.socket) -> None:
        self.connections += 1
        with sock, suppress(OSError, ssl.SSLError):
            stream = sock.makefile("rb")
            while (request := _read(stream)) is not None:
                self.requests.append(request)
                self.wait()
                answer = self.answers.pop(0) if self.answers else OK
                if answer is None:
                    return
                sock.sendall(answer)
                if self.hang_up_after:
                    return


def _read(stream: Any) -> Request | None:
    line = stream.readline().decode().strip()
    if not line:
        return None
    headers = {}
    while (text := stream.readline().decode().strip()) != "":
        name, _, value = text.partition(":")
        headers[name.lower()] = value.strip()
    return Request(line, headers, stream.read(int(headers.get("content-length", "0"))))


@pytest.fixture
def receiver() -> Iterator[HttpReceiver]:
    yield from _receiver(None)


@pytest.fixture
def tls_receiver(authority: "Authority") -> Iterator[HttpReceiver]:
    yield from _receiver(authority.server("localhost"))


def _receiver(tls: ssl.SSLContext | None) -> Iterator[HttpReceiver]:
    listening = socket.create_server(("127.0.0.1", 0))
    found = HttpReceiver(listening.getsockname()[1])
    threads: list[threading.Thread] = []

    def handle(sock: socket.socket) -> None:
        if tls is None:
            found.serve(sock)
            return
        try:
            wrapped = tls.wrap_socket(sock, server_side=True)
        except OSError:  # the other side did not like the certificate
            sock.close()
            return
        found.serve(wrapped)

    def accept() -> None:
        while True:
            try:
                sock, _ = listening.accept()
            except OSError:
                return
            threads.append(threading.Thread(target=handle, args=(sock,), daemon=True))
            threads[-1].start()

    accepting = threading.Thread(target=accept, daemon=True)
    accepting.start()
    yield found
    listening.shutdown(socket.SHUT_RDWR)
    listening.close()
    accepting.join(5)
    for thread in threads:
        thread.join(5)


@dataclass
class Authority:
    """A private CA, and contexts for servers with a certificate of it."""

    folder: Path
    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def client(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=str(self.folder / "ca.pem"))

    def server(self, *names: str) -> ssl.SSLContext:
        key = ec.generate_private_key(ec.SECP256R1())
        alternative: list[x509.GeneralName] = []
        for name in names:
            with suppress(ValueError):
                alternative.append(x509.IPAddress(ip_address(name)))
                continue
            alternative.append(x509.DNSName(name))
        certificate = _certificate(names[0], key, self.certificate.subject, self.key, alternative)
        path = self.folder / f"{names[0]}.pem"
        private = key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        path.write_bytes(certificate.public_bytes(serialization.Encoding.PEM) + private)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(path)
        return context


@pytest.fixture(scope="session")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    folder = tmp_path_factory.mktemp("authority")
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Tern Cottage (invented)")])
    certificate = _certificate("Tern Cottage (invented)", key, name, key, None)
    (folder / "ca.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return Authority(folder, certificate, key)


def _certificate(
    name: str,
    key: ec.EllipticCurvePrivateKey,
    issuer: x509.Name,
    signing: ec.EllipticCurvePrivateKey,
    alternative: list[x509.GeneralName] | None,
) -> x509.Certificate:
    now = datetime.datetime.now(datetime.UTC)
    builder = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)]))
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.BasicConstraints(ca=alternative is None, path_length=None), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signing.public_key()), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    if alternative:
        builder = builder.add_extension(x509.SubjectAlternativeName(alternative), critical=False)
    return builder.sign(signing, hashes.SHA256())
