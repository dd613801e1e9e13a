"""A recording examined, as text for a terminal: the same facts as the page, in the same order, without its drawings."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from dashboard import contexts, examined, supply_contexts, words
from dashboard.language import say
from service.examine import Examined

WIDTH = 100
PRESSES_LIMIT = 60


def text(found: Examined, time_zone: str) -> str:
    """Times of day are of `time_zone` (IANA)."""
    lines = "\n".join(_lines(examined.make(found, "", time_zone), time_zone))
    return "".join(_printed(character) for character in lines)


def _printed(character: str) -> str:
    """A topic may hold anything; what would steer a terminal is not passed on."""
    if character in (words.THIN, words.KEPT):
        return " "
    return character if character == "\n" or character.isprintable() else "\N{REPLACEMENT CHARACTER}"


def _lines(told: supply_contexts.Examined, time_zone: str) -> Iterator[str]:
    yield from _paragraph(told.headline)
    yield from _paragraph(told.lead)
    yield from _paragraph(
        say("{compared} Times of day are those of {time_zone}.", compared=told.compared, time_zone=time_zone)
    )
    for finding in told.findings:
        yield ""
        yield from _finding(finding)
    for chime in told.chimes:
        yield ""
        yield from _paragraph(chime.name.upper() if len(told.chimes) > 1 else chime.name)
        yield from _table(chime.quantities)
        yield from _items(say("The outlook"), chime.outlook)
        yield from (line for cycle in chime.cycles for line in _paragraph(f"{cycle.title}: {cycle.told}", "  "))
        yield from _table(_last(chime.presses, PRESSES_LIMIT))
        yield from _items(say("What happened"), chime.happened)
    yield from _items(say("When nothing could be recorded"), told.blind or [say("No blind time.")])
    yield from _items(say("What could not be told"), told.missing)
    yield from _items(told.set_aside.caption, [": ".join(row.cells) for row in told.set_aside.rows])
    yield from _items(say("Caution"), told.cautions)


def _finding(finding: supply_contexts.Finding) -> Iterator[str]:
    door = f" ({finding.door})" if finding.door else ""
    yield from _paragraph(f"{finding.number}. {finding.title}{door}")
    yield from _paragraph(
        say("{likelihood}; since {since}.", likelihood=finding.likelihood, since=finding.since), "   "
    )
    yield from _paragraph(finding.meaning, "   ")
    yield from _table(finding.evidence, "   ")
    yield from _items(say("From afar these look the same"), finding.rivals, "   ")
    yield from _items(
        say("On the spot, in order of effort"), [f"{one.effort}: {one.text}" for one in finding.checks], "   "
    )
    yield ""
    yield from _paragraph(say("Caution. {caution}", caution=finding.caution), "   ")


def _last(table: contexts.Table, limit: int) -> contexts.Table:
    left_out = len(table.rows) - limit
    if left_out <= 0:
        return table
    caption = say(
        "{caption}, the last {limit}; {left_out} before them stand in the page and in the JSON answer",
        caption=table.caption,
        limit=limit,
        left_out=left_out,
    )
    return contexts.Table(caption, table.heads, table.rows[-limit:])


def _paragraph(said: str, indent: str = "") -> list[str]:
    return wrap(said, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _items(title: str, items: Sequence[str], indent: str = "") -> Iterator[str]:
    if not items:
        return
    yield ""
    yield f"{indent}{title}"
    for item in items:
        yield from wrap(
            item, WIDTH, initial_indent=f"{indent}- ", subsequent_indent=f"{indent}  ", break_on_hyphens=False
        )


def _table(table: contexts.Table, indent: str = "") -> Iterator[str]:
    if not table.rows:
        return
    yield ""
    yield from _paragraph(table.caption, indent)
    rows = [tuple(table.heads), *(tuple(row.cells) for row in table.rows)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(table.heads))]
    last = len(widths) - 1
    for row in rows:
        cells = [
            cell.ljust(width) if column in (0, last) else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield f"{indent}  {'  '.join(cells)}".rstrip()
