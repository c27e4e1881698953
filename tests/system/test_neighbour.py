# SPDX-License-Identifier: MIT
"""A station held against its neighbour: the same answer whichever file comes first, and anew when the neighbour changes."""
import csv

import pytest

from daemon import SMALL_NOW, Service, air_file, small_settings, water_file

NEIGHBOUR = 1 << 9
STATIONS = """\
    quality: {temperature: {spike: none, rate: none, neighbour: {station: weir-pool, difference: [1 degC, 3 degC]}}}
  weir-pool:
    latitude: -47.905
    longitude: -96.1
    elevation: 2 m
    standard_time: "-06:00"
    salinity: fresh
    drops: ["weir/**"]
    serials: [W-1]
    quality: {temperature: {spike: none, rate: none, neighbour: {station: mill-pond, difference: [1 degC, 3 degC]}}}
barometers:
"""


def settings():
    return small_settings(hold="0 s").replace("barometers:\n", STATIONS)


def flags(service, station):
    path, = service.archive.glob(f"stations/{station}/20*/{station}_20??-??.csv")
    rows = list(csv.DictReader(path.open(encoding="utf-8")))
    assert all((int(row["temperature_tests"]) & NEIGHBOUR != 0) == (row["temperature_flag"] in "34") for row in rows)
    return "".join(row["temperature_flag"] for row in rows)


@pytest.mark.parametrize("order", [("mill", "weir"), ("weir", "mill")])
def test_both_judge_each_other_whichever_came_first(tmp_path, order):
    with Service(tmp_path / "work", settings(), SMALL_NOW) as service:
        files = {"mill": water_file(0, 12), "weir": water_file(0, 12, temperature=14.0, serial="W-1")}
        service.put("mast/a.csv", air_file(0, 40))
        for name in order:
            service.put(f"{name}/a.csv", files[name])
            service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
        assert flags(service, "mill-pond") == flags(service, "weir-pool") == "3" * 12
        # The neighbour's file comes again with other values: this station's flags follow.
        service.put("weir/b.csv", water_file(0, 12, temperature=12.5, serial="W-1"))
        service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
        assert flags(service, "mill-pond") == flags(service, "weir-pool") == "1" * 12
        told = service.run("explain", "-c", service.settings, "mill-pond", "2026-05-02T00:30:00Z", "temperature").stdout
        assert "neighbour suspect more apart than 1 °C, fails more apart than 3 °C, held against 'weir-pool'" in told


def test_a_neighbour_that_is_not_there_judges_nothing(tmp_path):
    with Service(tmp_path / "work", settings(), SMALL_NOW) as service:
        service.put("mast/a.csv", air_file(0, 40))
        service.put("mill/a.csv", water_file(0, 12))
        service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
        assert flags(service, "mill-pond") == "1" * 12
