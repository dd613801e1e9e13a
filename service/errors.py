"""Every error raised on purpose, and what the caller can do about it.

One family: whoever catches `BellcrankError` catches all of them. A message carries the values, the unit and the rule.
"""


class BellcrankError(Exception):
    """Base of all errors that Bellcrank raises on purpose."""


class BadPack(BellcrankError):  # noqa: N818 - the contract's own word
    """A pack breaks the contract. Keep its bytes with this reason in quarantine; never try it again unchanged.

    Parameters
    ----------
    reason : one sentence with the value and the rule it breaks.
    record : name of the record at fault, where there is one.
    """

    def __init__(self, reason: str, record: str | None = None) -> None:
        super().__init__(f"{record}: {reason}" if record else reason)
        self.reason = str(self)
        self.record = record


class BadTopic(BadPack):
    """A topic outside the grammar of the contract. Treated as a bad pack."""


class SettingError(BellcrankError):
    """A setting, an option or a fit-out sheet cannot be used. Say the sentence to the person who gave it, and stop."""


class StoreUnavailable(BellcrankError):  # noqa: N818 - a condition, not a mistake
    """The store cannot take or give rows now (disk full, locked, gone). Acknowledge nothing; try again later."""


class NotFound(BellcrankError):  # noqa: N818 - a condition, not a mistake
    """What was asked for is not in the record. Answer 404."""


class Refused(BellcrankError):  # noqa: N818 - a condition, not a mistake
    """A person asked for what the rules do not allow. Answer with the sentence."""
