"""Tell a watcher on this machine whether the pages and the database answer; nobody else, and nothing about anybody."""

from __future__ import annotations

from flask import Blueprint, abort, jsonify, request
from werkzeug.wrappers import Response

from notify.config.kinds import is_loopback
from notify.web.here import services

pages = Blueprint("health", __name__)


@pages.get("/healthz")
def show() -> Response:
    """200 with the number of shops that the database knows; 404 for a request from elsewhere."""
    if not is_loopback(request.remote_addr or ""):
        abort(404)
    return jsonify(ok=True, shops=len(services().shop_ids()))
