#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Do all formats of a station-month say the same?

    read_back.py FOLDER/STATION_YYYY-MM

Reads the CSV, the daily CSV, and, with readers of their own, the netCDF, the workbook and the WaterML of that month, and
compares value by value. The daily values are computed anew, in another way. Exit status 0 when all is well, else 1 with
a list."""
import csv
import datetime
import json
import math
import sys
import xml.etree.ElementTree as ElementTree

import netCDF4
import numpy
import openpyxl

UTC = datetime.timezone.utc
EPOCH = datetime.datetime(1970, 1, 1, tzinfo=UTC)
WML = "{http://www.opengis.net/waterml/2.0}"
XLINK = "{http://www.w3.org/1999/xlink}"
QUALITY = {"good": 1, "unchecked": 2, "suspect": 3, "poor": 4}


def seconds(text):
    return (datetime.datetime.fromisoformat(text.replace("Z", "+00:00")) - EPOCH).total_seconds()


def read_csv(path):
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    return rows[0], rows[1:]


def columns_of(header, rows):
    return {name: [row[i] for row in rows] for i, name in enumerate(header)}


def quantities(header):
    """(key, column of the value) in the order of the CSV."""
    return [(flag[:-5], value) for value, flag in zip(header, header[1:]) if flag.endswith("_flag")]


def number(cell):
    return None if cell == "" else float(cell)


# ---- netCDF ----


def compare_netcdf(path, table):
    with netCDF4.Dataset(path) as file:
        file.set_auto_maskandscale(False)
        if len(file.dimensions["time"]) != len(table["time_utc"]):
            yield "netCDF: another number of rows"
            return
        yield from same("netCDF: time", file["time"][:], [seconds(cell) for cell in table["time_utc"]], 1e-6)
        for key, column in quantities(list(table)):
            decimals = max(len(cell.partition(".")[2]) for cell in table[column])
            yield from same(f"netCDF: {key}", filled(file[key], decimals), map(number, table[column]), 0)
            yield from same(f"netCDF: {key}_qc", file[f"{key}_qc"][:], map(int, table[f"{key}_flag"]), 0)
            yield from same(f"netCDF: {key}_qc_tests", file[f"{key}_qc_tests"][:], map(int, table[f"{key}_tests"]), 0)
            if f"{key}_uncertainty" in table:
                found = filled(file[f"{key}_uncertainty"], decimals)
                yield from same(f"netCDF: {key}_uncertainty", found, map(number, table[f"{key}_uncertainty"]), 0)
        words = file["barometer"].flag_meanings.split()
        found = [words[value] if value else "" for value in file["barometer"][:]]
        if found != table["barometer"]:
            yield "netCDF: barometer differs"
        for name in ("drop", "line"):
            yield from same(f"netCDF: {name}", file[name][:], map(int, table[name]), 0)
        yield from compare_raw(file, table)
        expected = {"time", "lat", "lon", "z", "crs", "station_id", "station_name", "sensor_elevation", "barometer",
                    "reference_temperature", "raw_time", "drop", "line"}
        for key, _ in quantities(list(table)):
            expected |= {key, f"{key}_qc", f"{key}_qc_tests", f"{key}_uncertainty"}
        extra = {name for name in file.variables if name not in expected and not name.startswith("raw_")}
        if extra:
            yield f"netCDF: the CSV has no {sorted(extra)}"


def compare_raw(file, table):
    if ("raw_time_utc" in table) != ("raw_time" in file.variables):
        yield "netCDF: raw_time does not go with the CSV"
    elif "raw_time_utc" in table:
        yield from same("netCDF: raw_time", file["raw_time"][:], [seconds(c) for c in table["raw_time_utc"]], 1e-6)
    names = [name for name in file.variables if name.startswith("raw_") and name != "raw_time"]
    columns = [name for name in table if name.startswith("raw_") and name != "raw_time_utc"]
    if len(names) != len(columns):
        yield f"netCDF: {names} for {columns}"
    for name, column in zip(names, columns):
        decimals = max(len(cell.partition(".")[2]) for cell in table[column])
        if not column.startswith(name):
            yield f"netCDF: {name} stands where {column} should"
        yield from same(f"netCDF: {name}", filled(file[name], decimals), map(number, table[column]), 0)


def filled(variable, decimals):
    """The float nearest to a decimal number reads back as that number."""
    data = variable[:]
    return [None if value == variable._FillValue else round(float(value), decimals) for value in data]


def same(what, found, expected, tolerance):
    for row, (a, b) in enumerate(zip(list(found), list(expected), strict=True)):
        if (a is None) != (b is None) or (a is not None and not abs(a - b) <= tolerance):
            yield f"{what}: row {row}: {a}, expected {b}"
            return


# ---- workbook ----


def compare_workbook(path, table, daily_header, daily_rows):
    book = openpyxl.load_workbook(path)
    if book.sheetnames != ["data", "daily", "corrections", "notes", "about"]:
        yield f"workbook: sheets {book.sheetnames}"
        return
    rows = list(book["data"].values)
    shown = ["time_utc"] + [name for pair in quantities(list(table)) for name in (pair[1], f"{pair[0]}_flag")]
    if list(rows[0]) != shown or len(rows) - 1 != len(table["time_utc"]):
        yield f"workbook: data: header {rows[0]}"
        return
    yield from same_sheet("data", rows[1:], list(zip(*(table[name] for name in shown))))
    rows = [row[: len(daily_header)] for row in book["daily"].values]
    if list(rows[0]) != daily_header:
        yield "workbook: daily: header"
        return
    yield from same_sheet("daily", rows[1 : len(daily_rows) + 1], daily_rows)
    if book["data"].freeze_panes != "B2" or book["daily"].freeze_panes != "B2":
        yield "workbook: panes are not frozen"
    if "yyyy" not in book["data"]["A2"].number_format:
        yield "workbook: time is not shown as one"
    has_series = any(name in ("level_m", "oxygen_mg_l") for name in table)
    if len(book["daily"]._charts) != has_series:
        yield "workbook: daily: number of charts"
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    yield f"workbook: {sheet.title}!{cell.coordinate} is a formula"


def same_sheet(name, found, expected):
    if len(found) != len(expected):
        yield f"workbook: {name}: {len(found)} rows, expected {len(expected)}"
        return
    for row, (cells, texts) in enumerate(zip(found, expected)):
        for cell, text in zip(cells, texts):
            if not same_cell(cell, text):
                yield f"workbook: {name}: row {row}: {cell!r}, expected {text!r}"
                return


def same_cell(cell, text):
    if cell is None or text == "":
        return cell is None and text == ""
    if isinstance(cell, datetime.datetime):
        if "T" not in text:
            return cell == datetime.datetime.fromisoformat(text)
        return abs((cell.replace(tzinfo=UTC) - EPOCH).total_seconds() - seconds(text)) < 0.0006
    return cell == float(text)


def compare_corrections(path, notes):
    book = openpyxl.load_workbook(path)
    checks = next(entry for entry in notes if entry["about"] == "checks")["checks"]
    rows = list(book["corrections"].values)[1:]
    findings = next(entry for entry in notes if entry["about"] == "findings")["findings"]
    if len(rows) != len(checks) + len(findings):
        yield "workbook: corrections: number of rows"
    for row, finding in zip(rows[len(checks):], findings):
        told = [finding.get("quantity"), finding["kind"], finding.get("value"), finding["text"]]
        if [row[1] or None, row[3], row[5], row[7]] != told or not same_cell(row[0], finding["from"]):
            yield f"workbook: corrections: {row}, expected {finding}"
    for row, check in zip(rows, checks):
        told = [check["quantity"], check["kind"], check["reference"], check["record"], check["difference"]]
        if [row[1], row[3], *row[4:7]] != told or not same_cell(row[0], check["time"]):
            yield f"workbook: corrections: {row}, expected {check}"
    field_notes = next(entry for entry in notes if entry["about"] == "field_notes")["notes"]
    rows = list(book["notes"].values)[1:]
    if len(rows) != len(field_notes):
        yield "workbook: notes: number of rows"
    for row, note in zip(rows, field_notes):
        told = [note["kind"], note.get("value"), note.get("reference"), note.get("text"), note["drop"], note["line"]]
        if [row[1], *row[5:10]] != told or not same_cell(row[0], note["time"]):
            yield f"workbook: notes: {row}, expected {note}"


# ---- WaterML ----


def compare_waterml(path, table):
    root = ElementTree.parse(path).getroot()
    pairs = quantities(list(table))
    observations = list(root.iter("{http://www.opengis.net/om/2.0}OM_Observation"))
    if len(observations) != len(pairs):
        yield f"WaterML: {len(observations)} observations"
        return
    for observation, (key, column) in zip(observations, pairs):
        defaults = observation.find(f".//{WML}DefaultTVPMeasurementMetadata")
        usual = quality_of(defaults)
        times, values, flags = [], [], []
        for point in observation.iter(f"{WML}MeasurementTVP"):
            times.append(point.find(f"{WML}time").text)
            value = point.find(f"{WML}value").text
            values.append(None if value is None else float(value))
            metadata = point.find(f".//{WML}TVPMeasurementMetadata")
            flags.append(9 if value is None else usual if metadata is None else quality_of(metadata))
        if times != table["time_utc"]:
            yield f"WaterML: {key}: times differ"
        yield from same(f"WaterML: {key}", values, map(number, table[column]), 0)
        yield from same(f"WaterML: {key}: quality", flags, map(int, table[f"{key}_flag"]), 0)


def quality_of(metadata):
    return QUALITY[metadata.find(f"{WML}quality").get(f"{XLINK}href").rsplit("/", 1)[1]]


# ---- daily values ----


def compare_daily(table, header, rows, record, interval):
    """Computed anew with numpy from the cells of the CSV. Its values are rounded, so a mean may differ by one digit."""
    times = numpy.array([seconds(cell) for cell in table["time_utc"]])
    start, days = seconds(record["from"]), len(rows)
    day_of = numpy.floor((times - start) / 86400).astype(int)
    offset = (seconds(rows[0][0] + "T00:00:00Z") - start) / 3600
    if f"{'+' if offset >= 0 else '-'}{abs(offset):02.0f}:00" != record["standard_time"]:
        yield "daily: the first date is not the first day of the month"
    if abs(seconds(record["to"]) - start - 86400 * days) > 0:
        yield "daily: number of days"
    daily = columns_of(header, rows)
    counts = numpy.bincount(day_of, minlength=days)
    yield from same("daily: samples", map(int, daily["samples"]), counts, 0)
    for key, column in quantities(list(table)):
        values = numpy.array([float(cell or "nan") for cell in table[column]])
        flags = numpy.array([int(cell) for cell in table[f"{key}_flag"]])
        decimals = max(len(cell.partition(".")[2]) for cell in table[column])
        for day in range(days):
            here = day_of == day
            used = here & numpy.isin(flags, (1, 2))
            told = {name: daily[name.format(key=key, column=column)][day]
                    for name in ("minimum_{column}", "maximum_{column}", "mean_{column}", "minimum_{key}_time_utc",
                                 "maximum_{key}_time_utc", "{key}_used", "{key}_suspect", "{key}_good_percent")}
            expected = expect_day(values, flags, times, here, used, decimals, interval, column, key)
            for name, text in told.items():
                yield from compare_daily_cell(f"daily: {rows[day][0]}: {name.format(key=key, column=column)}", text,
                                              expected[name], decimals)
    yield from compare_below(table, daily, day_of, times, days, interval)


def expect_day(values, flags, times, here, used, decimals, interval, column, key):
    count = int(used.sum())
    whole = max(int(here.sum()), int(86400 // interval) if interval else 0)
    ret = {"{key}_used": count,
           "{key}_suspect": int((here & (flags == 3)).sum()),
           "{key}_good_percent": round(100 * int((here & (flags == 1)).sum()) / whole, 1) if whole else None}
    for word, function in (("minimum", numpy.argmin), ("maximum", numpy.argmax)):
        at = numpy.flatnonzero(used)[function(values[used])] if count else None
        ret[word + "_{column}"] = values[at] if count else None
        ret[word + "_{key}_time_utc"] = times[at] if count else None
    ret["mean_{column}"] = math.fsum(values[used]) / count if count else None
    return ret


def compare_daily_cell(what, text, expected, decimals):
    if "_time_utc" in what:
        # Equal after rounding: another sample of the same value may be the first. Then the value itself was compared.
        if (text == "") != (expected is None):
            yield f"{what}: {text!r}, expected {expected}"
        return
    tolerance = 10.0**-decimals * 1.01 if "mean" in what else 0.1001 if "percent" in what else 0
    yield from same(what, [number(text)], [expected], tolerance)


def compare_below(table, daily, day_of, times, days, interval):
    for name in [name for name in daily if name.startswith("hours_oxygen_below_")]:
        limit = float(name[len("hours_oxygen_below_") : -len("_mg_l")].replace("_", "."))
        values = numpy.array([float(cell or "nan") for cell in table["oxygen_mg_l"]])
        flags = numpy.array([int(cell) for cell in table["oxygen_flag"]])
        steps = numpy.minimum(numpy.append(numpy.diff(times), interval), interval)
        usable = numpy.isin(flags, (1, 2))
        for day in range(days):
            here = usable & (day_of == day)
            expected = round(steps[here & (values < limit)].sum() / 3600, 2) if here.any() else None
            yield from same(f"daily: {name}: day {day}", [number(daily[name][day])], [expected], 0.0101)


def main(stem):
    with open(stem + ".csv-metadata.json", encoding="utf-8") as file:
        notes = json.load(file)["notes"]
    with open(stem + "_daily.csv-metadata.json", encoding="utf-8") as file:
        record = next(entry for entry in json.load(file)["notes"] if entry["about"] == "record")
    header, rows = read_csv(stem + ".csv")
    daily_header, daily_rows = read_csv(stem + "_daily.csv")
    table = columns_of(header, rows)
    yield from compare_netcdf(stem + ".nc", table)
    yield from compare_workbook(stem + ".xlsx", table, daily_header, daily_rows)
    yield from compare_corrections(stem + ".xlsx", notes)
    yield from compare_waterml(stem + ".xml", table)
    yield from compare_daily(table, daily_header, daily_rows, record, record["interval_s"])


if __name__ == "__main__":
    found = list(main(sys.argv[1]))
    for problem in found:
        print(problem, file=sys.stderr)
    sys.exit(1 if found else 0)
