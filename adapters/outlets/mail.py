"""Letters as e-mail: one event, or a digest of an hour or a day, as plain text and as HTML. SMTP with TLS, by Python's own smtplib.

The Message-ID follows from the idempotency keys, so that a mail sent again is the same mail. Without TLS it goes only into networks
that a setting names. Knows no mailbox.
"""

import smtplib
import socket
import ssl
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256
from html import escape
from zoneinfo import ZoneInfo

from adapters.outlets.addresses import Address, Network, connect, is_in, resolve
from adapters.outlets.webhook import system_tls
from service.event_words import SECTIONS, Entry, Names, entry, gathered, heading
from service.outbox_ports import Letter
from service.outlets import Mail
from service.retries import Answer

WITHIN_S = 30.0
"""For each step of the conversation; RFC 5321, section 4.5.3.2, allows minutes, a house's own mail needs none [s]."""

SUBJECT_LIMIT = 200
"""Characters."""

STYLE = """
body{max-width:38em;margin:0 auto;padding:1.25rem;background:#e9eff1;color:#15202b;font:1rem/1.4 Charter,Cambria,Georgia,serif}
h1{font-size:1.5rem;line-height:1.2;font-weight:500;margin:0 0 1rem;padding-bottom:.6rem;border-bottom:2px solid}
h2{font-size:1rem;font-weight:600;margin:1.75rem 0 0}
p{margin:0;padding:.6rem 0;border-bottom:1px solid #c6d2d8;overflow-wrap:anywhere}
.when{color:#44525f;font-size:.875rem}
.when b{font-weight:600}
@media (prefers-color-scheme:dark){body{background:#1a1917;color:#ebe4d5}p{border-color:#37342e}.when{color:#b5ad9d}}
"""
"""Paper, ink, second ink and feint of the pages. A reader that drops it shows headings and paragraphs all the same."""


class MailSender:
    """A `Sender`: a conversation of its own for each mail.

    Parameters
    ----------
    zone : whose time of day is told.
    networks : to which it may go though they are not public, and without TLS.
    names : what people call houses and doors at the moment.
    """

    def __init__(
        self,
        way: Mail,
        zone: ZoneInfo,
        networks: Sequence[Network] = (),
        tls: Callable[[], ssl.SSLContext] = system_tls,
        names: Callable[[], Names] = Names,
    ) -> None:
        self._way, self._zone, self._networks, self._tls, self._names = way, zone, networks, tls, names

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
                turned_away = server.send_message(
                    message(letters, way, self._zone, now_s, self._names()), way.sender, way.to
                )
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


def message(
    letters: Sequence[Letter], way: Mail, zone: ZoneInfo, now_s: float, names: Names | None = None
) -> EmailMessage:
    """The mail: its subject is the one event, or how much of what there is."""
    names = names or Names()
    told = [letter.content for letter in letters]
    mail = EmailMessage(policy=SMTP)
    subject = " ".join(heading(told, names).split())[:SUBJECT_LIMIT]  # on one line, whatever somebody has typed
    mail["Subject"] = subject
    mail["From"], mail["To"] = way.sender, ", ".join(way.to)
    mail["Date"] = format_datetime(datetime.fromtimestamp(now_s, UTC).astimezone(zone))
    mail["Message-ID"] = f"<{_key(letters)}@{way.sender.rpartition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834, section 5: so that no holiday notice comes back
    parts = {what: [entry(one, zone, names) for one in ones] for what, ones in gathered(told).items()}
    mail.set_content(_plain(parts))
    mail.add_alternative(_html(subject, parts), subtype="html")
    return mail


def _plain(parts: Mapping[str, Sequence[Entry]]) -> str:
    blocks = []
    for what, entries in parts.items():
        if len(parts) > 1:
            blocks.append(SECTIONS[what][0].upper())
        blocks += [f"{one.when}{f', {one.where}' if one.where else ''}\n{one.text}" for one in entries]
    return "\n\n".join(blocks) + "\n"


def _html(subject: str, parts: Mapping[str, Sequence[Entry]]) -> str:
    body = []
    for what, entries in parts.items():
        if len(parts) > 1:
            body.append(f"<h2>{escape(SECTIONS[what][0])}</h2>")
        for one in entries:
            where = f" · <b>{escape(one.where)}</b>" if one.where else ""
            body.append(f'<p><span class="when">{escape(one.when)}{where}</span><br>{escape(one.text)}</p>')
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(subject)}</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">'
        f"<style>{STYLE}</style></head><body><h1>{escape(subject)}</h1>{''.join(body)}</body></html>\n"
    )


def _key(letters: Sequence[Letter]) -> str:
    if len(letters) == 1:
        return letters[0].key
    return "digest-" + sha256(" ".join(letter.key for letter in letters).encode()).hexdigest()[:32]


def _refusal(code: int, text: bytes | str) -> Answer:
    """4yz: try again; 5yz: it will not have this mail (RFC 5321, section 4.2.1)."""
    words = text.decode(errors="replace") if isinstance(text, bytes) else text
    return Answer(False, f"{code} {words}", refused=500 <= code < 600)
