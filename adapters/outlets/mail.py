"""Letters as e-mail: one event, or a digest of an hour or a day, as plain text and as HTML. SMTP with TLS, by Python's own smtplib.

The Message-ID follows from the idempotency keys, so that a mail sent again is the same mail. Without TLS it goes only into networks
that a setting names. Knows no mailbox.
"""

import smtplib
import socket
import ssl
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256
from html import escape
from zoneinfo import ZoneInfo

from adapters.outlets.addresses import Address, Network, connect, is_in, resolve
from adapters.outlets.webhook import system_tls
from service.event_words import heading, sentence
from service.outbox_ports import Letter
from service.outlets import Mail
from service.retries import Answer

WITHIN_S = 30.0
"""For each step of the conversation; RFC 5321, section 4.5.3.2, allows minutes, a house's own mail needs none [s]."""

SUBJECT_LIMIT = 200
"""Characters."""


class MailSender:
    """A `Sender`: a conversation of its own for each mail.

    Parameters
    ----------
    zone : whose time of day is told.
    networks : to which it may go though they are not public, and without TLS.
    """

    def __init__(
        self,
        way: Mail,
        zone: ZoneInfo,
        networks: Sequence[Network] = (),
        tls: Callable[[], ssl.SSLContext] = system_tls,
    ) -> None:
        self._way, self._zone, self._networks, self._tls = way, zone, networks, tls

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer:
        way = self._way
        try:
            addresses = resolve(way.host, way.port, self._networks)
            if way.security == "none":
                addresses = [one for one in addresses if is_in(one, self._networks)]
            if not addresses:
                return Answer(
                    False, "without TLS mail goes only into networks that outlet_networks names", refused=True
                )
            with _Conversation(way, addresses, self._tls() if way.security == "tls" else None) as server:
                if way.security == "starttls":
                    server.starttls(context=self._tls())
                if way.username:
                    server.login(way.username, way.password)
                turned_away = server.send_message(message(letters, way, self._zone, now_s), way.sender, way.to)
        except smtplib.SMTPRecipientsRefused as error:
            code, text = next(iter(error.recipients.values()))
            return _refusal(code, text)
        except smtplib.SMTPResponseException as error:
            return _refusal(error.smtp_code, error.smtp_error)
        except smtplib.SMTPException as error:
            return Answer(False, str(error) or type(error).__name__)
        except ssl.SSLCertVerificationError as error:
            return Answer(False, f"its certificate is not valid: {error.verify_message}")
        except OSError as error:
            return Answer(False, error.strerror or str(error) or "no answer in time")
        if turned_away:
            return Answer(True, f"taken, but not for {', '.join(turned_away)}")
        return Answer(True, "taken")

    def close(self) -> None:
        """There is nothing to close."""


class _Conversation(smtplib.SMTP):
    """With the very addresses that were checked; certificates are compared with the name."""

    def __init__(self, way: Mail, addresses: Sequence[Address], tls: ssl.SSLContext | None) -> None:
        self._addresses, self._from_the_first_byte = addresses, tls
        super().__init__(way.host, way.port, timeout=WITHIN_S)

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        sock, _ = connect(self._addresses, port, timeout)
        if self._from_the_first_byte is None:
            return sock
        return self._from_the_first_byte.wrap_socket(sock, server_hostname=host)


def message(letters: Sequence[Letter], way: Mail, zone: ZoneInfo, now_s: float) -> EmailMessage:
    """The mail: its subject is the one event, or how many there are."""
    told = [letter.content for letter in letters]
    mail = EmailMessage(policy=SMTP)
    subject = heading(told[0]) if len(told) == 1 else f"{len(told)} events: {heading(told[0])}, and more"
    mail["Subject"] = " ".join(subject.split())[:SUBJECT_LIMIT]  # on one line, whatever somebody has typed
    mail["From"], mail["To"] = way.sender, ", ".join(way.to)
    mail["Date"] = format_datetime(datetime.fromtimestamp(now_s, UTC).astimezone(zone))
    mail["Message-ID"] = f"<{_key(letters)}@{way.sender.rpartition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834, section 5: so that no holiday notice comes back
    lines = [sentence(one, zone) for one in told]
    mail.set_content("\n\n".join(lines) + "\n")
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    html = f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(str(mail["Subject"]))}</title><ul>{items}</ul></html>'
    mail.add_alternative(html, subtype="html")
    return mail


def _key(letters: Sequence[Letter]) -> str:
    if len(letters) == 1:
        return letters[0].key
    return "digest-" + sha256(" ".join(letter.key for letter in letters).encode()).hexdigest()[:32]


def _refusal(code: int, text: bytes | str) -> Answer:
    """4yz: try again; 5yz: it will not have this mail (RFC 5321, section 4.2.1)."""
    words = text.decode(errors="replace") if isinstance(text, bytes) else text
    return Answer(False, f"{code} {words}", refused=500 <= code < 600)
