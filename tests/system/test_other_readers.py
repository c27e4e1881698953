# SPDX-License-Identifier: MIT
"""The netCDF files in programs of other people: cdo, nco and xarray open them and compute the same mean as the CSV holds."""
import csv
import re
import shutil
import statistics
import subprocess

import pytest
import xarray

from daemon import Service, air_file, months, small_settings, water_file

NOW = "2026-06-05T12:00:00Z"


@pytest.fixture(scope="module")
def month(tmp_path_factory):
    with Service(tmp_path_factory.mktemp("readers") / "work", small_settings(settle="0 s"), NOW) as service:
        service.put("mill/water.csv", water_file(72, 300) + water_file(372, 60, temperature=14.5).split("\n", 2)[2])
        service.put("mast/air.csv", air_file(0, 500))
        service.run("once", "-c", service.settings, "--clock", NOW)
        table, = months(service, "mill-pond")
        with open(table, newline="", encoding="utf-8") as file:
            values = [float(row["temperature_degc"]) for row in csv.DictReader(file) if row["temperature_degc"]]
        assert len(values) > 300 and min(values) < max(values)
        yield str(table.with_suffix(".nc")), len(values), statistics.fmean(values)


def output(*command):
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_nco(month, tmp_path):
    path, count, mean = month
    averaged = str(tmp_path / "mean.nc")
    output("ncwa", "-O", "-a", "time", "-v", "temperature", path, averaged)
    assert abs(float(output("ncks", "-H", "-C", "-v", "temperature", "-s", "%.6f", averaged)) - mean) < 1e-3
    assert f"time = {count}" in output("ncks", "-m", path)


@pytest.mark.skipif(not shutil.which("cdo"), reason="skipped: no cdo here; it brings 60 packages of 370 MB along")
def test_cdo(month):
    path, count, mean = month
    assert abs(float(output("cdo", "-s", "output", "-timmean", "-selname,temperature", path)) - mean) < 1e-3
    assert int(re.findall(r"\d+", output("cdo", "-s", "ntime", path))[-1]) == count


def test_xarray(month):
    path, count, mean = month
    with xarray.open_dataset(path) as data:
        assert data.sizes["time"] == count and data.time.dtype.kind == "M"
        assert abs(float(data.temperature.mean()) - mean) < 1e-3
        assert data.temperature_qc.dtype == "int8", "flags stay whole numbers"
        assert data.temperature.attrs["standard_name"] == "sea_water_temperature"
