"""The Bench: what a capture shows, beside what the fit-out predicts, and the captures that were kept. Makes contexts; knows no HTTP."""

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard import bench_chart, bench_contexts, scope_words, words
from dashboard.contexts import Row, Table
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import marked, say
from service.capture_ports import KeptCapture
from service.ports import Reader

LISTED = 40
FLAT_S = 0.04
"""Of a line without a wave so much is drawn [s]."""

CAUTION = marked(
    "Never clip an instrument to the mains side of the transformer: that is licensed work. The ground "
    "clip of an oscilloscope is earth; clip it to the common wire only. A reservoir stays charged "
    "after the supply is off."
)


def make(
    reader: Reader, house: House, shown: KeptCapture | None, refused: str = "", may: bool = True
) -> bench_contexts.Bench:
    """`shown`: the capture that is opened, with the newest of the same point in the other state beside it."""
    kept = reader.captures(house.site.site, limit=LISTED)
    opened = shown or (kept[0] if kept else None)
    parts = _parts(opened, kept) if opened else []
    waves = [_wave(part, answer) for part, answer in parts]
    scale = bench_chart.common_scale([wave for wave in waves if wave is not None])
    answer = opened.answer if opened else None
    return bench_contexts.Bench(
        head=head(house, say("Bench"), "bench"),
        date=words.day_and_month(house.today),
        headline=scope_words.headline(answer) if answer else say("No capture has been kept yet."),
        lead=scope_words.lead(answer)
        if answer
        else say(
            "Record some 100 ms at one point of the circuit, once at rest and once with the button held, save "
            "them as CSV or WAV, and hand them in here. They are measured, named, and laid beside what the "
            "fit-out sheet predicts."
        ),
        panels=[
            bench_contexts.Panel(
                scope_words.title_of(part, told["point"]), bench_chart.draw(wave, scale, number == 0), _told(part, told)
            )
            for number, ((part, told), wave) in enumerate(zip(parts, waves, strict=True))
            if wave is not None
        ],
        key=any(wave is not None and wave.predicted for wave in waves),
        parts=[_table(part, told, len(parts) > 1) for part, told in parts],
        beyond=scope_words.beyond(answer) if answer else (),
        kept=[_kept(house, one, opened) for one in kept],
        places=[
            bench_contexts.Place(name, words.sentence(say(text)).rstrip("."), bool(answer and answer["point"] == name))
            for name, text in scope_words.WHERE.items()
        ],
        chimes=[chime.chime for chime in house.chimes],
        caution=say(CAUTION),
        refused=refused,
        may=may,
    )


def _parts(opened: KeptCapture, kept: Sequence[KeptCapture]) -> list[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """The stretches to draw, each with the answer it belongs to: at rest before pressed."""
    found = [(part, opened.answer) for part in opened.answer["stretches"]]
    states = {part["pressed"] for part, _ in found}
    if len(states) == 1 and None not in states:
        other = say("at rest") if "pressed" in states else say("pressed")
        for one in kept:
            if one.id != opened.id and one.chime == opened.chime and one.answer["point"] == opened.answer["point"]:
                beside = [(part, one.answer) for part in one.answer["stretches"] if part["pressed"] == other]
                if beside:
                    found += beside[:1]
                    break
    return sorted(found, key=lambda pair: pair[0]["pressed"] == "pressed")


def _wave(part: Mapping[str, Any], answer: Mapping[str, Any]) -> bench_chart.Wave | None:
    hertz = part["figures"]["mains_hz"]
    if hertz and part["cycle_v"]:
        return bench_chart.of_cycle(part["cycle_v"], part["predicted_v"], hertz)
    trace = answer["trace"]
    points = [
        (at, volts)
        for at, volts in zip(trace["at_s"], trace["volts"], strict=True)
        if part["start_s"] <= at <= min(part["end_s"], part["start_s"] + FLAT_S)
    ]
    return (
        bench_chart.Wave([volts for _, volts in points], (), points[-1][0] - points[0][0]) if len(points) > 1 else None
    )


def _told(part: Mapping[str, Any], answer: Mapping[str, Any]) -> str:
    figures = part["figures"]
    unit = "V" if answer["scaled"] else say("of full scale")
    return say(
        "{shapes} From {measured} to {measured2}.",
        shapes=words.sentence(say(scope_words.SHAPES[part["shape"]])),
        measured=words.measured(figures["lowest_v"], unit),
        measured2=words.measured(figures["peak_v"], unit),
    )


def _table(part: Mapping[str, Any], answer: Mapping[str, Any], several: bool) -> bench_contexts.Part:
    rows = [Row(row) for row in scope_words.rows(part, answer["scaled"])]
    title = scope_words.title_of(part, answer["point"])
    caption = say("{title}: measured against expected", title=title) if several else say("Measured against expected")
    return bench_contexts.Part(
        title,
        Table(caption, (say("Quantity"), say("Measured"), say("Expected"), say("In a word")), rows),
        scope_words.meanings(part),
    )


def _kept(house: House, one: KeptCapture, opened: KeptCapture | None) -> bench_contexts.Kept:
    point = one.answer["point"]
    return bench_contexts.Kept(
        one.id,
        words.sentence(words.moment(one.kept_s, house.now_s, house.zone)).rstrip("."),
        one.name,
        say(scope_words.WHERE[point]) if point else say("nobody said where"),
        scope_words.headline({**one.answer, "point": None}),
        opened is not None and one.id == opened.id,
    )
