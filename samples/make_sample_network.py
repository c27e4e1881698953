#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Write the sample network: 28 days at nine stations of the invented Sallow estuary, with the truth beside it.

The sample's "now" is 2026-04-22T12:00:00Z (also in OUT/now.txt): give it to the service as the present, or what is
news here is old. Same bytes at every run: fixed seeds, no clock. What happens where: sallow_scenario.py.

usage: make_sample_network.py OUT [--quick]       OUT is made; --quick: one sample in three
       make_sample_network.py --excerpts DIR      short excerpts of every layout

OUT/deliveries.txt       one line a delivery, in order: how, source below OUT, target below the inbox, tabs between
OUT/drops/<step>/...     the files as the crews' phones deliver them; deliver.py plays them into an inbox
OUT/truth/<station>.csv  what the water really did
OUT/truth/episodes.json  which alarms, set-aside drops and waiting stations are expected
"""
import argparse
import json
import os
import sys

import numpy as np

sys.dont_write_bytecode = True  # leaves the folder of the scripts as it was

import sallow_crews as crews
import sallow_expected as expected
import sallow_physics as physics
import sallow_scenario as scenario
from sallow_scenario import MINUTE, april

WATER_NAMES = {"north": "north/{short}_{date}.csv", "east": "east/{short}_{date}.csv", "south": "south/{id}/{date}.tsv"}
DAMAGED_ROWS = (212, 1033, 1034, 1900, 2501, 3307)  # of the first file of otter-stream, when sampled every 5 minutes
STRAY = "north/pocket_20260420.csv"
PICTURE = "north/IMG_0412.csv"
HALVED = "alder-ford"


class Deliveries:
    """The drops, in the order in which they arrive."""

    def __init__(self, out):
        self.out, self.lines, self.step = out, [], ""

    def add(self, target, content, how="rename"):
        source = f"drops/{self.step}/{target}"
        if how == "append":
            source += ".more"
        write(os.path.join(self.out, source), content)
        self.lines.append(f"{how}\t{source}\t{target}")
        return len(self.lines)

    def finish(self):
        write(os.path.join(self.out, "deliveries.txt"), ("\n".join(self.lines) + "\n").encode())


def write(path, content):
    os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "wb") as file:
        file.write(content)


class Sample:
    """Everything measured, before anybody writes a file."""

    def __init__(self, sample_s):
        self.sample_s = sample_s
        self.air = physics.Air(scenario.START, scenario.FRONT)
        self.runs = {station.id: [scenario.measure(station, run, self.air, sample_s) for run in station.runs]
                     for station in scenario.STATIONS}
        self.notes = {crew: sorted((one for station in scenario.STATIONS if station.crew == crew
                                    for one in crews.notes_of(station, self.air)), key=lambda one: one["time"])
                      for crew in ("north", "east", "south")}
        self.quay = scenario.measure_air(self.air, 4.0, scenario.START, scenario.NOW - 10 * MINUTE, 10 * MINUTE, 9001,
                                         scenario.QUAY_GAP)
        self.hill = scenario.measure_air(self.air, 86.0, scenario.START, scenario.NOW - 15 * MINUTE, 15 * MINUTE, 9002)

    def joined(self, station_id):
        runs = self.runs[station_id]
        return {key: np.concatenate([run[key] for run in runs]) for key in runs[0]}


def between(data, start, end):
    inside = (data["stamp"] >= start) & (data["stamp"] < end)
    return {key: values[inside] for key, values in data.items()}


def water_target(station, offloaded):
    date = crews.utc_time(offloaded)[:10].replace("-", "")
    return WATER_NAMES[station.crew].format(id=station.id, short=station.id.split("-")[0], date=date)


def notes_until(sample, crew, end, start=0):
    return [one for one in sample.notes[crew] if start <= one["time"] < end]


def deliver_all(sample, out):
    """Writes the drops; returns numbers of deliveries and paths that the expectations cite."""
    deliveries = Deliveries(out)
    seen = {}
    first, middle, last = april("01 00:00"), april("12 00:00"), scenario.NOW + 1

    deliveries.step = "01-hung"
    deliveries.add("north/notes/march.csv", crews.long_book("north", notes_until(sample, "north", first)))
    deliveries.add("south/notes/book.csv", crews.long_book("south", notes_until(sample, "south", first)))
    deliveries.add("east/notes/visits.csv", crews.wide_book(notes_until(sample, "east", first)))

    deliveries.step = "02-air"
    deliveries.add("north/quay_20260407.csv", crews.quay_file(between(sample.quay, 0, april("07 18:00"))))
    deliveries.add("south/hill/20260410.tsv", crews.hill_file(between(sample.hill, 0, april("10 21:00"))))

    deliveries.step = "03-first-offload"
    rest = first_offload(sample, deliveries, seen)

    deliveries.step = "04-notes"
    deliveries.add("north/notes/april.csv", crews.long_book("north", notes_until(sample, "north", middle, first)))
    deliveries.add("south/notes/book.csv", crews.long_book("south", notes_until(sample, "south", middle)))
    deliveries.add("east/notes/visits.csv",
                   crews.wide_book(notes_until(sample, "east", middle, first), with_header=False), "append")

    deliveries.step = "05-strays"
    seen["picture"] = deliveries.add(PICTURE, picture())
    seen["stray"] = deliveries.add(STRAY, stray(sample))

    deliveries.step = "06-second-offload"
    second_offload(sample, deliveries, seen)

    deliveries.step = "07-notes"
    deliveries.add("north/notes/april-2.csv", crews.long_book("north", notes_until(sample, "north", last, middle)))
    deliveries.add("south/notes/book.csv", crews.long_book("south", notes_until(sample, "south", last)))
    seen["before_air"] = deliveries.add("east/notes/visits.csv", crews.wide_book(
        notes_until(sample, "east", last, middle), with_header=False), "append")

    deliveries.step = "08-late"
    deliveries.add("south/hill/20260422.tsv", crews.hill_file(between(sample.hill, april("10 21:00"), last)))
    seen["half_completed"] = deliveries.add(*rest, "append")
    deliveries.add("north/quay_20260422.csv", crews.quay_file(between(sample.quay, april("07 18:00"), last)))
    deliveries.finish()
    return seen


def first_offload(sample, deliveries, seen):
    rest = None
    for station in scenario.STATIONS:
        data, offloaded = sample.runs[station.id][0], station.runs[0].end
        if station.id == "otter-stream":
            offloaded = april("10 15:12")
            data = damaged(between(data, 0, offloaded), sample.sample_s)
        target, content = water_target(station, offloaded), crews.water_file(station, data, offloaded)
        if station.id == HALVED:
            cut = int(len(content) * 0.55)
            cut = content.index(b",", cut) + 2  # inside a number
            seen["half"], seen["half_path"] = deliveries.add(target, content[:cut]), target
            rest = (target, content[cut:])
            continue
        deliveries.add(target, content, "write" if station.id == "lily-pond" else "rename")
        if station.id == "ferry-channel":
            seen["copy_path"] = target.replace(".csv", " (1).csv")
            seen["copy"] = deliveries.add(seen["copy_path"], content)
    return rest


def second_offload(sample, deliveries, seen):
    for station in sorted(scenario.STATIONS, key=lambda one: one.runs[-1].end):
        run = station.runs[-1]
        target = water_target(station, run.end)
        number = deliveries.add(target, crews.water_file(station, sample.runs[station.id][-1], run.end),
                                "write" if station.id == "stone-brook" else "rename")
        if station.id == "otter-stream":
            seen["otter"], seen["otter_path"] = number, target


def damaged_rows(sample_s):
    return sorted({row * 300 // sample_s for row in DAMAGED_ROWS})


def damaged(data, sample_s):
    """The first offload of otter-stream was disturbed: six rows hold other numbers than the logger kept."""
    rows = damaged_rows(sample_s)
    data = {key: values.copy() for key, values in data.items()}
    data["pressure"][rows] += 350.0
    data["oxygen"][rows] -= 1.5
    return data


def picture():
    """A camera's file with the wrong name: begins like a JPEG, goes on as noise."""
    noise = physics.generator(412).integers(0, 256, 6000, dtype=np.uint8).tobytes()
    return b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00" + noise + b"\xff\xd9"


