#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Does a station-month in netCDF keep the rules of CF-1.11 (one time series) and ACDD-1.3?

    check_cf.py NAME.nc

Needs netCDF4 for Python, and udunits2 for the units. Exit status 0 when all is well, else 1 with a list."""
import re
import subprocess
import sys

import netCDF4
import numpy

# Canonical units of the CF standard name table, version 83, for the names that a station can have.
CANONICAL = {
    "latitude": "degree_north",
    "longitude": "degree_east",
    "altitude": "m",
    "depth": "m",
    "water_surface_height_above_reference_datum": "m",
    "sea_water_temperature": "K",
    "temperature_of_analysis_of_sea_water": "K",
    "sea_water_electrical_conductivity": "S m-1",
    "sea_water_electrical_conductivity_at_reference_temperature": "S m-1",
    "sea_water_practical_salinity": "1",
    "mass_concentration_of_oxygen_in_sea_water": "kg m-3",
    "fractional_saturation_of_oxygen_in_sea_water": "1",
    "sea_water_pressure": "dbar",
    "air_pressure": "Pa",
    "air_temperature": "K",
    "time": None,
    "platform_name": None,
    "aggregate_quality_flag": None,
    "quality_flag": None,
}
MODIFIERS = {"standard_error"}
CALENDARS = {"standard", "proleptic_gregorian", "utc", "tai"}
CONTENT = {"image", "thematicClassification", "physicalMeasurement", "auxiliaryInformation", "qualityInformation",
           "referenceInformation", "modelResult", "coordinate"}
GLOBAL_TEXTS = """title summary keywords Conventions id naming_authority history source processing_level comment license
    acknowledgement standard_name_vocabulary date_created creator_name institution project publisher_name
    geospatial_bounds geospatial_bounds_crs time_coverage_start time_coverage_end time_coverage_duration
    time_coverage_resolution product_version cdm_data_type platform references""".split()
GLOBAL_NUMBERS = "geospatial_lat_min geospatial_lat_max geospatial_lon_min geospatial_lon_max".split()
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
DURATION = re.compile(r"P(?=.)(\d+D)?(T(?=\d)(\d+H)?(\d+M)?(\d+S)?)?")


def units_agree(units, canonical):
    """udunits2 prints the conversion only where there is one."""
    answer = subprocess.run(["udunits2", "-H", units, "-W", canonical], capture_output=True, text=True, check=False)
    return "=" in answer.stdout


def check_global(file):
    conventions = getattr(file, "Conventions", "")
    if re.findall(r"CF-[\d.]+", conventions) != ["CF-1.11"] or "ACDD-1.3" not in conventions:
        yield f"Conventions is {conventions!r}"
    if getattr(file, "featureType", "").lower() != "timeseries":
        yield "featureType is not timeSeries"
    for name in GLOBAL_TEXTS:
        if not isinstance(getattr(file, name, None), str) or not getattr(file, name).strip():
            yield f"global attribute {name} is missing or no text"
    for name in GLOBAL_NUMBERS:
        if not isinstance(getattr(file, name, None), numpy.floating):
            yield f"global attribute {name} is missing or no number"
    for name in ("date_created", "time_coverage_start", "time_coverage_end"):
        if not TIME.fullmatch(getattr(file, name, "")):
            yield f"{name} is no time with a zone"
    for name in ("time_coverage_duration", "time_coverage_resolution"):
        if not DURATION.fullmatch(getattr(file, name, "")):
            yield f"{name} is no duration"
    if not getattr(file, "history", "").startswith(getattr(file, "date_created", "?")):
        yield "history does not begin with date_created"


def check_extent(file):
    """The attributes that sum up the data are those of the data."""
    bounds = f"POINT ({file['lat'][...]:.9g} {file['lon'][...]:.9g})"
    if file.geospatial_bounds != bounds or file.geospatial_bounds_crs != "EPSG:4326":
        yield f"geospatial_bounds is {file.geospatial_bounds!r}, expected {bounds!r}"
    for axis, name in (("lat", "lat"), ("lon", "lon"), ("vertical", "z")):
        for end in ("min", "max"):
            told = getattr(file, f"geospatial_{axis}_{end}", None)
            if told != (file[name][...] if name in file.variables else None):
                yield f"geospatial_{axis}_{end} is not that of the data"
    times = netCDF4.num2date(file["time"][[0, -1]], file["time"].units, "standard")
    for name, time in zip(("time_coverage_start", "time_coverage_end"), times):
        text = time.strftime("%Y-%m-%dT%H:%M:%S")
        if getattr(file, name)[: len(text)] != text:
            yield f"{name} is not that of the data"


def check_time(file):
    time = file["time"]
    if time.dimensions != ("time",) or time.dtype != numpy.float64:
        yield "time is no coordinate variable of doubles"
    if not re.fullmatch(r"seconds since \d{4}-\d\d-\d\d \d\d:\d\d:\d\d", time.units):
        yield f"units of time are {time.units!r}"
    if getattr(time, "calendar", None) not in CALENDARS or getattr(time, "axis", None) != "T":
        yield "time has no calendar or axis"
    if not numpy.all(numpy.diff(time[:]) > 0) or not numpy.all(numpy.isfinite(time[:])):
        yield "time does not rise strictly"
    for name in ("_FillValue", "missing_value"):
        if name in time.ncattrs():
            yield f"time has {name}: a coordinate is never missing"


def check_names(file):
    names = [*file.variables, *file.dimensions, *file.ncattrs()]
    names += [name for variable in file.variables.values() for name in variable.ncattrs() if name != "_FillValue"]
    for name in names:
        if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", name):
            yield f"name {name!r}"
    if len({name.lower() for name in file.variables}) != len(file.variables):
        yield "two variables differ by case only"
    roles = [variable for variable in file.variables.values() if "cf_role" in variable.ncattrs()]
    if len(roles) != 1 or roles[0].cf_role != "timeseries_id" or roles[0].dimensions != ():
        yield "there is not exactly one timeseries_id"
    if list(file.dimensions) != ["time"]:
        yield f"dimensions are {list(file.dimensions)}"


def check_references(file, name, variable):
    for attribute in ("coordinates", "ancillary_variables", "grid_mapping"):
        for other in getattr(variable, attribute, "").split():
            if other not in file.variables:
                yield f"{name}: {attribute} names {other}, which is not there"
            elif not set(file[other].dimensions) <= set(variable.dimensions):
                yield f"{name}: {other} has more dimensions"
    if variable.dimensions == ("time",) and name != "time":
        missing = {"lat", "lon", "station_id"} - set(getattr(variable, "coordinates", "").split())
        if missing:
            yield f"{name}: coordinates lack {sorted(missing)}"
    mapping = getattr(variable, "grid_mapping", None)
    if mapping and getattr(file[mapping], "grid_mapping_name", None) != "latitude_longitude":
        yield f"{name}: {mapping} is no grid mapping"


def check_attributes(name, variable):
    if "long_name" not in variable.ncattrs():
        yield f"{name} has no long_name"
    if "missing_value" in variable.ncattrs():
        yield f"{name} has a missing_value beside _FillValue"
    content = getattr(variable, "coverage_content_type", None)
    if content is not None and content not in CONTENT:
        yield f"{name}: coverage_content_type {content!r}"
    words = getattr(variable, "standard_name", "").split()
    if words and (words[0] not in CANONICAL or not set(words[1:]) <= MODIFIERS):
        yield f"{name}: standard_name {words}"
    canonical = CANONICAL.get(words[0]) if words else None
    units = getattr(variable, "units", None)
    if canonical and not units:
        yield f"{name} has no units"
    elif canonical and not units_agree(units, canonical):
        yield f"{name}: {units!r} cannot be converted to {canonical!r}"
    elif units and not canonical and name not in ("time", "raw_time") and not units_agree(units, units):
        yield f"{name}: udunits does not know {units!r}"
    if units == "degree_Celsius":
        kind = "difference" if "standard_error" in words else "on_scale"
        if getattr(variable, "units_metadata", None) != f"temperature: {kind}":
            yield f"{name}: units_metadata"
    if "cell_methods" in variable.ncattrs() and variable.cell_methods != "time: point":
        yield f"{name}: cell_methods {variable.cell_methods!r}"
    if "positive" in variable.ncattrs() and variable.positive not in ("up", "down"):
        yield f"{name}: positive {variable.positive!r}"


def check_values(name, variable):
    data = numpy.atleast_1d(variable[...])
    if "_FillValue" in variable.ncattrs():
        if numpy.asarray(variable._FillValue).dtype != variable.dtype:
            yield f"{name}: _FillValue has another type"
        if "flag_values" in variable.ncattrs() or "flag_masks" in variable.ncattrs():
            yield f"{name}: a flag with _FillValue becomes a float in some readers"
    if variable.dtype != str and variable.dtype.kind == "f" and not numpy.all(numpy.isfinite(data)):
        yield f"{name} holds what is no number"
    if "valid_range" in variable.ncattrs():
        least, most = variable.valid_range
        if variable.valid_range.dtype != variable.dtype or not numpy.all((data >= least) & (data <= most)):
            yield f"{name} is outside its valid_range, or the range has another type"


def check_flags(name, variable):
    data = numpy.atleast_1d(variable[...])
    for attribute in ("flag_values", "flag_masks"):
        if attribute not in variable.ncattrs():
            continue
        numbers = numpy.atleast_1d(getattr(variable, attribute))
        words = getattr(variable, "flag_meanings", "").split()
        if numbers.dtype != variable.dtype or len(set(numbers.tolist())) != len(numbers):
            yield f"{name}: {attribute} has another type or repeats"
        if len(numbers) != len(words) or not all(re.fullmatch(r"[A-Za-z0-9_.+@-]+", word) for word in words):
            yield f"{name}: flag_meanings do not fit {attribute}"
        if attribute == "flag_values" and not set(data.tolist()) <= set(numbers.tolist()):
            yield f"{name} holds a value that flag_values lacks"
        if attribute == "flag_masks" and (numpy.any(numbers == 0) or numpy.any(data & ~numpy.bitwise_or.reduce(numbers))):
            yield f"{name} holds a bit that flag_masks lacks"


def check_grid_mapping(file):
    crs = file["crs"]
    names = ("reference_ellipsoid_name", "prime_meridian_name", "horizontal_datum_name", "geographic_crs_name")
    for name in (*names, "semi_major_axis", "inverse_flattening", "longitude_of_prime_meridian"):
        if name not in crs.ncattrs():
            yield f"crs has no {name}"


def check_quantities(file):
    """Every finished quantity has its flags, and 9 stands where, and only where, the value is missing."""
    for name, variable in file.variables.items():
        if getattr(variable, "coverage_content_type", "") != "physicalMeasurement":
            continue
        linked = variable.ancillary_variables.split()
        if linked[:2] != [f"{name}_qc", f"{name}_qc_tests"] or variable.cell_methods != "time: point":
            yield f"{name} lacks its flags"
            continue
        if numpy.any((variable[:] == variable._FillValue) != (file[f"{name}_qc"][:] == 9)):
            yield f"{name}: missing and flag 9 do not go together"


def check_storage(name, variable):
    if variable.dimensions != ("time",):
        return
    filters = variable.filters()
    if not filters["zlib"] or filters["complevel"] != 1 or filters["shuffle"] != (variable.dtype.itemsize > 1):
        yield f"{name}: stored as {filters}"
    if variable.chunking() == "contiguous" or variable.chunking()[0] > 16384:
        yield f"{name}: chunks of {variable.chunking()}"


def check(path):
    with netCDF4.Dataset(path) as file:
        file.set_auto_maskandscale(False)
        if file.data_model != "NETCDF4":
            yield f"data model {file.data_model}"
        for part in (check_global, check_extent, check_time, check_names, check_grid_mapping, check_quantities):
            yield from part(file)
        for name, variable in file.variables.items():
            yield from check_references(file, name, variable)
            yield from check_attributes(name, variable)
            yield from check_values(name, variable)
            yield from check_flags(name, variable)
            yield from check_storage(name, variable)


if __name__ == "__main__":
    found = list(check(sys.argv[1]))
    for problem in found:
        print(problem, file=sys.stderr)
    sys.exit(1 if found else 0)
