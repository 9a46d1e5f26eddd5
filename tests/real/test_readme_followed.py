"""The README's way to a real installation, followed to the letter from a clean copy with an empty home."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.parts.live import switch_on

pytestmark = pytest.mark.real
ROOT = Path(__file__).resolve().parents[2]
KEPT = ("PIP_", "UV_", "SSL_", "REQUESTS_", "HTTP_PROXY", "HTTPS_PROXY", "http_proxy", "https_proxy", "LANG")


def commands() -> list[str]:
    """The lines of the first block under "Install it for real"."""
    part = (ROOT / "README.md").read_text("utf-8").partition("## Install it for real")[2]
    block = re.search(r"```\n(.*?)```", part, re.DOTALL)
    assert block is not None
    return [line for line in block[1].splitlines() if line.strip()]


def clean_copy(folder: Path) -> Path:
    """What git tracks, as somebody gets it who clones."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    for name in filter(None, listed.decode().split("\0")):
        if (ROOT / name).exists():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, folder / name)
    return folder


@contextmanager
def somebody(tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of a person with an empty home and a python3 that is new enough."""
    (tmp_path / "home").mkdir()
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "python3").symlink_to(Path(sys.base_prefix) / "bin" / Path(sys.executable).resolve().name)
    kept = {name: value for name, value in os.environ.items() if name.startswith(KEPT)}
    yield {**kept, "HOME": str(tmp_path / "home"), "PATH": f"{tmp_path / 'bin'}:{os.defpath}"}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_the_readme_alone_leads_to_a_first_message_and_an_open_shop(tmp_path: Path) -> None:
    lines = commands()
    assert lines[-1] == "shelfbell serve"
    began = time.monotonic()
    with somebody(tmp_path) as env:
        script = "\n".join(["set -e", *lines[:-1], "shelfbell check --send-test"])
        done = subprocess.run(["bash", "-c", script], cwd=clean_copy(tmp_path / "clone"), env=env,
                              capture_output=True, text=True, timeout=600, check=False)  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        minutes = (time.monotonic() - began) / 60
        home = tmp_path / "home" / "shelfbell"
        [letter] = (home / "data" / "mail" / "new").iterdir()
        assert "To: bench@example.org" in letter.read_text()
        assert {path.stat().st_mode & 0o077 for path in home.rglob("*")} == {0}
        # The only step that is not the README's: another program of this machine may have the usual port.
        port = free_port()
        switch_on(home / "config.toml", {"web.port": port})
        program = tmp_path / "home" / "shelfbell-program" / "bin" / "shelfbell"
        serving = subprocess.Popen([program, "serve"], cwd=home, env=env, stdout=subprocess.PIPE, text=True)
        try:
            assert serving.stdout is not None and f":{port}/" in serving.stdout.readline()
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in", timeout=10) as answer:
                assert answer.status == 200
        finally:
            serving.send_signal(signal.SIGTERM)
            serving.communicate(timeout=20)
    print(f"FIGURE F3 steps={len(lines)} minutes={minutes:.1f}")
    assert serving.returncode == 0
