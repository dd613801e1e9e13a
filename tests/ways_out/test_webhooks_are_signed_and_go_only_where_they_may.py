"""Promise: a webhook is a signed CloudEvent that goes to the address its name had when it was checked, and nowhere else."""

import json
import socket
import threading
import time
from typing import Any

import pytest
from standardwebhooks import Webhook as Verifier
from standardwebhooks import WebhookVerificationError

from adapters.outlets import addresses
from adapters.outlets.addresses import allowed, ip_address, read_networks
from adapters.outlets.webhook import WebhookSender, signatures
from service.errors import SettingError
from service.outlet_form import new_key
from service.outlets import Webhook
from service.retries import Answer
from tests.builders import T0
from tests.ways_out.conftest import HERE, OK, Authority, HttpReceiver, letter

KEY = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"


def sender(
    receiver: HttpReceiver, *keys: str, url: str = "http://127.0.0.1:{}/bell?of=hall", **more: Any
) -> WebhookSender:
    return WebhookSender(Webhook(url.format(receiver.port), keys or (KEY,)), "0.0", **{"networks": HERE, **more})


def send(receiver: HttpReceiver, *answers: bytes | None, **more: Any) -> Answer:
    receiver.answers += answers
    opened = sender(receiver, **more)
    try:
        return opened.send([letter()], T0)
    finally:
        opened.close()


def test_the_signature_is_that_of_the_standards_own_example() -> None:
    # Standard Webhooks 1.0.0, specification, "Signature scheme": secret, id, timestamp, body and signature
    signed = signatures([KEY], "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    assert signed == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_the_reference_library_verifies_what_comes(receiver: HttpReceiver) -> None:
    # PyPI standardwebhooks 1.1.0; it compares the timestamp with the clock, five minutes either way
    key, now_s = new_key(), time.time()
    opened = sender(receiver, key)
    assert opened.send([letter("7-1f", told="grün")], now_s) == Answer(True, "204 No Content")
    opened.close()
    (request,) = receiver.requests
    assert request.line == "POST /bell?of=hall HTTP/1.1"
    assert request.headers["content-type"] == "application/cloudevents+json"
    assert request.headers["host"] == f"127.0.0.1:{receiver.port}"
    told = Verifier(key).verify(request.body, request.headers)
    assert told == letter("7-1f", told="grün").content
    with pytest.raises(WebhookVerificationError):
        Verifier(new_key()).verify(request.body, request.headers)
    with pytest.raises(WebhookVerificationError):
        Verifier(key).verify(request.body + b" ", request.headers)


def test_while_a_key_is_replaced_both_sign(receiver: HttpReceiver) -> None:
    # Standard Webhooks 1.0.0, "Signature scheme": several signatures with spaces between, for rotation without a break
    old, new, now_s = new_key(), new_key(), time.time()
    opened = sender(receiver, new, old)
    opened.send([letter()], now_s)
    opened.close()
    for key in (old, new):
        assert Verifier(key).verify(receiver.requests[0].body, receiver.requests[0].headers)


@pytest.mark.parametrize("status", ["200 OK", "201 Created", "202 Accepted", "204 No Content"])
def test_any_2xx_is_delivered(receiver: HttpReceiver, status: str) -> None:
    assert send(receiver, f"HTTP/1.1 {status}\r\nContent-Length: 0\r\n\r\n".encode()) == Answer(True, status)


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        (b"HTTP/1.1 500 Broken\r\nContent-Length: 0\r\n\r\n", Answer(False, "500 Broken")),
        (b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\n\r\n", Answer(False, "404 Not Found", refused=True)),
        (b"HTTP/1.1 408 Late\r\nContent-Length: 0\r\n\r\n", Answer(False, "408 Late")),
        (b"HTTP/1.1 410 Gone\r\nContent-Length: 0\r\n\r\n", Answer(False, "410 Gone", refused=True, gone=True)),
        (
            b"HTTP/1.1 429 Slow\r\nRetry-After: 120\r\nContent-Length: 0\r\n\r\n",
            Answer(False, "429 Slow", slow=True, retry_after_s=120.0),
        ),
        (
            # T0 is Mon, 14 Sep 2026 10:00:00 GMT; an HTTP date a minute later (RFC 9110, section 5.6.7)
            b"HTTP/1.1 504 Slow\r\nRetry-After: Mon, 14 Sep 2026 10:01:00 GMT\r\nContent-Length: 0\r\n\r\n",
            Answer(False, "504 Slow", slow=True, retry_after_s=60.0),
        ),
        (
            b"HTTP/1.1 502 Slow\r\nRetry-After: soon\r\nContent-Length: 0\r\n\r\n",
            Answer(False, "502 Slow", slow=True),
        ),
    ],
)
def test_what_a_receiver_answers_is_understood(receiver: HttpReceiver, answer: bytes, expected: Answer) -> None:
    assert send(receiver, answer) == expected


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_redirects_are_not_followed(receiver: HttpReceiver, status: int) -> None:
    where = f"http://127.0.0.1:{receiver.port}/elsewhere"
    answer = send(receiver, f"HTTP/1.1 {status} Moved\r\nLocation: {where}\r\nContent-Length: 0\r\n\r\n".encode())
    assert not answer.delivered
    assert [request.line.split()[1] for request in receiver.requests] == ["/bell?of=hall"]


