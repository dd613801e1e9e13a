"""Readers of single values of a JSON object: each takes what JSON has and gives what is wanted, or says what it must be.

A reader raises ValueError with the rest of the sentence "it must be …". Knows no rule.
"""

import re
from collections.abc import Callable, Collection
from typing import Any

Read = Callable[[Any], Any]


def number(low: float, high: float, unit: str = "") -> Read:
    def read(given: Any) -> float:
        # NaN fails the comparison too
        if isinstance(given, bool) or not isinstance(given, int | float) or not low <= given <= high:
            raise ValueError(f"a number from {low:g} to {high:g} {unit}".rstrip())
        return float(given)

    return read


def whole(low: int, high: int) -> Read:
    def read(given: Any) -> int:
        if isinstance(given, bool) or not isinstance(given, int) or not low <= given <= high:
            raise ValueError(f"a whole number from {low} to {high}")
        return given

    return read


def pattern(pattern: str, meaning: str) -> Read:
    def read(given: Any) -> str:
        if not isinstance(given, str) or not re.fullmatch(pattern, given):
            raise ValueError(meaning)
        return given

    return read


def one_of(choices: Collection[str]) -> Read:
    def read(given: Any) -> str:
        if not isinstance(given, str) or given not in choices:
            raise ValueError(f"one of {', '.join(choices)}")
        return given

    return read


def several(one: Read) -> Read:
    def read(given: Any) -> tuple[Any, ...]:
        if not isinstance(given, list | tuple):
            raise ValueError("a list")  # noqa: TRY004 - one kind of mistake for whoever asks
        return tuple(one(item) for item in given)

    return read


def or_none(one: Read) -> Read:
    return lambda given: None if given is None else one(given)


def flag(given: Any) -> bool:
    if not isinstance(given, bool):
        raise ValueError("true or false")  # noqa: TRY004 - one kind of mistake for whoever asks
    return given
