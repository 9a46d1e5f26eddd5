"""The demo's stories of devices that are being worked on, or wait for an answer or a part."""

from __future__ import annotations

from datetime import datetime, timedelta

from notify.cli.demo_stage import Stage, Story
from notify.flows import parts, promises, questions
from notify.flows.check_in_form import DeviceForm


def just_taken_in(s: Stage) -> Story:
    """Dropped off on the way to the tram; nobody has looked yet."""
    yield s.ago(35)
    s.check_in("Hester Moyle", DeviceForm("Skerry clock radio", "radio", "alarm rings at four", accessories="none",
               price_limit="35", shelf="IN", promise=s.hours_on(24)), phone="+44 7700 900811",
               email="hester@example.org")  # fmt: skip


def price_question(s: Stage) -> Story:
    """The fault is found and costs more than was said: the customer decides on the claim page."""
    yield s.day(1, "17:55")
    visit = s.check_in("Dermot Skye", DeviceForm("Barnacle film camera", "camera", "does not wind on", price_limit="40",
                       condition="scratch below the viewfinder", shelf="E1"), phone="+44 7700 900812",
                       email="dermot.skye@example.net")  # fmt: skip
    visit.link("a question about the price: answer it")
    yield s.ago(140)
    visit.move("inspecting")
    questions.ask(s.ctx, s.technician, visit.ticket_ids[0], kind="price", price="68.50",
                  wording="The winding gear is worn and has to be made anew. Shall we do it?")  # fmt: skip


def substitute_part(s: Stage) -> Story:
    """The grey housing is not to be had; a blue one is. The customer has not answered yet."""
    yield s.day(4, "16:40")
    visit = s.check_in("Lotte Winch", DeviceForm("Tidepool handheld", "handheld", "cracked housing", price_agreed="45",
                       shelf="E2"), phone="+44 7700 900813", email="lotte.winch@example.com")  # fmt: skip
    visit.link("a part in another colour: take it or wait")
    yield s.day(3, "10:15")
    visit.move("inspecting", "in_line")
    part = parts.need(s.ctx, s.technician, visit.ticket_ids[0], name="housing, grey")
    yield s.ago(100)
    questions.ask(s.ctx, s.technician, visit.ticket_ids[0], kind="substitute_part", part_id=part,
                  wording="The grey housing comes in three weeks at best; a sea-blue one tomorrow. Which?")  # fmt: skip


def late_part(s: Stage) -> Story:
    """Ordered, promised, and not there: the customer was told another time."""
    yield s.day(6, "12:20")
    visit = s.check_in("Anselm Rook", DeviceForm("Foolscap e-reader", "e_reader", "battery empty by noon",
                       price_agreed="39", promise=s.hours_on(76), shelf="E3"),
                       phone="+44 7700 900814", email="anselm@example.org")  # fmt: skip
    yield s.day(6, "15:00")
    visit.move("inspecting", "in_line")
    part = parts.need(s.ctx, s.technician, visit.ticket_ids[0], name="battery B-11")
    terms = parts.Terms(article="B-11", order_ref="QH-118", cost="9.80")
    parts.order(s.ctx, s.technician, part, supplier="Fernhill Spares", due=s.day(2, "11:00"), terms=terms)
    yield s.day(2, "14:30")
    promises.promise(s.ctx, s.technician, visit.ticket_ids[0], _later(s, days=2), why="part_late")


def part_arrived(s: Stage) -> Story:
    """The last missing part came in this morning: the bench is free to take it."""
    yield s.day(2, "15:35")
    visit = s.check_in("Maud Keel", DeviceForm("Halyard pocket radio", "radio", "volume crackles", price_agreed="27",
                       shelf="E4"), phone="+44 7700 900815", email="maud.keel@example.net")  # fmt: skip
    yield s.day(1, "09:50")
    visit.move("inspecting", "in_line")
    part = parts.need(s.ctx, s.technician, visit.ticket_ids[0], name="potentiometer 10k")
    terms = parts.Terms(article="P-10K", order_ref="QH-121", slip="HP 4471")
    parts.order(s.ctx, s.technician, part, supplier="Harbour Parts", due=s.now - timedelta(hours=2), terms=terms)
    yield s.ago(95)
    parts.arrive(s.ctx, s.counter, part)


