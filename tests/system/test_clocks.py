# SPDX-License-Identifier: MIT
"""A logger whose layout keeps summer time: its pressure follows the barometer an hour late. Told by status, explain and
the station's page, whatever the order and the pieces in which the files come; a clock that is right is left alone."""
import json
import math
import random

import pytest

from daemon import Service, milliseconds, small_settings, written

NOW = "2026-04-08T12:00:00Z"
START = "2026-03-16T06:00:00Z"
QUARTER = 900000
DAYS = 21


def air():
    """hPa each quarter of an hour, from a day before the start on."""
    chance, value, series = random.Random(5), 1013.0, []
    for _ in range((DAYS + 2) * 96):
        value += chance.gauss(0, 0.07)
        series.append(value)
    return series


AIR = air()


def air_file(first, last):
    return "time,air\n" + "".join(f"{written(milliseconds(START) + i * QUARTER)},{AIR[i + 96]:.2f}\n"
                                  for i in range(first * 96, last * 96))


def water_file(first, last, ahead=0):
    """Rows of the days [first, last) by a clock that stands so many quarters ahead."""
    chance, rows = random.Random(first), []
    for i in range(first * 96, last * 96):
        tide = 35 * math.cos((i - ahead) * QUARTER / 3600000 / 12.42 * 2 * math.pi)
        pressure = AIR[i - ahead + 96] + 120 + tide + chance.gauss(0, 0.04)
        rows.append(f"{written(milliseconds(START) + i * QUARTER)},{pressure:.2f},12.0\n")
    return "Serial,M-1\ntime,pressure,temperature\n" + "".join(rows)


def findings(service):
    return service.ask("SELECT from_, kind, value, text FROM finding WHERE kind IN (13, 14, 15) ORDER BY from_, kind")


def take(service, name, content):
    service.put(name, content)
    service.run("once", "-c", service.settings, "--clock", NOW)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    with Service(tmp_path_factory.mktemp("whole"), small_settings(hold="0 s"), NOW) as service:
        service.put("mast/air.csv", air_file(0, DAYS))
        take(service, "mill/all.csv", water_file(0, DAYS, 4))
        return findings(service)


def test_an_hour_is_found_each_week_and_told(tmp_path, whole):
    assert [row["value"] for row in whole] == [3600000] * len(whole) and len(whole) == 3
    with Service(tmp_path / "work", small_settings(hold="0 s"), NOW) as service:
        service.put("mast/air.csv", air_file(0, DAYS))
        take(service, "mill/all.csv", water_file(0, DAYS, 4))
        words = "the pressure in the water follows the air at 'mast' best 1 h later than stamped"
        status = service.run("status", "-c", service.settings, "--clock", NOW, expected=1).stdout
        assert status.count(words) == 1, "the last week alone, since each week says it again"
        machine = json.loads(service.run("status", "-c", service.settings, "--json", "--clock", NOW, expected=1).stdout)
        assert [f["kind"] for f in machine["findings"]] == ["clock_lag"]
        told = service.run("explain", "-c", service.settings, "mill-pond", "2026-03-27T12:00:00Z", "level", expected=0).stdout
        assert words in told and "standard errors" in told and "note a clock check" in told
        page = (service.folder / "archive/stations/mill-pond/index.html").read_text(encoding="utf-8")
        assert page.count("Clock against the air pressure") == 1 and "best 1 h later than stamped" in page


@pytest.mark.parametrize("pieces", [[(0, 7), (7, 15), (15, 21)], [(14, 21), (0, 14)], [(0, 21), "air"]])
def test_pieces_in_any_order_say_the_same(tmp_path, whole, pieces):
    with Service(tmp_path / "work", small_settings(hold="0 s"), NOW) as service:
        if "air" not in pieces:
            take(service, "mast/air.csv", air_file(0, DAYS))
        for k, piece in enumerate(pieces):
            if piece == "air":
                take(service, "mast/air.csv", air_file(0, DAYS))
            else:
                take(service, f"mill/{k}.csv", water_file(*piece, 4))
        if len(pieces) > 1 and "air" not in pieces:  # waves differ from file to file
            assert [(row["from_"], row["value"]) for row in findings(service)] == [(row["from_"], row["value"]) for row in whole]
        else:
            assert findings(service) == whole
        service.run("rebuild", "-c", service.settings, "--clock", NOW)
        assert [(row["from_"], row["value"]) for row in findings(service)] == [(row["from_"], row["value"]) for row in whole]


def test_a_clock_that_is_right_is_left_alone(tmp_path):
    with Service(tmp_path / "work", small_settings(hold="0 s"), NOW) as service:
        service.put("mast/air.csv", air_file(0, DAYS))
        take(service, "mill/all.csv", water_file(0, DAYS))
        assert findings(service) == []


def test_a_file_that_comes_back_with_its_clock_mended_takes_the_finding_back(tmp_path):
    with Service(tmp_path / "work", small_settings(hold="0 s"), NOW) as service:
        service.put("mast/air.csv", air_file(0, DAYS))
        take(service, "mill/all.csv", water_file(0, DAYS, 4))
        assert findings(service)
        take(service, "mill/all.csv", water_file(0, DAYS))
        assert findings(service) == []
        page = (service.folder / "archive/stations/mill-pond/index.html").read_text(encoding="utf-8")
        assert "Clock against the air pressure" not in page
