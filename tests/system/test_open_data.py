# SPDX-License-Identifier: MIT
"""Rules on data that others measured, through the whole service: files in, alarms out, held against episodes that this
file computes by itself from the published columns, by the words of alarms/rules.h and not by its code.

Flood: U.S. Geological Survey, 01589330 Dead Run at Franklintown, June 2018, gage height every 5 min (public domain).
Oxygen: NOAA National Estuarine Research Reserve System, Apalachicola Bay, Cat Point, 2012, every 15 min (CC0)."""
import csv
import math
import os
import pathlib

import pytest

from daemon import ROOT, Service, milliseconds, written

DATA = pathlib.Path(os.environ.get("RILLWARD_OPEN_DATA", ROOT.parent / "shared/data"))
FLOOD, ESTUARY, AIR = (DATA / name for name in ("usgs-deadrun-flashflood/usgs_01589330_2018-06_5min.csv",
                                                "nerrs-apalachicola/apacpwq_2012.csv", "nerrs-apalachicola/apaebmet_2012.csv"))
MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
METRES_PER_FOOT = 0.3048
STEADY_AIR = 1013.25  # hPa

SETTINGS = """\
network: {{id: open-data, name: Open data}}
inbox: inbox
archive: archive
state: state
intake: {{settle: 0.2 s, rescan: 10 min}}
archive_formats: [csv]
quality: {quality}
stations:
  river: {{latitude: {latitude}, longitude: -77, elevation: 10 m, standard_time: "{zone}", salinity: {salinity},
          sensor_elevation: 0 m, drops: ["water.csv"], barometers: [mast]}}
barometers:
  mast: {{latitude: {latitude}, longitude: -77, elevation: 10 m, standard_time: "{zone}", drops: ["air.csv"]}}
layouts:
  water: {{time: {{columns: [time], format: iso, zone: "{zone}"}}, columns: [{columns}]}}
  air: {{time: {{columns: [time], format: iso, zone: "{zone}"}}, columns: [{{header: air, is: air_pressure, unit: hPa}}]}}
rules:
{rules}"""
PRESSURE = "{header: pressure, is: water_pressure, unit: hPa}, {header: temperature, is: temperature, unit: degC}"
UNTESTED = "{spike: none, rate: none, flat: {tolerance: 0.0001 UNIT, suspect: none, fail: none}}"


def alarms_of(folder, settings, water, air, now):
    """{rule: [(start, end)]}, ms, after one run over the files."""
    with Service(folder, settings, now) as service:
        service.put("air.csv", air)
        service.put("water.csv", water)
        service.run("once", "-c", service.settings, "--clock", now)
        assert service.status()["drops"] == []
        found = {}
        for row in service.ask("SELECT rule, start, end_ FROM alarm WHERE state <> 5 ORDER BY start"):
            found.setdefault(row["rule"], []).append((row["start"], row["end_"]))
        return found


def readable(episodes):
    return [(written(start), end and written(end)) for start, end in episodes]


def untested(unit):
    return UNTESTED.replace("UNIT", unit)


# ---- what must be found, by the definition ----

def below_episodes(rows, limit, deadband, on_delay, off_delay):
    """rows: [(time, value)], counted samples only. An episode begins with the first of a run of samples below the limit
    that lasts for on_delay without a pause of more than a day; it ends with the first later sample at or above limit +
    deadband behind which no sample is below the limit for off_delay."""
    episodes, i = [], 0
    while i < len(rows):
        if not rows[i][1] < limit:
            i += 1
            continue
        run = i
        while run + 1 < len(rows) and rows[run + 1][1] < limit and rows[run + 1][0] - rows[run][0] <= DAY:
            run += 1
        served = next((k for k in range(i, run + 1) if rows[k][0] - rows[i][0] >= on_delay), None)
        if served is None:
            i = run + 1
            continue
        end, following = None, None
        for e in range(served + 1, len(rows)):
            if rows[e][1] < limit + deadband:
                continue
            confirmed = next((k for k in range(e, len(rows)) if rows[k][0] - rows[e][0] >= off_delay), None)
            last = confirmed if confirmed is not None else len(rows) - 1
            if all(rows[k][1] >= limit for k in range(e, last + 1)):
                end = rows[e][0] if confirmed is not None else None
                following = last + 1
                break
        episodes.append((rows[i][0], end))
        if end is None:
            break
        i = following
    return episodes


def rise_episodes(rows, limit, window):
    """Stretches of samples each of which stands more than limit above the lowest of the window before it."""
    episodes, is_open = [], False
    for i, (time, value) in enumerate(rows):
        first = i
        while first > 0 and rows[first - 1][0] >= time - window:
            first -= 1
        rises = first < i and value - min(v for _, v in rows[first:i]) > limit
        if rises and not is_open:
            episodes.append([time, None])
        elif is_open and not rises:
            episodes[-1][1] = time
        is_open = rises
    return [tuple(episode) for episode in episodes]


# ---- a flash flood ----

def read_flood():
    with open(FLOOD, newline="", encoding="utf-8") as file:
        return [(milliseconds(row["datetimeUTC"].replace(".000Z", "Z")),
                 float(row["USGS:01589330:00065:00000"]) * METRES_PER_FOOT) for row in csv.DictReader(file)]


def flood_files(rows):
    """The pressure that water of 15 degC puts on a sensor on the gauge's zero. Density of pure water: Tanaka et al. 2001;
    gravity: WGS 84."""
    sine = math.sin(math.radians(39.3)) ** 2
    gravity = 9.7803253359 * (1 + 0.00193185265241 * sine) / math.sqrt(1 - 0.00669437999013 * sine)
    water = "time,pressure,temperature\n" + "".join(
        f"{written(time)},{STEADY_AIR + 999.1026 * gravity * level / 100:.4f},15.0\n" for time, level in rows)
    first, last = rows[0][0], rows[-1][0]
    air = "time,air\n" + "".join(f"{written(time)},{STEADY_AIR}\n" for time in range(first, last + HOUR, HOUR))
    return water, air


