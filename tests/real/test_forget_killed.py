"""kill -9 while the command forgets: the next run finishes whoever lost their key, and nobody is half forgotten."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest
from sqlalchemy import func, select

from notify.flows import forget
from notify.store import schema as s
from tests.bench.forget import fill
from tests.parts.installation import ROOT, make_installation, owner_of
from tests.parts.left_over import left_over
from tests.parts.processes import die_with_parent

pytestmark = pytest.mark.real
PEOPLE = 600  # some batches


def _wait_for_first_keys(file: Path, child: subprocess.Popen[bytes]) -> None:
    """Until the first batch has lost its keys; its rows may be overwritten or not."""
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as keys:
        for _ in range(60_000):
            if child.poll() is not None or keys.execute("select count(*) from data_keys").fetchone()[0] < PEOPLE:
                return
            time.sleep(0.0005)
    raise AssertionError("no key was destroyed in time")


def test_a_run_that_is_killed_is_finished_by_the_next_and_leaves_nobody_half_forgotten(tmp_path: Path) -> None:
    shop = make_installation(tmp_path)
    services = shop.open()
    shop_id = services.shop_ids()[0]
    fill(SimpleNamespace(ctx=services.context, shop_id=shop_id), PEOPLE, master="k1")
    keys_file = Path(str(services.context.db.vault.engine.url.database))
    with subprocess.Popen(
        [sys.executable, "-m", "notify", "forget", "--config", str(shop.config)], cwd=ROOT, stdout=subprocess.DEVNULL,
        preexec_fn=die_with_parent(signal.SIGKILL),
    ) as child:  # fmt: skip
        _wait_for_first_keys(keys_file, child)
        child.kill()
        assert child.wait(timeout=60) == -signal.SIGKILL, "it came to its end before it was killed"
    p = s.people
    try:
        with services.context.db.read(shop_id) as unit:
            known = select(func.count()).select_from(p).where(p.c.forgotten_at.is_(None))
            left = unit.connection.execute(known).scalar_one()
        done = forget.forget(services.context, owner_of(services))
        with services.context.db.read(shop_id) as unit:
            assert unit.connection.execute(known).scalar_one() == 0 and left_over(unit) == {}
            assert services.context.db.vault.with_keys(done.due) == frozenset()
        with closing(sqlite3.connect(keys_file)) as keys:
            assert keys.execute("select count(*) from data_keys").fetchone() == (0,)
        print(f"FIGURE forget_killed people={PEOPLE} left_by_the_first={left} half_forgotten=0")
        assert 0 < left == len(done.due) and done.confirmed
    finally:
        shop.close()
