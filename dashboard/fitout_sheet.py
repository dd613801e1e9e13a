"""The Fit-out sheet: the blanks, what they predict, what a change would do, and how to set to work. Makes contexts; knows no HTTP.

The model of the circuit is loaded with this file: whoever never opens the sheet need not load it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dashboard import fitout_chart, fitout_contexts, fitout_fields, words
from dashboard.checked import checked, predicted_curves
from dashboard.contexts import Row, Table
from dashboard.doorstep import head
from dashboard.fitout_fields import BLANKS, DOOR, DOOR_CHOICES, GROUPS, TRIED
from dashboard.fitout_setting import setting_of
from dashboard.house import House
from dashboard.language import figure, marked, pointed, resaid, say
from service.errors import Refused, SettingError
from service.model import Chime
from service.ports import Reader
from service.supply.fitout_curves import Curve
from service.supply.fitout_rules import Check
from service.supply.fitout_told import CAUTION, Figure, figures
from service.supply.remark import Remark, quantity

WEIGHTS = {"wrong": marked("Wrong"), "doubtful": marked("Doubtful"), "note": marked("To know")}
LEAST_TIMES, MOST_TIMES = -2.0, 2.0


@dataclass(frozen=True, slots=True)
class Asked:
    """Blanks as they are filled in (None: the sheet that is kept), a change by the slider, and since when it is set to work."""

    filled: Mapping[str, str] | None = None
    tried: str = ""
    times: float = 0.0
    since_s: float | None = None
    said: str = ""
    refused: str = ""


def make(reader: Reader, house: House, chime: Chime, asked: Asked) -> fitout_contexts.FitOut:
    kept = reader.fitouts(house.site.site, chime.chime, limit=1)
    filled = dict(asked.filled) if asked.filled is not None else fitout_fields.written(kept[0].sheet) if kept else {}
    for door in house.doors:
        if door.chime == chime.chime:
            filled.setdefault(DOOR + door.door, "")
    refused, found, before = asked.refused, None, None
    shown: Sequence[Curve] = ()
    earlier: Sequence[Curve] = ()
    try:
        sheet = fitout_fields.sheet_of(filled.items())
        change = _change(sheet, asked)
        found, shown = checked(sheet | change), predicted_curves(sheet | change)
        if change:
            before, earlier = checked(sheet), predicted_curves(sheet)
    except (Refused, SettingError) as error:
        refused = refused or resaid(str(error))
    several = len(house.chimes) > 1
    headline, lead = _verdict(found, bool(kept), asked.filled is not None)
    return fitout_contexts.FitOut(
        head=head(house, say("Fit-out"), "fitout"),
        date=words.day_and_month(house.today),
        chime=chime.chime,
        chimes=[one.chime for one in house.chimes] if several else (),
        headline=headline,
        lead=lead,
        panels=_panels(found, shown, earlier) if found else (),
        before=before is not None,
        figures=_figures(found, before) if found else Table("", (), ()),
        groups=_groups(filled, found),
        other=[_remark(one) for one in found.remarks if one.field not in BLANKS and one.field != "doors"]
        if found
        else (),
        assumed=[words.sentence(resaid(one.cost)) for one in found.assumptions] if found else (),
        tried=[(name, say(text), name == asked.tried) for name, text in TRIED],
        times=f"{asked.times:g}",
        by=_by(found, asked),
        setting=setting_of(reader, house, chime, asked.since_s),
        caution=resaid(CAUTION),
        said=asked.said,
        refused=refused,
    )


def _change(sheet: Mapping[str, Any], asked: Asked) -> dict[str, Any]:
    if asked.tried not in dict(TRIED) or not asked.times:
        return {}
    value = sheet.get(asked.tried)
    if not isinstance(value, float):
        raise Refused(say("{text} is blank, so it cannot be changed.", text=say(BLANKS[asked.tried].text)))
    return {asked.tried: value * 2.0**asked.times}


def _by(found: Check | None, asked: Asked) -> str:
    if found is None or asked.tried not in dict(TRIED) or not asked.times:
        return ""
    blank, value = BLANKS[asked.tried], getattr(found.sheet, asked.tried)
    return say(
        "{name}: {value}\u202f{unit} instead of {value2}\u202f{unit2}.",
        name=say(dict(TRIED)[asked.tried]),
        value=figure(value / blank.times, ".3g"),
        unit=blank.unit,
        value2=figure(value / blank.times / 2.0**asked.times, ".3g"),
        unit2=blank.unit,
    )


def _verdict(found: Check | None, kept: bool, asked: bool) -> tuple[str, str]:
    if found is None:
        return say("The sheet cannot be read."), say("Mend the blank that is named, and ask again.")
    wrong = [one for one in found.remarks if one.severity == "wrong"]
    doubtful = [one for one in found.remarks if one.severity == "doubtful"]
    state = (
        ""
        if kept or asked
        else say(" No sheet has been kept for this chime yet; fill in what you know, every blank may stay empty.")
    )
    if found.fits is None:
        return (
            say("The sheet says too little to predict anything."),
            say("The voltage on the transformer’s label is the least it needs.{state}", state=state),
        )
    if wrong:
        count = words.sentence(words.counted(len(wrong), "thing is", "things are")).rstrip(".")
        return say("It will not work as it is."), say(
            "{count} wrong: {text}{state}", count=count, text=resaid(wrong[0].text), state=state
        )
    if doubtful:
        count = words.sentence(words.counted(len(doubtful), "thing is", "things are")).rstrip(".")
        return say("Nothing is wrong with this fit-out."), say(
            "{count} doubtful: {text}{state}", count=count, text=resaid(doubtful[0].text), state=state
        )
    return say("Nothing is wrong with this fit-out."), say("Nothing is doubtful either.{state}", state=state)


def _panels(found: Check, every: Sequence[Curve], before: Sequence[Curve]) -> list[fitout_contexts.Panel]:
    shown = [curve for curve in every if curve.state in fitout_chart.TITLES]
    if not shown:
        return []
    earlier = {curve.state: curve for curve in before}
    limit_v = found.basis.dropout_v if found.basis else None
    scale = fitout_chart.scale_of(shown, earlier, limit_v)  # type: ignore[arg-type]
    return [
        fitout_contexts.Panel(
            say(fitout_chart.TITLES[curve.state]),
            fitout_chart.draw(curve, scale, earlier.get(curve.state), limit_v, number == 0),
            words.to(
                *(
                    words.measured(float(end), "V")
                    for end in (curve.volts["nominal"].min(), curve.volts["nominal"].max())
                )
            ),
        )
        for number, curve in enumerate(shown)
    ]


def _figures(found: Check, before: Check | None) -> Table:
    now = figures(found)
    if before is None:
        rows = [Row((_called(one), _value(one))) for one in now if one.value is not None]
        return Table(say("What follows from it"), (say("Quantity"), say("Predicted")), rows)
    then = {one.name: one for one in figures(before)}
    rows = [
        Row((_called(one), _value(then[one.name]), _value(one)))
        for one in now
        if one.value is not None or then[one.name].value is not None
    ]
    return Table(say("What would change"), (say("Quantity"), say("As written"), say("Tried")), rows)


def _called(one: Figure) -> str:
    return words.sentence(resaid(one.words)).rstrip(".").replace("'", "’")


def _value(one: Figure) -> str:
    return "–" if one.value is None else pointed(quantity(one.value, one.unit)).replace(" ", words.THIN)


def _groups(filled: Mapping[str, str], found: Check | None) -> list[fitout_contexts.Group]:
    remarks: dict[str, list[fitout_contexts.Remark]] = {}
    for one in found.remarks if found else ():
        remarks.setdefault(one.field, []).append(_remark(one))
    made = [
        fitout_contexts.Group(
            say(title),
            [
                fitout_contexts.Field(
                    blank.name,
                    say(blank.text),
                    blank.unit,
                    filled.get(blank.name, ""),
                    _choices(blank.choices),
                    remarks.get(blank.name, ()),
                )
                for blank in blanks
            ],
        )
        for title, blanks in GROUPS
    ]
    doors = [
        fitout_contexts.Field(
            name, say("Button {name}", name=name.removeprefix(DOOR)), "", value, _choices(DOOR_CHOICES), ()
        )
        for name, value in sorted(filled.items())
        if name.startswith(DOOR)
    ]
    if doors:
        doors[0] = replace(doors[0], remarks=remarks.get("doors", ()))
    buttons = made[-1]
    made[-1] = fitout_contexts.Group(buttons.title, [*doors, *buttons.fields])
    return made


def _choices(choices: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    return tuple((value, say(text)) for value, text in choices)


def _remark(one: Remark) -> fitout_contexts.Remark:
    return fitout_contexts.Remark(
        say(WEIGHTS[one.severity]),
        resaid(one.text).replace("'", "’"),
        "" if one.severity == "note" else f"{resaid(one.rule)} ({resaid(one.source)})".replace("'", "’"),
        one.severity == "note",
    )


def shown_fields(sheet: Mapping[str, Any]) -> list[Table]:
    """A kept sheet as tables, for paper: only what is filled in."""
    filled = fitout_fields.written(sheet)
    tables = []
    for title, blanks in GROUPS:
        rows = []
        for blank in blanks:
            value = filled.get(blank.name, "")
            if value:
                said = dict(_choices(blank.choices)).get(value, value)
                rows.append(Row((say(blank.text), said + (words.THIN + blank.unit if blank.unit else ""))))
        if title == "Buttons":
            rows += [
                Row(
                    (say("Button {name}", name=name.removeprefix(DOOR)), dict(_choices(DOOR_CHOICES)).get(value, value))
                )
                for name, value in sorted(filled.items())
                if name.startswith(DOOR)
            ]
        if rows:
            tables.append(Table(say(title), ("", ""), rows))
    return tables


def predicted(sheet: Mapping[str, Any]) -> tuple[Table, Sequence[str]]:
    """What follows from a kept sheet, and what is wrong or doubtful with it."""
    found = checked(sheet)
    remarks = [f"{say(WEIGHTS[one.severity])}: {resaid(one.text)}" for one in found.remarks if one.severity != "note"]
    return _figures(found, None), [one.replace("'", "’") for one in remarks]