def stray(sample):
    """A logger that lay in a pocket; its serial number is not in the settings."""
    start = april("20 14:00")
    stamp = np.arange(start, start + 26 * 300, 300, dtype=float)
    random = physics.generator(9944)
    data = {"stamp": stamp, "pressure": sample.air.pressure(stamp, 12.0) + random.normal(0, 5, len(stamp)),
            "temperature": 24 + random.normal(0, 0.3, len(stamp)), "oxygen": 8.3 + random.normal(0, 0.02, len(stamp)),
            "battery": np.full(len(stamp), 3.6)}
    station = scenario.by_id("otter-stream")
    lines = crews.lines_of("north", crews.north_columns(station, data, [int(one) for one in stamp]))
    return crews.north_bytes("N-9944", "", lines)


# ---- Truth ----


def write_truth(station, sample, out):
    time = np.arange(station.runs[0].start // 300 * 300, station.runs[-1].end + 301, sample.sample_s, dtype=float)
    water = scenario.Water(station, sample.air)
    elevation = water.sensor_elevation(time)
    wet = ~np.isnan(elevation)
    level, measured = water.level(time), station.settings_salinity == "measured"
    columns = [[crews.utc_time(t) for t in time], crews.cells(level, 4), where(wet, level - elevation, 4),
               where(wet & measured, water.salinity(time), 4)]
    has_oxygen = "oxygen" in station.sensors
    columns += [where(wet & has_oxygen, water.oxygen(time), 3), where(wet & has_oxygen, water.oxygen_percent(time), 2),
                where(wet & (len(station.sensors) > 1), water.specific_conductance(time) * 1000, 1),
                where(wet, water.temperature(time), 3),
                crews.cells(sample.air.pressure(time, station.elevation) / 100, 3), crews.cells(wet, 0)]
    header = ("time,level_m,depth_m,salinity,oxygen_mg_l,oxygen_sat_local_percent,specific_conductance_us_cm,"
              "temperature_degc,air_pressure_hpa,in_water")
    rows = "\n".join([header, *(",".join(row) for row in zip(*columns))]) + "\n"
    write(os.path.join(out, "truth", station.id + ".csv"), rows.encode())


def where(known, values, decimals):
    """Empty where the station does not know it."""
    return [f"{value:.{decimals}f}" if there else "" for there, value in zip(known, values)]


def write_expected(sample, seen, out):
    measured = {station.id: sample.joined(station.id) for station in scenario.STATIONS}
    alarms = expected.alarms(measured, sample.air)
    for alarm in alarms:
        alarm["start"] = crews.utc_time(alarm["start"])
        alarm["open"] = alarm["end"] is None
        if alarm["end"] not in (None, "any"):
            alarm["end"] = crews.utc_time(alarm["end"])
    set_aside = [dict(path=PICTURE, after_delivery=seen["picture"], why="is no table of text"),
                 dict(path=STRAY, after_delivery=seen["stray"], why="nobody claims serial number N-9944")]
    alarms += [dict(station=one["path"], rule="bad-drop", start=None, end="any", open=True, start_tolerance_s=None,
                    end_tolerance_s=None, worst=None) for one in set_aside]
    air_ends = april("10 20:45")  # last sample of the hill's first file, the later of the two
    waiting = [dict(from_delivery=seen["half"], until_delivery=seen["half_completed"], path=seen["half_path"],
                    why="half written")]
    for station in scenario.STATIONS:
        last = float(measured[station.id]["time"][-1])
        if last > air_ends:
            waiting.append(dict(at_delivery=seen["before_air"], station=station.id, why="no air pressure",
                                **{"from": crews.utc_time(air_ends), "until": crews.utc_time(last)}))
    gap = [crews.utc_time(edge) for edge in scenario.QUAY_GAP]
    write(os.path.join(out, "truth", "episodes.json"), (json.dumps({
        "now": crews.utc_time(scenario.NOW), "alarms": alarms, "set_aside": set_aside,
        "repeated": [dict(path=seen["copy_path"], after_delivery=seen["copy"])],
        "disagreeing": [dict(path=seen["otter_path"], after_delivery=seen["otter"],
                             rows=len(damaged_rows(sample.sample_s)), right="the later file")],
        "waiting": waiting,
        "air_gap": dict(barometer="quay", **{"from": gap[0], "until": gap[1]}, instead="hill"),
    }, indent=1) + "\n").encode())


# ---- Excerpts ----


def write_excerpts(sample, folder):
    """Short files of every layout, for people to look at and for tests to read."""
    def part(station_id, start, end):
        station = scenario.by_id(station_id)
        return station, between(sample.runs[station_id][0], april(start), april(end))

    back = part("ferry-channel", "05 01:30", "05 04:30")  # the hour that phones show twice
    hung = part("eelgrass-slough", "-25 15:45", "-25 18:45")  # from the air into the water
    night = part("heron-creek", "03 10:00", "03 12:30")
    write(os.path.join(folder, "north-water.csv"), crews.water_file(*back, april("07 17:15")))
    write(os.path.join(folder, "east-water.csv"), crews.water_file(*hung, april("09 14:45")))
    write(os.path.join(folder, "south-water.tsv"), crews.water_file(*night, april("08 15:15")))
    write(os.path.join(folder, "north-specific-conductance.csv"),
          crews.water_file(*part("fern-brook", "08 17:15", "08 19:30"), april("08 19:15")))
    write(os.path.join(folder, "north-air.csv"), crews.quay_file(between(sample.quay, april("05 00:00"), april("05 06:00"))))
    write(os.path.join(folder, "south-air.tsv"), crews.hill_file(between(sample.hill, april("13 01:00"), april("13 09:00"))))
    write(os.path.join(folder, "north-notes.csv"), crews.long_book("north", notes_until(sample, "north", april("11 00:00"))))
    write(os.path.join(folder, "east-notes.csv"), crews.wide_book(notes_until(sample, "east", scenario.NOW)))
    write(os.path.join(folder, "south-notes.csv"), crews.long_book("south", notes_until(sample, "south", april("11 00:00"))))


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("out", nargs="?", help="folder to make")
    parser.add_argument("--quick", action="store_true", help="sample every 15 minutes instead of every 5")
    parser.add_argument("--excerpts", metavar="DIR", help="write short excerpts of every layout instead")
    options = parser.parse_args()
    if (options.out is None) == (options.excerpts is None):
        parser.error("name either OUT or --excerpts DIR")
    sample = Sample(900 if options.quick else 300)
    if options.excerpts:
        return write_excerpts(sample, options.excerpts)
    if os.path.exists(options.out) and os.listdir(options.out):
        sys.exit(f"'{options.out}' is not empty: remove it or name another folder")
    seen = deliver_all(sample, options.out)
    for station in scenario.STATIONS:
        write_truth(station, sample, options.out)
    write_expected(sample, seen, options.out)
    write(os.path.join(options.out, "now.txt"), (crews.utc_time(scenario.NOW) + "\n").encode())


if __name__ == "__main__":
    main()
