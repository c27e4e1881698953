# SPDX-License-Identifier: MIT
"""Settings hold whole or not at all: mistakes before the start, changes while it runs, what the commands answer."""
import os
import re

import pytest

from daemon import (ROOT, SET_ASIDE, SMALL_NOW, TAKEN, Service, air_file, finished_times, make_sample, sample_service,
                    small_settings, tree, water_file)

# Each line that holds a mistake says so: words of the message behind it.
MISTAKES = """\
network: {id: small-mill, nmae: Mill pond}          # 'nmae'
inbox: inbox
archive: archive
state: state
intake:
  settle: 3 m                                       # duration
  rescan: [10 min]                                  # 'rescan'
stations:
  mill-pond:
    latitude: 147.9                                 # latitude
    longitude: -96.1
    elevation: 2 kPa                                # length
    standard_time: "-06:00"
    salinity: brackish                              # salinity
  second:
    latitude: -47.9
    longitude: -96.1
    elevation: 2 m
    standard_time: "-06:00"
    salinity: fresh
    elevation: 3 m                                  # twice
layouts:
  water:
    delimiter: camma                                # 'comma'
    time: {columns: [time], format: iso, zone: Mars/Phobos}   # zone
    columns: [{header: pressure, is: water_presure}]          # 'water_pressure'
rules:
  warm: {kind: above, quantity: temperature, limit: 25 degC, tell: [nobody]}   # 'nobody'
"""


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(), SMALL_NOW) as result:
        yield result


def test_check_tells_every_mistake_at_once_with_its_place(service):
    service.write_settings(MISTAKES)
    done = service.run("check", "-c", service.settings, expected=2)
    told = {}
    for line in done.stderr.splitlines()[:-1]:
        place = re.match(re.escape(str(service.settings)) + r":(\d+):(\d+): (.*)", line)
        assert place, f"no file, line and column: {line}"
        told.setdefault(int(place[1]), []).append((int(place[2]), place[3]))
    text = MISTAKES.splitlines()
    for number, line in enumerate(text, 1):
        code, _, words = line.partition("   # ")
        if not words:
            assert number not in told, f"line {number} is fine: {told[number]}"
            continue
        assert number in told, f"nothing is told of line {number}: {line}\n{done.stderr}"
        assert any(words.strip() in message for _, message in told[number]), f"line {number}: {told[number]}"
        assert all(1 <= column <= len(code.rstrip()) for column, _ in told[number]), told[number]
    count = sum(map(len, told.values()))
    assert f"{count} mistakes in the settings" in done.stderr.splitlines()[-1]
    assert not service.state.exists() and not service.archive.exists()


def test_nothing_starts_on_a_bad_file(service):
    service.write_settings(MISTAKES)
    for command in ("serve", "once", "status", "verify"):
        assert "mistakes in the settings" in service.run(command, "-c", service.settings, expected=2).stderr
    assert not service.state.exists() and not service.archive.exists()


def test_check_and_the_examples_are_fine(service):
    done = service.run("check", "-c", service.settings, expected=0)
    assert "fine: 1 stations, 1 barometers, 2 layouts, 2 rules, 0 recipients" in done.stdout and not done.stderr
    examples = sorted((ROOT / "config-examples").glob("*.yaml"))
    assert len(examples) >= 4
    for example in examples:
        service.run("check", "-c", example, expected=0)


def test_wrong_use_is_told(service):
    for words in ((), ("dance",), ("serve",), ("status", "-c", service.settings, "rest"), ("verify", "--colour"),
                  ("serve", "-c", service.settings, "--clock", "tomorrow"),
                  ("check", "-c", service.folder / "none.yaml")):
        assert service.run(*words, expected=2).stderr
    assert "usage: rillward COMMAND" in service.run("--help", expected=0).stdout
    assert re.fullmatch(r"rillward \d+\.\d+\.\d+\n", service.run("--version", expected=0).stdout)
    assert "standard_time" in service.run("check", "--reference", expected=0).stdout