@pytest.mark.parametrize(
    "answer",
    [None, b"", b"no HTTP at all\r\n\r\n", b"HTTP/1.1 2", b"HTTP/1.1 200 OK\r\nContent-Len"],
)
def test_a_receiver_that_breaks_off_has_not_taken_it(receiver: HttpReceiver, answer: bytes | None) -> None:
    receiver.hang_up_after = True
    found = send(receiver, answer)
    assert not found.delivered
    assert found.told


def test_a_receiver_that_says_nothing_is_given_up_in_time(receiver: HttpReceiver) -> None:
    ended = threading.Event()
    receiver.wait = lambda: ended.wait(10) and None
    assert send(receiver, within_s=0.1) == Answer(False, "no answer in time")
    ended.set()


def test_a_receiver_that_drips_is_given_up_in_time(receiver: HttpReceiver) -> None:
    """Each byte comes within any time limit for one byte; the limit is for all of them."""
    ended = threading.Event()

    def drip(sock: socket.socket) -> None:
        with sock:
            while not ended.wait(0.01):
                try:
                    sock.sendall(b"x")
                except OSError:
                    return

    with socket.create_server(("127.0.0.1", 0)) as listening:
        dripping = threading.Thread(target=lambda: drip(listening.accept()[0]))
        dripping.start()
        opened = WebhookSender(
            Webhook(f"http://127.0.0.1:{listening.getsockname()[1]}/", (KEY,)), "0.0", HERE, within_s=0.3
        )
        assert opened.send([letter()], T0) == Answer(False, "no answer in time")
        opened.close()
        ended.set()
        dripping.join(5)


def test_the_status_counts_and_not_what_comes_after_it(receiver: HttpReceiver) -> None:
    receiver.hang_up_after = True
    assert send(receiver, b"HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\nshort") == Answer(True, "200 OK")


def test_a_long_answer_is_not_read_to_its_end(receiver: HttpReceiver) -> None:
    endless = b"HTTP/1.1 200 OK\r\nContent-Length: 100000000\r\n\r\n" + bytes(100_000)
    assert send(receiver, endless) == Answer(True, "200 OK")


def test_a_connection_is_used_for_one_letter_after_another(receiver: HttpReceiver) -> None:
    opened = sender(receiver)
    for _ in range(3):
        assert opened.send([letter()], T0).delivered
    opened.close()
    assert (receiver.connections, len(receiver.requests)) == (1, 3)


def test_a_connection_that_was_closed_meanwhile_is_no_failure(receiver: HttpReceiver) -> None:
    receiver.hang_up_after = True
    opened = sender(receiver)
    for _ in range(3):
        assert opened.send([letter()], T0) == Answer(True, "204 No Content")
    opened.close()
    assert (receiver.connections, len(receiver.requests)) == (3, 3)


def test_tls_is_checked_against_the_name(tls_receiver: HttpReceiver, authority: Authority) -> None:
    url = "https://localhost:{}/"
    assert send(tls_receiver, url=url, tls=authority.client) == Answer(True, "204 No Content")
    found = send(tls_receiver, url=url)  # the system's CAs do not know this one
    assert not found.delivered
    assert "certificate is not valid" in found.told
    found = send(tls_receiver, url="https://127.0.0.1:{}/", tls=authority.client)
    assert "certificate is not valid" in found.told
    assert len(tls_receiver.requests) == 1


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "localhost", "[::1]", "127.1", "2130706433", "0x7f000001", "[::ffff:127.0.0.1]"]
)
@pytest.mark.parametrize("scheme", ["http", "https"])
def test_loopback_is_refused_however_it_is_written(receiver: HttpReceiver, host: str, scheme: str) -> None:
    found = send(receiver, url=f"{scheme}://{host}:{{}}/", networks=())
    assert not found.delivered
    assert receiver.connections == 0


