# SPDX-License-Identifier: MIT
"""How the three crews' phones and notebooks write: layouts, units, clocks, and the odd habits.

  north   comma; psi, inHg, degF, feet; phone time with daylight saving, 12-hour clock; preamble with serial number;
          notebook one row a note, in phone time
  east    semicolon, decimal comma, byte-order mark, CRLF, footer; kPa, mS/cm; date and time apart, station's standard
          time; '---' for no value; station label in the preamble; notebook one row a visit
  south   tab, every cell quoted; hPa, uS/cm; UTC; the folder tells the station; notebook one row a note, in UTC
"""
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np

import sallow_physics as physics
import sallow_scenario as scenario

PHONE_ZONE = ZoneInfo("Pacific/Easter")
STANDARD_TIME = timezone(timedelta(hours=-6))
PSI, INHG, FOOT, INCH = 6894.757293168361, 3386.388640341, 0.3048, 0.0254
EAST_END = "END OF RECORD"


def phone_time(seconds):
    return datetime.fromtimestamp(seconds, PHONE_ZONE).strftime("%m/%d/%Y %I:%M:%S %p")


def station_time(seconds):
    return datetime.fromtimestamp(seconds, STANDARD_TIME)


def utc_time(seconds):
    return datetime.fromtimestamp(seconds, timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def fahrenheit(celsius):
    return celsius * 1.8 + 32


def lines_of(crew, columns):
    """Header cells and row texts; `columns` is a list of (header, [cell texts])."""
    headers = [header for header, _ in columns]
    rows = zip(*(cells for _, cells in columns))
    if crew == "south":
        return ["\t".join(f'"{cell}"' for cell in row) for row in [headers, *rows]]
    return [{"north": ",", "east": ";"}[crew].join(row) for row in [headers, *rows]]


def water_columns(station, data):
    """The columns of one water file, cells as text."""
    stamps = [int(stamp) for stamp in data["stamp"]]
    return {"north": north_columns, "east": east_columns, "south": south_columns}[station.crew](station, data, stamps)


def north_columns(station, data, stamps):
    columns = [("Date Time", [phone_time(stamp) for stamp in stamps]),
               ("Abs Pressure (psi)", cells(data["pressure"] / PSI, 4)),
               ("Water Temp (degF)", cells(fahrenheit(data["temperature"]), 2))]
    if "oxygen" in station.sensors:
        columns.append(("DO (mg/L)", cells(data["oxygen"], 2)))
    if "conductivity" in station.sensors:
        columns.append(("Conductivity (uS/cm)", cells(data["conductivity"] * 1000, 0)))
    if "specific_conductance" in station.sensors:
        columns.append(("Spec Cond (uS/cm)", cells(data["specific_conductance"] * 1000, 1)))
    return columns + [("Battery (V)", cells(data["battery"], 2))]


def east_columns(station, data, stamps):
    local = [station_time(stamp) for stamp in stamps]
    columns = [("Date", [time.strftime("%d.%m.%Y") for time in local]),
               ("Time", [time.strftime("%H:%M:%S") for time in local]),
               ("Pressure [kPa]", comma(cells(data["pressure"] / 1000, 3))),
               ("Temperature [°C]", comma(cells(data["temperature"], 2)))]
    if "oxygen" in station.sensors:
        random = physics.generator(station.seed * 77 + stamps[0] % 1000)
        missed = random.random(len(stamps)) < 0.003
        oxygen = comma(cells(data["oxygen"], 2))
        columns.append(("Oxygen [mg/L]", ["---" if miss else cell for miss, cell in zip(missed, oxygen)]))
    if "conductivity" in station.sensors:
        columns.append(("Conductivity [mS/cm]", comma(cells(data["conductivity"], 4))))
    return columns


def south_columns(station, data, stamps):
    columns = [("Time (UTC)", [utc_time(stamp) for stamp in stamps]),
               ("Pressure (hPa)", cells(data["pressure"] / 100, 2)),
               ("Water temperature (degC)", cells(data["temperature"], 2)),
               ("Dissolved oxygen (mg/L)", cells(data["oxygen"], 2)),
               ("Conductivity (uS/cm)", cells(data["conductivity"] * 1000, 1))]
    return columns


def cells(values, decimals):
    return [f"{value:.{decimals}f}" for value in values]


def comma(texts):
    return [text.replace(".", ",") for text in texts]


def water_file(station, data, offloaded):
    """Bytes of one water file."""
    lines = lines_of(station.crew, water_columns(station, data))
    if station.crew == "north":
        return north_bytes(station.serial, station.label, lines)
    if station.crew == "east":
        head = [f"Site;{station.label}", f"Offloaded;{station_time(offloaded).strftime('%d.%m.%Y %H:%M')}"]
        return east_bytes(head + lines + [EAST_END])
    return ("\n".join(lines) + "\n").encode()


def north_bytes(serial, site, lines):
    head = ["Offload of one logger, times by the phone", f"Serial: {serial}", f"Site: {site}", ""]
    return ("\n".join(head + lines) + "\n").encode()


def east_bytes(lines):
    return b"\xef\xbb\xbf" + "".join(line + "\r\n" for line in lines).encode()


def quay_file(data):
    """Barometer of the north crew."""
    columns = [("Date Time", [phone_time(stamp) for stamp in data["stamp"]]),
               ("Air Pressure (inHg)", cells(data["pressure"] / INHG, 3)),
               ("Air Temp (degF)", cells(fahrenheit(data["temperature"]), 1))]
    return north_bytes("N-0009", "Quay mast", lines_of("north", columns))


def hill_file(data):
    """Barometer of the south crew."""
    columns = [("Time (UTC)", [utc_time(stamp) for stamp in data["stamp"]]),
               ("Air pressure (hPa)", cells(data["pressure"] / 100, 2)),
               ("Air temperature (degC)", cells(data["temperature"], 1))]
    return ("\n".join(lines_of("south", columns)) + "\n").encode()


# ---- Notebooks ----


def notes_of(station, air):
    """Every note about one station as a plain dict, in order of time. Sensor sides of checks are what the logger
    showed; None where the crew left the cell empty."""
    water = scenario.Water(station, air)
    notes = []
    for index, run in enumerate(station.runs):
        if run.fast:
            notes += [clock_note(station, run, run.start + 10 * 60), clock_note(station, run, run.end - 10 * 60)]
        for wet in run.wets:
            notes += stay_notes(station, water, wet)
    notes += [note(station, time, "remark", text=text) for where, time, text in scenario.REMARKS if where == station.id]
    return sorted(notes, key=lambda one: one["time"])


def note(station, time, kind, **more):
    return {"station": station, "time": int(time), "kind": kind, **more}


def clock_note(station, run, time):
    return note(station, time, "clock", shown=round(run.shown_time(time)))


def stay_notes(station, water, wet):
    first, last = wet.start + scenario.LEVEL_AFTER, wet.end - scenario.LEVEL_BEFORE
    # The north crew does not always wait for the logger's own minute.
    if station.id in ("ferry-channel", "fern-brook") and wet is not scenario.wets_of(station)[0]:
        first += 120
    notes = [hand_level(station, water, first), hand_level(station, water, last)]
    notes += checks(station, water, first, "check_cleaned") + checks(station, water, last, "check")
    if wet.noted[0]:
        notes.append(note(station, wet.start, "in_water"))
    if wet.noted[1]:
        notes.append(note(station, wet.end, "out_of_water"))
    return notes


def value_at(function, time):
    return float(function(np.array([float(time)]))[0])


def hand_level(station, water, time):
    level = value_at(water.level, time)
    if "tape_point" in station.extra:
        return note(station, time, "tape_down", value=station.extra["tape_point"] - level)
    return note(station, time, "level", value=level)


def checks(station, water, time, kind):
    found = []
    if "oxygen" in station.sensors:
        fresh = station.kind != "creek"  # in salt water the logger's own display means nothing
        found.append(note(station, time, kind, quantity="oxygen", reference=value_at(water.oxygen, time),
                          value=value_at(water.oxygen_read, time) if fresh else None))
    if station.kind == "creek" or "specific_conductance" in station.sensors:
        true = value_at(water.specific_conductance, time)
        fouling = value_at(lambda t: scenario.fouling_of(station, t), time)
        found.append(note(station, time, kind, quantity="specific_conductance", reference=true, value=true / (1 + fouling)))
    return found


def feet_and_inches(metres):
    """3.21 m as 10' 6 3/8\", to the nearest sixteenth."""
    sixteenths = round(metres / INCH * 16)
    feet, rest = divmod(sixteenths, 12 * 16)
    inches, part = divmod(rest, 16)
    text = f"{feet}' {inches}"
    if part:
        top, bottom = part, 16
        while top % 2 == 0:
            top, bottom = top // 2, bottom // 2
        text += f" {top}/{bottom}"
    return text + '"'


def quoted(cell, delimiter):
    return '"' + cell.replace('"', '""') + '"' if delimiter in cell or '"' in cell else cell


LONG_WORDS = {
    "north": {"level": "staff", "in_water": "put in", "out_of_water": "pulled", "check": "side by side",
              "check_cleaned": "after cleaning", "remark": "remark"},
    "south": {"level": "staff", "tape_down": "tape", "in_water": "in water", "out_of_water": "out of water",
              "check": "found", "check_cleaned": "cleaned", "clock": "clock", "remark": "note"},
}
QUANTITY_WORDS = {"oxygen": ("DO", "mg/L", 2, 1), "specific_conductance": ("SpC", "uS/cm", 0, 1000)}
LONG_HEADERS = {
    "north": ["When", "Site", "What", "Of", "Value", "Unit", "Meter", "Remark"],
    "south": ["time", "site", "what", "of", "value", "unit", "meter", "remark"],
}


def long_row(crew, one):
    """One note as one row: north and south."""
    time = phone_time(one["time"]) if crew == "north" else utc_time(one["time"])
    of = value = unit = meter = ""
    if "quantity" in one:
        of, unit, decimals, scale = QUANTITY_WORDS[one["quantity"]]
        meter = f"{one['reference'] * scale:.{decimals}f}"
        value = "" if one["value"] is None else f"{one['value'] * scale:.{decimals}f}"
    elif one["kind"] == "level":
        # A staff in feet is read to half a hundredth, one in metres to a millimetre.
        value, unit = (f"{round(one['value'] / FOOT * 200) / 200:.3f}", "ft") if crew == "north" \
            else (f"{one['value']:.3f}", "m")
    elif one["kind"] == "tape_down":
        value, unit = feet_and_inches(one["value"]), "ft"
    elif one["kind"] == "clock":
        value = utc_time(one["shown"])
    row = [time, one["station"].label, LONG_WORDS[crew][one["kind"]], of, value, unit, meter, one.get("text", "")]
    return ",".join(quoted(cell, ",") for cell in row)


def long_book(crew, notes):
    return ("\n".join([",".join(LONG_HEADERS[crew])] + [long_row(crew, one) for one in notes]) + "\n").encode()


WIDE_HEADERS = ["Date", "Time", "Site", "Staff (m)", "Logger in", "Logger out", "DO logger found (mg/L)",
                "DO meter found (mg/L)", "SpC logger found (uS/cm)", "SpC meter found (uS/cm)",
                "DO logger cleaned (mg/L)", "DO meter cleaned (mg/L)", "SpC logger cleaned (uS/cm)",
                "SpC meter cleaned (uS/cm)", "Remarks"]


def wide_rows(notes):
    """One row for each hand reading, with what else belongs to it: east."""
    rows = []
    for one in (one for one in notes if one["kind"] == "level"):
        near = [other for other in notes if other["station"] is one["station"] and abs(other["time"] - one["time"]) < 1800]
        local = station_time(one["time"])
        row = [local.strftime("%d.%m.%Y"), local.strftime("%H:%M"), one["station"].label,
               f"{one['value']:.3f}".replace(".", ",")]
        for kind in ("in_water", "out_of_water"):
            times = [station_time(other["time"]).strftime("%H:%M") for other in near if other["kind"] == kind
                     and (other["time"] < one["time"]) == (kind == "in_water")]
            row.append(times[0] if times else "")
        for kind in ("check", "check_cleaned"):
            for quantity in ("oxygen", "specific_conductance"):
                row += check_cells(near, one["time"], kind, quantity)
        row.append(" / ".join(other["text"] for other in near if "text" in other))
        rows.append((one["time"], ";".join(quoted(cell, ";") for cell in row)))
    return [row for _, row in sorted(rows)]


def check_cells(notes, time, kind, quantity):
    for one in notes:
        if one["time"] == time and one["kind"] == kind and one.get("quantity") == quantity:
            _, _, decimals, scale = QUANTITY_WORDS[quantity]
            sides = [one["value"], one["reference"]]
            return ["" if side is None else f"{side * scale:.{decimals}f}".replace(".", ",") for side in sides]
    return ["", ""]


def wide_book(notes, with_header=True):
    lines = ([";".join(WIDE_HEADERS)] if with_header else []) + wide_rows(notes)
    return ((b"\xef\xbb\xbf" if with_header else b"") + "".join(line + "\r\n" for line in lines).encode())
