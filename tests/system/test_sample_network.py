# SPDX-License-Identifier: MIT
"""The whole job on the sample network: four weeks of files go in, and what comes out is held against the truth.

The files are played in three parts, with a restart eleven days later in between. What the service knew after each part
is kept, and each test looks at one side of it.
"""
import csv
import email
import email.policy
import json
import subprocess
import sys
from datetime import datetime

import pytest

from daemon import (EVENTS, NEEDS_MORE, REPEATED, ROOT, SAMPLES, SET_ASIDE, TAKEN, WITHDRAWN, finished_times,
                    fingerprint, make_sample, milliseconds, months, sample_service, tree)

FIRST_NOW = "2026-04-11T18:00:00Z"
FIRST_PART = 18  # deliveries until then: the first visit, its notebooks included
DAY, HOUR = 86400000, 3600000  # ms
WORST_TOLERANCE = 0.05  # mg/L, m: noise of the sensors
LIMITS = ("level=0.003", "depth=0.003", "temperature=0.03", "air_pressure=0.12", "oxygen_saturation=0.6", "oxygen=0.06",
          "salinity=0.1")  # also where a fouled cell was corrected


class Snapshot:
    def __init__(self, service):
        self.status = service.status()
        self.alarms = [dict(row) for row in service.ask("SELECT * FROM alarm")]
        self.waiting = [dict(row) for row in service.ask(
            "SELECT place.key AS station, from_, to_, reason FROM waiting JOIN place ON number = place")]
        self.paths = {row["path"].decode(): dict(row) for row in service.ask("SELECT * FROM path")}
        self.drops = {row["path"].decode(): dict(row) for row in service.ask("SELECT * FROM drop_ ORDER BY number")}
        self.numbers = {row["number"]: row["path"].decode() for row in service.ask("SELECT number, path FROM drop_")}

    def lines(self):
        """Path of an unfinished drop -> its line of the status."""
        return {drop["path"]: drop for drop in self.status["drops"]}


class Played:
    """The sample, the service at the end, and what was known after each part."""


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sample-network")
    result = Played()
    result.sample = make_sample(folder / "sample")
    result.expected = json.loads((result.sample / "truth/episodes.json").read_text())
    last_part = next(one["at_delivery"] for one in result.expected["waiting"] if "at_delivery" in one)
    with sample_service(folder / "work") as service:
        result.service = service
        service.start(now=FIRST_NOW)
        service.deliver(result.sample, "--first", FIRST_PART, "--pause", "0.1")
        service.wait_for_rest()
        result.visited = Snapshot(service)
        service.stop()
        service.deliver(result.sample, "--after", FIRST_PART, "--first", last_part)
        service.start(now=result.expected["now"])
        service.wait_for_rest()
        result.before_air = Snapshot(service)
        service.deliver(result.sample, "--after", last_part)
        service.wait_for_rest()
        result.inbox = fingerprint(service.inbox)
        result.done = Snapshot(service)
        service.stop()
        yield result


def test_the_episodes_are_those_of_the_truth(played):
    silence = 7 * DAY  # the truth names the last sample; the rule is met a window later
    left = [row for row in played.done.alarms if row["state"] != WITHDRAWN]
    problems = []
    for want in played.expected["alarms"]:
        here = [row for row in left if (row["station"], row["rule"]) == (want["station"], want["rule"])]
        start = milliseconds(want["start"]) + silence * (want["rule"] == "silent") if want["start"] else None
        near = [row for row in here if start is None or abs(row["start"] - start) <= want["start_tolerance_s"] * 1000]
        if len(near) != 1:
            problems.append(f"{want}: found {here}")
            continue
        found = near[0]
        left.remove(found)
        if want["end"] is None and found["end_"] is not None:
            problems.append(f"{want}: should still be so, ended {found['end_']}")
        if want["end"] not in (None, "any") and (
                found["end_"] is None
                or abs(found["end_"] - milliseconds(want["end"])) > want["end_tolerance_s"] * 1000):
            problems.append(f"{want}: ended {found['end_']}")
        if want["worst"] is not None and abs(abs(found["worst"]) - want["worst"]) > WORST_TOLERANCE:
            problems.append(f"{want}: worst {found['worst']}")
    assert not problems, "\n".join(problems)
    # What was rightly told for a while: both barometers were late, and the half file waited for its other half.
    half = next(one["path"] for one in played.expected["waiting"] if "path" in one)
    passing = {(row["station"], row["rule"]) for row in left if row["end_"] is not None}
    assert len(passing) == len(left) and passing == {("hill", "silent"), ("quay", "silent"), (half, "bad-drop")}, \
        "not in the truth: " + "\n".join(map(str, left))


def test_the_status_shows_the_alarms_that_are_still_so(played):
    shown = {(line["place"], line["rule"]) for line in played.done.status["alarms"] if line["end"] is None}
    assert shown == {(want["station"], want["rule"]) for want in played.expected["alarms"] if want["open"]}


