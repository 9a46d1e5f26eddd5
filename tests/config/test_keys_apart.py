"""The keys of people never lie in the database that they open, however its address is spelt."""

from __future__ import annotations

import pytest

from notify.config.rules import is_same_database

MAIN = "postgresql+psycopg://bell:x@127.0.0.1/shelfbell"


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (MAIN, MAIN, True),
        (MAIN, "postgresql://keys:y@localhost:5432/shelfbell?sslmode=require", True),
        (MAIN, "postgresql:///shelfbell?host=/run/postgresql", True),
        (MAIN, "postgresql+psycopg://bell:x@127.0.0.1/shelfbell_keys", False),
        (MAIN, "postgresql+psycopg://bell:x@127.0.0.1:5433/shelfbell", False),
        (MAIN, "postgresql+psycopg://bell:x@192.0.2.7/shelfbell", False),
        (MAIN, "", False),
        (MAIN, "sqlite:////mnt/apart/keys.db", False),
        ("sqlite:////srv/bell/data/a.db", "sqlite:////srv/bell/x/../data/a.db", True),
        ("sqlite:////srv/bell/data/a.db", "sqlite:////srv/bell/data/keys.db", False),
    ],
)
def test_one_database_under_two_addresses_is_known(one: str, other: str, same: bool) -> None:
    assert is_same_database(one, other) is same
