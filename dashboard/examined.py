"""A recording examined, as a context and as a page of its own that needs no service and no network. Judges nothing itself."""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from markupsafe import Markup

from dashboard import contexts, examined_chime, finding_list, supply_contexts, words
from dashboard.assets import DIRECTORY
from dashboard.filling import environment, filled
from dashboard.language import marked, resaid, say
from dashboard.supply_points import TRACK
from service.examine import Examined, ExaminedChime
from service.findings.advice import CAUTIONS
from service.findings.standing_room import Seen, track_of
from service.findings.standing_room import seen as seen_in_plane

SHEETS = ("sheet.css", "drawing.css", "supply.css", "findings.css", "examined.css")
FONTS = {"normal": "brygada-1918-latin-roman.woff2", "italic": "brygada-1918-latin-italic.woff2"}
STANDING = marked("as this recording has it")


def page(found: Examined, recording: str, time_zone: str) -> str:
    """The whole page. `recording`: what the file is called; times of day are of `time_zone` (IANA)."""
    return filled(environment(), "examined.html", make(found, recording, time_zone, style()))


def make(found: Examined, recording: str, time_zone: str, style: Markup | None = None) -> supply_contexts.Examined:
    zone = ZoneInfo(time_zone)
    several = len(found.chimes) > 1
    findings = [
        _likelihood(
            finding_list.told(
                finding,
                number,
                door=say(" at the ").join(
                    part for part in (finding.door, examined_chime.name_of(chime) if several else "") if part
                ),
                since=say("the beginning") if finding.since_s is None else examined_chime.day(finding.since_s, zone),
                standing=say(STANDING),
                now=chime.verdict.quantities,
                then=examined_chime.commissioned(chime),
                seen=_seen(chime),
            ),
            finding.likelihood,
        )
        for number, (chime, finding) in enumerate(found.findings, start=1)
    ]
    headline, lead = _verdict(found, findings)
    return supply_contexts.Examined(
        style=Markup("") if style is None else style,
        recording=recording,
        span=_span(found, zone),
        headline=headline,
        lead=lead,
        compared=_compared(found),
        findings=findings,
        chimes=[examined_chime.make(chime, found.last_s or 0.0, zone) for chime in found.chimes],
        blind=[_blind(spell.start_s, spell.end_s, spell.why, zone) for spell in found.blind],
        missing=[words.sentence(resaid(said)).replace("'", "’") for said in found.missing],
        set_aside=contexts.Table(
            say("Packs set aside"),
            (say("Topic"), say("Why")),
            [contexts.Row((pack.topic, pack.reason)) for pack in found.set_aside],
        ),
        cautions=() if findings else [resaid(said).replace("'", "’") for said in CAUTIONS],
    )


def _seen(chime: ExaminedChime) -> Seen | None:
    track = track_of(chime.past, TRACK)
    return seen_in_plane(chime.verdict.quantities, examined_chime.commissioned(chime), track, chime.sheet)


def _likelihood(finding: supply_contexts.Finding, likelihood: float) -> supply_contexts.Finding:
    """In words, and the figure beside."""
    return replace(finding, likelihood=f"{finding.likelihood} ({min(likelihood, 0.999):.3g})")


def _verdict(found: Examined, findings: Sequence[supply_contexts.Finding]) -> tuple[str, str]:
    """The answer, and what qualifies it."""
    said = say(
        "{packs} read, of {chimes}.",
        packs=words.sentence(words.counted(found.read, "pack")).rstrip("."),
        chimes=_chimes(found),
    )
    if not found.chimes:
        return say("There is nothing to examine."), say("{said} None of it tells of a supply or of presses.", said=said)
    if not findings:
        headline = (
            say("Nothing was found, as far as it could be judged.") if found.missing else say("Nothing was found.")
        )
        return headline, said
    first = findings[0]
    headline = words.sentence(f"{first.title} ({first.door})" if first.door else first.title)
    count = words.sentence(words.counted(len(findings), "finding")).rstrip(".")
    return headline, say("{likelihood}. {count} in all. {said}", likelihood=first.likelihood, count=count, said=said)


def _chimes(found: Examined) -> str:
    names = [examined_chime.name_of(chime) for chime in found.chimes]
    names += [say("{chime} chime at {site}", chime=chime.replace("-", " "), site=site) for site, chime in found.silent]
    return words.listed(names) if names else say("no chime")


def _compared(found: Examined) -> str:
    """With what the measured was compared, in a sentence."""
    parts = [say("the commissioning record in it")] if any(chime.then for chime in found.chimes) else []
    parts += [say("the fit-out sheet")] if found.with_sheet else []
    if not parts:
        return say(
            "It was compared with nothing: the recording has no commissioning record, and no fit-out sheet was "
            "given. What has changed, or was built in, cannot be told, only what cannot be right in any house."
        )
    return say("It was compared with {listed}.", listed=words.listed(parts))


def _span(found: Examined, zone: ZoneInfo) -> list[str]:
    if found.first_s is None or found.last_s is None:
        return []
    first, last = (examined_chime.day(moment_s, zone) for moment_s in (found.first_s, found.last_s))
    if first == last:
        return [words.span(found.first_s, found.last_s, zone), first]
    return [say("{day} to", day=first), last]


def _blind(start_s: float, end_s: float | None, why: str, zone: ZoneInfo) -> str:
    start = examined_chime.moment(start_s, zone)
    if end_s is None:
        return say("From {start} on nothing could be recorded: {why}.", start=start, why=why)
    return say(
        "For {duration} from {start} nothing could be recorded: {why}.",
        duration=words.duration(end_s - start_s),
        start=start,
        why=why,
    )


def style() -> Markup:
    """The house's sheets and its typeface, in the page itself."""
    faces = [
        f'@font-face{{font-family:"Brygada";src:url(data:font/woff2;base64,'
        f'{b64encode((DIRECTORY / "fonts" / name).read_bytes()).decode()}) format("woff2");'
        f"font-weight:400 700;font-style:{kind}}}"
        for kind, name in FONTS.items()
    ]
    faces.append(
        ':root{--type:"Brygada","Iowan Old Style",Charter,"Sitka Text",Cambria,"Noto Serif","DejaVu Serif",Georgia,serif}'
    )
    sheets = [(DIRECTORY / name).read_text(encoding="utf-8") for name in SHEETS]
    return Markup("\n".join([*faces, *sheets]))  # noqa: S704 - our own files
