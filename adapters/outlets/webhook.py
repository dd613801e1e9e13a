"""Letters as webhooks: Standard Webhooks 1.0.0 around a CloudEvent.

TLS is checked against the system's CAs, redirects are failures, the address is checked after the name was resolved, and the
connection is made to that very address. Plain http:// only into networks that a setting names. The connection is kept between
letters. Python's own http.client does it: it is in memory already, follows nothing by itself, and takes a socket of ours.
"""

import hmac
import io
import json
import socket
import ssl
import time
from base64 import b64decode, b64encode
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC
from email.utils import parsedate_to_datetime
from functools import cache
from hashlib import sha256
from http.client import HTTPConnection, HTTPException, HTTPResponse
from typing import Any
from urllib.parse import urlsplit

from adapters.outlets.addresses import Network, connect, is_in, resolve
from service.cloud_events import CONTENT_TYPE
from service.outbox_ports import Letter
from service.outlet_form import KEY_MARK
from service.outlets import Webhook
from service.retries import Answer

WITHIN_S = 15.0
"""From resolving the name to the end of the answer; the standard advises 15 to 30 s [s]."""

ANSWER_BYTES = 64 * 1024
"""A longer answer is not read, and its connection not used again."""

IDLE_S = 30.0
"""A connection that was not used for longer is not used again [s]."""

MAY_SUCCEED = frozenset((408, 425))
"""Answers 4xx that say nothing against the letter itself (RFC 9110, 15.5.9; RFC 8470)."""

SLOW = frozenset((429, 502, 504))


@cache
def system_tls() -> ssl.SSLContext:
    """One for all: each would hold every CA of the system in memory."""
    return ssl.create_default_context()


def signatures(keys: Sequence[str], letter_id: str, at_s: int, body: bytes) -> str:
    """The header webhook-signature: one for each key, with spaces between.

    >>> signatures(["whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"], "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330,
    ...     b'{"test": 2432232314}')
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    signed = f"{letter_id}.{at_s}.".encode() + body
    digests = (hmac.digest(b64decode(key.removeprefix(KEY_MARK)), signed, sha256) for key in keys)
    return " ".join(f"v1,{b64encode(digest).decode()}" for digest in digests)


class WebhookSender:
    """A `Sender`.

    Parameters
    ----------
    networks : to which it may go though they are not public, and without TLS.
    tls : checks certificates; the system's CAs where none is given.
    """

    def __init__(
        self,
        way: Webhook,
        version: str,
        networks: Sequence[Network] = (),
        tls: Callable[[], ssl.SSLContext] = system_tls,
        within_s: float = WITHIN_S,
    ) -> None:
        self._way, self._networks, self._tls, self._within_s = way, networks, tls, within_s
        self._agent = f"Bellcrank/{version}"
        parts = urlsplit(way.url)
        self._is_tls, self._host = parts.scheme == "https", parts.hostname or ""
        self._port = parts.port or (443 if self._is_tls else 80)
        self._target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        self._named = parts.netloc
        self._connection: _Connection | None = None

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer:
        (letter,) = letters
        body = json.dumps(letter.content, separators=(",", ":"), ensure_ascii=False).encode()
        at_s = int(now_s)
        headers = {
            "Host": self._named,
            "Content-Type": CONTENT_TYPE,
            "Content-Length": str(len(body)),
            "User-Agent": self._agent,
            "webhook-id": letter.key,
            "webhook-timestamp": str(at_s),
            "webhook-signature": signatures(self._way.keys, letter.key, at_s, body),
        }
        deadline = time.monotonic() + self._within_s
        for fresh in (False, True):
            try:
                kept = self._at_hand(fresh)
                if kept is None and not fresh:
                    continue
                return self._exchange(kept or self._open(deadline), deadline, headers, body, now_s)
            except (ConnectionError, HTTPException) as error:
                self.close()
                if fresh:  # else the receiver has closed what we had kept, which is no failure
                    return Answer(False, _reason(error))
            except (OSError, ValueError) as error:
                self.close()
                return Answer(False, _reason(error))
        raise AssertionError

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _at_hand(self, fresh: bool) -> "_Connection | None":
        if fresh or (self._connection is not None and time.monotonic() - self._connection.used_s > IDLE_S):
            self.close()
        return self._connection

    def _open(self, deadline: float) -> "_Connection":
        addresses = resolve(self._host, self._port, self._networks)
        if not self._is_tls:
            addresses = [one for one in addresses if is_in(one, self._networks)]
            if not addresses:
                raise OSError("http:// goes only into networks that outlet_networks names; use https://")
        sock, _ = connect(addresses, self._port, max(deadline - time.monotonic(), 0.01))
        try:
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self._is_tls:
                sock = self._tls().wrap_socket(sock, server_hostname=self._host)
        except BaseException:
            sock.close()
            raise
        self._connection = _Connection(sock)
        return self._connection

    def _exchange(
        self, connection: "_Connection", deadline: float, headers: dict[str, str], body: bytes, now_s: float
    ) -> Answer:
        answer = connection.exchange(self._target, headers, body, deadline)
        if connection.spent:
            self.close()
        return _told(answer.status, answer.reason, answer.getheader("retry-after"), now_s)


class _Timed:
    """A socket whose every step must be done by one deadline. As much of a socket as http.client asks for."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock, self.deadline = sock, 0.0

    def sendall(self, data: bytes) -> None:
        self._hurry()
        self.sock.sendall(data)

    def makefile(self, _mode: str) -> io.BufferedReader:
        return io.BufferedReader(_Raw(self))

    def recv_into(self, buffer: Any) -> int:
        self._hurry()
        return self.sock.recv_into(buffer)

    def close(self) -> None:
        self.sock.close()

    def _hurry(self) -> None:
        left_s = self.deadline - time.monotonic()
        if left_s <= 0.0:
            raise TimeoutError("timed out")
        self.sock.settimeout(left_s)


