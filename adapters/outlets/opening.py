"""Which file carries letters to which way out. Knows nothing of how."""

from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from adapters.outlets.addresses import Network
from adapters.outlets.broker import BrokerLine, BrokerSender
from adapters.outlets.command import CommandSender
from adapters.outlets.mail import MailSender
from adapters.outlets.webhook import WebhookSender
from service.outbox_ports import OpenSender, Sender
from service.outlets import Broker, Command, Mail, Outlet, Webhook


def opener(
    line: BrokerLine, version: str, networks: Sequence[Network] = (), programs: Path | None = None
) -> OpenSender:
    """What opens the sender of an outlet.

    Parameters
    ----------
    line : to the broker at which this bridge listens.
    networks : into which webhooks and mail may go though they are not public.
    programs : the folder of programs that may be called.
    """

    def open_sender(outlet: Outlet) -> Sender:
        match outlet.way:
            case Webhook():
                return WebhookSender(outlet.way, version, networks)
            case Mail():
                return MailSender(outlet.way, ZoneInfo(outlet.time_zone), networks)
            case Command():
                return CommandSender(outlet.way, programs)
            case Broker():
                return BrokerSender(line)

    return open_sender
