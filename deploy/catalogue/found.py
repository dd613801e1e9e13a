"""Finds the texts: in the dashboard's modules and templates by the calls that say them, in the service by where a reader meets them."""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from jinja2 import nodes

from dashboard.filling import environment
from dashboard.language import SERVICE

ROOT = Path(__file__).parents[2]

WHOLE = (
    "service/health.py", "service/presses/patterns.py", "service/presses/lesson.py",
    "service/alarms/conditions.py", "service/alarms/json_values.py", "service/alarms/life.py", "service/alarms/quantities.py",
    "service/alarms/ready*.py", "service/alarms/standing.py", "service/alarms/stretches.py",
    "service/outlets.py", "service/findings/advice*.py", "service/findings/judge.py", "service/findings/outlook.py",
    "service/scope/capture*.py", "service/scope/columns.py", "service/scope/comparing.py", "service/scope/expected.py",
    "service/scope/sound.py", "service/scope/told.py",
    "service/supply/*_rules.py", "service/supply/assumptions.py", "service/supply/fitout_told.py",
)  # fmt: skip
"""Whatever is said there may stand on a page. Of all other files of the service, only what is raised."""

RAISED = {"Refused", "NotFound", "StoreUnavailable", "Problem", "RuleRefused"}
ELSEWHERE = {
    "commands.py", "maker_commands.py", "__main__.py", "outlet_form.py", "mapping.py", "mapping_form.py", "leaving.py",
}  # fmt: skip
"""What is raised there is told in the terminal or by the API alone."""


@dataclass(frozen=True, order=True)
class Text:
    context: str  # empty, or SERVICE
    one: str
    many: str = ""
    place: str = ""


def texts() -> list[Text]:
    """All of them, each once, in order of the places where they are said."""
    found = [*_templates(), *_dashboard(), *_service()]
    once: dict[tuple[str, str], Text] = {}
    for one in found:
        known = once.setdefault((one.context, one.one), one)
        if one.many and not known.many:
            once[one.context, one.one] = one
    return list(once.values())


def _templates() -> Iterator[Text]:
    made = environment()
    for path in sorted((ROOT / "dashboard" / "templates").glob("*.html")):
        for call in made.parse(path.read_text()).find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name in ("say", "say_markup"):
                said = call.args[0]
                if isinstance(said, nodes.Const):
                    yield Text("", said.value, place=_place(path, call.lineno))


def _dashboard() -> Iterator[Text]:
    for path in sorted((ROOT / "dashboard").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if not isinstance(node, ast.Call):
                continue
            name, said = (
                _called(node),
                [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)],
            )
            if name in ("say", "marked") and said:
                yield Text("", said[0], place=_place(path, node.lineno))
            elif name == "say_counted" and len(said) == 2:
                yield Text("", said[0], said[1], _place(path, node.lineno))
            elif name == "counted" and said:
                one, many = said[0], said[1] if len(said) > 1 else f"{said[0]}s"
                yield Text("", f"{{number}} {one}", f"{{number}} {many}", _place(path, node.lineno))


def _service() -> Iterator[Text]:
    whole = {path for pattern in WHOLE for path in ROOT.glob(pattern)}
    for path in sorted(path for part in ("service", "adapters") for path in (ROOT / part).rglob("*.py")):
        tree = ast.parse(path.read_text())
        if path in whole:
            yield from _said_in(tree, path)
            continue
        for node in [] if path.name in ELSEWHERE else ast.walk(tree):
            if isinstance(node, ast.Call) and _called(node) in RAISED:
                for argument in node.args:
                    yield from _said_in(argument, path)


def _said_in(tree: ast.AST, path: Path) -> Iterator[Text]:
    unsaid = {id(one) for one in _unsaid(tree)}
    waiting = [tree]
    while waiting:
        node = waiting.pop(0)
        if id(node) in unsaid:
            continue
        if isinstance(node, ast.ClassDef) and any(
            isinstance(base, ast.Name) and base.id == "StrEnum" for base in node.bases
        ):
            for one in node.body:
                if isinstance(one, ast.Assign) and isinstance(one.value, ast.Constant):
                    yield Text(SERVICE, one.value.value, place=_place(path, one.lineno))
        elif isinstance(node, ast.JoinedStr):
            template = _template(node)
            if is_said(re.sub(r"\{\w+\}", "x", template)):
                yield Text(SERVICE, template.strip(), place=_place(path, node.lineno))
            waiting += [one.value for one in node.values if isinstance(one, ast.FormattedValue)]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            if is_said(node.value):
                yield Text(SERVICE, node.value.strip(), place=_place(path, node.lineno))
        else:
            waiting += list(ast.iter_child_nodes(node))


def _unsaid(tree: ast.AST) -> Iterator[ast.AST]:
    """Docstrings, names of things, and what is compared."""
    for node in ast.walk(tree):
        for statement in getattr(node, "body", []) if isinstance(getattr(node, "body", None), list) else []:
            if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
                yield statement.value
        if isinstance(node, ast.Dict):
            yield from (key for key in node.keys if key is not None)
        elif isinstance(node, ast.Compare | ast.MatchValue):
            yield node
        elif isinstance(node, ast.Subscript):
            yield node.slice
        elif isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            yield node.annotation


def is_said(text: str) -> bool:
    """Words for a person: two of them, or one that begins with a capital.

    >>> is_said("no trend"), is_said("Reservoir"), is_said("reservoir-aged"), is_said("idle_a"), is_said("%H.%M")
    (True, True, False, False, False)
    """
    return bool(re.search(r"[A-Za-z’']{2,}[,.:;]? [(“]?[A-Za-z0-9]", text) or re.fullmatch(r"[A-Z][a-z]{2,}[.]?", text))


def _template(node: ast.JoinedStr) -> str:
    """`{name}` for every value; no name twice."""
    made, used = "", set[str]()
    for part in node.values:
        if isinstance(part, ast.Constant):
            made += str(part.value).replace("{", "{{").replace("}", "}}")
        elif isinstance(part, ast.FormattedValue):
            wanted = _name_of(part.value)
            name, number = wanted, 2
            while name in used:
                name, number = f"{wanted}{number}", number + 1
            used.add(name)
            made += f"{{{name}}}"
    return made


def _name_of(node: ast.AST) -> str:
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name) | ast.Call(func=ast.Name(id=name)):
            return re.sub(r"^_+|_s$", "", name).lower() or "value"
        case ast.Call(func=ast.Attribute(attr=name)):
            return re.sub(r"^_+", "", name).lower()
        case ast.Subscript(value=inner) | ast.BinOp(left=inner) | ast.UnaryOp(operand=inner):
            return _name_of(inner)
    return "value"


def _called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def _place(path: Path, line: int) -> str:
    return path.relative_to(ROOT).as_posix()
