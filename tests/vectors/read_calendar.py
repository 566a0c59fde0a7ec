"""Reads a calendar of `plan write` with a general library (PyPI icalendar) and checks what RFC 5545 asks of it.

Usage: read_calendar.py FILE.ics [LATER.ics]
With a second file, which is of the same plan made again: events keep their UIDs, and move or are cancelled.
"""

import datetime
import sys

import icalendar


def events(path):
    with open(path, "rb") as file:
        data = file.read()
    assert b"\n" not in data.replace(b"\r\n", b""), "every line ends with CRLF (3.1)"
    assert all(len(line) <= 75 for line in data.split(b"\r\n")), "no line is longer than 75 octets (3.1)"
    calendar = icalendar.Calendar.from_ical(data)
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"], "VERSION and PRODID (3.6)"
    found = {}
    for event in calendar.walk("VEVENT"):
        start, end = event.decoded("DTSTART"), event.decoded("DTEND")
        assert type(start) is datetime.date and type(end) is datetime.date, "events of whole days"
        assert end > start, "DTEND is exclusive (3.6.1)"
        assert event["UID"] not in found, "a UID is of one event (3.8.4.7)"
        assert event["DTSTAMP"] is not None and event["SUMMARY"], "DTSTAMP (3.8.7.2)"
        found[str(event["UID"])] = event
    assert found, "a plan has events"
    return found


def main():
    before = events(sys.argv[1])
    print(f"{len(before)} events read")
    if len(sys.argv) > 2:
        after = events(sys.argv[2])
        assert set(before) <= set(after), "what was known is moved or cancelled"
        for uid, event in before.items():
            assert after[uid]["SEQUENCE"] > event["SEQUENCE"], "a change counts up SEQUENCE (3.8.7.4)"
        moved = sum(before[uid].decoded("DTSTART") != after[uid].decoded("DTSTART") for uid in before)
        assert moved, "something has moved"
        print(f"{moved} of them moved")


main()
