"""The rows of one transaction of a source: each is taken, no news, older than what is known, or doubted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from notify.core import claim_number
from notify.core.errors import Invalid, NotFound, NotifyError, Unavailable
from notify.core.source_order import Act, Said, is_older
from notify.core.sources import Change, Doubt, Taken
from notify.core.tickets import MOVE_EVENTS, Phase
from notify.flows.heard import Heard, digest_of, known_words, moment, part_words, row_key, word_key
from notify.flows.take_row import Turn, kind_of, take_row
from notify.store import doubts, events, people, sources, tickets
from notify.store.doubts import Stored
from notify.store.sources import Row

# How long one transaction may be, reckoned in rows that move a ticket: one that takes a device in costs as much as ten
# of them (measured). Then the others may write, and their messages leave.
FULL, TAKING_IN = 100, 10
MAX_VERSION = 80
_ACTS = MOVE_EVENTS | {"corrected", "checked_in"}


@dataclass(slots=True)
class Taker:
    """The rows of one transaction, one after the other, and what came of them."""

    turn: Turn
    known: dict[str, Row] = field(default_factory=dict)
    waiting: dict[str, Stored] = field(default_factory=dict)
    changed: dict[str, Row] = field(default_factory=dict)
    taken: list[tuple[int, str]] = field(default_factory=list)  # line, and what it changes in words
    unchanged: list[int] = field(default_factory=list)
    stale: list[int] = field(default_factory=list)
    doubted: list[tuple[int, Doubt, str]] = field(default_factory=list)
    keys: set[str] = field(default_factory=set)
    named: dict[int, tuple[Change, str, str]] = field(default_factory=dict)  # by id(): the row itself, key and digest

    def read_ahead(self, changes: Sequence[Change]) -> None:
        """One look at each table for all rows, instead of one for each row (measured: most of the time went there)."""
        unit, batch = self.turn.unit, self.turn.batch
        names = [self._names(change) for change in changes]
        keys = [key for key, _ in names]
        self.known = sources.rows(unit, batch.source, keys)
        self.waiting = doubts.open_of(unit, batch.source, keys)
        fresh = [
            (row, change)
            for (key, digest), change in zip(names, changes, strict=True)
            if (row := self.known.get(key)) is None or row.digest != digest
        ]
        if batch.about != "tickets":
            return
        ids = {row.ticket_id for row, _ in fresh if row and row.ticket_id}
        numbers = {number for row, change in fresh if not row for number in _number(change.cells.get("reference", ""))}
        for job in tickets.jobs_by(unit, ids=ids, numbers=numbers):
            self.turn.jobs[job.id], self.turn.by_number[job.number] = job, job.id
        self.read_acts(list(self.turn.jobs))
        at_work = [job.id for job in self.turn.jobs.values() if job.phase is Phase.ON_BENCH]
        stories = events.stories_of(unit, at_work)
        self.turn.stories.update({ticket_id: stories.get(ticket_id, ()) for ticket_id in at_work})

    def _names(self, change: Change) -> tuple[str, str]:
        """Its key and its digest, reckoned once: its four hashes are felt in a row of a few hundred microseconds."""
        if id(change) not in self.named:
            mark = self.turn.unit.vault.row_mark
            self.named[id(change)] = change, row_key(self.turn.batch, change, mark), digest_of(change, mark)
        return self.named[id(change)][1:]

    def read_acts(self, ticket_ids: Sequence[str]) -> None:
        """Looks up what was done last to the phases of these tickets, and by whom."""
        source = self.turn.batch.source
        for ticket_id, (event, written) in events.newest_of(self.turn.unit, ticket_ids, _ACTS).items():
            ours = event.actor_kind == "source" and event.actor_id == source
            self.turn.acts[ticket_id] = Act(event.at, written, ours, event.kind == "checked_in")

    def take_some(self, changes: list[Change]) -> list[Change]:
        """Takes rows until the transaction is long enough; those that are left."""
        spent = 0
        for at, change in enumerate(changes):
            if spent >= FULL:
                return changes[at:]
            made = self.turn.taken_in
            self.take(change)
            spent += 1 + (TAKING_IN - 1) * (self.turn.taken_in > made)
        return []

    def take(self, change: Change) -> None:
        """One row: taken, nothing new, older than what is known, or doubted."""
        key, digest = self._names(change)
        known, waiting = self.known.get(key), self.waiting.get(key)
        if waiting is not None and waiting.digest == digest:
            self._wait_on(change, waiting)
        elif known is not None and known.digest == digest and waiting is None:
            self.unchanged.append(change.line)
        else:
            self._take_new(change, key, digest, known, waiting)

    def _wait_on(self, change: Change, waiting: Stored) -> None:
        """It waits already. Only what its kind says may have changed without a person's decision is tried again."""
        if waiting.kind in (Doubt.UNKNOWN_WORD, Doubt.UNKNOWN_TICKET, Doubt.UNKNOWN_PART):
            self.retry(waiting, change)
        else:
            self.unchanged.append(change.line)

    def retry(
        self, waiting: Stored, change: Change | None = None, *, force: bool = False, decided_by: str = ""
    ) -> bool:  # fmt: skip
        """Tries an open doubt again, against what was known when it was told; whether it is taken now."""
        heard = heard_of(waiting, change, force=force, decided_by=decided_by)
        return self._try(heard, self.known.get(waiting.row_key), waiting, again=True)

    def remember(self, waiting: Stored, ticket_id: str, *, said: bool) -> None:
        """Keeps which ticket a source's reference is (`said`: and that all it says of it is settled)."""
        known, heard = self.known.get(waiting.row_key), heard_of(waiting)
        blank = known or Row(waiting.row_key, "", ticket_id, self.turn.now)
        row = heard.row(ticket_id, self.turn.now, known) if said else replace(blank, ticket_id=ticket_id)
        self.changed[waiting.row_key] = self.known[waiting.row_key] = row

    def _take_new(self, change: Change, key: str, digest: str, known: Row | None, waiting: Stored | None) -> None:
        try:
            heard = self._hear(change, key, digest, waiting)
        except NotifyError as error:
            blank = Heard(change, key, digest, "", "", None, "", self.turn.batch.seen_before)
            self._doubt(blank, kind_of(error), error, known, waiting)
            return
        phase, _ = known_words(known)
        before = Said(phase, known.told_at, known.version) if known else None
        late = [one for one in (before, _said(waiting)) if one is not None and is_older(heard.said, one)]
        if late:
            self.stale.append(change.line)
        elif known is not None and known.digest == digest and waiting is not None:  # what was taken is said again
            self._settle(waiting, "overtaken")
            self.unchanged.append(change.line)
        else:
            self._try(heard, known, waiting)

    def _hear(self, change: Change, key: str, digest: str, waiting: Stored | None) -> Heard:
        turn, cells = self.turn, change.cells
        if turn.batch.about == "tickets" and not (change.key or cells.get("reference", "").strip()):
            raise Invalid("There is no reference", "Every row needs the job it speaks of.")
        version = cells.get("version", "").strip()
        if len(version) > MAX_VERSION:
            raise Invalid(f"Its version is longer than {MAX_VERSION} signs", "Map another column to it.")
        word, told_at = word_key(cells.get("phase", "")), moment(turn.batch, cells, turn.now)
        since = turn.batch.seen_before
        if waiting is not None and told_at is None and word == word_key(waiting.cells.get("phase", "")):
            since = waiting.since  # the word is as old as it was
        return Heard(change, key, digest, word, part_words(cells), told_at, version, since)

    def _try(self, heard: Heard, known: Row | None, waiting: Stored | None, *, again: bool = False) -> bool:
        try:
            with self.turn.unit.savepoint():
                ticket_id, would = take_row(self.turn, heard, known)
        except Unavailable:
            raise
        except NotifyError as error:
            self.turn.jobs.clear()
            self._doubt(heard, kind_of(error), error, known, waiting, again=again)
            return False
        self.changed[heard.row_key] = self.known[heard.row_key] = heard.row(ticket_id, self.turn.now, known)
        if would and ticket_id:
            self.turn.acts[ticket_id] = Act(self.turn.now, self.turn.now, by_source=True)
        if waiting is not None:
            self._settle(waiting, "taken" if again else "overtaken", ticket_id=ticket_id)
        line = heard.change.line
        if would or known is None:
            self.taken.append((line, would or "Nothing is to be changed."))
        else:
            self.unchanged.append(line)
        return True

    def _doubt(
        self, heard: Heard, kind: Doubt, error: NotifyError, known: Row | None, waiting: Stored | None, *,
        again: bool = False,
    ) -> None:  # fmt: skip
        reason = " ".join(str(one) for one in error.problems)
        if again and waiting is not None and waiting.kind is kind and waiting.reason == reason:
            self.unchanged.append(heard.change.line)
            return
        if waiting is not None:
            self._settle(waiting, "overtaken")
        ticket_id = known.ticket_id if known else ""
        if not ticket_id and self.turn.batch.about == "tickets":
            ticket_id = self._ticket_of(heard.change.cells.get("reference", ""))
        change, unit, source = heard.change, self.turn.unit, self.turn.batch.source
        new = doubts.add(
            unit, source=source, row_key=heard.row_key, line=change.line, doubt=kind,
            sealed_for=self._key_for(ticket_id), cells=change.cells, key=change.key, reason=reason, field=error.field,
            digest=heard.digest, ticket_id=ticket_id, told_at=heard.told_at, since=heard.since, seen_at=self.turn.now,
        )  # fmt: skip
        self.waiting[heard.row_key] = doubts.get(unit, new)
        self.doubted.append((change.line, kind, reason))

    def _ticket_of(self, reference: str) -> str:
        return next((self.turn.by_number[one] for one in _number(reference) if one in self.turn.by_number), "")

    def _key_for(self, ticket_id: str) -> str:
        """Under whose key a doubt is sealed: that of the ticket's person, or that of this source's day."""
        unit = self.turn.unit
        if ticket_id and not people.is_forgotten(unit, person := self.turn.job(ticket_id).person_id):
            return person
        name = doubts.day_key(unit, self.turn.batch.source, self.turn.now.date())
        if name not in self.keys:
            unit.vault.have_key(name)
            self.keys.add(name)
        return name

    def _settle(self, waiting: Stored, how: str, *, ticket_id: str = "") -> None:
        state = doubts.OVERTAKEN if how == "overtaken" else doubts.SETTLED
        doubts.settle(self.turn.unit, waiting.id, how=how, at=self.turn.now, state=state, ticket_id=ticket_id)
        self.waiting.pop(waiting.row_key, None)

    def finish(self) -> Taken:
        """Writes what is remembered of the rows that were taken; what came of all."""
        unit, source = self.turn.unit, self.turn.batch.source
        sources.put_rows(unit, source, list(self.changed.values()))
        lines = tuple(line for line, _ in self.taken)
        done = Taken(lines, tuple(self.unchanged), tuple(self.stale), tuple(self.doubted), would=tuple(self.taken))
        sources.count(unit, source, taken=len(done.taken), doubted=len(done.doubted), stale=len(done.stale))
        return done


def heard_of(
    waiting: Stored, change: Change | None = None, *, force: bool = False, decided_by: str = ""
) -> Heard:  # fmt: skip
    """An open doubt as the row that it was."""
    change = change or Change(waiting.line, waiting.cells, waiting.key)
    return Heard(
        change, waiting.row_key, waiting.digest, word_key(change.cells.get("phase", "")), part_words(change.cells),
        waiting.told_at, change.cells.get("version", "").strip(), waiting.since, force, decided_by,
    )  # fmt: skip


def _said(waiting: Stored | None) -> Said | None:
    if waiting is None:
        return None
    return Said("", waiting.told_at, waiting.cells.get("version", "").strip())


def _number(reference: str) -> tuple[str, ...]:
    """The claim number that a reference is, if it is one."""
    try:
        return (claim_number.parse_number(reference),)
    except (Invalid, NotFound):
        return ()
