"""A shop's history read in: what is taken, refused and learned, twice, cut off anywhere, and from hostile files."""

from __future__ import annotations

import csv
import io
import random
from typing import Any

import pytest
from sqlalchemy import Engine, event, func, select

from notify.core.errors import Invalid, NotAllowed, NotifyError
from notify.core.past_jobs import sums_of
from notify.flows import history, learn, repair_kinds
from notify.flows.history import Read, read_history
from notify.flows.view_learned import view
from notify.forecast.back_test import back_test
from notify.store import repair_kinds as rows
from notify.store import schema
from tests.web.database_digest import digest

pytestmark = pytest.mark.long

GOOD = """kind,minutes,ended
Camera shutter,41,2026-11-02
Camera shutter,62.5,2026-11-03 16:30
Reader battery,24,2026-11-03T17:00
"""


@pytest.fixture
def shop(house: Any) -> Any:
    repair_kinds.add_first(house.ctx, house.actor())
    return house


def take(house: Any, text: str | bytes, **more: Any) -> Read:
    data = text if isinstance(text, bytes) else text.encode()
    return read_history(house.ctx, house.actor(), data, **more)


def kept(house: Any) -> int:
    with house.read() as unit:
        return int(unit.connection.execute(select(func.count()).select_from(schema.past_jobs)).scalar_one())


def learned(house: Any, name: str) -> tuple[int, float, float]:
    with house.read() as unit:
        row = rows.find_kind(unit, name)
    return row.learned, row.learned_sum, row.learned_squares


def sums(*minutes: float) -> tuple[int, float, float]:
    whole = sums_of(minutes)
    return whole.jobs, whole.total, whole.squares


def test_a_history_is_learned_from_and_the_same_file_again_teaches_nothing(shop: Any) -> None:
    assert take(shop, GOOD).taken == 3
    assert learned(shop, "Camera shutter") == sums(41, 62.5) and learned(shop, "Reader battery") == sums(24)
    before = digest(shop)
    again = take(shop, GOOD)
    assert (again.taken, again.known) == (0, 3) and digest(shop) == before


@pytest.mark.parametrize(
    "data",
    [
        GOOD.replace(",", ";").replace("62.5", "62,5").encode("utf-8-sig"), GOOD.replace(",", "\t").encode("utf-16"),
        GOOD.replace("\n", "\r\n").encode(), GOOD.replace("kind,minutes,ended", " Kind ,MINUTES,Ended").encode(),
        "ended,who,kind,note,minutes\n2026-11-02,\"Büttner, Jo\",Camera shutter,\"two\nlines\",41\n2026-11-03 16:30,x,"
        "Camera shutter,,62.5\n2026-11-03 17:00,,Reader battery,=1+1,24\n".encode("cp1252"),
        b"kind,started,ended\nCamera shutter,2026-11-02 11:19,2026-11-02 12:00\nCamera shutter,2026-11-03 15:27:30,"
        b"2026-11-03 16:30\nReader battery,2026-11-03 16:36,2026-11-03 17:00\n",
    ],
    ids=["semicolons, BOM, commas", "tabs, UTF-16", "CRLF", "capitals", "other columns, Windows-1252", "began, ended"],
)  # fmt: skip
def test_what_spreadsheets_write_is_understood(data: bytes, shop: Any) -> None:
    done = take(shop, data)
    assert (done.taken, done.refused) == (3, 0), done.reasons
    assert learned(shop, "Camera shutter") == sums(41, 62.5) and learned(shop, "Reader battery") == sums(24)


def test_bad_lines_are_refused_by_number_and_the_others_taken(shop: Any) -> None:
    text = GOOD + "Camera shutter,soon,2026-11-04\nCamera shutter,30\nNobody knows,30,2026-11-04\n\n,5,2026-11-04\n"
    done = take(shop, text + 'Camera shutter,30,"2026-11-04\n')
    assert (done.taken, done.refused) == (3, 5)
    assert [line for line, _ in done.reasons] == [5, 6, 7, 9, 10]
    assert done.unknown == (("Nobody knows", 1),) and not any("soon" in why for _, why in done.reasons)


def test_a_line_of_one_minute_is_one_job_and_lines_of_one_day_are_as_many_as_there_are(shop: Any) -> None:
    timed, dated = "Reader battery,24,2026-11-03 17:00\n", "Reader battery,24,2026-11-03\n"
    head = "kind,minutes,ended\n"
    assert take(shop, head + timed * 2 + dated * 2).taken == 3
    assert take(shop, head + dated * 3 + timed).taken == 1  # a later export of the same day knows one job more


