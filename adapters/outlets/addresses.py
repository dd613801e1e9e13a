"""Which addresses a way out may lead to: public ones, and networks that a setting names. Checked after the name is resolved.

Whoever connects does so to the very address that was checked, so that a name cannot lead elsewhere in between (DNS rebinding).
Knows nothing of what is sent.
"""

import socket
from collections.abc import Sequence
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

from service.errors import SettingError

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network
NAT64 = ip_network("64:ff9b::/96")
"""IPv4 addresses behind a translator (RFC 6052, section 2.1)."""


class NotAllowed(OSError):  # noqa: N818 - a condition, not a mistake
    """The name leads only to addresses that are not allowed."""


def read_networks(text: str) -> tuple[Network, ...]:
    """Networks, with commas between. Raises SettingError.

    >>> read_networks("192.168.1.0/24, ::1")
    (IPv4Network('192.168.1.0/24'), IPv6Network('::1/128'))
    """
    try:
        return tuple(ip_network(part.strip()) for part in text.split(",") if part.strip())
    except ValueError as error:
        raise SettingError(f"{text!r} must be networks such as 192.168.1.0/24, with commas between: {error}.") from None


def allowed(address: Address, networks: Sequence[Network]) -> bool:
    """Whether a letter may go there: to a public unicast address, or into one of these networks.

    >>> [allowed(ip_address(one), ()) for one in ("9.9.9.9", "10.0.0.1", "::ffff:127.0.0.1", "169.254.169.254")]
    [True, False, False, False]
    """
    if any(address in network for network in networks):
        return True
    inside = _inside(address)
    if inside is not None:
        return allowed(inside, networks)
    return address.is_global and not address.is_multicast and not address.is_reserved


def is_in(address: Address, networks: Sequence[Network]) -> bool:
    """Whether a setting names it: there a letter may go without TLS."""
    return any(address in network for network in networks)


def resolve(host: str, port: int, networks: Sequence[Network]) -> list[Address]:
    """Addresses of a host that are allowed, in the system's order. Raises OSError where there is none, NotAllowed where none may be."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    addresses = list(
        dict.fromkeys(ip_address(one[4][0].partition("%")[0]) for one in found if isinstance(one[4][0], str))
    )
    may = [address for address in addresses if allowed(address, networks)]
    if not may:
        leads = ", ".join(map(str, addresses[:3]))
        raise NotAllowed(
            f"{host} leads to {leads}, which is not public; name its network in outlet_networks to allow it"
        )
    return may


def connect(addresses: Sequence[Address], port: int, timeout_s: float) -> tuple[socket.socket, Address]:
    """To the first of them that answers. Raises OSError."""
    trouble: OSError | None = None
    for address in addresses:
        try:
            return socket.create_connection((str(address), port), timeout_s), address
        except OSError as error:
            trouble = error
    raise trouble or OSError("it has no address")


def _inside(address: Address) -> IPv4Address | None:
    """The IPv4 address that an IPv6 address stands for: mapped, 6to4, Teredo, NAT64."""
    if isinstance(address, IPv4Address):
        return None
    if address in NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour or (address.teredo[1] if address.teredo else None)
