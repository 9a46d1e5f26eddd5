"""Nothing whose time is over goes while the machine's clock is in doubt: by the night's jobs and by the command alike.

What is to go is made first, each kind by the product's own ways; then the clock shows two years more than anybody saw.
"""

from __future__ import annotations

from datetime import timedelta

import pytest

from notify.flows import contact_reads, forget, passes, requests, watch_clock
from notify.schedule.jobs import JOBS, Run
from notify.store import contact_reads as looks
from notify.store import job_runs, people, visits
from notify.store import passes as rows
from tests.flows.test_keeping import home, person_of
from tests.parts.house import House

pytestmark = pytest.mark.long
DAY = 86400
FORGETTING = ("forget", "erase_asked", "forget_delegates", "forget_strangers", "forget_proofs", "old_absences")


def night(house: House, *names: str, first: bool = False) -> None:
    """Runs these jobs as the scheduler would, a day after the run before; or as in the `first` night."""
    for job in (one for one in JOBS if one.name in names):
        before = job_runs.NEVER if first else house.clock() - timedelta(days=1)
        job.flow(Run(house.services, house.shop_id, house.clock(), before))


def left(house: House, *whom: str) -> list[bool]:
    """Whether each of these people is still known, and at last whether anybody's look still is."""
    with house.read() as unit:
        return [*(not people.is_forgotten(unit, one) for one in whom), bool(looks.newest(unit, limit=9))]


@pytest.fixture
def whom(house: House) -> tuple[str, str, str]:
    """Somebody whose time will be over, somebody who asked to be erased, and whom a pass was for; and a look."""
    watch_clock.look(house.ctx, ran=None)
    began = house.clock()
    over, asking = home(house), home(house, name="Tam Reed", phone="", email="tam@example.org")
    requests.ask(house.ctx, house.actor(), asking.visit_id, person_of(house, asking), kind="erasure", how="counter",
                 made_sure="showed a passport")  # fmt: skip
    here = house.check_in(name="Sam Ferris", phone="", email="sam@example.org")
    passes.ask(house.ctx, house.customer(), here.visit_id, name="Mia Oland")
    house.clock.advance(8 * DAY)  # nobody confirmed it
    assert watch_clock.look(house.ctx, ran=house.clock() - began) == ""
    assert passes.expire_due(house.ctx, house.system()) == 1
    with house.read() as unit:
        (bringer,) = visits.visit_people(unit, here.visit_id)["bringer"]
        (named,) = (one.person_id for one in rows.passes_of(unit, here.visit_id))
    contact_reads.note(house.ctx, house.actor(), "ticket", [(bringer, None)])
    house.clock.advance(800 * DAY)
    return person_of(house, over), person_of(house, asking), named


def test_no_job_of_the_night_lets_anything_go_on_the_word_of_a_clock_that_leapt(
    house: House, whom: tuple[str, str, str]
) -> None:
    night(house, *FORGETTING)
    assert left(house, *whom) == [True] * 4
    watch_clock.vouch(house.ctx, house.actor())
    night(house, *FORGETTING, first=True)  # nor in the first night of all, for nothing can be compared yet
    assert left(house, *whom) == [True] * 4
    night(house, *FORGETTING)
    assert left(house, *whom) == [False] * 4


def test_the_command_too_waits_until_a_person_says_that_the_clock_is_right(
    house: House, whom: tuple[str, str, str]
) -> None:
    tried = forget.forget(house.ctx, house.actor())
    assert (tried.due, tried.counts, tried.confirmed, tried.doubt) == ((), {}, False, "unproved")
    assert forget.forget_delegates(house.ctx, house.actor()) == 0 and left(house, *whom) == [True] * 4
    shown = forget.forget(house.ctx, house.actor(), dry_run=True)
    assert set(shown.due) == set(whom[:2]) and shown.doubt == "unproved"
    watch_clock.vouch(house.ctx, house.actor())
    assert set(forget.forget(house.ctx, house.actor()).due) == set(whom[:2])
    assert forget.forget_delegates(house.ctx, house.actor()) == 1


def test_a_clock_is_believed_again_once_it_ran_six_hours_and_somebody_worked_by_it(house: House) -> None:
    watch_clock.look(house.ctx, ran=None)
    house.clock.advance(20 * DAY)
    assert watch_clock.look(house.ctx, ran=None) == "unproved"
    house.clock.advance(6 * 3600)
    assert watch_clock.look(house.ctx, ran=timedelta(hours=6)) == "unproved", "nobody was here"
    house.check_in()
    house.clock.advance(60)
    assert watch_clock.look(house.ctx, ran=timedelta(minutes=1)) == ""
    assert watch_clock.is_believed(house.ctx, house.shop_id)