def test_kinds_that_are_not_there_are_made_with_the_middle_of_their_minutes_where_asked(shop: Any) -> None:
    text = "kind,minutes,ended\n" + "".join(f"Tape belt,{n},2026-11-0{i}\n" for i, n in enumerate((20, 90, 33), 1))
    assert take(shop, text, new_kinds=True, dry_run=True).made == ("Tape belt",)
    with pytest.raises(NotifyError):
        learned(shop, "Tape belt")
    assert take(shop, text, new_kinds=True).made == ("Tape belt",)
    with shop.read() as unit:
        assert rows.find_kind(unit, "tape belt").minutes == 33
    assert learned(shop, "Tape belt") == sums(20, 90, 33)


def test_looking_first_changes_nothing_and_tells_the_same(shop: Any) -> None:
    before = digest(shop)
    look = take(shop, GOOD + "Camera shutter,soon,2026-11-04\n", dry_run=True)
    assert digest(shop) == before and (look.taken, look.refused) == (3, 1)


def test_only_who_may_change_settings_reads_a_history_in(shop: Any) -> None:
    with pytest.raises(NotAllowed):
        read_history(shop.ctx, shop.actor("counter"), GOOD.encode())


def test_dropping_what_was_read_in_leaves_the_shops_own(shop: Any) -> None:
    from tests.flows.test_learning import on_the_bench, step

    step(shop, on_the_bench(shop), "on_shelf", 35)
    take(shop, GOOD)
    assert history.drop_history(shop.ctx, shop.actor()) == 3 and kept(shop) == 1
    assert learned(shop, "Camera shutter") == sums(35) and learned(shop, "Reader battery") == sums()


class Killed(Exception):
    """The process ends here."""


def test_cut_off_at_any_statement_and_read_again_every_job_is_there_once_and_sums_are_right(shop: Any) -> None:
    chance, lines, cut = random.Random(1), 10, 0
    for at in range(1, 60):
        text = "kind,minutes,ended\n" + "".join(
            f"Camera shutter,{chance.uniform(20, 90):.3f},2026-11-0{1 + n}\n" for n in range(8)
        )
        before, seen = kept(shop), 0

        def fail(*_: Any, at: int = at) -> None:
            nonlocal seen
            seen += 1
            if seen == at:
                raise Killed

        event.listen(Engine, "before_cursor_execute", fail)
        try:
            take(shop, text, batch=3)
            break
        except Killed:
            cut += 1
        finally:
            event.remove(Engine, "before_cursor_execute", fail)
        assert learn.relearn(shop.ctx, shop.actor()) == 0  # whatever is there has been learned
        half = kept(shop) - before
        assert half in (0, 3, 6, 8)
        assert take(shop, text, batch=3).taken == 8 - half and kept(shop) == before + 8
        lines += 8
    print(f"FIGURE history_cut cuts={cut} wrong=0")
    assert cut > 12


HOSTILE: dict[str, bytes] = {
    "nothing": b"", "no header": b"Camera shutter,41,2026-11-02\n", "a picture": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" * 9,
    "NULs": GOOD.encode().replace(b"41", b"4\x001"), "NULs in the header": b"ki\0nd,minutes,ended\nx,1,2026-11-02\n",
    "a line of ten megabytes": GOOD.encode() + b"Camera shutter," + b"9" * 10_000_000 + b",2026-11-02\n",
    "a first line of ten megabytes": b"kind,minutes,ended," + b"x" * 10_000_000,
    "an open quote": GOOD.encode() + b'"Camera shutter,41,2026-11-02\n' + b"Camera shutter,41,2026-11-02\n" * 9000,
    "numbers nobody means": GOOD.encode() + b"".join(
        b"Camera shutter,%s,2026-11-02\n" % one
        for one in (b"1e308", b"-41", b"NaN", b"inf", b"0", b"=41", b"4_1", b"1e1")
    ),
    "the year 9999": GOOD.encode() + b"Camera shutter,41,9999-12-31\nCamera shutter,41,0001-01-01T00:00+14:00\n",
    "formulas": GOOD.encode() + b"=cmd|' /C calc'!A0,41,2026-11-02\n@SUM(1),41,2026-11-02\n+1,41,2026-11-02\n",
    "markup": GOOD.encode() + b"<script>alert(1)</script>,41,2026-11-02\n",
    "turned text": GOOD.encode() + "\u202ekind,41,2026-11-02\n".encode(),
    "too many columns": GOOD.encode() + b"x," * 50_000 + b"\n",
    "a hundred kinds each once": GOOD.encode() + b"".join(b"kind %d,41,2026-11-02\n" % n for n in range(3000)),
    "half a character": GOOD.encode() + b"Camera shutter,41,2026-11-0\xe2\n",
    "bytes of no text": bytes(range(256)) * 40,
    "a duplicate column": b"kind,kind,minutes,ended\nCamera shutter,x,41,2026-11-02\n",
}  # fmt: skip


