"""Setting to work, step by step: what has been done since it was begun, as the record has it. Judges nothing; knows no HTTP."""

from dashboard import words
from dashboard.fitout_contexts import Setting, Step
from dashboard.house import House
from dashboard.language import say
from service.findings.kinds import Kind
from service.model import Chime
from service.ports import Reader

PRESSES = 5
"""At each door: enough to judge a button by, and soon done (chosen)."""

LIMITS: dict[Kind, int] = {"survey": 10}


def setting_of(reader: Reader, house: House, chime: Chime, since_s: float | None) -> Setting:
    site = house.site.site
    kept = _kept(reader, house, chime)
    if since_s is None:
        return Setting("", (), False, kept)
    doors = [door for door in house.doors if door.chime == chime.chime]
    steps: list[tuple[str, str, bool]] = []
    for door in doors:
        presses, _ = reader.presses(
            site, since_s, house.now_s + 1.0, chime=chime.chime, door=door.door, limit=PRESSES + 1
        )
        count = sum(not press.doubtful for press in presses)
        steps.append(
            (
                say("{name}: press {times}, each time for a second.", name=door.name, times=words.times(PRESSES)),
                say("{presses} so far.", presses=words.sentence(words.counted(count, "press", "presses")).rstrip("."))
                if count < PRESSES
                else say("Seen."),
                count >= PRESSES,
            )
        )
    if not doors:
        steps.append((say("Press each button five times."), say("No press has been heard from this chime yet."), False))
    sounded = [one for one in reader.soundings(site, since_s, house.now_s + 1.0) if one.chime == chime.chime]
    steps.append(
        (say("Let it sound once to its end."), say("Heard.") if sounded else say("Not heard yet."), bool(sounded))
    )
    surveys = reader.testimony(site, chime.chime, since_s, house.now_s + 1.0, LIMITS)
    steps.append(
        (
            say("Let it take a survey of its supply."),
            say("It has come.")
            if surveys
            else say("None has come yet. A chime that can be asked is asked with the button below."),
            bool(surveys),
        )
    )
    first_open = next((number for number, step in enumerate(steps) if not step[2]), len(steps))
    return Setting(
        f"{since_s:.0f}",
        [
            Step(text, told, "done" if done else "now" if number == first_open else "later")
            for number, (text, told, done) in enumerate(steps)
        ],
        bool(surveys),
        kept,
    )


def _kept(reader: Reader, house: House, chime: Chime) -> str:
    records = reader.commissionings(house.site.site, chime.chime)
    if not records:
        return say("No commissioning record has been kept yet. With one, it is told far more sharply what has changed.")
    record = records[0]
    by = say(" by {by}", by=words.person(record.by)) if record.by else ""
    return say(
        "The commissioning record that counts was kept {moment}{by}.",
        moment=words.moment(record.taken_s, house.now_s, house.zone),
        by=by,
    )
