# SPDX-License-Identifier: MIT
"""The network's own files while the service runs: only changed stations are read again, and what stands is what a fresh
start writes. When it is quiet they are up to date, however fast the changes came."""
import json
import re

import pytest

from daemon import SMALL_NOW, Service, air_file, later, small_settings, water_file

OTHERS = "".join(f"  more-{i:02d}: {{latitude: 44.{i:02d}, longitude: -123.{i:02d}, elevation: 5 m, standard_time: '-08:00', salinity: fresh, drops: ['more{i:02d}/*']}}\n"
                 for i in range(40))
FILES = ("index.html", "network.json", "feed.atom", "manifest-sha256.txt")


@pytest.fixture
def service(tmp_path):
    settings = small_settings(settle="0 s").replace("stations:\n", "stations:\n" + OTHERS, 1)
    with Service(tmp_path / "work", settings, SMALL_NOW) as result:
        yield result


def top(service):
    return {name: (service.archive / name).read_bytes() for name in FILES}


def months_told(service):
    network = json.loads((service.archive / "network.json").read_text(encoding="utf-8"))
    return {station["id"]: station["last"] for station in network["stations"] if station["last"]}


def test_what_a_long_run_left_is_what_a_fresh_start_writes(service):
    service.start()
    service.put("mast/a.csv", air_file(0, 80))
    service.put("mill/a.csv", water_file(0, 20))
    service.wait_for_rest()
    assert set(months_told(service)) == {"mill-pond"}
    service.put("more07/a.csv", water_file(0, 10, serial="N-7"))
    service.put("mill/b.csv", water_file(20, 12, temperature=26.0))  # raises an alarm
    service.wait_for_rest()
    service.put("more31/a.csv", water_file(70, 30, serial="N-31"))  # beyond the air: it waits
    service.put("mill/c.csv", water_file(32, 10))    # the alarm is over
    service.wait_for_rest()
    service.run("review", "-c", service.settings, "mill-pond", "2026-05", "--who", "Ines Hale", "--reason", "looked at",
                "--clock", SMALL_NOW)
    service.wait_for_rest()
    service.put("mast/b.csv", air_file(80, 40))
    service.put("mill/d.csv", water_file(10, 5, temperature=13.5))  # held: reviewed
    service.wait_for_rest()
    left = top(service)
    assert set(months_told(service)) == {"mill-pond", "more-07", "more-31"}
    assert b"reviewed" in left["network.json"]
    service.stop()
    service.change_facts("INSERT OR IGNORE INTO manifest_due VALUES(0)")
    service.change_facts("DELETE FROM archive_file WHERE path IN ('index.html', 'network.json', 'feed.atom')")
    service.start(now=later(SMALL_NOW, seconds=30))
    service.wait_for_rest()
    service.stop()
    again = top(service)
    for name in FILES:
        assert again[name] == left[name], name


def test_after_change_upon_change_they_are_true_when_it_is_quiet(service):
    service.start()
    service.put("mast/a.csv", air_file(0, 80))
    service.wait_for_rest()
    for k in range(40):
        service.put(f"more{k:02d}/a.csv", water_file(k, 2, serial=f"N-{k}"))
    service.wait_for_rest()
    assert len(months_told(service)) == 40
    assert service.run("verify", "-c", service.settings, expected=0)
    service.stop()


def look(service):
    """What a reader finds at this moment: each page whole, each link of it leading somewhere, each table whole."""
    seen = 0
    for page in [service.archive / "index.html", *service.archive.glob("stations/*/index.html")]:
        text = page.read_text(encoding="utf-8")
        assert text.startswith("<!DOCTYPE html>") and text.endswith("</html>\n"), f"a part of {page}"
        for link in re.findall(r'(?:href|src)="([^"#:]+)"', text):
            assert (page.parent / link).exists(), f"{page} links to {link}, which is not there"
            seen += 1
    for table in service.archive.glob("stations/*/*/[!.]*_????-??.csv"):
        lines = table.read_bytes().decode().split("\r\n")
        assert lines[-1] == "" and len({line.count(",") for line in lines[:-1]}) == 1, f"a part of {table}"
    json.loads((service.archive / "network.json").read_text(encoding="utf-8"))
    return seen


def test_a_reader_beside_it_sees_old_or_new_and_never_a_part_or_a_dead_link(service):
    service.start()
    service.put("mast/a.csv", air_file(0, 200))
    service.wait_for_rest()
    looks = []

    def is_at_rest_after_a_look():
        looks.append(look(service))
        return not service.unrest()

    for k in range(12):
        service.put(f"mill/{k}.csv", water_file(10 * k, 10))
        service.put(f"more{k:02d}/a.csv", water_file(k, 3, serial=f"N-{k}"))
        service.wait_until(is_at_rest_after_a_look, service.unrest)
    service.stop()
    assert len(looks) > 12 and min(looks) > 0 and look(service) > 100


def test_a_stop_leaves_no_manifest_of_the_network_behind_those_of_its_stations(service):
    """However soon after a change it comes: either the stations' own files are still due, or all stand."""
    service.start()
    service.put("mast/a.csv", air_file(0, 80))
    service.put("mill/a.csv", water_file(0, 20))
    service.wait_for_rest()
    for k in range(6):
        service.put(f"mill/next{k}.csv", water_file(20 + k, 1))
        service.wait_until(lambda: service.ask("SELECT 1 FROM manifest_due WHERE place = 0") or service.unrest() == "", "a change")
        service.stop()
        due = [row["place"] for row in service.ask("SELECT place FROM manifest_due")]
        assert due != [0]
        if not due:
            service.verify(expected=0)
        service.start(now=later(SMALL_NOW, seconds=30 * (k + 1)))
        service.wait_for_rest()
    service.stop()
    assert "0 findings" in service.verify(expected=0)