def test_an_encoding_that_is_none_for_files_is_refused(shop: Any) -> None:
    for name in ("punycode", "zlib", "rot13", "no such thing"):
        with pytest.raises(Invalid, match="no text"):
            take(shop, b"x" * 2000, encoding=name)


def test_hostile_files_are_refused_in_a_sentence_or_line_by_line(shop: Any) -> None:
    refused = lines = 0
    for name, data in HOSTILE.items():
        before = kept(shop)
        try:
            done = take(shop, data, new_kinds=True)
        except Invalid as error:
            assert error.advice and len(str(error)) < 200 and kept(shop) == before, name
            refused += 1
            continue
        assert done.taken == kept(shop) - before and done.refused >= len(done.reasons), name
        assert all(len(why) < 200 for _, why in done.reasons), name
        if data.startswith(b"kind,minutes,ended\nCamera shutter,41,"):
            assert done.taken + done.known >= 3, name  # what was good is there
        assert done.refused or name in ("a duplicate column", "turned text"), name
        lines += done.refused
    with shop.read() as unit:
        kinds = [row.name for row in rows.list_kinds(unit)]
    print(f"FIGURE history_hostile files={len(HOSTILE)} refused_whole={refused} lines_refused={lines} tracebacks=0")
    assert len(kinds) <= repair_kinds.MOST_KINDS and not any(name[0] in "=+-@\u202e" for name in kinds)
    assert refused >= 5 and learn.relearn(shop.ctx, shop.actor()) == 0


def test_a_year_of_invented_repairs_is_predicted_as_well_as_was_said(shop: Any) -> None:
    """The minutes have a known law (lognormal), so nine of ten is known to be nine of ten; csv writes the file."""
    chance, out = random.Random(6), io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["kind", "minutes", "ended"])
    for n in range(1200):
        name, usual = chance.choice((("Camera shutter", 75), ("Reader battery", 25), ("Handheld screen", 45)))
        minutes = min(900.0, max(1.0, chance.lognormvariate(0, 0.45) * usual * 0.7))
        writer.writerow(
            [name, f"{minutes:.2f}", f"2025-{1 + n // 110:02d}-{1 + n % 27:02d} {9 + n % 9:02d}:{n % 60:02d}"]
        )
    assert take(shop, out.getvalue()).taken == 1200
    test = view(shop.ctx, shop.actor()).test
    told = " ".join(f"at{one.level:.0%}={one.share:.3f}[{one.low:.3f},{one.high:.3f}]" for one in test.levels)
    print(f"FIGURE history_back_test jobs={test.jobs} {told} loss90={test.levels[2].loss:.1f} "
          f"alone={test.levels[2].loss_nominal:.1f}")  # fmt: skip
    for one in test.levels:
        assert abs(one.share - one.level) < 4 * (one.level * (1 - one.level) / 1200) ** 0.5
        assert one.loss < one.loss_nominal
    lines = sorted(list(csv.reader(io.StringIO(out.getvalue())))[1:], key=lambda row: row[2])
    jobs = [(name, float(minutes)) for name, minutes, _ in lines]
    nominal = {"Camera shutter": 75.0, "Reader battery": 25.0, "Handheld screen": 45.0}
    assert test.histogram == back_test(nominal, jobs, start={}).histogram
    taught = {kind: sums_of(minutes for name, minutes in jobs[:1000] if name == kind) for kind in nominal}
    window = view(shop.ctx, shop.actor(), limit=200).test
    assert window.histogram == back_test(nominal, jobs[1000:], start=taught).histogram
    assert window.jobs == 200 and window.levels[1].share == pytest.approx(0.8, abs=0.12)
