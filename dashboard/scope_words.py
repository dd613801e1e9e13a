"""What a capture shows, in words: for the Bench and for the command line alike. Knows no page and judges nothing."""

from collections.abc import Mapping, Sequence
from typing import Any

from dashboard import quantities, words
from dashboard.language import marked, resaid, say

WHERE = {
    "transformer": marked("across the transformer’s secondary"),
    "terminal": marked("at the chime’s terminal, behind the button"),
    "rectifier": marked("behind the rectifier, across the reservoir"),
    "regulated": marked("on the regulated rail"),
    "detector": marked("at the detector’s output"),
}

SHAPES = {
    "full sine": marked("a full sine"),
    "half-wave, positive": marked("a half-wave, upwards"),
    "half-wave, negative": marked("a half-wave, downwards"),
    "uneven sine": marked("a sine of which one half is weaker"),
    "rectified with ripple": marked("a direct voltage with ripple"),
    "flat": marked("a flat line"),
    "square pulses": marked("square pulses"),
    "none of these": marked("nothing that a bell circuit makes"),
}

STATES = {
    "idle": marked("at rest"),
    "test": marked("under the test load"),
    "sounding": marked("while the chime sounds"),
    "pressed": marked("while the button is pressed"),
}

VERDICTS = {"as predicted": marked("as predicted"), "lower": marked("lower"), "higher": marked("higher")}
PRESSED = {"pressed": marked("pressed"), "at rest": marked("at rest")}

FIGURES = {
    "peak_v": marked("Highest"),
    "lowest_v": marked("Lowest"),
    "peak_to_peak_v": marked("Peak to peak"),
    "mean_v": marked("Mean"),
    "rms_v": marked("Effective value (rms)"),
    "ripple_v": marked("Ripple, peak to peak"),
    "mains_hz": marked("Frequency"),
    "duty": marked("Share of the cycle above the middle"),
    "rise_s": marked("Rise, 10 to 90 %"),
    "fall_s": marked("Fall, 90 to 10 %"),
    "pulses_per_cycle": marked("Pulses in a cycle"),
    "pulse_s": marked("Length of a pulse"),
}

SINE = ("full sine", "half-wave, positive", "half-wave, negative", "uneven sine")
WORTH_TELLING: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(SINE, ("peak_v", "lowest_v", "mean_v", "rms_v", "mains_hz")),
    "rectified with ripple": ("peak_v", "lowest_v", "mean_v", "ripple_v", "mains_hz", "rms_v"),
    "flat": ("mean_v", "peak_to_peak_v"),
    "square pulses": ("peak_v", "lowest_v", "mains_hz", "pulses_per_cycle", "duty", "rise_s", "fall_s"),
    "none of these": ("peak_v", "lowest_v", "mean_v", "rms_v"),
}
"""By what is seen; the API has every figure."""

WITHOUT_SCALE = tuple(name for name in FIGURES if name.endswith("_v"))

BEYOND = {
    None: marked("Nobody said where it was taken, so nothing can be compared."),
    "transformer": marked("Whether the button was pressed does not show here."),
    "rectifier": marked("Whether the button was pressed hardly shows here: the rail rises by one diode drop."),
    "regulated": marked("Whether the button was pressed does not show here."),
    "terminal": marked("How the rail stands behind it does not show here."),
    "detector": marked("The voltages before it do not show here."),
}


def title_of(part: Mapping[str, Any], point: str | None) -> str:
    """As a panel's heading: At rest."""
    if part["pressed"]:
        return say("Pressed") if part["pressed"] == "pressed" else say("At rest")
    comparison = part["comparison"]
    if comparison and point != "detector":
        return words.sentence(say("most like {states}", states=say(STATES[comparison["state"]]))).rstrip(".")
    return words.sentence(say(SHAPES[part["shape"]])).rstrip(".")


def headline(answer: Mapping[str, Any]) -> str:
    """The answer in one sentence."""
    parts: Sequence[Mapping[str, Any]] = answer["stretches"]
    seen = words.sentence(say(", then ").join(dict.fromkeys(say(SHAPES[part["shape"]]) for part in parts))).rstrip(".")
    where = f" {say(WHERE[answer['point']])}" if answer["point"] else ""
    states = [say(PRESSED[part["pressed"]]) for part in parts if part["pressed"]]
    pressed = f": {say(', then ').join(dict.fromkeys(states))}" if states else ""
    return f"{seen}{where}{pressed}."


