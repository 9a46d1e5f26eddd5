"""Sets the log up as the settings say: level, text or JSON, the error stream or a file for its owner only.

The one place that every record passes: both forms take out what looks like an address, a number or a secret.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import time
from typing import IO

from notify.config.settings import Log
from notify.core.redact import redact

# What a record has by itself; anything else came with `extra=` and is written beside the words.
_OWN = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


class TextLines(logging.Formatter):
    """One line a record: UTC time, level, where from, words. Never a traceback: it may quote what was typed."""

    def format(self, record: logging.LogRecord) -> str:
        """The line; an exception by its kind only."""
        words = record.getMessage().replace("\n", " ")
        told = [f"{key}={value}" for key, value in _extra(record).items()]
        return " ".join([_utc(record), record.levelname, f"{record.name}:", redact(" ".join([words, *told]))])


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """The object; an exception by its kind only."""
        told = {
            "at": _utc(record), "level": record.levelname.lower(), "from": record.name,
            "what": redact(record.getMessage()),
        }  # fmt: skip
        extra = {key: redact(str(value)) if not isinstance(value, bool | int | float) else value
                 for key, value in _extra(record).items()}  # fmt: skip
        return json.dumps(told | extra, default=str, ensure_ascii=False)


def _utc(record: logging.LogRecord) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created))


def _extra(record: logging.LogRecord) -> dict[str, object]:
    told = {key: value for key, value in vars(record).items() if key not in _OWN}
    if record.exc_info and record.exc_info[0]:
        told["fault"] = record.exc_info[0].__name__
    return told


def set_up(log: Log) -> None:
    """Replaces the handlers of the root logger. Other people's libraries speak only from warnings on."""
    logging.raiseExceptions = False  # a log that cannot be written (a full disk) must not print a traceback instead
    handler = logging.StreamHandler(_stream(log))
    handler.setFormatter(JsonLines() if log.form == "json" else TextLines())
    root = logging.getLogger()
    for old in list(root.handlers):
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    logging.getLogger("shelfbell").setLevel(log.level.upper())
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)


def _stream(log: Log) -> IO[str]:
    if log.file is None:
        return sys.stderr
    handle = os.open(log.file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    return os.fdopen(handle, "a", encoding="utf-8")