def test_what_was_set_aside_is_named_with_line_and_cure(played):
    lines = played.done.lines()
    words = {"is no table of text": ["JPEG", "CSV"],
             "nobody claims serial number N-9944": ["N-9944", "line 2", "serials"]}
    assert {path for path, line in lines.items() if line["state"] == "set aside"} == \
        {one["path"] for one in played.expected["set_aside"]}
    for one in played.expected["set_aside"]:
        for word in words[one["why"]]:
            assert word in lines[one["path"]]["message"]
        assert played.done.paths[one["path"]]["state"] == SET_ASIDE
        assert f"set aside '{one['path']}'" in played.service.log_text()


def test_the_half_written_file_waits_and_is_completed_later(played):
    path = next(one["path"] for one in played.expected["waiting"] if "path" in one)
    for earlier in (played.visited, played.before_air):
        assert earlier.lines()[path]["state"] == "waiting"
        assert NEEDS_MORE in earlier.lines()[path]["message"]
        assert path not in earlier.drops
    assert path not in played.done.lines()
    assert played.done.paths[path]["state"] == TAKEN
    text = (played.service.inbox / path).read_text(encoding="utf-8-sig")
    rows = [line for line in text.splitlines() if line[:2].isdigit()]
    assert played.done.drops[path]["rows"] == len(rows) > 1000


def test_a_file_offloaded_again_repeats_nothing(played):
    for one in played.expected["repeated"]:
        original = one["path"].replace(" (1)", "")
        states = {played.done.paths[path]["state"] for path in (one["path"], original)}
        assert states == {TAKEN, REPEATED}
        assert (one["path"] in played.done.drops) != (original in played.done.drops)
    again = played.done.drops[played.expected["disagreeing"][0]["path"]]
    assert again["repeated"] > 1000 and again["added"] > 1000
    assert again["added"] + again["repeated"] + again["disagreed"] + again["filled"] == again["rows"]
    stations = [place["id"] for place in played.done.status["stations"]]
    assert len(stations) == 9
    for station in stations:
        times = finished_times(played.service, station)
        assert times and all(a < b for a, b in zip(times, times[1:])), f"times of {station} repeat or go back"


