"""What people type: names and notes, made one form and refused where they are none. Knows nobody and keeps nothing."""

from service.errors import Refused

NAME_LIMIT = 60
"""Characters of a name: one line on a phone."""

NOTE_LIMIT = 1000
"""Characters of a note: what still fits on a phone at once."""


def clean_name(text: str) -> str:
    """Without spaces at the ends or twice in a row. Raises Refused.

    >>> clean_name("  Garden   gate ")
    'Garden gate'
    """
    clean = " ".join(text.split())
    if not clean or len(clean) > NAME_LIMIT or not clean.isprintable():
        raise Refused(f"A name has 1 to {NAME_LIMIT} printable characters.")
    return clean


def clean_note(text: str, limit: int = NOTE_LIMIT) -> str:
    """Line by line as a name, without empty lines; may be nothing at all. Raises Refused.

    >>> clean_note(" left it \\n\\n next  door ")
    'left it\\nnext door'
    """
    lines = [" ".join(line.split()) for line in text.splitlines()]
    clean = "\n".join(line for line in lines if line)
    if len(clean) > limit or not all(line.isprintable() for line in lines):
        raise Refused(f"A note has at most {limit} printable characters.")
    return clean
