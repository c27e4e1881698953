# SPDX-License-Identifier: MIT
"""Files of whole years, and formats that are switched on and off: nothing stale stays, and nothing is written twice."""
import json
import subprocess
import sys

import feedparser
import pytest

from daemon import ROOT, Service, air_file, milliseconds, months, small_settings, tree, written

NOW = "2026-12-05T12:00:00Z"


def rows(start, count, step, cells):
    first = milliseconds(start)
    return "".join(f"{written(first + i * step)},{cells}\n" for i in range(count))


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(settle="0 s").replace("\nstations:", "\nnetcdf_year_begins: 10\nstations:"),
                 NOW) as opened:
        hour = 3600000
        opened.put("mill/water.csv", "Serial,M-1\ntime,pressure,temperature\n" + rows("2026-09-20T00:00:00Z", 700, hour,
                                                                                     "1113.2,12.0"))
        opened.put("mast/air.csv", "time,air\n" + rows("2026-09-19T00:00:00Z", 800, hour, "1013.2"))
        once(opened)
        yield opened


def once(service):
    service.run("once", "-c", service.settings, "--clock", NOW)
    assert "0 findings" in service.run("verify", "-c", service.settings, expected=0).stdout
    done = subprocess.run([sys.executable, str(ROOT / "tests/archive/check_pages.py"), str(service.archive)],
                          capture_output=True, text=True)
    assert done.returncode == 0, done.stdout


def years(service):
    return sorted(path.name for path in service.archive.glob("stations/mill-pond/*.nc"))


def check_year(service, name, samples):
    path = service.archive / "stations/mill-pond" / name
    done = subprocess.run([sys.executable, str(ROOT / "tests/archive/check_cf.py"), str(path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    head = subprocess.run(["ncdump", "-h", str(path)], capture_output=True, text=True, check=True).stdout
    assert f"time = {samples} ;" in head
    return head


def test_a_water_year_is_one_file_that_follows_the_conventions(service):
    assert years(service) == ["mill-pond_water-year-2026.nc", "mill-pond_water-year-2027.nc"]
    in_september = 270  # from 2026-09-20T00:00Z to the station's midnight, 06:00Z on 1 October
    head = check_year(service, "mill-pond_water-year-2026.nc", in_september)
    assert "water year 2026" in head and ':id = "mill-pond_water-year-2026_r1"' in head
    check_year(service, "mill-pond_water-year-2027.nc", 700 - in_september)
    page = (service.archive / "stations/mill-pond/index.html").read_text()
    assert page.index("water-year-2027.nc") < page.index("water-year-2026.nc")


def test_a_year_is_written_again_when_a_month_of_it_changes_and_only_then(service):
    old, new = (service.archive / "stations/mill-pond" / name for name in years(service))
    before = old.stat().st_mtime_ns, new.stat().st_mtime_ns
    service.run("once", "-c", service.settings, "--clock", NOW)
    assert (old.stat().st_mtime_ns, new.stat().st_mtime_ns) == before
    service.put("mill/late.csv", "Serial,M-1\ntime,pressure,temperature\n" + rows("2026-10-10T00:00:00Z", 5, 3600000,
                                                                                 "1113.2,13.0"))
    once(service)
    assert old.stat().st_mtime_ns == before[0] and new.stat().st_mtime_ns != before[1]
    head = check_year(service, new.name, 430).replace("\\'", "'")
    assert ':product_version = "2"' in head
    assert "made of 2026-10 revision 2\\n" in head and "2026-10 revision 2: New: file 'mill/late.csv'" in head
    page = (service.archive / "stations/mill-pond/index.html").read_text(encoding="utf-8")
    assert ">2027, revision 2</a>" in page and ">2026, revision 1</a>" in page
    entry, = [e for e in feedparser.parse(str(service.archive / "feed.atom")).entries if "October 2026, revision 2" in e.title]
    assert [link.href for link in entry.links if link.rel == "related"] == [f"https://water.example.org/stations/mill-pond/{new.name}"]
    assert "also in the file of the whole year" in entry.summary


def test_calendar_years_replace_water_years(service):
    service.change_settings("netcdf_year_begins: 10", "netcdf_year_begins: 1")
    once(service)
    assert years(service) == ["mill-pond_2026.nc"]
    check_year(service, "mill-pond_2026.nc", 700)
    service.change_settings("netcdf_year_begins: 1\n", "")
    once(service)
    assert years(service) == []


def test_a_format_that_is_switched_off_leaves_no_files_and_no_links(service):
    table = months(service, "mill-pond")[0]
    before = {path: digest for path, digest in tree(service.archive).items() if path.endswith((".csv", ".nc"))}
    assert table.with_suffix(".xlsx").exists()
    service.change_settings("\nstations:", "\narchive_formats: [csv, netcdf]\nstations:")
    once(service)
    assert not list(service.archive.rglob("*.xlsx")) and not list(service.archive.rglob("*.svg"))
    page = (service.archive / "stations/mill-pond/index.html").read_text()
    assert ".xlsx" not in page and ".svg" not in page and ".nc" in page
    after = tree(service.archive)
    assert {path: after[path] for path in before} == before, "records are not touched"
    service.change_settings("[csv, netcdf]", "[csv, png, waterml]")
    once(service)
    for extension in (".png", ".xml"):
        assert table.with_suffix(extension).exists()
    assert not list(service.archive.glob("stations/mill-pond/2026/*.nc"))
    network = json.loads((service.archive / "network.json").read_text())
    assert [record["revision"] for record in network["stations"][0]["records"]] == [1, 1]


def test_names_in_the_settings_change_on_the_pages_at_once(service):
    service.change_settings("\n  mill-pond: &place\n", "\n  mill-pond: &place\n    name: The <pond> at the mill\n")
    once(service)
    assert "The &lt;pond&gt; at the mill" in (service.archive / "stations/mill-pond/index.html").read_text()
    assert "The &lt;pond&gt; at the mill" in (service.archive / "index.html").read_text()
    service.change_settings("name: Mill pond,", "name: Other <mill>,")
    service.change_settings("title: Water warm", "title: Too warm")
    once(service)
    for page in ("index.html", "stations/mill-pond/index.html"):
        assert "Other &lt;mill&gt;" in (service.archive / page).read_text()
