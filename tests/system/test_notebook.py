# SPDX-License-Identifier: MIT
"""Empty field-note files made from the settings, filled in by another program, and read back as notes."""
import csv
import datetime
import io

import openpyxl
import pytest
import yaml

from daemon import ROOT, SMALL_NOW, Service, air_file, small_settings, water_file

LAYOUTS = """
  visits:
    holds: notes
    files: ["**/visit-*"]
    comment: "#"
    time: {columns: [Date, Time], format: "YYYY-MM-DD h:mm", zone: station}
    columns:
      - {header: "Site", is: station}
      - {header: "Staff*", is: note, note: level, unit: ft, optional: true}
      - {header: "Logger out", is: note, note: out_of_water, optional: true}
      - {header: "Logger in", is: note, note: in_water, optional: true}
      - {header: "Temp meter", is: note, note: check, quantity: temperature, reference: true, optional: true}
      - {header: "Remarks", is: text, optional: true}
  lines:
    holds: notes
    files: ["**/lines-*"]
    time: {columns: [When], format: iso, zone: UTC}
    columns:
      - {header: "Where", is: station}
      - {header: "What", is: kind}
      - {header: "Of", is: quantity_name, optional: true}
      - {header: "Reading", is: value, optional: true}
      - {header: "Unit", is: unit, optional: true}
      - {header: "Remark", is: text, optional: true}
    kinds: {staff: level, pulled: out_of_water}
    quantities: {T: temperature}
"""
DAY = datetime.date(2026, 5, 1)


@pytest.fixture
def service(tmp_path):
    settings = small_settings(settle="0 s").replace("\nlayouts:\n", "\nlayouts:" + LAYOUTS, 1)
    with Service(tmp_path / "work", settings, SMALL_NOW) as opened:
        opened.put("mill/water.csv", water_file(0, 300))
        opened.put("mast/air.csv", air_file(0, 400))
        yield opened


def notebook(service, layout, target, expected=0):
    return service.run("notebook", "-c", service.settings, layout, target, expected=expected)


def told(service):
    """Kind and value of the notes as they were understood, oldest first."""
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW, expected=0)
    notes = service.ask("SELECT kind, value FROM note ORDER BY time, kind")
    return [(row["kind"], round(row["value"], 4) if row["value"] is not None else None) for row in notes]


def test_a_workbook_is_filled_in_and_read_without_a_further_word(service, tmp_path):
    target = tmp_path / "book.xlsx"
    notebook(service, "visits", target)
    book = openpyxl.load_workbook(target)
    sheet = book["notes"]
    assert [cell.value for cell in sheet[1]] == ["Date", "Time", "Site", "Staff (ft)", "Logger out", "Logger in", "Temp meter (°C)", "Remarks"]
    assert sheet.freeze_panes == "A2" and sheet.column_dimensions["A"].number_format.lower().startswith("yyyy")
    offered = {str(rule.sqref): rule.formula1 for rule in sheet.data_validations.dataValidation}
    first, last = offered["C2:C1001"].removeprefix("lists!").replace("$", "").split(":")
    assert "mill-pond" in [row[0].value for row in book["lists"][first:last]]
    assert book["lists"].sheet_state == "hidden" and book["how to"].sheet_state == "visible"
    assert any("the meter beside the logger, as found" in str(row[0].value) for row in book["how to"])
    # As an office program keeps what people type: dates and times of day as numbers with a format.
    sheet.append([DAY, datetime.time(13, 5), "mill-pond", "3 ft 4 in", datetime.time(12, 50), "x", 12.4, "calm"])
    sheet.append([datetime.datetime(2026, 5, 1), datetime.time(15, 0), "mill-pond", 3.5])
    book.save(tmp_path / "filled.xlsx")
    service.put("mill/visit-1.xlsx", (tmp_path / "filled.xlsx").read_bytes())
    values = [value for _, value in told(service)]
    assert service.path_fact("mill/visit-1.xlsx")["message"] == ""
    assert {round(40 * 0.0254, 4), round(3.5 * 0.3048, 4)} <= set(values), values
    assert service.ask("SELECT count(*) FROM note")[0][0] == 5


def test_one_row_a_note_offers_the_crews_words(service, tmp_path):
    target = tmp_path / "lines.xlsx"
    notebook(service, "lines", target)
    book = openpyxl.load_workbook(target)
    offered = {str(rule.sqref)[0]: [row[0].value for row in book["lists"][rule.formula1.removeprefix("lists!").replace("$", "")]]
               for rule in book["notes"].data_validations.dataValidation}
    assert offered["C"] == ["staff", "pulled"] and offered["D"] == ["T"]
    book["notes"].append([datetime.datetime(2026, 5, 1, 13, 5), "mill-pond", "staff", None, 1.25, "m", "=1+1"])
    book.save(tmp_path / "filled.xlsx")
    service.put("mill/lines-1.xlsx", (tmp_path / "filled.xlsx").read_bytes())
    assert [value for _, value in told(service)] == [1.25]


def test_the_same_as_csv(service, tmp_path):
    target = tmp_path / "book.csv"
    notebook(service, "visits", target)
    lines = target.read_text(encoding="utf-8").splitlines(keepends=True)
    assert all(line.startswith("# ") for line in lines[:-1]) and len(lines) == 9
    assert next(csv.reader(io.StringIO(lines[-1])))[3] == "Staff (ft)"
    assert "written as YYYY-MM-DD;" in lines[0] and "written as h:mm;" in lines[1]
    service.put("mill/visit-1.csv", "".join(lines) + "2026-05-01,13:05,mill-pond,3.5,,,,\n")
    assert [value for _, value in told(service)] == [round(3.5 * 0.3048, 4)]
    assert service.path_fact("mill/visit-1.csv")["message"] == ""


def test_every_layout_of_the_examples_has_one(tmp_path):
    with Service(tmp_path / "work", small_settings(), SMALL_NOW) as service:
        made = 0
        for example in sorted((ROOT / "config-examples").glob("*.yaml")):
            layouts = yaml.safe_load(example.read_text(encoding="utf-8")).get("layouts", {})
            for name, layout in layouts.items():
                is_notes = layout.get("holds") == "notes"
                for ending in ("xlsx", "csv"):
                    service.run("notebook", "-c", example, name, tmp_path / f"{made}.{ending}", expected=0 if is_notes else 2)
                made += is_notes
        assert made >= 5


def test_what_it_cannot_do_is_said(service, tmp_path):
    for layout, target, words in (("visits", tmp_path / "book.ods", "ends in .xlsx or .csv"),
                                  ("visits", service.inbox / "book.csv", "outside of inbox"),
                                  ("nonsense", tmp_path / "book.csv", "not a layout of field notes"),
                                  ("visits", tmp_path / "nowhere/book.csv", "nowhere")):
        done = notebook(service, layout, target, expected=None)
        assert done.returncode in (1, 2) and words in done.stderr, done.stderr
        assert not target.exists()
