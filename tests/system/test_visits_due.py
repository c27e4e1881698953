# SPDX-License-Identifier: MIT
"""Somebody should be at the water before the logger runs out of memory or battery: alarm, pages and status say which is
first, and when; a visit ends it."""
from email import policy
from email.parser import BytesParser

from daemon import SMALL_NOW, Service, air_file, free_port, later, same_facts, small_settings, water_file

NOTES = """
  visits:
    holds: notes
    delimiter: comma
    time: {columns: [time], format: iso, zone: UTC}
    columns: [{header: where, is: station}, {header: what, is: kind}]
rules:
  go: {kind: visit_due, title: Visit due, window: 60 d, ahead: 2 d, priority: low, advice: Take batteries., tell: [desk]}"""
MAIL = """recipients: {{desk: {{mail: desk@example.org}}}}
mail: {{server: 127.0.0.1, port: {port}, security: plain, from: rillward@example.org, hello_name: watch.example.org}}
"""
HEADER = "time,where,what\n"
VISIT = HEADER + "2026-05-02T01:00:00Z,mill-pond,in water\n2026-05-02T01:00:00Z,mill-pond,battery\n"


def settings(port):
    text = small_settings(rest=MAIL.format(port=port)).replace("\nrules:", NOTES, 1)
    return text.replace("serials: [M-1]", "serials: [M-1]\n    memory_samples: 600\n    battery_lasts: 30 d", 1)


def state_of(service):
    return [(alarm["rule"], alarm["state"]) for alarm in service.status()["alarms"]]


def test_a_visit_is_due_before_memory_is_full_and_all_say_so(tmp_path):
    with Service(tmp_path / "work", "", SMALL_NOW) as service:
        port = free_port()
        service.start_mail(port=port)
        service.write_settings(settings(port))
        service.put("mast/air.csv", air_file(0, 60))
        service.put("mill/water.csv", water_file(0, 60))
        service.put("visits-1.csv", VISIT)
        service.start()
        service.wait_until(lambda: service.mails(), lambda: service.status())
        message = BytesParser(policy=policy.default).parsebytes(service.mails()[0])
        words = message.get_body(("plain",)).get_content()
        assert "memory full about 2026-05-03, battery empty about 2026-05-31" in str(message["Subject"])
        assert "STILL SO: no visit for 11 h, memory full about 2026-05-03" in words and "Take batteries." in words
        service.wait_for_rest()
        station, = service.status()["stations"]
        assert station["memory_full"] == "2026-05-04T03:00:00Z" and station["battery_empty"] == "2026-06-01T01:00:00Z"
        told = service.run("status", "-c", service.settings, "--clock", SMALL_NOW, expected=1).stdout
        assert "memory full about 2026-05-03, battery empty about 2026-05-31" in told
        front = (service.archive / "index.html").read_text(encoding="utf-8")
        sheet = (service.archive / "stations/mill-pond/field-sheet.html").read_text(encoding="utf-8")
        assert "Its logger: memory full about <time datetime=\"2026-05-03\">" in front, "by the station's own day"
        assert "new batteries for the logger" in front and "offloaded and started anew" in sheet and "New batteries <" in sheet

        pages = same_facts(service.archive, SMALL_NOW)
        service.stop()
        service.run("rebuild", "-c", service.settings, "--clock", SMALL_NOW, expected=0)
        assert same_facts(service.archive, SMALL_NOW) == pages, "made again it says the same"

        service.start(later(SMALL_NOW, hours=2))
        service.put("visits-2.csv", HEADER + "2026-05-02T13:00:00Z,mill-pond,in water\n")
        service.wait_until(lambda: ("go", "unacknowledged") not in state_of(service), lambda: service.status())
        service.wait_for_rest()
        station, = service.status()["stations"]
        assert station["memory_full"] == "2026-05-04T15:00:00Z", "it is counted from when the logger was put in again"
        assert station["battery_empty"] == "2026-06-01T01:00:00Z", "and its batteries are the old ones"
        service.stop()