def lead(answer: Mapping[str, Any]) -> str:
    """What qualifies it: how it compares, and how it was read."""
    told: list[str] = []
    lines = [line for part in answer["stretches"] if part["comparison"] for line in part["comparison"]["lines"]]
    off = [line for line in lines if line["verdict"] != "as predicted"]
    if lines and not off:
        told.append(say("All of it is as the fit-out sheet predicts."))
    elif off:
        names = words.listed(
            list(
                dict.fromkeys(
                    f"{words.inside(say(FIGURES[line['quantity']]))} {say(VERDICTS[line['verdict']])}" for line in off
                )
            )
        )
        told.append(say("Other than the fit-out sheet predicts: {names}.", names=names))
    elif answer["point"]:
        told.append(say("There is no fit-out sheet to compare it with, or it names too little."))
    else:
        usual = [say(WHERE[one]) for one in answer["possible_points"]]
        told.append(
            say("Such a picture is usual {value}.", value=say(" or ").join(usual))
            if usual
            else say("No point of a bell circuit looks so.")
        )
    told += [resaid(one) for one in answer["remarks"]]
    return " ".join(told)


def rows(part: Mapping[str, Any], scaled: bool) -> list[tuple[str, str, str, str]]:
    """Quantity, measured, expected, in a word: what was compared first, then what was only measured."""
    found: list[tuple[str, str, str, str]] = []
    compared = part["comparison"]["lines"] if part["comparison"] else []
    for line in compared:
        name, span = line["quantity"], line["expected"]
        expected = quantities.between(name, span["low"], span["high"])
        if span["low"] == span["high"]:
            expected = quantities.figure(name, span["value"])
        found.append(
            (say(FIGURES[name]), _figure(name, line["measured"], True), expected, say(VERDICTS[line["verdict"]]))
        )
    seen = {line["quantity"] for line in compared}
    for name in WORTH_TELLING[part["shape"]]:
        value = part["figures"].get(name)
        if value is not None and name not in seen:
            found.append((say(FIGURES[name]), _figure(name, value, scaled), "", ""))
    return found


def meanings(part: Mapping[str, Any]) -> list[str]:
    lines = part["comparison"]["lines"] if part["comparison"] else []
    return list(
        dict.fromkeys(
            f"{say(FIGURES[line['quantity']])}, {say(VERDICTS[line['verdict']])}: {resaid(line['means'])}".replace(
                "'", "’"
            )
            for line in lines
            if line["means"]
        )
    )


def beyond(answer: Mapping[str, Any]) -> list[str]:
    """What the capture cannot tell."""
    told = [say(BEYOND[answer["point"]])]
    if not answer["scaled"]:
        told.append(say("Volts: nobody said what full scale of the sound file is."))
    if not any(part["comparison"] for part in answer["stretches"]) and answer["point"]:
        told.append(
            say(
                "Whether it is right: without a fit-out sheet that names transformer and reservoir nothing is "
                "predicted."
            )
        )
    return told


def text(answer: Mapping[str, Any], name: str) -> str:
    """For the terminal."""
    read = say(
        "{name}, channel {channel}: {samples} samples in {duration}",
        name=name,
        channel=answer["channel"],
        samples=answer["samples"],
        duration=words.duration(answer["length_s"]),
    )
    lines = [headline(answer), lead(answer), "", read]
    for part in answer["stretches"]:
        lines += ["", title_of(part, answer["point"])]
        told = rows(part, answer["scaled"])
        wide = [max(len(row[n]) for row in told) for n in range(4)] if told else [0] * 4
        for row in told:
            lines.append(
                "  "
                + "  ".join(
                    cell.ljust(wide[n]) if n == 0 else cell.rjust(wide[n]) for n, cell in enumerate(row)
                ).rstrip()
            )
        lines += [f"  {one}" for one in meanings(part)]
    lines += ["", *beyond(answer), resaid(answer["caution"])]
    return "\n".join(lines)


def _figure(name: str, value: float, scaled: bool) -> str:
    if name == "duty" or (name in WITHOUT_SCALE and not scaled):
        return f"{100 * value:.0f}{words.THIN}%".replace("-", "−")
    return quantities.figure(name, value)