def flood_settings(limit, quality):
    rules = f"  flood: {{kind: rise, quantity: level, limit: {limit} m, window: 1 h}}\n"
    return SETTINGS.format(quality=quality, latitude=39.3, zone="Z", salinity="fresh", columns=PRESSURE, rules=rules)


@pytest.mark.skipif(not FLOOD.exists(), reason="skipped, no open data")
def test_a_flash_flood_is_found_as_the_definition_says(tmp_path):
    rows = read_flood()
    water, air = flood_files(rows)
    limit = 0.5014  # between two steps of the gauge of 0.01 ft, so that no rounding decides
    expected = rise_episodes(rows, limit, HOUR)
    assert len(expected) >= 5
    settings = flood_settings(limit, f"{{level: {untested('m')}, depth: {untested('m')}}}")
    found = alarms_of(tmp_path / "net", settings, water, air, "2018-07-03T00:00:00Z")["flood"]
    print(f"flood: {len(expected)} expected, {len(found)} found")
    assert readable(found) == readable(expected)


@pytest.mark.skipif(not FLOOD.exists(), reason="skipped, no open data")
def test_no_flood_is_lost_to_the_tests_of_quality_as_they_come(tmp_path):
    """The rises of more than 0.5 m in an hour that the description of the data names; suspect values do not count in a
    rise, and a flood is steep: the default limits must leave enough of it."""
    water, air = flood_files(read_flood())
    found = alarms_of(tmp_path / "net", flood_settings(0.5, "{}"), water, air, "2018-07-03T00:00:00Z")["flood"]
    begun = ["2018-06-03T18:20:00Z", "2018-06-03T21:30:00Z", "2018-06-10T22:00:00Z", "2018-06-11T08:10:00Z",
             "2018-06-11T09:40:00Z"]
    for start in map(milliseconds, begun):
        near = [(a, b) for a, b in found if start - 30 * MINUTE <= a <= start + 90 * MINUTE]
        assert near, f"nothing near {written(start)}: {[written(a) for a, _ in found]}"


# ---- an estuary without oxygen ----

def good(row, column):
    return row[column] if row[f"f_{column}"].startswith("<0>") and row[column] else ""


def read_estuary():
    with open(ESTUARY, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def estuary_files(rows):
    water = "time,pressure,temperature,conductance,percent\n"
    for row in rows:
        pressure = f"{1013 + 100 * float(row['depth']):.1f}" if row["depth"] else ""
        water += (f"{row['datetimestamp']},{pressure},{good(row, 'temp')},{good(row, 'spcond')},{good(row, 'do_pct')}\n")
    with open(AIR, newline="", encoding="utf-8") as file:
        air = "time,air\n" + "".join(f"{row['datetimestamp']},{row['bp']}\n" for row in csv.DictReader(file) if row["bp"])
    return water, air


def local(time_text):
    return milliseconds(time_text.replace(" ", "T") + "Z") + 5 * HOUR  # its clock stands 5 h behind all year


@pytest.mark.skipif(not ESTUARY.exists(), reason="skipped, no open data")
def test_low_oxygen_is_found_as_the_definition_says(tmp_path):
    rows = read_estuary()
    water, air = estuary_files(rows)
    columns = (PRESSURE + ", {header: conductance, is: specific_conductance, unit: mS/cm},"
               " {header: percent, is: oxygen_saturation, unit: '%'}")
    quality = "{" + ", ".join(f"{name}: {untested(unit)}" for name, unit in
                              (("oxygen", "mg/L"), ("oxygen_saturation", "%"), ("oxygen_saturation_standard", "%"))) + "}"
    delays = "deadband: {deadband}, on_delay: 30 min, off_delay: 1 h"
    rules = (f"  percent: {{kind: below, quantity: oxygen_saturation_standard, limit: 40.05 %, {delays}}}\n"
             .replace("{deadband}", "5 %") +
             f"  mass: {{kind: below, quantity: oxygen, limit: 3 mg/L, {delays}}}\n".replace("{deadband}", "0.5 mg/L"))
    settings = SETTINGS.format(quality=quality, latitude=29.7, zone="-05:00", salinity="measured", columns=columns, rules=rules)
    counted = [(local(row["datetimestamp"]), float(good(row, "do_pct"))) for row in rows if good(row, "do_pct")]
    expected = below_episodes(counted, 40.05, 5, 30 * MINUTE, HOUR)
    found = alarms_of(tmp_path / "net", settings, water, air, "2013-01-03T00:00:00Z")
    print(f"low oxygen: {len(expected)} expected, {len(found['percent'])} found")
    assert len(expected) >= 15
    assert readable(found["percent"]) == readable(expected)
    # In mg/L, which the service computes from percent, salinity and temperature: theirs is rounded to 0.1.
    low = sorted(local(row["datetimestamp"]) for row in rows
                 if good(row, "do_mgl") and good(row, "do_pct") and good(row, "sal") and good(row, "temp")
                 and float(row["do_mgl"]) <= 2.8)
    runs = [time for time in low if {time + 15 * MINUTE, time + 30 * MINUTE} <= set(low)]
    missed = [written(time) for time in runs if not any(a <= time and (b is None or time < b) for a, b in found["mass"])]
    print(f"hypoxia by mg/L: {len(runs)} samples that begin half an hour, in {len(found['mass'])} episodes, {len(missed)} missed")
    assert len(runs) >= 50 and missed == []
