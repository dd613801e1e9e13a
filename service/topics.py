"""Topics of the contract: `<prefix>/1/<site>/<chime>/<leaf>`. Knows no payload and no broker."""

import re

from service.errors import BadTopic
from service.model import Address

LEAVES = ("pack", "alive", "ask", "event", "now")
VERSION = "1"
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
"""A site or a chime."""


def parse(topic: str, prefix: str = "bellcrank") -> Address:
    """Where a topic leads. Raises BadTopic where it is outside the grammar.

    >>> parse("bellcrank/1/tern-cottage/hall/pack")
    Address(site='tern-cottage', chime='hall', leaf='pack')
    """
    head, rest = prefix + "/", topic[len(prefix) + 1 :]
    parts = rest.split("/")
    if not topic.startswith(head) or len(parts) != 4:
        raise BadTopic(f"topic {topic[:200]!r} is not {head}{VERSION}/<site>/<chime>/<leaf>")
    version, site, chime, leaf = parts
    if version != VERSION:
        raise BadTopic(f"topic {topic[:200]!r} speaks version {version!r} of the contract; this bridge knows {VERSION}")
    return _checked(Address(site, chime, leaf))


def build(address: Address, prefix: str = "bellcrank") -> str:
    """The topic of an address. Raises BadTopic where a name is outside the grammar.

    >>> build(Address("tern-cottage", "hall", "alive"))
    'bellcrank/1/tern-cottage/hall/alive'
    """
    site, chime, leaf = _checked(address)
    return f"{prefix}/{VERSION}/{site}/{chime}/{leaf}"


def _checked(address: Address) -> Address:
    for role, name in (("site", address.site), ("chime", address.chime)):
        if not NAME.fullmatch(name):
            raise BadTopic(f"{role} {name[:60]!r} is not 1 to 40 of a-z, 0-9 and -, beginning with a letter or digit")
    if address.leaf not in LEAVES:
        raise BadTopic(f"topic ends in {address.leaf[:60]!r}; the contract knows {', '.join(LEAVES)}")
    return address
