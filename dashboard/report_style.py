"""The sheet and the typeface of the report in the page itself, where it stands alone. Variables are written out: not all that sets a
page on paper knows them within a drawing."""

from base64 import b64encode

from markupsafe import Markup

from dashboard.assets import DIRECTORY

SHEETS = ("sheet.css", "bench.css", "report.css")
FONTS = {"normal": "brygada-1918-latin-roman.woff2", "italic": "brygada-1918-latin-italic.woff2"}


def style() -> Markup:
    faces = [
        f'@font-face{{font-family:"Brygada 1918";src:url(data:font/woff2;base64,'
        f'{b64encode((DIRECTORY / "fonts" / name).read_bytes()).decode()}) format("woff2");font-weight:400 700;font-style:{kind}}}'
        for kind, name in FONTS.items()
    ]
    family = ':root{--type:"Brygada 1918","Iowan Old Style",Charter,Cambria,"Noto Serif","DejaVu Serif",Georgia,serif}'
    sheets = [(DIRECTORY / name).read_text(encoding="utf-8") for name in SHEETS]
    return Markup("\n".join([*faces, family, *sheets]))  # noqa: S704 - our own files
