"""Connections that say nothing do not keep customers out."""

from __future__ import annotations

import socket
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.parts.installation import Serving, make_installation

IDLE = 300  # three times what the web server takes by itself


@pytest.mark.real
def test_hundreds_of_half_said_requests_leave_room_for_a_customer(tmp_path: Path) -> None:
    installation = make_installation(tmp_path)
    with Serving(installation) as service, ExitStack() as held:
        for _ in range(IDLE):
            talker = held.enter_context(socket.create_connection(("127.0.0.1", installation.port)))
            talker.sendall(b"GET /sign-in HTTP/1.1\r\n")
        status = service.get("/sign-in")
    print(f"FIGURE idle_connections held={IDLE} answered={int(status == 200)}")
    assert status == 200
