"""Promise: an e-mail has a plain and an HTML part, tells each thing once, goes with TLS, and the same letters are the same mail."""

import re
import ssl
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

from adapters.outlets.mail import MailSender, message
from service.event_words import Names
from service.outlets import Mail
from service.retries import Answer
from tests.builders import CHIME, SITE, T0
from tests.ways_out.conftest import HERE, Authority, letter

LONDON = ZoneInfo("Europe/London")
ANN, BEN = "ann@tern-cottage.example", "ben@tern-cottage.example"


@dataclass
class MailBox:
    """An aiosmtpd handler (an SMTP server of its own, PyPI, Apache-2.0). `refuses`: what it answers to a mail or an address."""

    mails: list[EmailMessage] = field(default_factory=list)
    refuses: dict[str, str] = field(default_factory=dict)
    over_tls: list[bool] = field(default_factory=list)
    logins: list[tuple[str, str]] = field(default_factory=list)
    port: int = 0

    async def handle_RCPT(self, _: Any, __: Any, envelope: Any, address: str, ___: Any) -> str:
        if address in self.refuses:
            return self.refuses[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, _: Any, envelope: Any) -> str:
        if "mail" in self.refuses:
            return self.refuses["mail"]
        self.over_tls.append(server.transport.get_extra_info("cipher") is not None)
        found = message_from_bytes(envelope.content, policy=default)
        assert isinstance(found, EmailMessage)
        self.mails.append(found)
        return "250 OK"

    def let_in(self, _: Any, __: Any, ___: Any, mechanism: str, given: Any) -> AuthResult:
        assert isinstance(given, LoginPassword)
        self.logins.append((given.login.decode(), given.password.decode()))
        return AuthResult(success=given.password == b"an invented one", handled=False)


@pytest.fixture
def box() -> Iterator[MailBox]:
    yield from _serve(MailBox())


@pytest.fixture
def starttls_box(authority: Authority) -> Iterator[MailBox]:
    box = MailBox()
    more = {"require_starttls": True, "auth_required": True, "authenticator": box.let_in}
    yield from _serve(box, tls_context=authority.server("localhost"), **more)


@pytest.fixture
def tls_box(authority: Authority) -> Iterator[MailBox]:
    yield from _serve(MailBox(), ssl_context=authority.server("localhost"))


def _serve(box: MailBox, **more: Any) -> Iterator[MailBox]:
    controller = _Controller(box, hostname="127.0.0.1", port=0, server_hostname="tern-cottage.example", **more)
    controller.start()
    box.port = controller.port
    yield box
    controller.stop()


class _Controller(Controller):
    def _trigger_server(self) -> None:
        """Port 0 lets the system choose; this is the first moment at which the choice is known."""
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


def mail(box: MailBox, **more: Any) -> Mail:
    return Mail(
        **{
            "host": "localhost",
            "port": box.port,
            "sender": "bell@tern-cottage.example",
            "to": (ANN,),
            "security": "none",
        }
        | more
    )


def send(
    box: MailBox, *letters: Any, tls: Any = ssl.create_default_context, networks: Any = HERE, **more: Any
) -> Answer:
    return MailSender(mail(box, **more), LONDON, networks, tls).send(letters or [letter()], T0)


def test_a_mail_has_a_plain_and_an_html_part(box: MailBox) -> None:
    assert send(box) == Answer(True, "taken")
    (found,) = box.mails
    assert found["Subject"] == "Front, Tern Cottage: somebody rang"
    assert (found["From"], found["To"]) == ("bell@tern-cottage.example", ANN)
    assert found["Auto-Submitted"] == "auto-generated"
    plain, html = found.get_body(("plain",)), found.get_body(("html",))
    assert plain is not None
    assert html is not None
    # T0 + 0 s is 2026-09-14T10:00:00Z, 11:00 by British Summer Time
    assert plain.get_content().splitlines() == ["Mon 14 Sep 2026, 11:00:00, Front", "Somebody rang. Held for 0.4 s."]
    assert "Somebody rang. Held for 0.4 s." in html.get_content()


def test_houses_and_doors_have_the_names_that_people_gave_them(box: MailBox) -> None:
    names = Names({SITE: "The Old Ferry"}, {(SITE, CHIME, "front"): "Street <door>"})
    assert MailSender(mail(box), LONDON, HERE, names=lambda: names).send([letter()], T0).delivered
    (found,) = box.mails
    plain, html = found.get_body(("plain",)), found.get_body(("html",))
    assert plain is not None
    assert html is not None
    assert found["Subject"] == "Street <door>, The Old Ferry: somebody rang"
    assert "11:00:00, Street <door>" in plain.get_content()
    assert "<b>Street &lt;door&gt;</b>" in html.get_content()
    assert "<door>" not in html.get_content()


def test_what_an_event_says_cannot_become_markup(box: MailBox) -> None:
    send(box, letter(kind="alarm", cause="<img src=x>", state="unacknowledged", door=None))
    html = box.mails[0].get_body(("html",))
    assert html is not None
    assert "<img" not in html.get_content()
    assert "&lt;img src=x&gt;" in html.get_content()


def test_what_an_event_says_cannot_become_a_header(box: MailBox) -> None:
    cause = "x\r\nBcc: thief@elsewhere.example"
    assert send(box, letter(kind="alarm", cause=cause, state="normal", door=None)).delivered
    (found,) = box.mails
    assert found["Bcc"] is None
    assert found["Subject"] == "Tern Cottage: x Bcc: thief@elsewhere.example (normal)"


