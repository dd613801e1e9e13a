"""Writes dashboard/static/places.css: the places of words as classes, because the pages carry no style of their own."""

from pathlib import Path

from dashboard import across, down

HEAD = """/* Where words stand. The pages carry no style of their own, so each place is a class: n = height in quarter em on narrow sheets;
   m, w = track of 144, r = row and s = span on medium and wide ones. Written by tests/pages/places.py; do not edit. */
"""
ROWS = 60
FILE = Path(across.__file__).parent / "static" / "places.css"


def text() -> str:
    heights = "".join(
        f".entry.n{n}{{min-height:{n * down.STEP:g}rem}}.entries.n{n}{{padding-top:{n * down.STEP:g}rem}}"
        for n in range(down.STEPS_LIMIT + 1)
    )
    return "\n".join(
        (
            HEAD + heights,
            f"@media (min-width:56.25em) and (max-width:83.99em){{{_grid('m', across.MEDIUM)}}}",
            f"@media (min-width:84em){{{_grid('w', across.WIDE)}}}",
            "",
        )
    )


def _grid(letter: str, width: across.Width) -> str:
    most = max(width.most, across.TRACKS // width.columns)
    return "".join(
        (
            *(f".{letter}{n}{{grid-column-start:{n + 1}}}" for n in range(across.TRACKS)),
            *(f".{letter}r{n}{{grid-row:{n}}}" for n in range(1, ROWS + 1)),
            *(f".{letter}s{n}{{grid-column-end:span {n}}}" for n in range(width.least, most + 1)),
        )
    )


if __name__ == "__main__":
    FILE.write_text(text())