def test_a_bad_file_at_a_reload_keeps_the_running_settings(service):
    service.start()
    good = service.settings.read_text()
    service.write_settings(MISTAKES)
    service.hang_up()
    service.wait_for_log("the running ones stay in force")
    text = service.log_text()
    assert f"{service.settings}:1:" in text and "'nmae'" in text and "'nobody'" in text
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_for_path("mill/a.csv", TAKEN)
    service.write_settings(good)
    service.hang_up()
    service.wait_for_log("settings were read again")
    service.stop()


def test_a_reload_may_not_move_the_state(service):
    service.start()
    service.change_settings("state: state", "state: other-state")
    service.hang_up()
    service.wait_for_log("the state folder cannot change while running")
    assert not (service.folder / "other-state").exists()
    service.put("mill/a.csv", water_file(0, 10))
    service.change_settings("state: other-state", "state: state")
    service.wait_for_path("mill/a.csv", TAKEN)
    service.stop()


def test_a_drop_set_aside_is_taken_once_the_settings_claim_it(service):
    service.start()
    service.put("elsewhere/a.csv", water_file(0, 10, serial="M-2"))
    service.put("mast/a.csv", air_file(0, 40))
    service.wait_for_path("elsewhere/a.csv", SET_ASIDE, "'M-2' (line 1)")
    service.wait_for_rest()
    assert finished_times(service) == []
    service.change_settings("serials: [M-1]", "serials: [M-1, M-2]")
    service.hang_up()
    service.wait_for_path("elsewhere/a.csv", TAKEN)
    service.wait_for_rest()
    assert len(finished_times(service)) == 10
    alarm = service.ask("SELECT end_ FROM alarm WHERE station = 'elsewhere/a.csv'")
    assert len(alarm) == 1 and alarm[0]["end_"] is not None
    service.stop()


def test_a_drop_set_aside_is_tried_again_when_the_file_changes(service):
    service.start()
    service.put("mill/a.csv", water_file(0, 10).replace("pressure", "presure"))
    service.wait_for_path("mill/a.csv", SET_ASIDE, "no header cell matches 'pressure'")
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_for_path("mill/a.csv", TAKEN)
    service.stop()


def test_a_drop_set_aside_is_tried_again_by_command(service):
    service.start()
    service.put("mill/strange.txt", "nothing that anybody knows\n")
    service.put("mill/other.txt", "nothing else\n")
    first = service.wait_for_path("mill/strange.txt", SET_ASIDE)
    other = service.wait_for_path("mill/other.txt", SET_ASIDE)
    service.change_facts("UPDATE path SET message = 'marked', attempts = 3")  # what a new look replaces
    told = service.run("retry", "-c", service.settings, "mill/strange.txt", expected=0).stdout
    assert told.startswith("1 drops are looked at again")
    service.wait_for_path("mill/strange.txt", SET_ASIDE, first["message"])
    assert service.path_fact("mill/other.txt")["message"] == "marked"
    assert service.run("retry", "-c", service.settings, expected=0).stdout.startswith("2 drops")
    service.wait_for_path("mill/other.txt", SET_ASIDE, other["message"])
    assert "not set aside" in service.run("retry", "-c", service.settings, "mill/nowhere.csv", expected=2).stderr


def test_another_elevation_makes_the_finished_values_anew(service):
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.start()
    service.wait_for_rest()
    before, record = tree(service.archive), "stations/mill-pond/2026/mill-pond_2026-05.csv"
    service.change_settings("sensor_elevation: 0.2 m", "sensor_elevation: 0.3 m")
    service.hang_up()
    service.wait_until(lambda: tree(service.archive).get(record) != before[record], "another record")
    service.wait_for_rest()
    assert service.ask("SELECT revision FROM page")[0]["revision"] == 2
    service.hang_up()  # the same settings again: nothing to do
    service.wait_until(lambda: service.log_text().count("settings were read again") == 2, "the second reload")
    service.wait_for_rest()
    assert service.ask("SELECT revision FROM page")[0]["revision"] == 2
    service.stop()
    levels = [float(line.split(",")[1]) for line in (service.archive / record).read_text().splitlines()[1:]]
    assert len(levels) == 10 and all(1.2 < level < 1.4 for level in levels)  # 1 m of water over the sensor