def test_a_digest_tells_of_all_events_in_one_mail(box: MailBox) -> None:
    assert send(box, *[letter(f"{number}-a", door=f"door{number}") for number in range(3)]).delivered
    (found,) = box.mails
    plain = found.get_body(("plain",))
    assert plain is not None
    assert found["Subject"] == "Tern Cottage: 3 presses"
    assert [f", Door{number}" in plain.get_content() for number in range(3)] == [True] * 3


def test_a_digest_has_its_parts_in_order_of_weight_and_tells_each_press_once(box: MailBox) -> None:
    """A press as it was told last, and not beside the visit that it belongs to."""
    end = "2026-09-14T10:00:02.100000Z"
    letters = [
        letter("1-a", id=5, visit=3),
        letter("2-a", id=5, visit=3, end=end),
        letter("3-a", id=6, visit=4, door="garden"),
        letter("4-a", id=6, visit=4, door="garden", end=end),
        letter("5-a", kind="visit", id=3, presses=[{}], who=None),
        letter("6-a", kind="alarm", door=None, cause="It is silent.", state="unacknowledged", consequence="", action="Look."),
    ]  # fmt: skip
    assert send(box, *letters).delivered
    (found,) = box.mails
    plain, html = found.get_body(("plain",)), found.get_body(("html",))
    assert plain is not None
    assert html is not None
    assert found["Subject"] == "Tern Cottage: 1 alarm, 1 visit, 1 press"
    told = [line for line in plain.get_content().splitlines() if line and "2026" not in line]
    assert told == [
        "ALARMS",
        "It is silent (unacknowledged). Look.",
        "VISITS",
        "Somebody was there. 1 press.",
        "PRESSES",
        "Somebody rang. Held for 2.1 s.",
    ]
    assert re.findall("<h2>(.*?)</h2>", html.get_content()) == ["Alarms", "Visits", "Presses"]


def test_the_same_letters_are_the_same_mail() -> None:
    way = Mail("mail.tern-cottage.example", 465, "bell@tern-cottage.example", (ANN,))
    once, again, other = (
        message([letter(key)], way, LONDON, at_s) for key, at_s in (("1-a", T0), ("1-a", T0 + 9), ("2-a", T0))
    )
    assert once["Message-ID"] == again["Message-ID"] == "<1-a@tern-cottage.example>"
    assert other["Message-ID"] != once["Message-ID"]
    digests = {str(message([letter("1-a"), letter("2-a")], way, LONDON, T0 + after)["Message-ID"]) for after in (0, 9)}
    assert len(digests) == 1


def test_starttls_comes_before_the_password(starttls_box: MailBox, authority: Authority) -> None:
    found = send(starttls_box, security="starttls", tls=authority.client, username="bell", password="an invented one")
    assert found == Answer(True, "taken")
    assert starttls_box.over_tls == [True]
    assert starttls_box.logins == [("bell", "an invented one")]


def test_a_wrong_password_is_told(starttls_box: MailBox, authority: Authority) -> None:
    found = send(starttls_box, security="starttls", tls=authority.client, username="bell", password="another")
    assert not found.delivered
    assert found.told.startswith("535")  # RFC 4954, section 6


def test_tls_from_the_first_byte(tls_box: MailBox, authority: Authority) -> None:
    assert send(tls_box, security="tls", tls=authority.client) == Answer(True, "taken")
    assert tls_box.over_tls == [True]


@pytest.mark.parametrize("security", ["tls", "starttls"])
def test_a_certificate_that_is_not_valid_is_refused(tls_box: MailBox, starttls_box: MailBox, security: str) -> None:
    box = tls_box if security == "tls" else starttls_box
    found = send(box, security=security)  # the system's CAs do not know this one
    assert "certificate is not valid" in found.told
    assert box.mails == []
    assert box.logins == []


def test_a_server_without_starttls_gets_nothing(box: MailBox) -> None:
    assert "STARTTLS" in send(box, security="starttls", username="bell", password="an invented one").told
    assert box.mails == []


@pytest.mark.parametrize("security", ["none", "starttls", "tls"])
def test_a_private_address_is_refused_unless_its_network_is_named(box: MailBox, security: str) -> None:
    found = send(box, networks=(), security=security)
    assert "which is not public" in found.told
    assert box.mails == []


@pytest.mark.parametrize(
    ("answer", "refused"),
    # RFC 5321, section 4.2.1: 4yz is transient, 5yz permanent
    [("451 busy", False), ("554 no", True)],
)
def test_what_the_server_answers_is_understood(box: MailBox, answer: str, refused: bool) -> None:
    box.refuses["mail"] = answer
    assert send(box) == Answer(False, answer, refused=refused)


def test_one_address_that_is_turned_away_keeps_no_other_from_its_mail(box: MailBox) -> None:
    box.refuses[BEN] = "550 nobody of that name"
    assert send(box, to=(ANN, BEN)) == Answer(True, f"taken, but not for {BEN}")
    box.refuses[ANN] = "450 later"
    assert send(box, to=(ANN,)) == Answer(False, "450 later")


def test_nobody_there_is_told() -> None:
    found = MailSender(Mail("127.0.0.1", 1, "bell@tern-cottage.example", (ANN,), "none"), LONDON, HERE).send(
        [letter()], T0
    )
    assert found == Answer(False, "Connection refused")
