# SPDX-License-Identifier: MIT
"""A revised record says what changed and why, in every place where a reader may look, and goes on saying it."""
import csv
import hashlib
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


# ---- former revisions, where the settings ask for them ----

@pytest.fixture
def keeping(small):
    small.change_settings("archive:", "keep_revisions: 2\narchive:")
    small.keeps = {}
    for start in (20, 25, 30, 35):  # revisions 2 to 5
        small.keeps[len(small.keeps) + 1] = (small.archive / (RECORD + ".csv")).read_bytes()
        small.put(f"mill/{start}.csv", water_file(start, 5))
        once(small)
    return small


def kept(service):
    return sorted(str(path.relative_to(service.archive / "stations/mill-pond/2026/revisions"))
                  for path in service.archive.glob("stations/mill-pond/2026/revisions/**/*") if path.is_file())


def kept_names(*revisions):
    return [f"2026-05_r{n}/mill-pond_2026-05{end}" for n in revisions
            for end in (".csv", ".csv-metadata.json", "_daily.csv", "_daily.csv-metadata.json")]


def test_by_default_no_former_revision_is_kept(small):
    small.put("mill/more.csv", water_file(20, 5))
    once(small)
    assert not (small.archive / "stations/mill-pond/2026/revisions").exists()


def test_as_many_former_revisions_stay_as_the_settings_say_with_the_bytes_that_readers_got(keeping):
    assert kept(keeping) == kept_names(3, 4)
    assert not (keeping.archive / "stations/mill-pond/2026/revisions/2026-05_r1").exists(), "no empty folder is left"
    for revision in (3, 4):
        path = keeping.archive / f"stations/mill-pond/2026/revisions/2026-05_r{revision}/mill-pond_2026-05.csv"
        assert path.read_bytes() == keeping.keeps[revision]
        described = json.loads(path.with_name(path.name + "-metadata.json").read_text(encoding="utf-8"))
        assert (path.parent / described["url"]).exists(), "the description names the table that stands beside it"
    keeping.verify()


def test_the_page_links_to_them_with_size_and_checksum(keeping):
    page = (keeping.archive / "stations/mill-pond/index.html").read_text(encoding="utf-8")
    listed = page.split("<h2>Revisions</h2>")[1].split("</section>")[0]
    for revision in (3, 4):
        path = f"stations/mill-pond/2026/revisions/2026-05_r{revision}/mill-pond_2026-05.csv"
        assert f'href="../../{path}"' in listed
        assert hashlib.sha256((keeping.archive / path).read_bytes()).hexdigest() in listed
    assert "2026-05_r2/" not in page and "2026-05_r5/" not in page


def test_other_formats_are_kept_where_they_are_asked_for(small):
    small.change_settings("archive:", "keep_revisions: all\nrevision_formats: [netcdf, chart]\narchive:")
    before = (small.archive / (RECORD + ".nc")).read_bytes()
    small.put("mill/more.csv", water_file(20, 5))
    once(small)
    folder = small.archive / "stations/mill-pond/2026/revisions/2026-05_r1"
    assert sorted(path.suffix for path in folder.iterdir()) == [".csv", ".csv", ".json", ".json", ".nc", ".svg"]
    assert (folder / "mill-pond_2026-05.nc").read_bytes() == before
    small.change_settings("revision_formats: [netcdf, chart]", "revision_formats: csv")
    once(small)
    assert kept(small) == kept_names(1)
    small.change_settings("keep_revisions: all", "keep_revisions: none")
    once(small)
    assert kept(small) == []
    small.verify()


@pytest.mark.parametrize("lost", ["nothing", "the database"])
def test_a_rebuild_keeps_them_to_the_byte(keeping, lost):
    files = tree(keeping.archive)
    if lost == "the database":
        shutil.rmtree(keeping.state)
    keeping.run("rebuild", "-c", keeping.settings, "--clock", SMALL_NOW, expected=int(lost == "the database"))
    assert tree(keeping.archive) == files
    keeping.verify()


def test_a_damaged_one_is_found_and_a_lost_one_is_named_by_rebuild(keeping):
    path = keeping.archive / f"stations/mill-pond/2026/revisions/{kept_names(3)[0]}"
    path.write_bytes(path.read_bytes()[:-1] + b"#")
    assert "2026-05_r3" in keeping.verify(expected=1)
    done = keeping.run("rebuild", "-c", keeping.settings, "--clock", SMALL_NOW)
    assert "2026-05_r3/mill-pond_2026-05.csv" in done.stdout + done.stderr
    assert "nothing makes it any more" in done.stdout + done.stderr
