"""How a template is filled: everything escaped, and a name that nobody gave is an error. Knows no HTTP."""

from dataclasses import fields
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from dashboard.language import say, tag


def environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals.update(say=say, say_markup=say_markup, language=tag)
    return made


def say_markup(message: str, /, **values: object) -> Markup:
    """A text of the catalogue with elements in it; the values are escaped."""
    return Markup(say(message)).format(**values)  # noqa: S704 - the text is ours


def filled(templates: Environment, name: str, context: Any) -> str:
    """`context` is the frozen dataclass of this template; its fields are all that the template knows."""
    known = {field.name: getattr(context, field.name) for field in fields(context)}
    return templates.get_template(name).render(known)
