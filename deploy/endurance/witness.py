"""Reads along between broker and service: for which packs the service has taken over responsibility.

MQTT 3.1.1: a QoS 1 message belongs to the broker until the receiver's PUBACK (4.3.2). So a pack that the broker has acknowledged to the
chime and the service never to the broker was lost by the broker; all other losses are the service's. Alters nothing.
"""

PUBLISH, PUBACK = 3, 4


class Witness:
    """Over all connections of the service, one after another."""

    def __init__(self) -> None:
        self.taken: set[bytes] = set()
        """Payloads that the service has acknowledged."""

    def watch(self) -> "_Connection":
        return _Connection(self.taken)


class _Connection:
    def __init__(self, taken: set[bytes]) -> None:
        self._taken = taken
        self._open: dict[int, bytes] = {}
        self._unread = {True: bytearray(), False: bytearray()}

    def __call__(self, octets: bytes, upward: bool) -> None:
        unread = self._unread[upward]
        unread += octets
        while (packet := _packet(unread)) is not None:
            kind, flags, body = packet
            if upward and kind == PUBACK:
                payload = self._open.pop(int.from_bytes(body[:2], "big"), None)
                if payload is not None:
                    self._taken.add(payload)
            elif not upward and kind == PUBLISH and flags & 0b110:
                begin = 2 + int.from_bytes(body[:2], "big")
                self._open[int.from_bytes(body[begin : begin + 2], "big")] = body[begin + 2 :]


def _packet(unread: bytearray) -> tuple[int, int, bytes] | None:
    """The next control packet (type, flags, all after the remaining length), taken out; None while it is not all there."""
    length = shift = 0
    for at in range(1, min(len(unread), 5)):
        length |= (unread[at] & 0x7F) << shift
        shift += 7
        if unread[at] < 0x80:
            break
    else:
        return None
    end = at + 1 + length
    if len(unread) < end:
        return None
    packet = unread[0] >> 4, unread[0] & 0x0F, bytes(unread[at + 1 : end])
    del unread[:end]
    return packet
