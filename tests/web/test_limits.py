"""Nothing larger than the limits is taken, and a refusal says so (D11); slow clients are the web server's matter."""

from __future__ import annotations

from typing import Any

import pytest

from tests.web.conftest import Browser
from tests.web.database_digest import changed_tables, digest

KB = 1024
LONG = "x" * 600 * KB
PARTS = {f"field{i}": "x" for i in range(400)}


def _upload(name: str, content: bytes) -> dict[str, Any]:
    head = f'--cut\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n\r\n'.encode()
    return {"data": head + content + b"\r\n--cut--\r\n", "content_type": "multipart/form-data; boundary=cut"}


def _oversized() -> dict[str, dict[str, Any]]:
    """What is too large, by name."""
    return {
        "a field of 600 kB": {"data": {"name": LONG}},
        "a megabyte of notes": {"data": {"fault-1": "y" * KB * KB}},
        "ten million digits": {"data": {"price_agreed-1": "9" * 10_000_000}},
        "400 fields in parts": {"data": PARTS, "content_type": "multipart/form-data"},
        "a file of 2 MB": _upload("x.bin", b"z" * 2 * KB * KB),
        "a file name of 600 kB": _upload(LONG, b"z"),
        "JSON of 600 kB": {"data": '{"a":"' + LONG + '"}', "content_type": "application/json"},
        "600 kB of plain text": {"data": LONG, "content_type": "text/plain"},
        "many small fields": {"data": {f"f{i}": "v" * 100 for i in range(8000)}},
        "a scan of a whole roll": {"data": {"scan": "https://bell.example.org/c/" * 30_000}},
    }


@pytest.mark.parametrize("path", ["/check-in", "/sign-in"])
def test_oversized_requests_are_refused_and_change_nothing(path: str, house: Any, signed_in: Browser) -> None:
    before, accepted, statuses = digest(house), [], []
    for name, options in _oversized().items():
        answer = signed_in.open("POST", path, **options)
        statuses.append(answer.status_code)
        if answer.status_code != 413:
            accepted.append(f"{name}: {answer.status_code}")
    print(f"FIGURE limits{path.replace('/', '_')} oversized={len(statuses)} accepted={len(accepted)}")
    assert not accepted
    assert not changed_tables(before, digest(house)) - {"sessions"}


def test_too_much_is_said_in_words(signed_in: Browser) -> None:
    page = signed_in.open("POST", "/check-in", data={"name": LONG}).get_data(as_text=True)
    assert "too much" in page
    assert "Shorten" in page


def test_a_form_as_large_as_a_real_visit_is_taken(signed_in: Browser) -> None:
    """Twenty devices with long stories: what the largest honest check-in looks like."""
    data = {"name": "Pat", "language": "en", "check_in": "yes"}
    for i in range(1, 21):
        data |= {f"device-{i}": f"Radio {i}", f"device_class-{i}": "radio", f"fault-{i}": "crackles " * 300}
    assert signed_in.post("/check-in", data).status_code == 303


def test_a_path_and_a_query_of_any_length_are_answered(signed_in: Browser) -> None:
    assert signed_in.get("/" + "x" * 5000).status_code == 404
    assert signed_in.get("/c/" + "b" * 5000).status_code in (404, 429)
    assert signed_in.get("/sign-in?next=/" + "x" * 5000).status_code == 200
