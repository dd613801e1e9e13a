"""A page to paper: the report as a PDF, by WeasyPrint, which sets text with Pango. For a process of its own; nothing is fetched."""

import logging

from dashboard.language import marked, say
from service.errors import SettingError

NEEDS = marked(
    "A PDF needs the library Pango (Debian, Ubuntu, Raspberry Pi OS: sudo apt install libpango-1.0-0 "
    "libpangoft2-1.0-0 libharfbuzz-subset0; macOS: brew install pango). Until then, print the page "
    "from the browser."
)


def pdf(html: str) -> bytes:
    """A whole page, with all it needs in it. Raises SettingError where Pango is missing."""
    try:
        from weasyprint import HTML  # type: ignore[import-untyped]
        from weasyprint.urls import URLFetcher  # type: ignore[import-untyped]
    except OSError:
        raise SettingError(say(NEEDS)) from None
    logging.getLogger("weasyprint").setLevel(
        logging.ERROR
    )  # the sheet is written for screens too, and it names each rule it passes over
    fetcher = URLFetcher(allowed_protocols=("data",))
    written: bytes = HTML(string=html, url_fetcher=fetcher).write_pdf(pdf_tags=True)
    return written