def on_the_bench(s: Stage) -> Story:
    """On the bench; the customer's only number is the device that lies there."""
    yield s.day(1, "18:20")
    visit = s.check_in("Silas Broom", DeviceForm("Skipper pocket telephone", "other", "microphone dead",
                       price_agreed="33", shelf="BENCH"), phone="+44 7700 900816", number_is_device=True)  # fmt: skip
    yield s.ago(110)
    visit.move("inspecting", "in_line")
    yield s.ago(15)
    visit.move("on_bench")


def waits_here(s: Stage) -> Story:
    """Ten minutes' work; the customer sits on the bench outside and needs no message."""
    yield s.ago(22)
    visit = s.check_in("Fitz Moraine", DeviceForm("Gannet travel radio", "radio", "battery spring bent",
                       price_agreed="8", shelf="DESK"), phone="+44 7700 900817", waits_here=True)  # fmt: skip
    yield s.ago(12)
    visit.move("in_line")


def swollen_battery(s: Stage) -> Story:
    """A swollen battery: flagged, in the sand box, no charging and no posting."""
    yield s.day(1, "11:45")
    visit = s.check_in("Cyrus Hallow", DeviceForm("Pagewright e-reader", "e_reader", "back cover lifts",
                       safety=("swollen", "hot"), shelf="SAND", price_limit="50"), phone="+44 7700 900818",
                       email="cyrus@example.com")  # fmt: skip
    visit.link("a swollen battery: what to mind")
    yield s.ago(70)
    visit.move("inspecting", note="Cell taken out, discharged in the sand box.")


def proving(s: Stage) -> Story:
    """Repaired, now watched; a friend may collect it."""
    yield s.day(3, "17:05")
    visit = s.check_in("Thea Lindqvist", DeviceForm("Marlinspike camera", "camera", "light meter jumps",
                       price_agreed="52", promise=s.hours_on(90), shelf="P1"), phone="+44 7700 900819",
                       email="thea@example.org", collectors=("Joan Harrow",))  # fmt: skip
    yield s.day(1, "14:20")
    visit.move("inspecting", "in_line", "on_bench")
    yield s.ago(200)
    visit.move("proving")


def put_back(s: Stage) -> Story:
    """Taken apart, then the new part was dead: back in line until the next one comes. Written in Italian."""
    yield s.day(5, "13:10")
    visit = s.check_in("Ottavia Serri", DeviceForm("Radio da tavolo Lanterna", "radio", "la luce sfarfalla",
                       price_agreed="24", shelf="E5"), phone="+44 7700 900822", email="ottavia.serri@example.net",
                       language="it")  # fmt: skip
    visit.link("in Italian: the part that came was dead")
    yield s.day(4, "10:40")
    visit.move("inspecting", "in_line")
    part = parts.need(s.ctx, s.technician, visit.ticket_ids[0], name="lamp driver")
    parts.order(s.ctx, s.technician, part, supplier="Harbour Parts", due=s.day(3, "09:30"))
    yield s.day(3, "09:40")
    parts.arrive(s.ctx, s.counter, part)
    yield s.day(3, "12:15")
    visit.move("on_bench")
    parts.dead_on_arrival(s.ctx, s.technician, part)
    visit.move("in_line", reason="part_dead")


def _later(s: Stage, *, days: int) -> datetime:
    at = s.now + timedelta(days=days)
    return at.replace(minute=30, second=0, microsecond=0)


STORIES = (
    just_taken_in, price_question, substitute_part, late_part, part_arrived, on_the_bench, waits_here, swollen_battery,
    proving, put_back,
)  # fmt: skip
