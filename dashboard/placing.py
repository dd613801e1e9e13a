"""Finds room for words beside their marks, and the nesting of the leaders between them. Knows numbers only."""

from collections.abc import Sequence


def spread(wants: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Places as near to `wants` as they can be (least squares) without overlap, in the same order, within low..high.

    `wants` ascend; `sizes[i]` is the room that i needs after its place. Where there is too little room in all, the last ones go
    beyond `high`. Pool adjacent violators: whoever would overlap moves as one block to the block's mean.

    >>> spread([0, 1, 9], [4, 4, 4], 0, 20)
    [0.0, 4.0, 9.0]
    >>> spread([5, 6, 18], [4, 4, 4], 0, 20)
    [3.5, 7.5, 16.0]
    """
    offsets = [0.0]
    for size in sizes:
        offsets.append(offsets[-1] + size)
    blocks: list[tuple[float, int]] = []  # (mean of want less offset, how many)
    for want, offset in zip(wants, offsets, strict=False):
        blocks.append((want - offset, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, count = blocks.pop()
            before, many = blocks.pop()
            blocks.append(((mean * count + before * many) / (count + many), count + many))
    ceiling = max(low, high - offsets[-1])
    placed = [min(max(mean, low), ceiling) for mean, count in blocks for _ in range(count)]
    return [float(place + offset) for place, offset in zip(placed, offsets, strict=False)]


def onward(wants: Sequence[float], sizes: Sequence[float], high: float) -> list[float]:
    """Places at `wants` or after, each clear of the one before; only where they would go beyond `high` they are moved back.

    >>> onward([0, 1, 9], [4, 4, 4], 20)
    [0.0, 4.0, 9.0]
    >>> onward([5, 15, 18], [4, 4, 4], 20)
    [5.0, 12, 16]
    """
    places: list[float] = []
    free = 0.0
    for want, size in zip(wants, sizes, strict=True):
        places.append(float(max(want, free)))
        free = places[-1] + size
    limit = high
    for i in range(len(places) - 1, -1, -1):
        places[i] = min(places[i], limit - sizes[i])
        limit = places[i]
    return places


def nested(wants: Sequence[float], places: Sequence[float]) -> list[int]:
    """For each leader how many others it must pass outside of, so that no two cross: 0 = innermost.

    A leader leaves its mark at `wants[i]`, runs sideways at its level and arrives at `places[i]`. Of two that run over each other
    towards higher places the later mark's runs inside; towards lower places the earlier mark's does.

    >>> nested([0, 1, 2], [0, 4, 8])
    [0, 1, 0]
    >>> nested([1, 2, 9], [5, 8, 11])
    [1, 0, 0]
    """
    levels = [0] * len(wants)
    for i in range(len(wants) - 2, -1, -1):
        if places[i] > wants[i] and wants[i + 1] < places[i]:
            levels[i] = levels[i + 1] + 1
    for i in range(1, len(wants)):
        if places[i] < wants[i] and places[i] < wants[i - 1] and places[i - 1] < wants[i - 1]:
            levels[i] = levels[i - 1] + 1
    return levels
