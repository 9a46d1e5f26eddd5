// Reads one .ics from standard input with ical.js and prints what it understood as JSON.
import { readFileSync } from "node:fs";
import ICAL from "ical.js";

const text = readFileSync(0, "utf8");
const jcal = ICAL.parse(text);
const calendar = new ICAL.Component(jcal);
const events = calendar.getAllSubcomponents("vevent").map((part) => {
  const event = new ICAL.Event(part);
  const who = (name) =>
    part.getAllProperties(name).map((property) => ({
      address: property.getFirstValue(),
      params: property.jCal[1],
    }));
  return {
    uid: event.uid,
    sequence: event.sequence,
    dtstamp: part.getFirstPropertyValue("dtstamp").toString(),
    // The no to a proposal names an event without its times.
    start: event.startDate?.toString(),
    end: event.startDate && event.endDate.toString(),
    startEpoch: event.startDate?.toUnixTime(),
    summary: event.summary,
    description: event.description,
    location: event.location,
    status: part.getFirstPropertyValue("status"),
    properties: part.getAllProperties().map((property) => property.name),
    organizer: who("organizer"),
    attendee: who("attendee"),
    alarms: part.getAllSubcomponents("valarm").length,
  };
});
const value = (name) => calendar.getFirstPropertyValue(name);
const answer = { jcal, version: value("version"), method: value("method"), prodid: value("prodid") };
process.stdout.write(JSON.stringify({ ...answer, calendarUid: value("uid"), name: value("x-wr-calname"), events }));
