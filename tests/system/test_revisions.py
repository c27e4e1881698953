# SPDX-License-Identifier: MIT
"""A revised record says what changed and why, in every place where a reader may look, and goes on saying it."""
import csv
import json
import shutil
import urllib.parse

import feedparser
import netCDF4
import pytest

from daemon import SMALL_NOW, Service, air_file, small_settings, tree, water_file

RECORD = "stations/mill-pond/2026/mill-pond_2026-05"


@pytest.fixture
def small(tmp_path):
    with Service(tmp_path / "small", small_settings(settle="0 s"), SMALL_NOW) as result:
        result.put("mill/a.csv", water_file(0, 20))
        result.put("mast/a.csv", air_file(0, 60))
        once(result)
        yield result


def once(service):
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW, expected=0)


def told(service):
    """Month and revision -> lines, as the place's history has them."""
    with open(service.archive / "stations/mill-pond/history.csv", encoding="utf-8", newline="") as file:
        return {(row["month"], int(row["revision"])): urllib.parse.unquote(row["changes"]).splitlines()
                for row in csv.DictReader(file) if row["what"] == "revision"}


def test_a_file_that_adds_rows_is_named_and_its_rows_are_counted(small):
    assert told(small) == {("2026-05", 1): []}
    small.put("mill/more.csv", water_file(20, 5))
    once(small)
    lines = told(small)["2026-05", 2]
    assert any(line.startswith("New: file 'mill/more.csv' (SHA-256 ") for line in lines)
    assert "5 rows came" in lines and not any("changed by" in line and line.startswith("Temp") for line in lines)


def test_values_that_change_are_counted_with_their_largest_and_mean_difference(small):
    small.put("mill/a.csv", water_file(0, 20, temperature=13.5))
    once(small)
    assert any(line.startswith("Water temperature: 20 values changed by up to +1.50") and ", in the mean +1.50" in line
               for line in told(small)["2026-05", 2]), told(small)


def test_a_changed_setting_is_told_as_the_reason(small):
    small.change_settings("sensor_elevation: 0.2 m", "sensor_elevation: 0.3 m")
    once(small)
    lines = told(small).get(("2026-05", 2))
    assert lines and lines[0] == "The station\u2019s settings changed", told(small)


def test_page_feed_and_files_tell_the_same(small):
    small.put("mill/more.csv", water_file(20, 5))
    once(small)
    page = (small.archive / "stations/mill-pond/index.html").read_text(encoding="utf-8")
    newest, = [entry for entry in feedparser.parse(str(small.archive / "feed.atom")).entries if "revision 2" in entry.title]
    described = json.loads((small.archive / (RECORD + ".csv-metadata.json")).read_text(encoding="utf-8"))
    with netCDF4.Dataset(small.archive / (RECORD + ".nc")) as file:
        history = file.history
    listed = page.split("<h2>Revisions</h2>")[1]
    assert listed.index("mill/more.csv") < listed.index("First publication"), "the newest stands first"
    for text in (page, newest.summary, json.dumps(described), history):
        assert "5 rows came" in text
        assert "mill/more.csv" in text
    assert "revision 2: " in history and "revision 1: " not in history
    assert newest.tags[0].term == "provisional" and "provisional" in newest.summary


def test_what_was_told_outlives_the_database(small):
    for start in (20, 25):
        small.put(f"mill/{start}.csv", water_file(start, 5))
        once(small)
    files, lines = tree(small.archive), told(small)
    shutil.rmtree(small.state)
    small.run("rebuild", "-c", small.settings, "--clock", SMALL_NOW)
    assert told(small) == lines and len(lines) == 3
    assert tree(small.archive) == files


def test_a_record_that_somebody_changed_by_hand_is_not_compared(small):
    with open(small.archive / (RECORD + ".csv"), "a", encoding="utf-8") as file:
        file.write("x")
    small.put("mill/more.csv", water_file(20, 5))
    once(small)
    assert any("Values were not compared" in line for line in told(small)["2026-05", 2])
