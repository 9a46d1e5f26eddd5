"""Says the steps of a message's story in sentences: words of [message_story] in the desk's words file, filled in."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from notify.render.words import Language

# Which keys' words a code of a step stands for.
_GROUPS = {"what": "event", "why": "message_reason", "way": "channel"}


@dataclass(frozen=True, slots=True)
class Step:
    """One step: `code` is its sentence in [message_story]; the codes `what` (an event's kind), `why` (a reason) and
    `way` (a channel) are put into words; `said` is the other side's own text. Only what the sentence names is used.
    """

    code: str
    at: datetime
    what: str = ""
    why: str = ""
    way: str = ""
    said: str = ""


def say_steps(steps: Iterable[Step], *, words: Language, at: Callable[[datetime], str]) -> tuple[str, ...]:
    """A sentence for each step; `at` says a moment so that it fits after a verb ("at 17:30")."""
    return tuple(_say(step, words, at) for step in steps)


def _say(step: Step, words: Language, at: Callable[[datetime], str]) -> str:
    key = f"message_story.{step.code}"
    values = {"at": at(step.at), "said": f" The other side said: {step.said}" if step.said else ""}
    values |= {name: _in_words(group, getattr(step, name), words) for name, group in _GROUPS.items()}
    values["what"] = values["what"][:1].lower() + values["what"][1:]  # it stands within the sentence
    return words(key, **{name: value for name, value in values.items() if f"{{{name}}}" in words[key]})


def _in_words(group: str, code: str, words: Language) -> str:
    """The words of a code; a reason may carry the other side's own code after a colon, which the tries tell better."""
    key = f"{group}.{code.partition(':')[0]}"
    return words[key] if key in words else words["message_reason.other"]
