"""Advice about the reservoir, the wires and the chime's own load. Words only."""

from service.findings.advice_form import Advice, Apart, electrician, householder, installer

SUPPLY = (
    Advice(
        name="reservoir-aged",
        title="The reservoir capacitor has lost capacity.",
        meaning="The part that carries the chime from one mains cycle to the next holds less than it did, "
        "so the supply sags more while it sounds.",
        checks=(
            householder(
                1,
                "Think where the chime hangs and how old it is.",
                "Heat ages the part: each 10 °C less doubles its life (makers' notes).",
            ),
            installer(
                5,
                "With the supply off and the part emptied, look at its top and its foot.",
                "A domed top or a crust at the foot settles it.",
            ),
            installer(
                15,
                "Connect a sound capacitor of the same size and at least the same voltage beside it, the right way round.",
                "If the lowest voltage while sounding rises, renew the part.",
            ),
            installer(
                40,
                "Renew the part and take the commissioning record anew.",
                "The measured capacity is what the part says.",
            ),
        ),
        apart=(
            Apart("a smaller part than the sheet says", "Read what is printed on it."),
            Apart(
                "a rise of the part's own inner resistance, which comes with the same age",
                "Measure it with a capacitance meter; the remedy is the same.",
            ),
        ),
        rests_on=("reservoir_f", "ripple_v"),
    ),
    Advice(
        name="source-resistance-high",
        title="There is too much resistance between transformer and chime.",
        meaning="A poor joint, a thin or long wire, or a small transformer takes away voltage as soon as the chime draws current.",
        checks=(
            householder(
                2,
                "Look at the screws of button and chime for green or white crust, and ask what was rewired lately.",
                "Crust, or a joint made since the supply was last sound, is the likely place.",
            ),
            householder(
                2, "Read the rating on the transformer's label.", "A smaller one than on the sheet explains it."
            ),
            installer(
                20,
                "While the chime sounds, measure the voltage at the transformer's output, at each joint and at the chime.",
                "The section with the greatest drop holds the fault. The same low voltage everywhere points to the transformer.",
            ),
            installer(
                10,
                "With the chime taken off, measure the transformer's output.",
                "Without load it is usually 15 to 30 % above its rating (common practice); then the wires are to blame, not it.",
            ),
            electrician(
                60,
                "change the transformer for one of the rating on the sheet.",
                "The resistance falls to what was commissioned.",
            ),
        ),
        apart=(
            Apart(
                "a corroded joint",
                "Measure the drop from section to section while the chime sounds: it sits in one place.",
            ),
            Apart("a transformer that is too small", "Measure its output with and without load, and read its label."),
            Apart("a long or thin wire", "The drop is spread evenly; compare length and thickness with the sheet."),
            Apart(
                "low mains, in part",
                "Measure the transformer's output without load: low mains lowers that too.",
                "mains-low",
            ),
        ),
        rests_on=("source_ohm", "open_circuit_v"),
    ),
    Advice(
        name="load-high",
        title="The chime, or something beside it, draws more current than it did.",
        meaning="More load than was commissioned hangs on the supply, at rest or while sounding, and eats up what it has to spare.",
        checks=(
            householder(
                2,
                "Ask what was added or turned up: a lamp, a second sounder, the volume.",
                "Undo it and look at the next record.",
            ),
            installer(
                15,
                "Take off whatever shares the supply, one by one.",
                "The part whose removal brings the current down is the one.",
            ),
            installer(
                20,
                "Measure the current into the chime at rest and while it sounds, and feel for warm parts with the supply off.",
                "A warm capacitor leaks; a warm regulator or amplifier is failing.",
            ),
        ),
        apart=(
            Apart("a reservoir capacitor that leaks", "Take it off for a moment: the current falls."),
            Apart("another device on the same two wires", "Take it off: the current falls."),
        ),
        rests_on=("idle_a", "sound_a"),
    ),
    Advice(
        name="regulator-drops-out",
        title="The chime's regulator runs short while it sounds.",
        meaning="While the chime sounds, its supply falls below what the regulator, the part that keeps the inner "
        "voltage steady, needs; it may crackle, break off or start anew.",
        checks=(
            householder(
                1,
                "Listen to a whole chime, and turn the volume down if it can be.",
                "If it breaks up only when loud, the supply is short.",
            ),
            householder(
                2,
                "See what else is found here first.",
                "A worn reservoir, a poor joint, low mains or a greater load each bring this about.",
            ),
            installer(
                10,
                "Measure the voltage across the reservoir while the chime sounds.",
                "It must stay above the regulator's output and what it needs on top, in every cycle: a meter shows only the mean.",
            ),
            installer(
                40,
                "Fit a larger reservoir, or mend what the other findings name; a larger transformer is a licensed electrician's work.",
                "The lowest voltage while sounding stays above the limit.",
            ),
        ),
        apart=(
            Apart("a worn reservoir", "Connect a sound capacitor beside it.", "reservoir-aged"),
            Apart(
                "resistance in the wires",
                "Measure the drop from section to section while it sounds.",
                "source-resistance-high",
            ),
            Apart("low mains", "Measure the transformer's output without load.", "mains-low"),
        ),
        rests_on=("headroom_v", "rail_low_v", "sound_a"),
    ),
)
