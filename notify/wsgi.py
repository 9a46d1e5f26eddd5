"""The pages for another WSGI server, as in: gunicorn "notify.wsgi:application()" beside `shelfbell worker`."""

from __future__ import annotations

import os
from pathlib import Path

from flask import Flask

from notify.cli.logs import set_up
from notify.cli.serve import checked
from notify.config.load import find, load
from notify.core.errors import Misconfigured
from notify.web.app import create_app
from notify.wiring import build


def application() -> Flask:
    """The application for the settings that SHELFBELL_CONFIG names, or config.toml here.

    Raises Misconfigured on SQLite: there one process does all, and it is `shelfbell serve`.
    """
    file = find(os.environ, here=Path.cwd())
    settings = checked(load(file), file)
    if settings.database.url.startswith("sqlite"):
        raise Misconfigured("Several web processes cannot share SQLite", "Run `shelfbell serve`.", field="database.url")
    set_up(settings.log)
    return create_app(build(settings))