def read_rows(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_disagreements_are_told_and_the_later_file_is_right(played):
    for one in played.expected["disagreeing"]:
        assert played.done.drops[one["path"]]["disagreed"] == one["rows"]
        assert f"took '{one['path']}'; {one['rows']} rows disagree with" in played.service.log_text()
    first = next(row for path in months(played.service, "otter-stream") for row in read_rows(path)
                 if row["time_utc"] == first_disagreement(played))
    assert played.done.numbers[int(first["drop"])] == played.expected["disagreeing"][0]["path"]


def first_disagreement(played):
    complaint = played.done.drops[played.expected["disagreeing"][0]["path"]]["complaints"]
    return complaint.partition("the first at ")[2].partition(": ")[0]


def test_stations_wait_for_the_late_barometer_and_go_on_by_themselves(played):
    expected = {one["station"]: one for one in played.expected["waiting"] if "station" in one}
    waits = {place["id"]: place["waits_for"] for place in played.before_air.status["stations"]}
    for station, one in expected.items():
        assert waits[station] and "air pressure" in waits[station], f"{station}: {waits[station]}"
        spans = [row for row in played.before_air.waiting if row["station"] == station]
        first, last = min(row["from_"] for row in spans), max(row["to_"] for row in spans)
        is_half_known = station == "alder-ford"  # its first file, which begins before the air ends, waits too
        assert is_half_known or abs(first - milliseconds(one["from"])) <= HOUR, f"{station} waits from {first}"
        assert abs(last - milliseconds(one["until"])) <= HOUR, f"{station} waits until {last}"
    assert all(place["waits_for"] is None for place in played.done.status["stations"])
    assert not played.done.waiting


def test_the_other_barometer_fills_the_gap(played):
    gap = played.expected["air_gap"]
    rows = [row for row in read_rows(played.service.archive / "stations/ferry-channel/2026/ferry-channel_2026-04.csv")
            if gap["from"] < row["time_utc"] < gap["until"]]
    assert len(rows) > 50 and {row["barometer"] for row in rows} == {gap["instead"]}


def test_webhook_notices_are_signed_events_and_each_comes_once(played):
    requests = played.service.requests()
    for request in requests:
        event, headers = request["event"], {key.lower(): value for key, value in request["headers"].items()}
        assert request["signed"] is True and request["method"] == "POST"
        assert headers["content-type"].lower() == "application/cloudevents+json; charset=utf-8"
        assert event["id"] == headers["webhook-id"]
        assert event["specversion"] == "1.0" and event["datacontenttype"] == "application/json"
        assert event["source"] == f"https://water.example.org/stations/{event['data']['station']['id']}/"
        assert event["type"] == f"org.example.water.alarm.{event['data']['event']}.v1"
        assert event["subject"] == f"{event['data']['station']['id']}/{event['data']['rule']['id']}"
        assert datetime.fromisoformat(event["time"].replace("Z", "+00:00")).tzinfo
        assert event["data"]["provisional"] is True and "official" in event["data"]["caution"]
    ids = [request["event"]["id"] for request in requests]
    assert len(ids) == len(set(ids))
    told = {(request["event"]["data"]["station"]["id"], request["event"]["data"]["rule"]["id"]) for request in requests}
    assert {("heron-creek", "low-oxygen"), ("eelgrass-slough", "low-oxygen"), ("fern-brook", "quick-rise")} <= told


def test_every_notice_of_the_outbox_was_delivered_once(played):
    notices = played.service.ask("SELECT * FROM notice")
    assert notices and all(notice["state"] == 1 and notice["attempts"] == 1 for notice in notices)
    hooks = sorted(request["event"]["id"] for request in played.service.requests())
    assert hooks == sorted(notice["uid"] for notice in notices if notice["recipient"] == "on-call")
    mails = sorted(message_of(content)["Message-ID"].split("@")[0].strip("<") for content in played.service.mails())
    assert mails == sorted(notice["uid"] for notice in notices if notice["recipient"] == "desk")


def message_of(content):
    return email.message_from_bytes(content, policy=email.policy.default)


def test_nobody_is_told_of_old_news(played):
    old = {row["id"] for row in played.done.alarms if row["is_old_news"]}
    assert old and not [row for row in played.service.ask("SELECT alarm FROM notice") if row["alarm"] in old]
    for row in played.done.alarms:
        notices = played.service.ask(
            "SELECT event FROM notice WHERE alarm = ? AND recipient = 'desk' ORDER BY id", row["id"])
        told = [EVENTS[notice["event"]] for notice in notices]
        assert told[:1] in ([], ["raised"]) and told.count("raised") <= 1, f"{row['station']} {row['rule']}: {told}"


def test_mails_can_be_read(played):
    contents = played.service.mails()
    assert contents
    for content in contents:
        assert all(len(line) <= 998 for line in content.split(b"\r\n")) and content.isascii()
        message = message_of(content)
        assert not message.defects
        assert message["To"] == "desk@example.org" and "rillward@example.org" in message["From"]
        assert message["Date"].datetime.year == 2026 and message["Auto-Submitted"] == "auto-generated"
        body = message.get_body(preferencelist=("plain",)).get_content()
        assert "provisional" in body and "does not replace official" in " ".join(body.split())
    sagging = next(message for message in map(message_of, contents) if "Oxygen low at Eelgrass" in message["Subject"])
    sagging = sagging.get_body(("plain",)).get_content()
    assert "STILL SO" in sagging and "ring the hatchery" in sagging


def test_finished_values_are_near_the_truth(played):
    command = [sys.executable, str(SAMPLES / "check_truth.py"), str(played.service.archive),
               str(played.sample / "truth")]
    for limit in LIMITS:
        command += ["--limit", limit]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_archive_can_be_checked_with_plain_tools(played):
    manifests = sorted(played.service.archive.rglob("manifest-sha256.txt"))
    assert len(manifests) == 1 + 9 + 2
    listed = set()
    for manifest in manifests:
        subprocess.run(["sha256sum", "--quiet", "--strict", "-c", manifest.name], cwd=manifest.parent, check=True)
        names = [line[66:] for line in manifest.read_text().splitlines()]
        listed |= {str((manifest.parent / name).relative_to(played.service.archive)) for name in names}
    assert listed | {"manifest-sha256.txt"} == set(tree(played.service.archive))


def test_verify_finds_nothing(played):
    assert "0 findings; the database is sound" in played.service.verify(expected=0)


def test_the_network_for_machines_fits_its_schema(played):
    archive = played.service.archive
    done = subprocess.run([sys.executable, str(ROOT / "tests/archive/check_network.py"), str(archive / "network.json"),
                           str(archive / "network.schema.json")], capture_output=True, text=True)
    assert done.returncode == 0, f"exit status {done.returncode} (77: python3-jsonschema is missing)\n{done.stderr}"
    network = json.loads((archive / "network.json").read_text())
    shown = {(station["id"], alarm["rule"]) for station in network["stations"] for alarm in station["alarms"]
             if alarm["end"] is None}
    assert shown == {(want["station"], want["rule"]) for want in played.expected["alarms"]
                     if want["open"] and "/" not in want["station"]}


def test_originals_are_the_files_of_the_inbox(played):
    originals = {content for path, content in tree(played.service.archive).items() if "/originals/" in path}
    for path, fact in played.done.paths.items():
        content = tree(played.service.inbox)[path]
        assert (content in originals) == (fact["state"] != SET_ASIDE), path


def test_another_run_over_the_same_files_changes_nothing(played):
    service = played.service
    archive, notices = tree(service.archive), service.ask("SELECT count(*) AS n FROM notice")[0]["n"]
    service.run("once", "-c", service.settings, "--clock", played.expected["now"], expected=1)  # two drops need a hand
    assert tree(service.archive) == archive
    assert service.ask("SELECT count(*) AS n FROM notice")[0]["n"] == notices
    assert fingerprint(service.inbox) == played.inbox
    assert len(service.requests()) + len(service.mails()) == notices
    assert not service.leftovers()
