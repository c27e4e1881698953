#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Hold an archive's finished values against the truth of a sample.

usage: check_truth.py ARCHIVE TRUTH [--limit [STATION:]QUANTITY=VALUE ...] [--least SHARE]

Reads every monthly CSV of the archive (<station>_<yyyy>-<mm>.csv, columns time_utc, level_m, level_flag, ...) and
TRUTH/<station>.csv. Compares rows with flag 1 at times when the logger truly was in the water; the truth is read between
its lines, because corrected clocks do not tick on the round minute. "in water" counts the truth's rows, one a sample.
Prints median and 95 % of the absolute error.

A limit holds the 95 % error, at every station that knows the quantity, or at one: --limit level=0.003
--limit ferry-channel:level=0.004 (the nearer one counts). Exit 1 when a limit is exceeded, when a limited quantity has
nothing to compare, or when less than SHARE of the rows in water carry flag 1; 2 when the folders cannot be read.
"""
import argparse
import csv
import glob
import os
import sys
from datetime import datetime, timezone

import numpy as np

QUANTITIES = {  # key: column in the archive, column in the truth, decimals shown
    "level": ("level_m", "level_m", 4),
    "depth": ("depth_m", "depth_m", 4),
    "temperature": ("temperature_degc", "temperature_degc", 3),
    "oxygen": ("oxygen_mg_l", "oxygen_mg_l", 3),
    "oxygen_saturation": ("oxygen_saturation_percent", "oxygen_sat_local_percent", 2),
    "specific_conductance": ("specific_conductance_us_cm", "specific_conductance_us_cm", 1),
    "salinity": ("salinity", "salinity", 4),
    "air_pressure": ("air_pressure_hpa", "air_pressure_hpa", 3),
}


def seconds(text):
    pattern = "%Y-%m-%dT%H:%M:%S.%fZ" if "." in text else "%Y-%m-%dT%H:%M:%SZ"
    return datetime.strptime(text, pattern).replace(tzinfo=timezone.utc).timestamp()


def read_table(path):
    """Column name -> cells; the empty cell stays empty text."""
    with open(path, encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    return {name: [row[i] for row in rows[1:]] for i, name in enumerate(rows[0])}


def numbers(cells):
    return np.array([float(cell) if cell else np.nan for cell in cells])


def read_months(archive, station):
    """All months of a station joined; a column that one month lacks is empty there."""
    paths = sorted(glob.glob(os.path.join(glob.escape(archive), "**", f"{station}_[0-9][0-9][0-9][0-9]-[0-9][0-9].csv"),
                             recursive=True))
    tables = [read_table(path) for path in paths]
    names = {name for table in tables for name in table}
    return {name: [cell for table in tables for cell in table.get(name, [""] * len(table["time_utc"]))]
            for name in names}


def compare(station, finished, truth):
    """One result for each quantity that the truth knows. 'wet' counts the truth's own rows in water, so that rows which
    the archive lacks count against it."""
    true_time = np.array([seconds(cell) for cell in truth["time"]])
    in_water = numbers(truth["in_water"])
    time = np.array([seconds(cell) for cell in finished.get("time_utc", [])])
    wet = np.interp(time, true_time, in_water, left=0, right=0) == 1
    for key, (column, true_column, _) in QUANTITIES.items():
        true = numbers(truth[true_column])
        if np.isnan(true[in_water == 1]).all():
            continue
        value = numbers(finished[column]) if column in finished else np.full(len(time), np.nan)
        flag = numbers(finished.get(key + "_flag", [""] * len(time)))
        error = np.abs(value - np.interp(time, true_time, true))
        counted = wet & (flag == 1) & ~np.isnan(error)
        median, most = np.percentile(error[counted], [50, 95]) if counted.any() else (np.nan, np.nan)
        yield dict(station=station, key=key, wet=int((in_water == 1).sum()), rows=int(counted.sum()), median=median,
                   most=most)


def limit_for(limits, result):
    return limits.get((result["station"], result["key"]), limits.get((None, result["key"])))


def verdict(result, limits, least):
    limit = limit_for(limits, result)
    if limit is None:
        return ""
    if not result["rows"]:
        return "NOTHING TO COMPARE"
    if result["rows"] < least * result["wet"]:
        return "TOO FEW ROWS"
    return "ok" if result["most"] <= limit else "TOO FAR OFF"


def print_table(results, limits, least):
    table = [["station", "quantity", "in water", "flag 1", "median", "95 %", "limit", ""]]
    for result in results:
        decimals, limit = QUANTITIES[result["key"]][2], limit_for(limits, result)
        table.append([result["station"], result["key"], str(result["wet"]), str(result["rows"]),
                      shown(result["median"], decimals), shown(result["most"], decimals),
                      "" if limit is None else f"{limit:g}", verdict(result, limits, least)])
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))]
    for row in table:
        cells = [cell.ljust(width) if i in (0, 1, 7) else cell.rjust(width)
                 for i, (cell, width) in enumerate(zip(row, widths))]
        print("  ".join(cells).rstrip())


def shown(value, decimals):
    return "-" if np.isnan(value) else f"{value:.{decimals}f}"


def parse_limit(text):
    name, equals, value = text.partition("=")
    station, colon, key = name.rpartition(":")
    if not equals or key not in QUANTITIES:
        raise argparse.ArgumentTypeError(
            f"expected [STATION:]QUANTITY=VALUE with a quantity of {', '.join(QUANTITIES)}")
    return (station if colon else None, key), float(value)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("archive")
    parser.add_argument("truth")
    parser.add_argument("--limit", type=parse_limit, action="append", default=[], metavar="[STATION:]QUANTITY=VALUE")
    parser.add_argument("--least", type=float, default=0.8, metavar="SHARE",
                        help="of the rows in water must be compared where a limit is given (default 0.8)")
    options = parser.parse_args()
    limits = dict(options.limit)
    truths = glob.glob(os.path.join(glob.escape(options.truth), "*.csv"))
    stations = sorted(os.path.basename(path)[:-4] for path in truths)
    if not stations or not os.path.isdir(options.archive):
        print(f"'{options.truth}' holds no truth, or '{options.archive}' is no folder", file=sys.stderr)
        return 2
    unknown = {station for station, _ in limits if station is not None} - set(stations)
    if unknown:
        parser.error(f"no such station: {', '.join(sorted(unknown))}")
    results = []
    for station in stations:
        truth = read_table(os.path.join(options.truth, station + ".csv"))
        results += compare(station, read_months(options.archive, station), truth)
    print_table(results, limits, options.least)
    return 0 if all(verdict(result, limits, options.least) in ("", "ok") for result in results) else 1


if __name__ == "__main__":
    sys.exit(main())
