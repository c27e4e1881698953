# SPDX-License-Identifier: MIT
"""Two services over one inbox and one archive tree, each with a part of the stations, side by side."""
import contextlib
import csv
import json

from daemon import SET_ASIDE, SMALL_NOW, Service, air_file, small_settings, tree, water_file

ELSEWHERE = 4  # enum drop_state
STATIONS = {"north-mill": "M-1", "north-pond": "M-2", "south-ferry": "M-3"}
PARTS = """\
parts:
  north: {{stations: ["north-*"]}}
  south: {{stations: ["*"]}}
part: {part}
"""

def settings(rest):
    """The small network with three stations."""
    text = small_settings(tell="").split("barometers:")[1]
    places = "".join(f"""
  {name}:
    latitude: -47.9
    longitude: -96.1
    elevation: 2 m
    standard_time: "-06:00"
    salinity: fresh
    sensor_elevation: 0.2 m
    serials: [{serial}]""" for name, serial in STATIONS.items())
    head = """\
network: {id: small-mill, name: Mill pond}
inbox: INBOX
archive: ARCHIVE
state: state
intake: {settle: 0.2 s, hold_open_end: 10 min, rescan: 10 min}
alarms: {gather: 0 s}
""" + rest + "stations:" + places + "\nbarometers:"
    notes = """
  visits:
    holds: notes
    delimiter: comma
    time: {columns: [time], format: iso, zone: UTC}
    columns: [{header: where, is: station}, {header: staff, is: note, note: level, unit: m}]
rules:"""
    return head + text.replace("\nrules:", notes, 1)


def services(folder, stack, *parts):
    """One for each part; without a name: one that has all."""
    made = []
    for part in parts:
        service = Service(folder / (part or "alone"), "", SMALL_NOW)
        service.inbox = folder / "inbox" if part else service.inbox
        service.inbox.mkdir(exist_ok=True)
        shared = folder / "archive" if part else service.archive
        service.archive = shared / part if part else shared
        service.write_settings(settings(PARTS.format(part=part) if part else "")
                               .replace("INBOX", str(service.inbox)).replace("ARCHIVE", str(shared)))
        made.append(stack.enter_context(service))
    return made


def lay(service):
    for number, serial in enumerate(STATIONS.values()):
        service.put(f"water-{serial}.csv", water_file(0, 60 + number, serial=serial))
    service.put("mast/air.csv", air_file(0, 80))
    service.put("visits.csv", "time,where,staff\n2026-05-02T01:00:00Z,north-mill,1.30\n2026-05-02T01:00:00Z,south-ferry,1.28\n")
    service.put("stranger.csv", water_file(0, 5, serial="X-9"))


def records_of(archive):
    """Monthly tables, but for the numbers of drops, which each service counts by itself."""
    records = {}
    for path in sorted(archive.glob("stations/*/20*/*_20??-??.csv")):
        with open(path, newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        records[str(path.relative_to(archive))] = [{key: value for key, value in row.items() if key != "drop"} for row in rows]
    return records


def test_two_services_share_an_inbox_and_an_archive_and_nothing_else(tmp_path):
    with contextlib.ExitStack() as stack:
        north, south = services(tmp_path, stack, "north", "south")
        alone, = services(tmp_path, stack, "")
        north.start()
        south.start()
        alone.start()
        lay(north)
        lay(alone)
        for service in (north, south, alone):
            service.wait_for_rest()
        told = {service: json.loads((service.archive / "network.json").read_text()) for service in (north, south)}
        assert [station["id"] for station in told[north]["stations"]] == ["north-mill", "north-pond"]
        assert [station["id"] for station in told[south]["stations"]] == ["south-ferry"]
        # Together what one service would have made, and nothing twice.
        ours = [records_of(service.archive) for service in (north, south)]
        assert not ours[0].keys() & ours[1].keys()
        assert {**ours[0], **ours[1]} == records_of(alone.archive)
        # A file that nobody can use is told by one.
        assert [row["path"] for row in north.ask("SELECT path FROM path WHERE state = ?", SET_ASIDE)] == [b"stranger.csv"]
        assert south.ask("SELECT path FROM path WHERE state = ?", SET_ASIDE) == []
        assert north.ask("SELECT count(*) AS n FROM alarm WHERE rule = 'bad-drop'")[0]["n"] == 1
        assert south.ask("SELECT count(*) AS n FROM alarm WHERE rule = 'bad-drop'")[0]["n"] == 0
        left = {row["path"] for row in south.ask("SELECT path FROM path WHERE state = ?", ELSEWHERE)}
        assert left == {b"water-M-1.csv", b"water-M-2.csv", b"stranger.csv"}
        # The page above both.
        page = (tmp_path / "archive/index.html").read_text()
        assert "north/index.html" in page and "south/index.html" in page
        for service in (north, south):
            assert "0 findings; the database is sound" in service.verify()
            assert service.leftovers() == []


def test_one_that_is_gone_stops_nobody_and_catches_up(tmp_path):
    with contextlib.ExitStack() as stack:
        north, south = services(tmp_path, stack, "north", "south")
        north.start()
        south.start()
        south.kill()
        lay(north)
        north.wait_for_rest()
        before = tree(north.archive)
        south.start()
        south.wait_for_rest()
        assert records_of(south.archive)
        assert tree(north.archive) == before
        for service in (north, south):
            service.verify()


def test_a_station_that_changes_its_part_is_taken_by_the_other(tmp_path):
    with contextlib.ExitStack() as stack:
        north, south = services(tmp_path, stack, "north", "south")
        lay(north)
        for service in (north, south):
            service.start()
            service.wait_for_rest()
            service.stop()
            service.change_settings('["north-*"]', "[north-mill]")
        for service in (north, south):
            service.start()
        south.wait_until(lambda: {path.split("/")[1] for path in records_of(south.archive)} == {"north-pond", "south-ferry"},
                         "the records of both stations")
