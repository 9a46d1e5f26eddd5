"""Tell a watcher on this machine whether pages and database answer and messages leave; nobody else."""

from __future__ import annotations

from flask import Blueprint, abort, jsonify, request
from werkzeug.wrappers import Response

from notify.config.kinds import is_loopback
from notify.flows.view_late import view
from notify.web.here import ctx, services

pages = Blueprint("health", __name__)


@pages.get("/healthz")
def show() -> Response:
    """200 with the number of shops, how many messages wait, how long the oldest has, and how many past the alarm.

    404 for a request from elsewhere. `alarm` is for the watcher to ring by: the pages answer all the same.
    """
    if not is_loopback(request.remote_addr or ""):
        abort(404)
    shops = [view(ctx(), shop_id) for shop_id in services().shop_ids()]
    oldest = max((int(one.oldest.total_seconds()) for one in shops), default=0)
    late = sum(one.late for one in shops)
    waiting = sum(one.waiting for one in shops)
    return jsonify(ok=True, shops=len(shops), waiting=waiting, oldest_seconds=oldest, late=late, alarm=late > 0)
