"""Advice about contacts and about the detector that senses them. Words only."""

from service.findings.advice_form import Advice, Apart, householder, installer

CONTACTS = (
    Advice(
        name="detector-dead",
        title="The chime no longer senses presses.",
        meaning="The supply shows that a button is pressed, but the part of the chime that senses it gives no signal.",
        checks=(
            householder(
                1,
                "Press for two seconds and look at the record.",
                "A rise of the supply without a press beside it confirms this finding.",
            ),
            installer(
                15,
                "Hold the button and measure the voltage across the detector's series resistor.",
                "No voltage: a broken joint or resistor. Voltage as designed, but no signal: renew the detector.",
            ),
        ),
        apart=(
            Apart(
                "a detector that needs more current than this transformer gives it",
                "Hold the button and work out the current: voltage across the series resistor divided by its resistance. Below what "
                "the detector needs, a smaller resistor is the remedy.",
            ),
        ),
        rests_on=("rail_rise_v", "pulses_per_cycle"),
    ),
    Advice(
        name="contact-resistance",
        title="The button's contact does not close well.",
        meaning="A press is sensed, but the contact is dirty or burnt and does not carry the current that it should.",
        checks=(
            householder(1, "Press harder, and in the middle.", "If that changes anything, the contact is worn."),
            installer(
                10,
                "With the circuit off, measure the resistance across the pressed button.",
                "Below 1 Ω is sound (common practice); some ohms and more: clean or renew the button.",
            ),
        ),
        apart=(
            Apart(
                "a poor joint between this button and its wire",
                "Measure at the button's screws, then a hand's width along the wires: the step is at the joint.",
            ),
        ),
        rests_on=("rail_rise_v", "pulses_per_cycle"),
    ),
    Advice(
        name="contact-drops-out",
        title="The button's contact lets go while it is held.",
        meaning="Within one press the signal stops for a moment, so a short press may be missed one day.",
        checks=(
            householder(
                1, "Hold the button and move your finger a little.", "If the signal breaks up, the contact is worn."
            ),
            installer(
                5,
                "Hold the button steadily and move its two wires.",
                "If the signal breaks up now, a screw or joint is loose.",
            ),
            installer(
                20, "With the circuit off, clean or renew the button.", "Presses of some seconds show no more gaps."
            ),
        ),
        apart=(
            Apart("a loose joint at the button", "Move the wires while somebody holds the button steadily."),
            Apart("a caller who presses again and again", "Hold the button steadily yourself and look at the record."),
        ),
        rests_on=("longest_gap_s",),
    ),
    Advice(
        name="contact-bounce",
        title="The button's contact bounces.",
        meaning="The contact opens and closes many times before it rests, which wears it but loses no press as yet.",
        checks=(
            householder(1, "Press firmly a few times.", "A button that feels gritty or slack is near its end."),
            installer(
                20,
                "With the circuit off, clean or renew the button.",
                "The short gaps at the start of a press go away.",
            ),
        ),
        apart=(Apart("a loose joint at the button", "Move the wires while somebody holds the button steadily."),),
        rests_on=("shortest_gap_s",),
    ),
)