@pytest.mark.parametrize(
    ("text", "expected"),
    [  # IANA IPv4 and IPv6 Special-Purpose Address Registries: "Globally Reachable"
        ("0.0.0.0", False),
        ("10.1.2.3", False),
        ("100.64.0.1", False),  # shared address space, RFC 6598
        ("127.0.0.1", False),
        ("169.254.169.254", False),  # link local, RFC 3927
        ("172.16.0.1", False),
        ("172.32.0.1", True),
        ("192.0.2.1", False),  # TEST-NET-1
        ("192.168.0.1", False),
        ("198.18.0.1", False),  # benchmarking, RFC 2544
        ("224.0.0.1", False),  # multicast
        ("240.0.0.1", False),  # reserved
        ("255.255.255.255", False),
        ("9.9.9.9", True),
        ("::", False),
        ("::1", False),
        ("::ffff:10.0.0.1", False),  # IPv4-mapped
        ("::ffff:9.9.9.9", True),
        ("64:ff9b::a00:1", False),  # NAT64 of 10.0.0.1, RFC 6052
        ("64:ff9b::909:909", True),
        ("2002:7f00:1::1", False),  # 6to4 of 127.0.0.1, RFC 3056
        ("2001:db8::1", False),  # documentation
        ("2606:4700:4700::1111", True),
        ("fc00::1", False),  # unique local
        ("fe80::1", False),  # link local
        ("ff02::1", False),  # multicast
    ],
)
def test_which_addresses_are_public(text: str, expected: bool) -> None:
    assert allowed(ip_address(text), ()) is expected


def test_a_setting_opens_a_network_and_no_more() -> None:
    networks = read_networks("192.168.1.0/24")
    assert allowed(ip_address("192.168.1.7"), networks)
    assert not allowed(ip_address("192.168.2.7"), networks)
    with pytest.raises(SettingError):
        read_networks("192.168.1.0/24, the attic")


def test_a_name_cannot_lead_elsewhere_after_it_was_checked(
    receiver: HttpReceiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The name is resolved once. Were it resolved again to connect, the second answer would lead to this machine."""
    asked: list[str] = []
    real = socket.getaddrinfo

    def resolving(host: str, port: int, *rest: Any, **more: Any) -> Any:
        if host != "turncoat.example":
            return real(host, port, *rest, **more)
        asked.append(host)
        leads = "203.0.113.1" if len(asked) == 1 else "127.0.0.1"
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (leads, port))]

    tried: list[Any] = []

    def connecting(where: tuple[str, int], timeout_s: float) -> Any:
        tried.append(where)
        raise ConnectionRefusedError(111, "Connection refused")

    monkeypatch.setattr(addresses.socket, "getaddrinfo", resolving)
    monkeypatch.setattr(addresses.socket, "create_connection", connecting)
    networks = read_networks("203.0.113.0/24")  # TEST-NET-3: stands for a public address
    assert not send(receiver, url="http://turncoat.example:{}/", networks=networks).delivered
    assert tried == [("203.0.113.1", receiver.port)]
    found = send(receiver, url="http://turncoat.example:{}/", networks=networks)
    assert "127.0.0.1" in found.told
    assert len(tried) == 1


def test_without_tls_only_into_networks_that_are_named(monkeypatch: pytest.MonkeyPatch, receiver: HttpReceiver) -> None:
    public = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("9.9.9.9", 80))]
    monkeypatch.setattr(addresses.socket, "getaddrinfo", lambda *_, **__: public)
    monkeypatch.setattr(addresses.socket, "create_connection", lambda *_: pytest.fail("it connected"))
    found = send(receiver, url="http://public.example/", networks=HERE)
    assert found.told == "http:// goes only into networks that outlet_networks names; use https://"


def test_a_letter_is_plain_json_in_utf_8(receiver: HttpReceiver) -> None:
    assert send(receiver, OK).delivered
    assert json.loads(receiver.requests[0].body.decode("utf-8")) == letter().content
