"""Advice about the mains and the transformer. Words only."""

from service.findings.advice_form import Advice, Apart, electrician, householder, installer

_NEUTRAL = "If some lights grow brighter while others dim, a supply conductor may be loose: switch off and have it seen to at once."

MAINS = (
    Advice(
        name="mains-low",
        title="The voltage that feeds the chime is low.",
        meaning="The transformer gives less than it did or should, with or without load, so the chime has little to spare.",
        checks=(
            householder(
                2,
                "Notice whether lamps are dimmer than usual, and ask the neighbours.",
                "If theirs are too, tell the company that supplies you.",
            ),
            installer(
                10,
                "With the chime taken off, measure the transformer's output.",
                "Below its rating, although it has no load: either the mains is low or this transformer is for a lower voltage.",
            ),
            electrician(
                20,
                "measure the mains at the transformer's input and its output at the same time.",
                "If the input is as it should be and the output is not, the transformer is the fault.",
            ),
        ),
        apart=(
            Apart(
                "a transformer for a lower voltage, or a failing one",
                "A licensed electrician measures its input beside its output.",
            ),
            Apart(
                "too much resistance in the wires",
                "Measure at the transformer without load: resistance does not lower that.",
                "source-resistance-high",
            ),
        ),
        rests_on=("open_circuit_v", "rail_max_v"),
    ),
    Advice(
        name="mains-dip",
        title="The mains has dipped for a moment.",
        meaning="The voltage in the house fell for some cycles; the chime has seen it, and whether it matters depends on how often.",
        checks=(
            householder(
                2,
                "Compare the time with what was switched on: a pump, a cooker, a lift, a storm.",
                "Dips with one machine of your own point to it; dips in the whole street to the network.",
            ),
            householder(1, "Notice whether lamps flicker at the same moments.", _NEUTRAL),
            electrician(
                60,
                "record the mains at the distribution board for a week, and check the terminals of its supply conductors.",
                "Dips that only this circuit has point to a loose joint before the transformer.",
            ),
        ),
        apart=(
            Apart("a break in the bell wiring that closes again", "Record the mains beside it: it does not move."),
            Apart(
                "an interruption too short to empty the reservoir",
                "Only a record of the mains itself tells how deep it was.",
            ),
            Apart("a load of the chime that it did not tell", "See whether the dips come with its sounding."),
        ),
        rests_on=("residual_share", "duration_s"),
        first_caution=_NEUTRAL,
    ),
    Advice(
        name="mains-swell",
        title="The mains has risen for a moment.",
        meaning="The voltage in the house rose well above normal for some cycles, which strains everything that is connected.",
        checks=(
            householder(
                2,
                "Compare the time with what was switched off, and notice whether lamps grow brighter.",
                _NEUTRAL,
            ),
            electrician(
                60,
                "record the mains at the distribution board, and check the neutral conductor, the one that all circuits share.",
                "Swells that come back want the network company told.",
            ),
        ),
        apart=(
            Apart(
                "a transformer for a higher voltage",
                "That one is high all the time: measure its output without load.",
                "wrong-transformer",
            ),
        ),
        rests_on=("residual_share", "duration_s"),
        first_caution=_NEUTRAL,
    ),
    Advice(
        name="wrong-transformer",
        title="The transformer gives too high a voltage.",
        meaning="The chime gets far more than it was built for, which may be above what its reservoir capacitor and regulator stand.",
        checks=(
            householder(
                2,
                "Read the output voltage on the transformer's label, and ask whether it was changed.",
                "It must be that of the sheet.",
            ),
            installer(
                10,
                "With the chime taken off, measure the transformer's output, and read the voltage printed on the reservoir capacitor.",
                "About 1.4 times the measured voltage must stay below the printed one.",
            ),
            electrician(
                60,
                "change the transformer for one of the rated voltage, or connect it at its lower output.",
                "The supply is back at what was commissioned.",
            ),
        ),
        apart=(
            Apart(
                "mains that is high all the time",
                "A licensed electrician measures the transformer's input beside its output.",
            ),
        ),
        rests_on=("rail_max_v", "open_circuit_v"),
        first_caution="Do not leave the chime on this supply longer than needed: a capacitor above its rated voltage can burst.",
    ),
)
