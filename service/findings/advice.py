"""What each finding means for a person, and what to do about it on site. Knows no measurement; words and their order only.

Wording is the project's own; physics from the circuit, efforts and sound readings common practice where no source is named.
"""

from service.findings.advice_buttons import BUTTONS
from service.findings.advice_contacts import CONTACTS
from service.findings.advice_form import CAUTIONS, Advice, Apart, Check, Who
from service.findings.advice_mains import MAINS
from service.findings.advice_supply import SUPPLY

__all__ = ["ADVICE", "CAUTIONS", "Advice", "Apart", "Check", "Who"]

ADVICE: dict[str, Advice] = {advice.name: advice for advice in (*BUTTONS, *CONTACTS, *SUPPLY, *MAINS)}
"""By the contract's name of the finding: all eighteen."""
