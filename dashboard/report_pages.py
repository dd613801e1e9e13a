"""Routes of the report: as a page, and as the same on paper. Draws nothing and changes nothing."""

from collections.abc import Callable

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse

from dashboard import assets
from dashboard.house import House
from dashboard.sheets import HEADERS
from dashboard.supply_points import PastDays
from service.errors import Refused, SettingError
from service.ports import Reader

LINKS = ("mark.svg", "type.css", "sheet.css", "bench.css", "report.css")

OnPaper = Callable[[str], bytes]
"""A whole page to a PDF, in a process of its own. Raises SettingError with a sentence."""


def add(
    router: APIRouter,
    reader: Reader,
    on_paper: OnPaper | None,
    house_of: Callable[[str], House],
) -> None:
    """`house_of`: the house with the days that the report covers."""
    past = PastDays(reader)

    @router.get("/house/{site}/report", name="report")
    def report(site: str) -> Response:
        from dashboard import report as reports

        paper = str(router.url_path_for("report_paper", site=site)) if on_paper else ""
        standing = reports.Standing(
            links=[assets.url(name) for name in LINKS],
            back=str(router.url_path_for("doorstep", site=site)),
            paper=paper,
        )
        return HTMLResponse(reports.page(reader, house_of(site), standing, past), headers=HEADERS)

    if on_paper is None:
        return
    printing = on_paper

    @router.get("/house/{site}/report.pdf", name="report_paper")
    def paper(site: str) -> Response:
        from dashboard import report as reports
        from dashboard.report_style import style

        page = reports.page(reader, house_of(site), reports.Standing(style=style()), past)
        try:
            written = printing(page)
        except SettingError as missing:
            raise Refused(str(missing)) from None
        headers = {"content-disposition": f'inline; filename="{site}-report.pdf"', "cache-control": "no-store"}
        return Response(written, media_type="application/pdf", headers=headers)
