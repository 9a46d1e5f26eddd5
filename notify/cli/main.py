"""The command `shelfbell`: its groups, and errors as sentences with an exit code, never as a traceback."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from notify.cli.desk import Desk, Group, Options, as_json
from notify.core.errors import Conflict, Invalid, Misconfigured, NotAllowed, NotFound, NotifyError, Unavailable
from notify.store.trouble import trouble_of

# What a program that calls the command may decide by. 2 is also click's own code for a wrong option.
EXIT_CODES: dict[type[NotifyError], int] = {
    Invalid: 2, NotAllowed: 3, NotFound: 4, Conflict: 5, Misconfigured: 6, Unavailable: 75,
}  # fmt: skip
FAULT, INTERRUPTED = 70, 130

# name -> where the command lives. Loaded when it is called: `shelfbell --help` need not open a database.
COMMANDS: dict[str, str] = {
    "init": "init:init",
    "check": "check:check",
    "upgrade": "upgrade:upgrade",
    "backup": "backup:backup",
    "restore": "restore:restore",
    "serve": "serve:serve",
    "web": "serve:web",
    "worker": "serve:worker",
    "demo": "demo:demo",
    "check-in": "check_in:check_in",
    "ticket": "ticket:ticket",
    "question": "question:question",
    "part": "part_back:part",
    "promise": "promise:promise",
    "forecast": "forecast_reports:forecast",
    "bench": "bench:bench",
    "kind": "kind:kind",
    "history": "history:history",
    "pickup": "pickup_capacity:pickup",
    "feed": "feed:feed",
    "handover": "handover:handover",
    "uncollected": "uncollected:uncollected",
    "call": "call:call",
    "message": "message:message",
    "messages": "messages:messages",
    "inbox": "inbox:inbox",
    "replies": "replies:replies",
    "reply": "replies:reply",
    "why": "why:why",
    "preview": "preview:preview",
    "person": "person:person",
    "consent": "consent:consent",
    "suppression": "suppression:suppression",
    "watch": "watch:watch",
    "source": "source:source",
    "listener": "listener:listener",
    "doubt": "doubt:doubt",
    "token": "token:token",
    "api": "api:api",
    "request": "request:request",
    "forget": "forget:forget",
    "erasure": "erasure:erasure",
    "held": "held:held",
    "record": "held:record",
    "keep": "keep:keep",
    "hold": "hold:hold",
    "key": "key:key",
    "access-log": "access_log:access_log",
    "staff": "staff:staff",
    "shop": "shop:shop",
    "print": "print:print_",
    "pad": "pad:pad",
}


class Commands(Group):
    """Finds each command in its own file."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the table, which is the order of a repair."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Loads the command's file."""
        if cmd_name not in COMMANDS:
            return None
        file, _, name = COMMANDS[cmd_name].partition(":")
        found: click.Command = getattr(import_module(f"notify.cli.{file}"), name)
        return found


@click.command("shelfbell", cls=Commands, no_args_is_help=True)
@click.version_option(package_name="shelfbell", prog_name="shelfbell")
def cli() -> None:
    """Tells the owner of a repaired device, and the shop, the right thing at the right moment.

    Start with `shelfbell init` in an empty folder, then `shelfbell serve`; or look around with `shelfbell demo`.
    Tickets are named by their claim number, as in `shelfbell ticket show K7M-2X9T`.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """The entry point of the program; ends the process with an exit code."""
    sys.exit(run(list(sys.argv[1:] if arguments is None else arguments)))


def run(arguments: list[str], *, here: Path | None = None) -> int:
    """Does one command; its exit code. Says on stderr what went wrong, as a sentence or (--json) an object."""
    desk = Desk(Options(), os.environ, here or Path.cwd())
    wants_json = "--json" in arguments
    try:
        result = cli.main(arguments, prog_name="shelfbell", standalone_mode=False, obj=desk)
        return result if isinstance(result, int) else 0
    except click.exceptions.Exit as ended:
        return ended.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped.", err=True)
        return INTERRUPTED
    except click.ClickException as error:
        return _tell(_usage(error), code=error.exit_code, wants_json=wants_json)
    except NotifyError as error:
        return _tell(error, code=exit_code(error), wants_json=wants_json, named=desk.named)
    except UnicodeEncodeError as error:
        if error.reason != "surrogates not allowed":
            return _unforeseen(error, wants_json=wants_json)
        unread = Invalid("What was typed holds signs that are no text here", "Type them again, in UTF-8.")
        return _tell(unread, code=exit_code(unread), wants_json=wants_json)
    except BrokenPipeError:
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115 - whoever read us has gone; nothing more is to be said
        return 0
    except Exception as error:
        return _unforeseen(error, wants_json=wants_json)
    finally:
        desk.close()


def exit_code(error: NotifyError) -> int:
    """The exit code of an error's class; 1 for one without a class of its own."""
    return next((code for kind, code in EXIT_CODES.items() if isinstance(error, kind)), 1)


def _usage(error: click.ClickException) -> NotifyError:
    context = getattr(error, "ctx", None)
    advice = f"See `{context.command_path} --help`." if context else ""
    return Invalid(" ".join(error.format_message().split()), advice)


def _tell(error: NotifyError, *, code: int, wants_json: bool, named: Mapping[str, str] | None = None) -> int:
    """Says what is wrong; `named` are the command's options by the field that a problem is about."""
    named = named or {}
    if wants_json:
        whole = {"error": type(error).__name__, "exit_code": code, "problems": _problems(error, named)}
        click.echo(_told(as_json(whole)), err=True)
        return code
    if len(error.problems) > 1:
        click.echo(_told(f"{error.what}:"), err=True)
    for problem in error.problems:
        option = named.get(problem.field, "")
        hint = f" ({option})" if option and option not in str(problem) else ""
        click.echo(_told(f"{'  - ' if len(error.problems) > 1 else ''}{problem}{hint}"), err=True)
    return code


def _told(text: str) -> str:
    """What can be written: half signs that a terminal handed us cannot."""
    return text.encode("utf-8", "replace").decode()


def _problems(error: NotifyError, named: Mapping[str, str]) -> list[dict[str, Any]]:
    return [
        {"what": one.what, "advice": one.advice, "field": one.field, "option": named.get(one.field, "")}
        for one in error.problems
    ]


def _unforeseen(error: Exception, *, wants_json: bool) -> int:
    """A fault of the program or the database, by kind and place only: its words may hold somebody's data."""
    if type(error).__module__.startswith("sqlalchemy") and type(error).__name__ == "DatabaseError":
        damaged = Misconfigured(
            "The database cannot be read: it is damaged, or the file is none", "Bring back its newest backup."
        )
        return _tell(damaged, code=exit_code(damaged), wants_json=wants_json)
    if trouble := trouble_of(error):
        return _tell(trouble, code=exit_code(trouble), wants_json=wants_json)
    frame = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{type(error).__name__} in {Path(frame.filename).name}, line {frame.lineno}"
    fault = NotifyError(f"Shelfbell has a fault here ({place})", "Nothing was half done. Please report this line.")
    return _tell(fault, code=FAULT, wants_json=wants_json)
