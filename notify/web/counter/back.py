"""Where a form leads back to: the page it stood on, if that is one of ours."""

from __future__ import annotations

from flask import request

from notify.web.access import safe_next


def back_to(usual: str) -> str:
    """The form's own `back` when it is a plain address of our own pages, else `usual`."""
    return safe_next(request.form.get("back", "")) or usual
