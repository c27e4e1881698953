# SPDX-License-Identifier: MIT
"""A person strikes out a stretch, corrects the note, takes it back: seen in the record, in explain, and on the pages."""
import csv

import pytest

from daemon import SMALL_NOW, Service, air_file, small_settings, water_file

BOOK = """\
  book:
    holds: notes
    delimiter: comma
    time: {columns: [time], format: iso, zone: UTC}
    columns:
      - {header: what, is: kind}
      - {header: of, is: quantity_name}
      - {header: until, is: until}
      - {header: why, is: text}
"""
STRUCK, RESTORED = 1 << 19, 1 << 20


@pytest.fixture
def service(tmp_path):
    settings = small_settings(hold="0 s").replace("layouts:\n", "layouts:\n" + BOOK)
    with Service(tmp_path / "work", settings, SMALL_NOW) as result:
        result.put("mill/a.csv", water_file(0, 12))
        result.put("mast/a.csv", air_file(0, 40))
        yield result


def note(service, name, *rows):
    service.put(f"mill/{name}.csv", "time,what,of,until,why\n" + "\n".join(rows) + "\n")
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)


def temperature(service):
    path, = service.archive.glob("stations/mill-pond/20*/mill-pond_20??-??.csv")
    rows = list(csv.DictReader(path.open(encoding="utf-8")))
    return ["x" if int(row["temperature_tests"]) & STRUCK else "o" if int(row["temperature_tests"]) & RESTORED else "."
            for row in rows], [row["temperature_flag"] for row in rows]


def explain(service, time):
    return service.run("explain", "-c", service.settings, "mill-pond", time, "temperature", expected=0).stdout


def test_a_strike_its_correction_and_its_end(service):
    note(service, "n1", "2026-05-02T00:10:00Z,strike,temperature,2026-05-02T00:40:00Z,mud on the sensor")
    assert "".join(temperature(service)[0]) == "..xxxxxx...."
    assert temperature(service)[1][2:8] == ["4"] * 6
    told = explain(service, "2026-05-02T00:20:00Z")
    assert ('temperature struck out from 2026-05-02T00:10:00Z until 2026-05-02T00:40:00Z: "mud on the sensor"; '
            "'mill/n1.csv' line 2") in told
    page = (service.archive / "stations/mill-pond/index.html").read_text(encoding="utf-8")
    assert "struck out until" in page and "mud on the sensor" in page

    # The corrected note takes the place of the first: what it no longer covers is itself again.
    note(service, "n2", "2026-05-02T00:10:00Z,strike,temperature,2026-05-02T00:25:00Z,mud until the rain")
    assert "".join(temperature(service)[0]) == "..xxx......."
    metadata, = service.archive.glob("stations/mill-pond/20*/*_????-??.csv-metadata.json")
    # What each revision was made of tells of both; all else of the one that holds.
    text = "".join(line for line in metadata.read_text(encoding="utf-8").splitlines() if '"revisions": ' not in line)
    assert "mud until the rain" in text and "mud on the sensor" not in text

    # A restore that begins earlier and was written later takes part of it back.
    note(service, "n3", "2026-05-02T00:00:00Z,restore,temperature,2026-05-02T00:15:00Z,it was clean")
    assert "".join(temperature(service)[0]) == "oooxx......."
    assert '"it was clean"' in explain(service, "2026-05-02T00:10:00Z")

    # Other settings derive everything anew: decisions are facts and stay.
    service.change_settings("sensor_elevation: 0.2 m", "sensor_elevation: 0.3 m")
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
    assert "".join(temperature(service)[0]) == "oooxx......."
