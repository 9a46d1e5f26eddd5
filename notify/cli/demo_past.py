"""The demo's finished stories, and those of devices that wait on the shelf."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from notify.cli.demo_stage import ZONE, Stage, Story, Visit
from notify.flows import desk_notes, moves, questions
from notify.flows.check_in_form import DeviceForm
from notify.flows.uncollected import log_step


def repaired(visit: Visit, which: int = 0) -> None:
    """Takes a device from the counter to the shelf."""
    visit.move("inspecting", "in_line", "on_bench", "proving", "on_shelf", which=which)


def forgotten_person(s: Stage) -> Story:
    """Handed back longer ago than the shop keeps contact data: the nightly forgetting took the person away."""
    yield s.day(112, "10:10")
    visit = s.check_in("Wilma Ostberg", DeviceForm("Halyard pocket radio", "radio", "no sound", price_agreed="28"),
                       phone="+44 7700 900801", email="wilma.ostberg@example.net")  # fmt: skip
    yield s.day(112, "16:20")
    repaired(visit)
    desk_notes.record_money(s.ctx, s.counter, visit.ticket_ids[0], paid=True)
    yield s.day(111, "17:45")
    visit.hand_back()


def left_behind(s: Stage) -> Story:
    """Never collected, closed by the owner after the local steps."""
    yield s.day(84, "15:30")
    visit = s.check_in("Casimir Blunt", DeviceForm("Foolscap e-reader", "e_reader", "screen frozen"),
                       email="casimir@example.net")  # fmt: skip
    yield s.day(82, "11:00")
    visit.move("inspecting", "on_shelf", outcome="unrepaired", reason="not_repairable")
    yield s.day(40, "18:00")
    log_step(s.ctx, s.owner, visit.ticket_ids[0], "notice_given", how="registered_post")
    yield s.day(4, "18:10")
    for step in ("no_data", "cautions_read", "money_noted"):
        log_step(s.ctx, s.owner, visit.ticket_ids[0], step)
    moves.move(s.ctx, s.owner, visit.ticket_ids[0], "left_behind", reason="local_steps_done", anyway=True,
               note="Two letters, no answer; steps of the town's rules done.")  # fmt: skip


def warranty(s: Stage) -> Story:
    """Repaired six weeks ago; the same fault is back, and the new ticket follows the old one."""
    yield s.day(41, "17:25")
    visit = s.check_in("Tobias Renn", DeviceForm("Gannet travel radio", "radio", "dial slips", price_agreed="34.50"),
                       phone="+44 7700 900802", email="tobias.renn@example.org")  # fmt: skip
    yield s.day(40, "11:40")
    repaired(visit)
    desk_notes.record_money(s.ctx, s.counter, visit.ticket_ids[0], paid=True)
    yield s.day(40, "17:15")
    visit.hand_back()
    yield s.day(1, "16:05")
    again = s.check_in("Tobias Renn", DeviceForm("Gannet travel radio", "radio", "the dial slips again",
                       condition="as handed back, seal whole", follows=visit.numbers[0], promise=s.hours_on(30)),
                       phone="+44 7700 900802", email="tobias.renn@example.org")  # fmt: skip
    yield s.ago(150)
    again.move("inspecting", note="Pulley worn, not the cord. No charge.")


def uncollected(s: Stage) -> Story:
    """Ready for more than three weeks; every reminder has gone out, now a person decides."""
    yield s.day(27, "12:10")
    visit = s.check_in("Perpetua Lind", DeviceForm("Periwinkle film camera", "camera", "shutter sticks",
                       price_agreed="62", shelf="D2"), phone="+44 7700 900803")  # fmt: skip
    yield s.day(25, "10:20")
    repaired(visit)


def call_task(s: Stage) -> Story:
    """A customer without e-mail or mobile: what must be said becomes a call, kept until somebody has said it."""
    yield s.day(2, "09:35")
    visit = s.check_in("Edda Quist", DeviceForm("Kitchen wireless", "radio", "hums", accessories="power lead",
                       price_agreed="22", shelf="A4"))  # fmt: skip
    desk_notes.add_note(
        s.ctx, s.counter, visit.ticket_ids[0], text="No telephone of her own; the flower stall opposite will fetch her."
    )
    yield s.ago(190)
    repaired(visit)


def two_devices(s: Stage) -> Story:
    """One visit, two devices: the radio is ready, the e-reader waits for tomorrow's delivery."""
    from notify.flows import parts

    yield s.day(2, "17:50")
    visit = s.check_in("Ines Farrow", DeviceForm("Cormorant pocket radio", "radio", "no sound after rain",
                       accessories="leather case", price_agreed="30", shelf="B2"),
                       DeviceForm("Pagewright e-reader", "e_reader", "page button dead", price_limit="60", shelf="B2"),
                       phone="+44 7700 900123", email="ines.farrow@example.org",
                       collectors=("Bo Farrow",))  # fmt: skip
    visit.link("two devices, one of them ready: choose a pickup time")
    yield s.day(1, "10:30")
    repaired(visit)
    visit.move("inspecting", "in_line", which=1)
    part = parts.need(s.ctx, s.technician, visit.ticket_ids[1], name="page button flex")
    yield s.day(1, "15:10")
    parts.order(s.ctx, s.technician, part, supplier="Harbour Parts", due=(s.now + timedelta(days=1)).date())