class _Raw(io.RawIOBase):
    def __init__(self, timed: _Timed) -> None:
        self._timed = timed

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        return self._timed.recv_into(buffer)


class _Connection:
    """One connection, for one exchange after another. `spent`: not to be used again."""

    def __init__(self, sock: socket.socket) -> None:
        self._timed = _Timed(sock)
        self.used_s, self.spent = time.monotonic(), False

    def exchange(self, target: str, headers: dict[str, str], body: bytes, deadline: float) -> HTTPResponse:
        """The answer, read to its end. Raises OSError, HTTPException."""
        self._timed.deadline = deadline
        http = HTTPConnection("checked")  # its name is never resolved: the socket is there
        http.sock = self._timed
        http.putrequest("POST", target, skip_host=True, skip_accept_encoding=True)
        for name, value in headers.items():
            http.putheader(name, value)
        http.endheaders(body)
        answer = http.getresponse()
        answer.read(ANSWER_BYTES)
        self.spent = answer.will_close or not answer.isclosed()
        self.used_s = time.monotonic()
        return answer

    def close(self) -> None:
        with suppress(OSError):
            self._timed.close()


def _told(status: int, reason: str, retry_after: str | None, now_s: float) -> Answer:
    words = f"{status} {reason}".strip()
    if 200 <= status < 300:
        return Answer(True, words)
    if 300 <= status < 400:
        return Answer(False, f"{words}: redirects are not followed", refused=True)
    return Answer(
        False,
        words,
        refused=400 <= status < 500 and status not in SLOW | MAY_SUCCEED,
        gone=status == 410,
        slow=status in SLOW,
        retry_after_s=_retry_after_s(retry_after, now_s),
    )


def _retry_after_s(text: str | None, now_s: float) -> float | None:
    """Seconds, or a date (RFC 9110, section 10.2.3)."""
    if text is None:
        return None
    if text.strip().isascii() and text.strip().isdecimal():
        return float(text)
    try:
        then = parsedate_to_datetime(text)
    except ValueError:
        return None
    return max((then if then.tzinfo else then.replace(tzinfo=UTC)).timestamp() - now_s, 0.0)


def _reason(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not valid: {error.verify_message}"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    told = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return str(told)
