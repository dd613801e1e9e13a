"""Promise: wherever a supply stands, the words in its plane cover neither each other nor a mark, and all is seen by either light.

Chromium tells where the words are; our own measure of them only chose the places.
"""

from collections.abc import Iterator
from itertools import islice, product

import pytest
from playwright.sync_api import Browser, Page

from dashboard import language, plane
from dashboard.assets import DIRECTORY
from dashboard.report_style import style
from service.findings.standing_room import Seen, seen
from service.findings.verdict import Measured
from service.supply.fitout import read_fitout

COVERED = """() => [...document.querySelectorAll('svg.plane')].flatMap((drawing, number) => {
    const whole = drawing.getBoundingClientRect(), found = [];
    const words = [...drawing.querySelectorAll('text:not(.numeral)')].map(one => {
        const r = one.getBoundingClientRect();  // of the row: letters fill less
        return [one.textContent, {left: r.left, right: r.right, top: r.top + 0.25 * r.height, bottom: r.bottom - 0.2 * r.height}];
    });
    const meets = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
    words.forEach(([name, r], n) => {
        if (r.left < whole.left || r.right > whole.right || r.top < whole.top) found.push(number + ': ' + name + ' leaves the drawing');
        words.slice(n + 1).forEach(([other, q]) => meets(r, q) && found.push(number + ': ' + name + ' on ' + other));
        drawing.querySelectorAll('.dot,.begun,.trace,.upright').forEach(mark =>
            meets(r, mark.getBoundingClientRect()) && found.push(number + ': ' + name + ' on ' + mark.className.baseVal));
        drawing.querySelectorAll('.limit').forEach(path => {
            for (let at = 0, long = path.getTotalLength(); at < long; at += 2) {
                const p = path.getPointAtLength(at).matrixTransform(path.getScreenCTM());
                if (meets(r, {left: p.x, right: p.x, top: p.y, bottom: p.y})) { found.push(number + ': ' + name + ' on the limit'); break; }
            }
        });
    });
    return found;
})"""
FAINT = r"""() => [...document.querySelectorAll('svg.plane text, svg.plane .limit, svg.plane .begun, svg.plane .upright')].filter(one => {
    const light = colour => {
        const [r, g, b] = colour.match(/[\d.]+/g).slice(0, 3).map(v => v / 255).map(
            v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const ink = getComputedStyle(one), words = one.tagName == 'text', paper = getComputedStyle(document.body).backgroundColor;
    const ground = paper == 'rgba(0, 0, 0, 0)' ? getComputedStyle(document.documentElement).backgroundColor : paper;
    const [low, high] = [light(words ? ink.fill : ink.stroke), light(ground)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05) < (words ? 4.5 : 3);
}).map(one => one.outerHTML.slice(0, 120))"""
"""Contrast by WCAG 2.2, 1.4.3 and 1.4.11."""


def measured(value: float, share: float) -> Measured:
    return Measured(value, value * (1.0 - share), value * (1.0 + share))


def supplies() -> Iterator[Seen]:
    """Here and there on both sides of several limits, come from several places."""
    places = product((1.5e-4, 4.7e-4, 9.9e-4, 2.1e-3), (2.5, 5.8, 27.0), ((1e-3, 5.7), (2.2e-3, 3.0)))
    loads = ((7.0, 0.12), (11.0, 0.12), (7.0, None))
    for (farad, ohm, (then_f, then_ohm)), (dropout_v, load), rated in product(places, loads, (1e-3, 2.2e-3, None)):
        fields = f'"mains_hz": 50, "transformer_v": 12, "transformer_va": 8, "dropout_v": {dropout_v}'
        sheet = read_fitout("{" + fields + (f', "reservoir_f": {rated}' if rated else "") + "}")
        now = {"reservoir_f": measured(farad, 0.02), "source_ohm": measured(ohm, 0.05)}
        now |= {"open_circuit_v": measured(14.3, 0.02), "idle_a": measured(8e-3, 0.03)}
        now |= {"sound_a": measured(load, 0.02)} if load else {}
        then = {"reservoir_f": measured(then_f, 0.02), "source_ohm": measured(then_ohm, 0.05)}
        track = [(then_f + n / 5 * (farad - then_f), then_ohm + n / 5 * (ohm - then_ohm)) for n in range(1, 5)]
        found = seen(now, then, track, sheet)
        assert found is not None
        yield found


def opened(browser: Browser, drawings: list[str], sheets: str, scheme: str = "light") -> Page:
    page = browser.new_context(color_scheme=scheme).new_page()  # type: ignore[arg-type]
    page.set_content(f"<!doctype html><style>{sheets}</style><body>{''.join(drawings)}</body>")
    page.evaluate("document.fonts.ready")
    return page


def of_the_pages() -> str:
    names = ("sheet.css", "drawing.css", "supply.css", "findings.css")
    return str(style()) + "".join((DIRECTORY / name).read_text(encoding="utf-8") for name in names)


@pytest.mark.parametrize("tongue", ["en", "de"])
def test_no_word_covers_another_or_a_mark(browser: Browser, tongue: str) -> None:
    with language.spoken(tongue):
        drawings = [str(plane.draw(one)) for one in supplies()]
    page = opened(browser, drawings, of_the_pages())
    assert page.evaluate("document.querySelectorAll('svg.plane text.figure').length") == len(drawings)
    assert page.evaluate(COVERED) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("where", ["page", "report"])
def test_every_mark_can_be_seen(browser: Browser, scheme: str, where: str) -> None:
    sheets = of_the_pages() if where == "page" else str(style())
    drawings = [str(plane.draw(one)) for one in islice(supplies(), 6)]
    assert opened(browser, drawings, sheets, scheme).evaluate(FAINT) == []
