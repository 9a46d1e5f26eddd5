"""Looks at whatever somebody of the staff, or a script, was given, and whether the access log says so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import delete, select

from notify.cli.desk import Desk, Options
from notify.store import schema as s
from tests.parts.clear_contacts import shown


@dataclass
class Walk:
    """`planted` is contact -> who the log must name when it stands anywhere in clear ("" for what never may)."""

    house: Any
    planted: Mapping[str, str]
    places: int = 0
    showing: Counter[str] = field(default_factory=Counter)  # by the code of the place in the log
    unlogged: list[str] = field(default_factory=list)
    needless: list[str] = field(default_factory=list)  # noted, though nothing stood there

    def saw(self, place: str, reader: str, data: bytes) -> None:
        """One answer to one reader; the log is empty afterwards."""
        noted, seen = self._take(), shown(data, self.planted)
        self.places += 1
        self.showing.update({row.place for row in noted if row.person_id in seen})
        if seen - {row.person_id for row in noted if row.reader_id == reader}:
            self.unlogged.append(place)
        if noted and not seen:
            self.needless.append(place)

    def _take(self) -> list[Any]:
        with self.house.ctx.db.engine.begin() as connection:
            found = list(connection.execute(select(s.contact_reads)))
            if found:
                connection.execute(delete(s.contact_reads))
        return found


class HouseDesk(Desk):
    """Commands in the house itself, by its clock; its settings are read anew."""

    def __init__(self, house: Any, folder: Path) -> None:
        super().__init__(Options(config=str(config_of(house))), {}, folder)
        self._house = house

    @property
    def services(self) -> Any:
        """The house's own."""
        return self._house.services


def config_of(house: Any) -> Path:
    """The settings file of a house."""
    return Path(house.services.settings.database.data_folder).parent / "config.toml"