def pickup_today(s: Stage) -> Story:
    """Booked for today; the invite is in the customer's calendar."""
    yield s.day(3, "11:15")
    visit = s.check_in("Noor Vantage", DeviceForm("Marlinspike camera", "camera", "lens ring loose", price_agreed="41",
                       deposit="20", shelf="C1"), phone="+44 7700 900804", email="noor@example.com")  # fmt: skip
    yield s.day(1, "11:05")
    repaired(visit)
    yield s.day(1, "12:40")
    visit.book(lambda start: _is_day(s, start, 0) and start > s.now + timedelta(minutes=20))
    visit.link("a pickup booked for today")


def second_pickup_today(s: Stage) -> Story:
    """Also today, written in German; the price was declined, so it goes home unrepaired."""
    yield s.day(4, "13:30")
    visit = s.check_in("Gesine Ahlers", DeviceForm("Taschenradio Möwe", "radio", "rauscht", shelf="C2"),
                       phone="+44 7700 900805", email="gesine.ahlers@example.net", language="de")  # fmt: skip
    yield s.day(3, "16:00")
    visit.move("inspecting")
    question = questions.ask(s.ctx, s.technician, visit.ticket_ids[0], kind="price", price="74",
                             wording="Der Lautsprecher muss ersetzt werden. Sollen wir das machen?")  # fmt: skip
    yield s.day(3, "19:20")
    questions.answer(s.ctx, s.customer, question, answer="decline")
    yield s.day(2, "09:20")
    visit.move("on_shelf", outcome="unrepaired", reason="price_declined")
    yield s.day(2, "10:05")
    visit.book(lambda start: _is_day(s, start, 0) and start > s.now + timedelta(minutes=50))
    visit.link("in German: unrepaired, a pickup booked")


def pickup_tomorrow(s: Stage) -> Story:
    """Booked for tomorrow, moved once already."""
    yield s.day(2, "14:45")
    visit = s.check_in("Olive Tarn", DeviceForm("Tidepool handheld", "handheld", "left stick drifts", price_agreed="26",
                       shelf="C3"), phone="+44 7700 900806", email="olive@example.org")  # fmt: skip
    yield s.day(1, "15:30")
    repaired(visit)
    yield s.day(1, "16:10")
    visit.book(lambda start: _is_day(s, start, -1))
    yield s.ago(75)
    visit.book(lambda start: _is_day(s, start, -1) and start.astimezone(ZoneInfo(ZONE)).hour >= 13)


def missed_pickup(s: Stage) -> Story:
    """Booked for yesterday; nobody came."""
    yield s.day(4, "10:25")
    visit = s.check_in("Ruben Staithe", DeviceForm("Cockle handheld", "handheld", "no sound", price_agreed="18",
                       shelf="A1"), phone="+44 7700 900807")  # fmt: skip
    yield s.day(2, "12:00")
    repaired(visit)
    yield s.day(2, "12:30")
    visit.book(lambda start: _is_day(s, start, 1) and start.astimezone(ZoneInfo(ZONE)).hour >= 12)


def handed_back_today(s: Stage) -> Story:
    """Ready yesterday, collected this morning by the person who brought it."""
    yield s.day(2, "18:15")
    visit = s.check_in("Alba Crewe", DeviceForm("Lightkeeper lamp radio", "radio", "switch broken", price_agreed="19"),
                       email="alba.crewe@example.com")  # fmt: skip
    yield s.day(1, "13:10")
    repaired(visit)
    desk_notes.record_money(s.ctx, s.counter, visit.ticket_ids[0], paid=True)
    yield s.ago(50)
    visit.hand_back()


def _is_day(s: Stage, start: datetime, days_ago: int) -> bool:
    today = s.now.astimezone(ZoneInfo(ZONE)).date()
    return start.astimezone(ZoneInfo(ZONE)).date() == today - timedelta(days=days_ago)


def clockwork(s: Stage) -> Story:
    """What the clock does every day, and one night's forgetting."""
    for days_ago in range(26, 0, -1):
        yield s.day(days_ago, "09:05")
        s.jobs()
        yield s.day(days_ago, "18:40")
        s.jobs(forgetting=days_ago == 1)
    yield s.ago(30)
    s.jobs()


STORIES = (
    forgotten_person, left_behind, warranty, uncollected, call_task, two_devices, pickup_today, second_pickup_today,
    pickup_tomorrow, missed_pickup, handed_back_today, clockwork,
)  # fmt: skip
