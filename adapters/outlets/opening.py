"""Which file carries letters to which way out, loaded where there is such a way. Knows nothing of how."""

from collections.abc import Callable, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from adapters.outlets.addresses import Network
from adapters.outlets.broker import BrokerLine, BrokerSender
from service.event_words import Names
from service.outbox_ports import OpenSender, Sender
from service.outlets import Broker, Command, Mail, Outlet, Webhook


def opener(
    line: BrokerLine,
    version: str,
    networks: Sequence[Network] = (),
    programs: Path | None = None,
    names: Callable[[], Names] = Names,
) -> OpenSender:
    """What opens the sender of an outlet.

    Parameters
    ----------
    line : to the broker at which this bridge listens.
    networks : into which webhooks and mail may go though they are not public.
    programs : the folder of programs that may be called.
    names : what people call houses and doors at the moment.
    """

    def open_sender(outlet: Outlet) -> Sender:
        match outlet.way:
            case Webhook():
                from adapters.outlets.webhook import WebhookSender

                return WebhookSender(outlet.way, version, networks)
            case Mail():
                from adapters.outlets.mail import MailSender

                return MailSender(outlet.way, ZoneInfo(outlet.time_zone), networks, names=names)
            case Command():
                from adapters.outlets.command import CommandSender

                return CommandSender(outlet.way, programs)
            case Broker():
                return BrokerSender(line)

    return open_sender
