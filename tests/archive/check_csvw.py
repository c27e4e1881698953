#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Does a CSV hold what the CSVW metadata beside it promises?

    check_csvw.py NAME.csv [NAME.csv-metadata.json]

Header equals titles, every cell parses as its datatype, required cells are filled, the primary key is there
once, codes of flags and masks are those of the notes. Standard library only. Exit status 0 when all is well,
else 1 with a list."""
import csv
import json
import re
import sys

TIMESTAMP = re.compile(r"\d{4}-(0\d|1[0-2])-([0-2]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\d(\.\d+)?Z")
NUMBER = re.compile(r"-?\d+(\.\d+)?([eE][+-]?\d+)?")
PARSERS = {
    "dateTimeStamp": lambda cell: cell if TIMESTAMP.fullmatch(cell) else None,
    "double": lambda cell: float(cell) if NUMBER.fullmatch(cell) else None,
    "unsignedByte": lambda cell: int(cell) if cell.isdigit() and int(cell) <= 255 else None,
    "unsignedInt": lambda cell: int(cell) if cell.isdigit() and int(cell) < 2**32 else None,
    "string": lambda cell: cell,
    "date": lambda cell: cell if re.fullmatch(r"\d{4}-(0\d|1[0-2])-([0-2]\d|3[01])", cell) else None,
}


def check(csv_path, metadata_path):
    problems = []
    with open(csv_path, "rb") as file:
        data = file.read()
    with open(metadata_path, encoding="utf-8") as file:
        metadata = json.load(file)
    if data.startswith(b"\xef\xbb\xbf"):
        problems.append("begins with a byte order mark")
    if data.count(b"\n") != data.count(b"\r\n") or not data.endswith(b"\r\n"):
        problems.append("a record does not end in CR LF")
    rows = list(csv.reader(data.decode("utf-8").split("\r\n")[:-1], strict=True))
    columns = metadata["tableSchema"]["columns"]
    if csv_path.rsplit("/", 1)[-1] != metadata["url"]:
        problems.append("url is %r" % metadata["url"])
    if metadata["@context"][0] != "http://www.w3.org/ns/csvw":
        problems.append("wrong @context")
    if rows[0] != [column["titles"] for column in columns]:
        problems.append("header differs from titles: %r" % rows[0])
    names = [column["name"] for column in columns]
    are_legal = all(re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_]*", name) for name in names)
    if len(set(names)) != len(names) or not are_legal:
        problems.append("names of columns are not unique or not legal: %r" % names)
    problems += check_cells(rows[1:], columns)
    problems += check_key(rows[1:], names.index(metadata["tableSchema"]["primaryKey"]))
    if any(entry["about"] == "flags" for entry in metadata["notes"]):
        problems += check_codes(rows[1:], names, metadata["notes"])
    if len(rows) - 1 != note(metadata["notes"], "record")["rows"]:
        problems.append("number of rows differs from the note 'record'")
    return problems


def check_cells(rows, columns):
    for line, row in enumerate(rows, 2):
        if len(row) != len(columns):
            yield "line %d: %d cells" % (line, len(row))
            continue
        for cell, column in zip(row, columns):
            datatype = column["datatype"]
            datatype = {"base": datatype} if isinstance(datatype, str) else datatype
            if cell == "":
                if column.get("required"):
                    yield "line %d: %s is empty" % (line, column["name"])
                continue
            value = PARSERS[datatype["base"]](cell)
            if value is None:
                yield "line %d: %s: %r is no %s" % (line, column["name"], cell, datatype["base"])
            elif not datatype.get("minimum", value) <= value <= datatype.get("maximum", value):
                yield "line %d: %s: %r is out of range" % (line, column["name"], cell)
            elif cell[0] in "=+@\t":
                yield "line %d: %s: %r could be taken for a formula" % (line, column["name"], cell)


def check_key(rows, index):
    keys = [row[index].rstrip("Z") for row in rows]
    if len(set(keys)) != len(keys):
        yield "the primary key is not unique"
    if keys != sorted(keys):
        yield "rows are not in the order of their times"


def check_codes(rows, names, notes):
    flags = {str(row["flag"]) for row in note(notes, "flags")["flags"]}
    masks = sum(row["mask"] for row in note(notes, "tests")["tests"])
    numbers = {row["drop"] for row in note(notes, "originals")["originals"]}
    for line, row in enumerate(rows, 2):
        for name, cell in zip(names, row):
            if name.endswith("_flag") and cell not in flags:
                yield "line %d: %s: %r is no flag" % (line, name, cell)
            if name.endswith("_tests") and int(cell) & ~masks:
                yield "line %d: %s: %r has unknown masks" % (line, name, cell)
            if name == "drop" and int(cell) not in numbers:
                yield "line %d: drop %s is not among the originals" % (line, cell)
        for value, flag in zip(names, names[1:]):
            if flag.endswith("_flag") and (row[names.index(value)] == "") != (row[names.index(flag)] == "9"):
                yield "line %d: %s: missing and flag 9 do not go together" % (line, value)


def note(notes, about):
    return next(entry for entry in notes if entry["about"] == about)


if __name__ == "__main__":
    found = list(check(sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else sys.argv[1] + "-metadata.json"))
    for problem in found:
        print(problem, file=sys.stderr)
    sys.exit(1 if found else 0)
