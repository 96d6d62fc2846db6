// Reads a calendar from standard input with its own VTIMEZONEs and prints each event's UID, start and end in UTC.
import ICAL from "ical.js";
import { readFileSync } from "node:fs";

const root = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
for (const zone of root.getAllSubcomponents("vtimezone")) {
  ICAL.TimezoneService.register(new ICAL.Timezone(zone));
}
const events = root.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  return { uid: event.uid, starts: event.startDate.toUnixTime(), ends: event.endDate.toUnixTime(), summary: event.summary, status: component.getFirstPropertyValue("status") };
});
console.log(JSON.stringify(events));
