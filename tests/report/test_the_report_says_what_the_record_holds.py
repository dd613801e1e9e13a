"""The report for customer and trade: the same as page and on paper, from a record or a recording; its numbers are the API's."""

import builtins
import json
import re
import subprocess
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from dashboard import paper, quantities
from service import commands
from service.__main__ import main
from service.errors import SettingError
from tests.builders import PRESS, T0, arrival, pack
from tests.examined.recorded import SHEET, aged, text_of
from tests.opened_house import SITE, OpenedHouse, open_house

PAGE = f"/house/{SITE}/report"


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenedHouse]:
    """Rung on three days; an hour of packs is missing."""
    moments = [1000.0, 1010.0, 90_000.0, 93_900.0, 180_000.0]
    seqs = [0, 1, 2, 5, 6]
    heard = [arrival(pack(seq, PRESS, up_s=at_s), at_s + 0.05) for seq, at_s in zip(seqs, moments, strict=True)]
    with open_house(tmp_path_factory.mktemp("report"), heard, SHEET, on_paper=paper.pdf) as found:
        found.clock[0] = T0 + 200_000.0
        yield found


@pytest.fixture(scope="module")
def aged_page(tmp_path_factory: pytest.TempPathFactory) -> str:
    return commands.report_page(text_of(aged()).splitlines(), _json(SHEET), "Europe/London")


def test_the_page_answers_in_short(house: OpenedHouse) -> None:
    page = unescape(house.client.get(PAGE).text)
    assert "The bell was rung on four visits." in page
    assert re.search(r"For 1\W*h\W*5\W*min nothing could be recorded", page)
    assert "Examined by" in page
    assert "no emergency call" in page
    assert "licensed electrician" in page


def test_its_numbers_are_those_of_the_api(house: OpenedHouse) -> None:
    page = unescape(house.client.get(PAGE).text)
    visits = house.client.get(f"/api/v1/sites/{SITE}/visits").json()["visits"]
    presses = house.client.get(f"/api/v1/sites/{SITE}/presses").json()["presses"]
    row = re.search(r"Front door</th><td>(\d+)</td><td>(\d+)</td>", page)
    assert row is not None
    assert (int(row[1]), int(row[2])) == (len(visits), len(presses))
    blind = house.client.get(f"/api/v1/sites/{SITE}/blind").json()["blind"]
    lasted = [one for one in blind if one["door"] is None]
    assert (
        page.count("something the chime sent was lost on the way.</li>")
        == len([one for one in lasted if one["why"] == "packs lost"])
        == 1
    )


def test_every_figure_of_an_examined_recording_is_in_it(aged_page: str) -> None:
    answer = commands.answer_to(text_of(aged()).splitlines(), _json(SHEET), "bellcrank")
    page = unescape(aged_page)
    for name in ("reservoir_f", "source_ohm", "open_circuit_v", "idle_a", "ripple_v"):
        told = answer["quantities"][name]
        assert f"<td>{quantities.figure(name, told['value'])}</td>" in page
        assert f"<td>{quantities.between(name, told['low'], told['high'])}</td>" in page
    found = answer["findings"][0]
    assert found["name"] == "reservoir-aged"
    for line in found["evidence"]:
        assert quantities.figure(line["quantity"], line["value"]) in page


def test_on_paper_the_text_can_be_selected_and_is_the_page_s(aged_page: str, tmp_path: Path) -> None:
    file = tmp_path / "report.pdf"
    file.write_bytes(paper.pdf(aged_page))
    text = _text(file)
    for said in ("Report on the door bell", "In short", "Findings", "To bring", "a multimeter", "Cautions", "1 of "):
        assert said in text
    plain = re.sub(r"<(style|svg).*?</\1>", " ", unescape(aged_page), flags=re.S)
    plain = re.sub(
        r'<div class="for-readers">.*?</div>', " ", plain, flags=re.S
    )  # instead of a drawing, which paper shows
    figures = re.findall(r">([\d.,−]+\u202f(?:µF|Ω|V|mA|mV))<", plain)
    assert len(figures) > 10
    flat = text.replace("\u202f", " ")
    assert [one for one in figures if one.replace("\u202f", " ") not in flat] == []
    fonts = subprocess.run(["pdffonts", str(file)], capture_output=True, text=True, check=True).stdout
    assert "Brygada" in fonts
    sizes = subprocess.run(["pdfinfo", str(file)], capture_output=True, text=True, check=True).stdout
    assert "A4" in sizes


def test_over_http_as_a_pdf(house: OpenedHouse, tmp_path: Path) -> None:
    answer = house.client.get(f"{PAGE}.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    file = tmp_path / "report.pdf"
    file.write_bytes(answer.content)
    assert "The bell was rung on four visits." in " ".join(_text(file).split())


def test_from_a_recording_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recording, sheet, target = tmp_path / "aged.jsonl", tmp_path / "sheet.json", tmp_path / "report.pdf"
    recording.write_text(text_of(aged()))
    sheet.write_text(_json(SHEET))
    assert main(["examine", str(recording), "--fitout", str(sheet), "--pdf", str(target)]) == 0
    capsys.readouterr()
    assert "reservoir" in _text(target)
    recording.write_text("")
    assert main(["examine", str(recording), "--pdf", str(target)]) == 2
    assert "A report is of one house" in capsys.readouterr().err


def test_without_its_library_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def missing(name: str, *rest: Any) -> Any:
        if name.startswith("weasyprint"):
            raise OSError("cannot load library 'libpango-1.0-0'")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(SettingError, match="sudo apt install libpango"):
        paper.pdf("<p>")


def test_nothing_outside_the_page_is_fetched(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("not to be seen")
    html = f'<p>seen</p><img src="file://{secret}"><link rel="stylesheet" href="http://127.0.0.1:9/x.css">'
    file = tmp_path / "one.pdf"
    file.write_bytes(paper.pdf(html))
    assert _text(file).split() == ["seen"]


def _json(sheet: dict[str, Any]) -> str:
    return json.dumps(sheet)


def _text(file: Path) -> str:
    return subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True).stdout
