"""Where a supply stands between its reservoir and its source resistance, told: a sentence, and a table with all that the drawing has."""

from dashboard import contexts, quantities, words
from dashboard.language import say
from service.findings.standing_room import Limit, Place, Seen
from service.findings.verdict import Measured

FARTHEST_OHM = 100.0
"""No joint is so bad and still conducts evenly: beyond it nothing is said."""

LIMITS = 5  # places of the limit in the table


def told(one: Seen) -> str:
    said = say("Now {place}", place=_place((one.farad.value, one.ohm.value)))
    said += say("; as commissioned {place}", place=_place(one.then)) if one.then else ""
    said += say("; rated {farad}", farad=quantities.figure("reservoir_f", one.rated_f)) if one.rated_f else ""
    return f"{said}. {_room(one, one.limit)}" if one.limit else f"{said}."


def table(one: Seen) -> contexts.Table:
    """For readers that cannot see the drawing."""
    rows = [contexts.Row((say("Now"), _with_bounds("reservoir_f", one.farad), _with_bounds("source_ohm", one.ohm)))]
    if one.then:
        rows.append(_row(say("When commissioned"), one.then))
    rows += [_row(say("Survey {number} since", number=n), place) for n, place in enumerate(one.track, start=1)]
    if one.rated_f:
        rows.append(contexts.Row((say("As rated"), quantities.figure("reservoir_f", one.rated_f), "–")))
    if one.limit and one.limit.farad:
        last = len(one.limit.farad) - 1
        for n in (round(last * n / (LIMITS - 1)) for n in range(LIMITS)):
            rows.append(_row(say("The limit"), (one.limit.farad[n], one.limit.ohm[n])))
    return contexts.Table(
        say("Where the supply stands, and where its limit is"),
        (say("Place"), quantities.name_of("reservoir_f"), quantities.name_of("source_ohm")),
        rows,
    )


def moved_most(one: Seen) -> str:
    """The figure of now that has departed farther from the commissioning record."""
    farad, ohm = quantities.figure("reservoir_f", one.farad.value), quantities.figure("source_ohm", one.ohm.value)
    if one.then is None:
        return farad
    (then_f, then_ohm), now_f, now_ohm = one.then, one.farad.value, one.ohm.value
    reservoir, source = (max(a / b, b / a) for a, b in ((then_f, now_f), (then_ohm, now_ohm)))
    return farad if reservoir >= source else ohm


def _room(one: Seen, limit: Limit) -> str:
    """How far it is to the limit, one way and the other."""
    load = words.sentence(say("while it sounds") if limit.sounding else say("at rest")).rstrip(".")
    needed = words.measured(limit.dropout_v, "V", 1)
    most = limit.ohm_at(one.farad.value)
    if one.ohm.value > most:
        return say(
            "That is beyond the limit: {load} the rail falls below {needed}.", load=words.within(load), needed=needed
        )
    farad = quantities.figure("reservoir_f", limit.farad_at(one.ohm.value))
    said = say("{load} the rail stays above {needed} down to {farad}", load=load, needed=needed, farad=farad)
    if most < FARTHEST_OHM:
        said += say(", or up to {ohm}", ohm=quantities.figure("source_ohm", most))
    return said + "."


def _with_bounds(quantity: str, one: Measured) -> str:
    bounds = quantities.between(quantity, one.low, one.high)
    return say("{figure}, nine times in ten {bounds}", figure=quantities.figure(quantity, one.value), bounds=bounds)


def _row(name: str, place: Place) -> contexts.Row:
    return contexts.Row((name, quantities.figure("reservoir_f", place[0]), quantities.figure("source_ohm", place[1])))


def _place(place: Place) -> str:
    farad, ohm = quantities.figure("reservoir_f", place[0]), quantities.figure("source_ohm", place[1])
    return say("{farad} and {ohm}", farad=farad, ohm=ohm)
