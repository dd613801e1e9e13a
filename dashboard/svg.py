"""The few SVG elements that the drawings are made of. Knows no record.

Across a drawing things stand at fractions of its width (written as percent), so that it may be as wide as the sheet; down it they
stand in em, so that it grows with the type. What must keep its shape stands in a nested `svg` at such a point, in pixels.
No `style` attribute is written: the pages forbid them.
"""

from markupsafe import Markup, escape

Value = str | float


def element(name: str, *children: Markup, text: str = "", **attributes: Value | None) -> Markup:
    """An element; `class_` becomes `class`, `text_anchor` `text-anchor`. Everything is escaped."""
    told = "".join(
        [f' {_NAMES.get(key, key)}="{_figure(value)}"' for key, value in attributes.items() if value is not None]
    )
    inner = "".join(children) + escape(text) if text else "".join(children)
    whole = f"<{name}{told}>{inner}</{name}>" if inner else f"<{name}{told}/>"
    return Markup(whole)  # noqa: S704 - whatever came from outside was escaped above


_NAMES = {"class_": "class", "text_anchor": "text-anchor", "aria_hidden": "aria-hidden"}


def _figure(value: Value) -> str:
    return escape(value) if isinstance(value, str) else f"{value:.5g}"


def across(fraction: float) -> str:
    """A place across the drawing."""
    return f"{fraction * 100:.4g}%"


def down(em: float) -> str:
    """A place down the drawing."""
    return f"{em:.4g}em"


def at(fraction: float, em: float, *children: Markup, class_: str | None = None) -> Markup:
    """A point of the drawing, around which `children` are drawn in pixels."""
    return element(
        "svg", *children, x=across(fraction), y=down(em), class_=class_, overflow="visible", width=1, height=1
    )


def line_across(
    start: float, end: float, em: float, class_: str, inset_start: float = 0, inset_end: float = 0
) -> Markup:
    """A level line from fraction to fraction; insets [px] keep its ends free, for a chamfer.

    A length in percent less pixels cannot be written in SVG, so each half is drawn from its own end.
    """
    y, middle = down(em), (start + end) / 2
    if not inset_start and not inset_end:
        return element("line", x1=across(start), x2=across(end), y1=y, y2=y, class_=class_)
    return Markup("").join(
        (
            element(
                "line",
                x1=across(start),
                x2=across(middle),
                y1=y,
                y2=y,
                class_=class_,
                transform=f"translate({inset_start:.4g} 0)",
            ),
            element(
                "line",
                x1=across(middle),
                x2=across(end),
                y1=y,
                y2=y,
                class_=class_,
                transform=f"translate({inset_end:.4g} 0)",
            ),
        )
    )


def line_down(
    fraction: float, start: float, end: float, class_: str, inset_start: float = 0, inset_end: float = 0
) -> Markup:
    """An upright line from em to em, likewise."""
    x, middle = across(fraction), (start + end) / 2
    if not inset_start and not inset_end:
        return element("line", x1=x, x2=x, y1=down(start), y2=down(end), class_=class_)
    return Markup("").join(
        (
            element(
                "line",
                x1=x,
                x2=x,
                y1=down(start),
                y2=down(middle),
                class_=class_,
                transform=f"translate(0 {inset_start:.4g})",
            ),
            element(
                "line",
                x1=x,
                x2=x,
                y1=down(middle),
                y2=down(end),
                class_=class_,
                transform=f"translate(0 {inset_end:.4g})",
            ),
        )
    )


def slant(start: float, start_em: float, end: float, end_em: float, class_: str) -> Markup:
    return element("line", x1=across(start), y1=down(start_em), x2=across(end), y2=down(end_em), class_=class_)


def hatch(start: float, end: float | None, top: float, bottom: float, class_: str = "hatch") -> Markup:
    """A stretch in which nothing could be recorded; without `end` it is 3 px wide, the least that is drawn."""
    return element(
        "rect",
        x=across(start),
        width=3 if end is None else across(end - start),
        y=down(top),
        height=down(bottom - top),
        class_=class_,
        fill="url(#hatch-small)" if "small" in class_ else "url(#hatch)",
    )


def label(fraction: float, em: float, text: str, class_: str, anchor: str = "start", dx: float = 0) -> Markup:
    """Words at a point. In a frame of their own, for a text counts em by its own size."""
    return at(fraction, em, element("text", text=text, x=dx or None, class_=class_, text_anchor=anchor))


def drawing(height_em: float, *children: Markup, class_: str) -> Markup:
    """A whole drawing, as wide as its place and `height_em` high. Hidden from readers: a list or table beside it tells the same."""
    return element(
        "svg",
        *children,
        class_=f"drawing {class_}",
        width="100%",
        height=down(height_em),
        aria_hidden="true",
        focusable="false",
    )
