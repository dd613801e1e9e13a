"""Teaching a cadence: three examples become a `Cadence`, or are refused in words; and the lesson in which they are heard.

A cadence is refused where the three differ more than one hand does, where ordinary callers press like that by chance, and where
a hand could not keep it apart from another. Knows no door and no store; the clock is passed in.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from service.errors import Refused
from service.presses.cadence import (
    WITHIN_Z,
    Cadence,
    Floats,
    Interval,
    chi_square,
    evidence_for,
    in_order,
    logarithms,
    phrases,
    spread_of,
    square_distance,
)

EXAMPLES = 3
LESSON_S = 600.0
"""A lesson ends by itself after ten minutes: a forgotten one must not learn from callers."""

PARTED_S = 3.0
"""Between two examples there is at least this pause, twice the longest within a cadence."""

MOST_PRESSES = 8
SHORTEST_GAP_S, LONGEST_GAP_S = 0.18, 1.5
"""Pauses of a cadence. Of a hand that means 0.18 s, one pause in a thousand is below 75 ms, where two presses are one."""

SHORTEST_HOLD_S, LONGEST_HOLD_S = 0.06, 4.0
"""Presses of a cadence. Shorter ones may leave no pulse; longer ones are somebody leaning on the button."""

UNLIKE_Z = 3.0902
"""Normal quantile of 99.9 %: so many lessons of one steady hand are accepted."""

LET_GO = 1.0 / 40.0
"""The share of the hand's own phrases that is given up to be told from ordinary callers."""

MISTAKEN_AT_MOST = 0.0005
"""Of other visits: half of what is promised for all cadences of a house."""

IN_A_ROW, AGAIN = 0.10, 0.20
"""Share of visits in which an ordinary caller presses twice without a longer pause; share that goes on to each press more
(estimates, no source)."""

APART = 6.18
"""Two cadences of as many presses lie at least so many standard deviations apart: of 1,000 phrases of the one, one lies nearer to
the other (half the distance is the normal quantile of 99.9 %)."""

DRAWS = 4096

Stage = Literal["listening", "heard", "expired"]


@dataclass(frozen=True, slots=True)
class Lesson:
    """listening —third example→ heard; listening —`LESSON_S` gone→ expired. Both ends are final. Times in POSIX seconds."""

    name: str
    begun_s: float
    examples: tuple[tuple[Interval, ...], ...] = ()

    @property
    def ends_s(self) -> float:
        return self.begun_s + LESSON_S

    def stage(self, now_s: float) -> Stage:
        if len(self.examples) == EXAMPLES:
            return "heard"
        return "expired" if now_s >= self.ends_s else "listening"

    def with_visit(self, presses: Iterable[Interval], now_s: float) -> "Lesson":
        """The lesson after (more of) a visit at its door. Giving the same visit again, or a longer one, adds nothing twice.

        The examples may be one visit or several. A phrase counts once it is over, `PARTED_S` after its last release. A single
        press is passed over: it is some caller's.
        """
        taken = {example[0][0] for example in self.examples}
        over = [
            tuple(phrase)
            for phrase in phrases(presses, PARTED_S)
            if len(phrase) > 1
            and self.begun_s <= phrase[0][0] < self.ends_s
            and phrase[0][0] not in taken
            and now_s - (phrase[-1][1] or phrase[-1][0]) > PARTED_S
        ]
        return replace(self, examples=(self.examples + tuple(over))[:EXAMPLES])

    def cadence(self, known: Iterable[Cadence]) -> Cadence:
        """What the three examples teach. Raises `Refused` as `teach` does; then the lesson is over and a new one may begin."""
        return teach(self.name, self.examples, known)


def teach(name: str, examples: Sequence[Sequence[Interval]], known: Iterable[Cadence] = ()) -> Cadence:
    """Three examples, each the presses of one phrase, to a cadence. One of the same name among the known is replaced.

    Raises
    ------
    Refused : with a sentence that says what was heard, the rule, and what to do instead.
    """
    if not name.strip():
        raise Refused("A cadence needs a name.")
    if len(examples) != EXAMPLES:
        raise Refused(f"A cadence is taught by {EXAMPLES} examples; {len(examples)} were heard.")
    counts = [len(example) for example in examples]
    if len(set(counts)) > 1:
        raise Refused(
            f"The examples have {', '.join(map(str, counts[:-1]))} and {counts[-1]} presses: each must have as many."
        )
    if counts[0] < 2:
        raise Refused("A single press is what every caller does: a cadence needs two presses or more.")
    if counts[0] > MOST_PRESSES:
        raise Refused(f"{counts[0]} presses are too many: a cadence has at most {MOST_PRESSES}.")
    heard = [logarithms(in_order(example)) for example in examples]
    x = np.array([one for one in heard if one is not None])
    if len(x) < EXAMPLES:
        raise Refused("The release of a press was not heard: hold the button until the press is over, and teach again.")
    middle = np.mean(x, axis=0)
    _within_reach(middle, counts[0])
    _alike(x, middle, counts[0])
    cadence = _calibrated(name.strip(), middle, counts[0])
    for other in known:
        if other.name != cadence.name:
            _kept_apart(cadence, other)
    return cadence


