"""Errors that say what happened, to which thing, and what to do; the class says what the caller does next."""

from __future__ import annotations

from collections.abc import Sequence


class NotifyError(Exception):
    """Base of every error a person may see.

    `what` names the thing and what is wrong with it, `advice` says what to do, `field` names the
    input it belongs to (empty when none). Neither may hold contact data: errors end up in logs.
    """

    def __init__(self, what: str, advice: str = "", *, field: str = "") -> None:
        super().__init__(what, advice)
        self.what = what
        self.advice = advice
        self.field = field
        self.problems: tuple[NotifyError, ...] = (self,)

    def __str__(self) -> str:
        text = self.what if self.what.endswith("?") else self.what.rstrip(".") + "."
        return f"{text} {self.advice}" if self.advice else text


class Invalid(NotifyError):
    """The input is wrong; correct it and try again."""

    @classmethod
    def many(cls, problems: Sequence[Invalid]) -> Invalid:
        """One error that carries them all, so that a form can show every field at once."""
        if len(problems) == 1:
            return problems[0]
        whole = cls(f"{len(problems)} entries need correcting", " ".join(str(p) for p in problems))
        whole.problems = tuple(problems)
        return whole


class NotAllowed(NotifyError):
    """The rules or this person's role forbid it; somebody else or another step may."""


class Counted(NotAllowed):
    """Refused, but counted: what the transaction has written so far is kept (store/database.Database.write)."""


class TooOften(NotAllowed):
    """Too many tries in too short a time; wait."""


class NotFound(NotifyError):
    """There is no such thing here (or not for the one who asks; the answer is the same)."""


class Conflict(NotifyError):
    """Somebody else was faster, or the thing changed meanwhile; look again and decide anew."""


class Changed(Conflict):
    """The thing is no longer what the caller saw when they decided; look again and decide anew."""


class Unavailable(NotifyError):
    """What the service stands on (database, disk) fails just now; the same may work soon."""


class Misconfigured(NotifyError):
    """The installation is set up wrongly; the owner must change a setting."""
