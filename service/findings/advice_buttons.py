"""Advice about buttons and their diodes. Words only."""

from service.findings.advice_form import Advice, Apart, householder, installer

_UNHOOK = (
    "With the circuit off, take one wire off the button and test the diode with a meter's diode range, both ways round."
)
_GOOD_DIODE = "A sound one reads 0.4 to 0.8 V one way and nothing the other way."

BUTTONS = (
    Advice(
        name="button-diode-open",
        title="The diode across the button no longer conducts.",
        meaning="The chime gets power only while somebody presses, because the part that feeds it in between is broken or loose.",
        checks=(
            householder(
                1,
                "Look at the chime while nobody presses.",
                "With this fault it is dark and comes to life with a press.",
            ),
            installer(
                10,
                "With the circuit off, open the button and look at the diode and its two joints.",
                "A cracked body or a lead that moves settles it.",
            ),
            installer(15, _UNHOOK, _GOOD_DIODE + " Nothing both ways: renew it, the same way round."),
        ),
        apart=(
            Apart("a diode that was never fitted", "Open the button and look: the same part is needed either way."),
            Apart(
                "a diode fitted the wrong way round",
                "Test it with a meter: a reversed one conducts, one way.",
                "button-diode-reversed",
            ),
        ),
        rests_on=("rail_max_v", "pulses_per_cycle"),
    ),
    Advice(
        name="button-diode-reversed",
        title="The diode across the button is the wrong way round.",
        meaning="The button passes the half of the mains cycle that rings instead of the half that feeds the chime.",
        checks=(
            householder(
                1,
                "Ask whether the button or its wires were changed lately.",
                "Two wires put back the other way round do this too.",
            ),
            installer(
                10,
                "With the circuit off, compare the ring on the diode with the drawing that came with the chime.",
                "If it points the other way, turn the diode round, or swap the two wires at the button: the effect is the same.",
            ),
        ),
        apart=(
            Apart(
                "two wires swapped at the button or at the chime",
                "Follow the wires by their colours; whichever is easier to turn round is the right one to turn.",
            ),
            Apart("a diode that no longer conducts", "Test it with a meter, both ways round.", "button-diode-open"),
        ),
        rests_on=("rail_max_v", "pulses_per_cycle"),
    ),
    Advice(
        name="button-diode-shorted",
        title="The diode across the button conducts both ways.",
        meaning="The chime senses a press all the time, so a real one cannot be told from none.",
        checks=(
            householder(
                1,
                "Press the button and let it spring back a few times.",
                "If the steady signal stops, the contact was stuck and the diode is sound.",
            ),
            installer(
                5,
                "With the circuit off, take one wire off the button, then switch on again.",
                "If the signal goes on, the two wires touch somewhere; if it stops, it is the button or its diode.",
            ),
            installer(10, _UNHOOK, _GOOD_DIODE + " Near 0 V both ways: renew it."),
        ),
        apart=(
            Apart(
                "a contact that stays closed",
                "Unhook the button and test the diode by itself: a sound diode leaves the contact.",
                "contact-stuck",
            ),
            Apart("two wires that touch", "Unhook the button: the signal goes on."),
        ),
        rests_on=("pulses_per_cycle", "pulse_width_s"),
    ),
    Advice(
        name="contact-stuck",
        title="The button's contact stays closed.",
        meaning="The chime senses a press all the time, although nobody holds the button.",
        checks=(
            householder(
                1,
                "Look whether the button springs back, and press it a few times.",
                "Paint, dirt or swollen wood may hold it; if it comes free, the signal stops.",
            ),
            installer(
                5,
                "With the circuit off, take one wire off the button, then switch on again.",
                "If the signal goes on, the two wires touch somewhere; if it stops, it is the button or its diode.",
            ),
            installer(
                10,
                "With the button unhooked, measure across its contact alone, pressed and not.",
                "Open when not pressed means that the contact is sound and the diode is the fault.",
            ),
        ),
        apart=(
            Apart(
                "a diode that conducts both ways",
                "Unhook the button and test the diode by itself.",
                "button-diode-shorted",
            ),
            Apart("two wires that touch", "Unhook the button: the signal goes on."),
        ),
        rests_on=("pulses_per_cycle", "pulse_width_s"),
    ),
    Advice(
        name="lamp-in-button",
        title="A lamp in the button sends a steady signal.",
        meaning="A lighted button lets some current past its contact, enough for the chime to take it for a press.",
        checks=(
            householder(1, "Look whether the button glows when it is dark.", "A glow settles it."),
            installer(
                10,
                "With the circuit off, take the lamp out or choose a button without one.",
                "The signal stops; the diode stays where it is.",
            ),
        ),
        apart=(
            Apart(
                "a damp path across the button or its cable",
                "Look for a lamp first; without one, see whether the signal comes with wet weather.",
                "leak-across-button",
            ),
        ),
        rests_on=("pulse_width_s", "series_ohm", "pulses_per_cycle"),
    ),
    Advice(
        name="leak-across-button",
        title="Current leaks across the button or its cable.",
        meaning="A damp or damaged path past the contact lets enough current through for the chime to sense, now and then or always.",
        checks=(
            householder(
                2,
                "Compare the times of the signal with the weather.",
                "A signal that comes with rain and goes with sun is damp.",
            ),
            householder(
                5,
                "Look at the button for water, insects and a cracked housing.",
                "Dry it and see whether the signal stops.",
            ),
            installer(
                10,
                "With the circuit off, take both wires off the button, then switch on again.",
                "If the signal stops, the button leaks; if it goes on, the cable does.",
            ),
            installer(
                30,
                "With the cable off at both ends, measure its insulation with an insulation tester.",
                "Well over 1 MΩ is sound; a few kΩ explain the signal. Never test with the chime connected: it would be destroyed.",
            ),
        ),
        apart=(
            Apart(
                "a lamp in the button",
                "Look whether the button glows in the dark.",
                "lamp-in-button",
            ),
        ),
        rests_on=("pulse_width_s", "series_ohm", "pulses_per_cycle"),
    ),
)
