"""Puts schemathesis, with every check it has, to the API as it is served on a loopback port."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import schemathesis
from schemathesis.checks import CHECKS
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import events, from_schema

# Which answers are right. What fits the description is never malformed (400), but the rules of the shop may refuse it
# (403, 409, 412, 422); what breaks the description is always malformed, unless something before that is wrong.
_EXPECTED = {
    "positive_data_acceptance": {"expected-statuses": ["2xx", 304, 403, 404, 409, 412, 422]},
    "negative_data_rejection": {"expected-statuses": [400, 401, 404, 406, 415, 428]},
    "missing_required_header": {"expected-statuses": [400, 401, 406, 415, 428]},
}


@dataclass
class Fuzzed:
    """What came of it: how many requests, their statuses, and each check that failed with the request it was."""

    requests: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    checks: set[str] = field(default_factory=set)
    failures: list[str] = field(default_factory=list)

    def figures(self) -> str:
        """For a FIGURE line."""
        told = " ".join(f"s{status}={count}" for status, count in sorted(self.statuses.items()))
        return f"requests={self.requests} checks={len(self.checks)} failures={len(self.failures)} {told}"


def fuzz(
    base: str, token: str, ids: Mapping[str, str], *, examples: int, phases: tuple[str, ...],
    between: Callable[[], object], seed: int = 1,
) -> Fuzzed:  # fmt: skip
    """Reads the served description and asks every operation in these phases (coverage, fuzzing, stateful).

    `ids` fill the places of addresses, so that requests reach something. All checks of the library are on.
    `between` is done after each scenario, so that the wrong tokens of one do not use up the tries of the next.
    """
    schema = schemathesis.openapi.from_url(f"{base}/api/v1/openapi.json", config=SchemathesisConfig.from_dict({
        "seed": seed, "base-url": base, "headers": {"Authorization": f"Bearer {token}"}, "checks": _EXPECTED,
        "generation": {"max-examples": examples, "deterministic": True, "database": "none"},
        "parameters": {f"path.{name}": value for name, value in ids.items()},
        "phases": {name: {"enabled": name in phases} for name in ("examples", "coverage", "fuzzing", "stateful")},
    }))  # fmt: skip
    done = Fuzzed()
    for event in from_schema(schema).execute():
        if isinstance(event, events.ScenarioFinished):
            _count(done, event.recorder)
            between()
        elif isinstance(event, events.NonFatalError | events.FatalError):
            done.failures.append(f"{getattr(event, 'label', '')}: {getattr(event, 'value', event)!r}")
    assert set(CHECKS.get_all_names()) >= done.checks
    return done


def _count(done: Fuzzed, recorder: Any) -> None:
    for one in recorder.interactions.values():
        done.requests += 1
        done.statuses[one.response.status_code if one.response else 0] += 1
    for case, checks in recorder.checks.items():
        for check in checks:
            done.checks.add(check.name)
            if check.failure_info is not None:
                done.failures.append(_told(recorder, case, check))


def _told(recorder: Any, case: str, check: Any) -> str:
    one = recorder.interactions.get(case)
    sent = {name: value for name, value in one.request.headers.items() if name.startswith("I")} if one else {}
    asked = f"{one.request.method} {one.request.uri} {sent} {one.request.body or b''!r}"[:500] if one else ""
    answered = f"{one.response.status_code} {one.response.content or b''!r}"[:300] if one and one.response else ""
    return f"{recorder.label} {check.name}: {str(check.failure_info.failure)[:300]} | {asked} -> {answered}"