def _within_reach(middle: Floats, presses: int) -> None:
    holds, gaps = np.exp(middle[:presses]), np.exp(middle[presses:])
    if np.max(gaps) > LONGEST_GAP_S:
        raise Refused(f"Too slow: a pause of {np.max(gaps):.1f} s; within a cadence at most {LONGEST_GAP_S} s.")
    if np.max(holds) > LONGEST_HOLD_S:
        raise Refused(f"Too slow: a press of {np.max(holds):.1f} s; in a cadence at most {LONGEST_HOLD_S} s.")
    if np.min(gaps) < SHORTEST_GAP_S:
        raise Refused(f"Too quick: a pause of {np.min(gaps):.2f} s; let go for at least {SHORTEST_GAP_S} s.")
    if np.min(holds) < SHORTEST_HOLD_S:
        raise Refused(f"Too quick: a press of {np.min(holds):.2f} s; hold for at least {SHORTEST_HOLD_S} s.")


def _alike(x: Floats, middle: Floats, presses: int) -> None:
    """Refuse examples that scatter more than one hand does: 2 n degrees of freedom, as their middle is their own."""
    covariance = spread_of(middle)
    if np.sum(square_distance(x, middle, covariance)) <= chi_square((EXAMPLES - 1) * len(middle), UNLIKE_Z):
        return
    worst = int(np.argmax(np.ptp(x, axis=0) / np.sqrt(np.diag(covariance))))
    what = f"press {worst + 1}" if worst < presses else f"pause {worst - presses + 1}"
    heard = ", ".join(f"{value:.2f}" for value in np.exp(x[:, worst]))
    raise Refused(f"The examples are too unlike one another: {what} took {heard} s. Press the same way three times.")


def _calibrated(name: str, middle: Floats, presses: int) -> Cadence:
    """Set the evidence asked for, and refuse what ordinary callers do by chance.

    Phrases drawn from the hand (always the same draws) give both shares: each stands for `exp(-evidence)` of itself from
    an ordinary caller (importance sampling).
    """
    values = tuple(float(value) for value in np.exp(middle))
    cadence = Cadence(name, values[:presses], values[presses:], 0.0, 1.0, 0.0, EXAMPLES)
    centre, covariance = cadence.model()
    normal = np.random.default_rng(0).standard_normal((DRAWS, len(centre)))
    drawn = centre + normal @ np.linalg.cholesky(covariance).T
    evidence = evidence_for(drawn, centre, covariance)
    asked = float(np.quantile(evidence, LET_GO))
    taken = (square_distance(drawn, centre, covariance) <= chi_square(len(centre), WITHIN_Z)) & (evidence >= asked)
    in_a_row = IN_A_ROW * AGAIN ** (presses - 2)
    mistaken = in_a_row * float(np.mean(taken * np.exp(-evidence)))
    if mistaken > MISTAKEN_AT_MOST:
        holds = ", ".join(f"{value:.2f}" for value in cadence.holds_s)
        raise Refused(
            f"The presses are too alike ({holds} s): by chance {1e4 * mistaken:.0f} of 10,000 callers would be taken for it, "
            f"{1e4 * MISTAKEN_AT_MOST:.0f} at most. Make the long press longer, the short ones shorter, or press once more."
        )
    return replace(cadence, evidence=asked, recognised=float(np.mean(taken)), mistaken=mistaken)


def _kept_apart(cadence: Cadence, other: Cadence) -> None:
    """Refuse two that a hand may confuse, or that are one when the button misses a press."""
    fewer, more = sorted((cadence, other), key=lambda one: len(one.holds_s))
    middle, covariance = fewer.model()
    if len(fewer.holds_s) == len(more.holds_s):
        if _distance(more.model()[0], middle, covariance) < APART:
            raise Refused(
                f"Too close to {other.name}: a hand cannot keep the two apart. Choose one that differs in two presses."
            )
        return
    missed = _one_missed(more) if len(fewer.holds_s) == len(more.holds_s) - 1 else iter(())
    if any(_distance(rest, middle, covariance) < APART for rest in missed):
        raise Refused(f"Too close to {other.name}: with one press missed the two are the same. Choose another order.")


def _distance(x: Floats, middle: Floats, covariance: Floats) -> float:
    return float(np.sqrt(square_distance(x, middle, covariance)))


def _one_missed(cadence: Cadence) -> Iterator[Floats]:
    """Logarithms of the cadence with each of its presses left out in turn."""
    holds, gaps = cadence.holds_s, cadence.gaps_s
    for missed in range(len(holds)):
        rest = holds[:missed] + holds[missed + 1 :]
        joined = (gaps[missed - 1] + holds[missed] + gaps[missed],) if 0 < missed < len(holds) - 1 else ()
        yield np.log(np.array(rest + gaps[: max(missed - 1, 0)] + joined + gaps[missed + 1 :]))
