"""The shop's own commands: people, hours, calls, messages, forgetting; and who may do what."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from notify.cli.main import COMMANDS, cli
from notify.cli.only_one import only_one
from notify.schedule.due import DueJobs
from notify.schedule.jobs import JOBS
from notify.store import erasing
from notify.wiring import system_clock
from tests.cli.conftest import Shop

pytestmark = pytest.mark.long  # together some seconds of one core


def _file(folder: Path, text: str) -> str:
    file = folder / "secret.txt"
    file.write_text(text, "utf-8")
    return str(file)


def test_people_who_work_here_are_added_changed_and_listed(shop: Shop, tmp_path: Path) -> None:
    shop.ok("staff", "add", "Jonas", "technician", "--password-file", _file(tmp_path, "solder-and-tea\n7007\n"))
    listed = {p["name"]: p for p in shop.ok("staff", "list", "--json").data}
    assert listed["Jonas"]["role"] == "technician" and listed["Jonas"]["has_pin"]
    assert shop("staff", "add", "Jonas", "counter", "--password-file", _file(tmp_path, "long enough")).code == 5
    assert shop("staff", "add", "Ada", "counter", "--password-file", _file(tmp_path, "short")).code == 2
    shop.ok("staff", "change", "Jonas", "--role", "counter")
    shop.ok("staff", "change", "Jonas", "--left")
    assert not next(p for p in shop.ok("staff", "list", "--json").data if p["name"] == "Jonas")["active"]
    assert shop("staff", "change", "Owner", "--left").code == 3
    assert shop("staff", "change", "Nobody", "--left").code == 4


def test_a_password_made_here_is_shown_once_and_given_ones_never(shop: Shop, tmp_path: Path) -> None:
    made = shop.ok("staff", "change", "Owner", "--password", "--json").data
    assert len(made["password"]) > 20
    given = shop.ok("staff", "change", "Owner", "--password-file", _file(tmp_path, "by-the-sea-again"), "--json")
    assert "password" not in given.data and "by-the-sea" not in given.out


def test_the_role_of_who_acts_counts(shop: Shop, tmp_path: Path) -> None:
    shop.ok("staff", "add", "Ada", "counter", "--password-file", _file(tmp_path, "counter by the sea"))
    number = shop.check_in("--as", "Ada")
    assert "(Ada)" in shop.ok("ticket", "show", number).out
    refused = shop("question", "ask", number, "give_back", "Give back?", "--as", "Ada")
    assert refused.code == 3 and "technician or owner" in refused.err
    assert shop("shop", "set", "name=Ours", "--as", "Ada").code == 3
    assert shop("forget", "--as", "Ada").code == 3
    unknown = shop("ticket", "list", "--as", "Zoe")
    assert unknown.code == 4 and "Ada, Owner" in unknown.err
    shop.ok("staff", "change", "Ada", "--left")
    assert shop("ticket", "list", "--as", "Ada").code == 3


def test_the_shop_sets_its_hours_days_and_suppliers(shop: Shop) -> None:
    shop.ok("shop", "set", "name=Rope Walk Bench", "pass_days=17")
    shop.ok("shop", "hours", "sun", "11:00-15:00", "--capacity", "1")
    shop.ok("shop", "closed", f"{system_clock().year + 1}-12-25", "--reason", "holiday")
    shop.ok("shop", "closed", f"{system_clock().year + 1}-12-24", "--open", "09:00-12:00")
    shop.ok("shop", "supplier", "Harbour Parts", "--cutoff", "16:00")
    said = shop.ok("shop", "show").out
    for part in (
        "Rope Walk Bench",
        "sun  11:00-15:00",
        "closed",
        "09:00-12:00",
        "Harbour Parts",
        "cut-off 16:00",
    ):
        assert part in said
    view = shop.ok("shop", "show", "--json").data
    sunday = next(i for i, row in view["hours"] if row["weekday"] == 6)
    shop.ok("shop", "hours", "--drop", sunday[:12])
    shop.ok("shop", "closed", "--drop", view["days"][0]["id"][:12])
    after = shop.ok("shop", "show", "--json").data
    assert len(after["hours"]) == len(view["hours"]) - 1 and len(after["days"]) == 1


def test_a_suppliers_habits_are_changed_one_by_one(shop: Shop) -> None:
    shop.ok("shop", "supplier", "Harbour Parts", "--cutoff", "16:00", "--days", "2", "--works", "mon,tue,sat")
    shop.ok("shop", "supplier", "Harbour Parts", "--zone", "Europe/Berlin", "--closed", "2026-12-31,2026-12-24")
    shop.ok("shop", "supplier", "Harbour Parts", "--holidays-of", "GB-ENG", "--redelivers")
    [kept] = shop.ok("shop", "show", "--json").data["suppliers"]
    assert kept["working_days"] == "1100010" and kept["closed_days"] == ["2026-12-24", "2026-12-31"]
    assert (kept["days"], kept["cutoff"], kept["zone"], kept["holidays_of"], kept["redelivers"]) == (
        2, "16:00:00", "Europe/Berlin", "GB-ENG", True,
    )  # fmt: skip
    said = shop.ok("shop", "show").out
    assert "cut-off 16:00 Europe/Berlin" in said and "mon,tue,sat" in said and "no parcels yet" in said
    shop.ok("shop", "supplier", "Harbour Parts", "--cutoff", "", "--closed", "", "--no-redelivers")
    [kept] = shop.ok("shop", "show", "--json").data["suppliers"]
    assert kept["cutoff"] is None and kept["closed_days"] == [] and not kept["redelivers"] and kept["days"] == 2


@pytest.mark.parametrize(
    "words",
    [
        ("set", "colour=red"),
        ("set", "zone=Europe/Quillhaven"),
        ("set", "name"),
        ("set", "keep_period=P0D", "region=GB"),
        ("hours", "mon", "18:00-09:00"),
        ("hours", "mon", "nine to five"),
        ("hours",),
        ("hours", "funday", "09:00-10:00"),
        ("hours", "--drop", "zz"),
        ("closed",),
        ("closed", "2026-13-40"),
        ("supplier", "x", "--cutoff", "25:00"),
        ("supplier", "x", "--works", ""),
        ("supplier", "x", "--works", "mon,funday"),
        ("supplier", "x", "--closed", "christmas"),
        ("supplier", "x", "--zone", "Europe/Quillhaven"),
    ],
)
def test_wrong_settings_of_the_shop_are_refused_in_words(shop: Shop, words: tuple[str, ...]) -> None:
    said = shop("shop", *words)
    assert said.code == 2 and said.err.strip() and "Traceback" not in said.err


def test_a_person_is_reached_another_way_stopped_and_written_in_another_language(shop: Shop) -> None:
    number = shop.check_in()
    shop.ok("person", "contact", number, "sms", "07700 900222")
    shop.ok("person", "stop", number, "email", "--for", "pickup")
    shop.ok("person", "language", number, "de")
    (person,) = shop.ok("ticket", "show", number, "--json").data["people"]
    uses = {c["channel"]: c["uses"] for c in person["contacts"]}
    assert uses == {"email": ["repair"], "sms": ["repair", "pickup"]} and person["language"] == "de"
    shop.ok("person", "stop", number, "email", "--for", "pickup", "--allow")
    shop.ok("person", "contact", number, "sms")
    (person,) = shop.ok("ticket", "show", number, "--json").data["people"]
    assert [c["channel"] for c in person["contacts"]] == ["email"]
    assert shop("person", "contact", number, "email", "a@b, c@d").code == 2
    assert shop("person", "stop", number, "email", "--who", "payer").code == 4


def test_calls_are_listed_with_their_sentence_and_logged(shop: Shop) -> None:
    number = str(shop.ok("check-in", "--device", "Kitchen radio", "--name", "Edda", "--json").data["numbers"][0])
    assert "Nobody has to be called" in shop.ok("call", "list").out
    shop.shelve(number)
    services = shop.installation.open(clock=_later)
    while services.dispatcher.run_once(services.shop_ids()[0]):
        pass
    shop.installation.close()
    listed = shop.ok("call", "list")
    assert number in listed.out and "Edda" in listed.out
    call = listed.out.split()[0]
    shop.ok("call", "log", call, "nobody_there", "--note", "engaged")
    shop.ok("call", "log", call, "told")
    assert shop("call", "log", call, "told").code == 4
    assert "Nobody has to be called" in shop.ok("call", "list").out


def _later() -> Any:
    from datetime import timedelta

    at = system_clock() + timedelta(minutes=3)
    return at.replace(hour=12, minute=0) + timedelta(days=1)  # never in the quiet hours


def test_messages_are_listed_and_one_is_shown_as_its_reader_sees_it(shop: Shop) -> None:
    number = shop.check_in()
    listed = shop.ok("message", "list")
    assert "checked_in" in listed.out and "waiting" in listed.out and "ida@example.org" not in listed.out
    row = shop.ok("message", "list", "--json").data["lines"][0]
    shown = shop.ok("message", "show", row["id"][:8])
    assert "checked_in" in shown.out
    assert shop("message", "show", "zzz").code == 4
    assert number in listed.out


def test_a_person_is_forgotten_at_once_and_the_story_stays(shop: Shop) -> None:
    number = shop.check_in()
    shop.ok("request", "add", number, "erasure", "--made-sure", "their passport")
    would = shop.ok("forget", "--person", number, "--dry-run").out
    assert "mind: a device of theirs is still here" in would and "goes: 1 name" in would and "stays: the story" in would
    assert shop.ok("ticket", "show", number, "--json").data["people"][0]["name"] == "Ida Moss"
    assert "proved that nothing readable is left" in shop.ok("forget", "--person", number, "--yes").out
    shown = shop.ok("ticket", "show", number, "--json").data
    assert shown["line"]["device"] == "" and shown["people"][0]["forgotten"] and len(shown["story"]) >= 2
    assert "done" in shop.ok("request", "list").out and "open" not in shop.ok("request", "list").out
    dry = shop.ok("forget", "--dry-run", "--json").data
    assert (dry["due"], dry["kept"], dry["people"]) == (0, 0, [])
    assert shop.ok("forget", "--json").data["confirmed"] is True


def test_beside_a_running_service_the_proof_is_left_to_it_because_only_one_may_checkpoint(shop: Shop) -> None:
    number = shop.check_in()
    with only_one(shop.installation.config.parent / "data"):  # as `shelfbell serve` holds it
        said = shop.ok("forget", "--person", number, "--yes")
        assert "The running service rewrites the files and proves it" in said.out
        assert shop.ok("forget", "--json").data["confirmed"] is False
    services = shop.installation.open()
    job = next(job for job in JOBS if job.name == "prove_forgetting")
    DueJobs(services, [job], "one").run_due()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        assert erasing.unconfirmed(unit) == () and len(erasing.list_erasures(unit)) == 1
    services.close()


def test_every_command_has_help_with_a_sentence_and_the_common_options() -> None:
    import click

    def walk(command: click.Command, path: tuple[str, ...]) -> list[tuple[tuple[str, ...], click.Command]]:
        if isinstance(command, click.Group):
            context = click.Context(command)
            inner = [(name, command.get_command(context, name)) for name in command.list_commands(context)]
            return [found for name, one in inner if one for found in walk(one, (*path, name))]
        return [(path, command)]

    found = walk(cli, ())
    assert len(found) > 45 and set(COMMANDS) == {path[0] for path, _ in found}
    for path, command in found:
        names = {name for parameter in command.params for name in parameter.opts}
        assert {"--json", "--as", "--config", "--shop"} <= names, path
        assert command.help and command.help.strip()[0].isupper(), path
    print(f"FIGURE commands count={len(found)} with_json={len(found)}")