def test_status_tells_whether_something_needs_a_hand(service):
    done = service.run("status", "-c", service.settings, expected=1)
    assert "there is no database" in done.stderr and "has the service run" in done.stderr
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.start()
    service.wait_for_rest()
    text = service.run("status", "-c", service.settings, "--clock", SMALL_NOW, expected=0).stdout
    assert "mill-pond" in text and "2026-05-02T00:45:00Z" in text and "11 h 15 min" in text and "\033" not in text
    status = service.status()
    assert status["stations"] == [{"id": "mill-pond", "first": "2026-05-02T00:00:00Z", "last": "2026-05-02T00:45:00Z",
                                   "alarms_open": 0, "waits_for": None, "memory_full": None, "battery_empty": None}]
    assert status["drops"] == status["alarms"] == status["outbox"] == []
    service.put("mill/notes.txt", "hello\n")
    service.wait_for_path("mill/notes.txt", SET_ASIDE)
    assert "mill/notes.txt" in service.run("status", "-c", service.settings, expected=1).stdout
    service.stop()


def test_once_takes_publishes_and_ends(service):
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW, expected=0)
    assert len(finished_times(service)) == 10
    service.put("mill/half.csv", water_file(20, 10)[:-5])
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW, expected=1)
    assert "0 findings" in service.verify(expected=0)


def test_verify_finds_a_flipped_bit_a_missing_and_a_foreign_file(service):
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW, expected=0)
    assert "0 findings; the database is sound" in service.verify(expected=0)
    original = next(service.archive.glob("stations/mill-pond/originals/*"))
    content = original.read_bytes()
    original.write_bytes(content[:30] + bytes([content[30] ^ 1]) + content[31:])
    record = service.archive / "stations/mill-pond/2026/mill-pond_2026-05.csv"
    record.rename(service.folder / "kept")
    (service.archive / "stations/mill-pond/2026/guest.csv").write_text("1,2\n")
    told = service.verify(expected=1).splitlines()
    assert told[-1].endswith("3 findings; the database is sound")
    assert set(told[:-1]) == {f"changed: {original.relative_to(service.archive)}",
                              f"missing: {record.relative_to(service.archive)}",
                              "foreign: stations/mill-pond/2026/guest.csv"}
    original.write_bytes(content)
    (service.folder / "kept").rename(record)
    (service.archive / "stations/mill-pond/2026/guest.csv").unlink()
    service.verify(expected=0)
    os.remove(service.archive / "manifest-sha256.txt")
    assert "manifest-sha256.txt" in service.run("verify", "-c", service.settings, expected=1).stderr


def test_the_stray_logger_of_the_sample_is_taken_when_its_serial_is_added(tmp_path):
    sample = make_sample(tmp_path / "sample", "--quick")
    with sample_service(tmp_path / "work") as service:
        service.start()
        service.deliver(sample, "--only", "05-strays")
        service.wait_for_path("north/pocket_20260420.csv", SET_ASIDE, "'N-9944' (line 2)")
        service.change_settings('serials: ["N-3140"]', 'serials: ["N-3140", "N-9944"]')
        service.hang_up()
        service.wait_for_path("north/pocket_20260420.csv", TAKEN)
        service.wait_for_path("north/IMG_0412.csv", SET_ASIDE)
        service.wait_for_rest()
        service.stop()
        drop = service.ask("SELECT drop_.rows AS rows, key FROM drop_ JOIN place ON place.number = drop_.place")[0]
        assert (drop["rows"], drop["key"]) == (26, "otter-stream")
