"""What the pages write into the log: method, rule, status, time. Never an address, which may hold a claim secret."""

from __future__ import annotations

import logging
import time
import traceback

from flask import Flask, Response, g, request

from notify.store.trouble import trouble_of

LOG = logging.getLogger("shelfbell.web")


def log_answers(app: Flask) -> None:
    """One line per answer."""

    @app.before_request
    def begin() -> None:
        g.began = time.monotonic()

    @app.after_request
    def write(response: Response) -> Response:
        if not LOG.isEnabledFor(logging.INFO) or response.status_code == 304:  # nothing new: asked every second or two
            return response
        took = (time.monotonic() - g.get("began", time.monotonic())) * 1000
        LOG.info("%s %s %d %.0f ms", request.method, rule(), response.status_code, took)
        return response


def rule() -> str:
    """The route as it is written in the list, with its places unfilled."""
    return request.url_rule.rule if request.url_rule else "(no page)"


def log_fault(error: BaseException) -> None:
    """A fault of ours: where it happened and of which kind, without its words, which may quote what was typed.

    A full disk or a database that is away is no fault of ours, and its words are.
    """
    if trouble := trouble_of(error):
        LOG.error("%s %s could not be answered: %s", request.method, rule(), trouble.what)
        return
    places = [f"{frame.filename}:{frame.lineno} in {frame.name}" for frame in traceback.extract_tb(error.__traceback__)]
    LOG.error("%s %s failed: %s at %s", request.method, rule(), type(error).__qualname__, " < ".join(places[::-1]))
