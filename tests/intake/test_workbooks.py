#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Workbooks of other programs read as openpyxl reads them, and damaged or hostile archives refused by name.

usage: test_workbooks.py WORKBOOK_PRINTER WORKBOOK_MAKER
"""
import datetime
import io
import os
import re
import resource
import struct
import subprocess
import sys
import tempfile
import zipfile

import openpyxl
from openpyxl.styles import numbers

PRINTER, MAKER = sys.argv[1:3]
failures = []


def check(holds, what):
    if not holds:
        failures.append(what)
        print("FAILED:", what)


def limit_memory():
    resource.setrlimit(resource.RLIMIT_DATA, (512 << 20, 512 << 20))


def printed(path, memory_is_limited=True):
    run = subprocess.run([PRINTER, path], capture_output=True, timeout=300,
                         preexec_fn=limit_memory if memory_is_limited and "SANITIZED" not in os.environ else None)
    check(run.returncode == 0, f"{path}: status {run.returncode}: {run.stderr.decode()[-500:]}")
    return run.stdout.decode().splitlines()


# ---- What openpyxl makes of a cell, in the printer's words -----------------------------------------------------------

def trimmed(text):
    return text.strip(" \t\r\n\u00a0")


def time_text(time):
    return time.strftime("%H:%M:%S")


def cell_words(cell):
    value = cell.value
    if value is None:
        return None
    if isinstance(value, bool):
        return "text", "TRUE" if value else "FALSE"
    if isinstance(value, datetime.datetime):
        value = (value + datetime.timedelta(microseconds=500)).replace(microsecond=0)
        return "civil", value.strftime("%Y-%m-%d") + (" " + time_text(value) if value.time() != datetime.time() else "")
    if isinstance(value, datetime.time):
        moved = datetime.datetime.combine(datetime.date(2000, 1, 1), value) + datetime.timedelta(microseconds=500)
        return "time", time_text(moved.replace(microsecond=0))
    if isinstance(value, (int, float)):
        return ("percent", value * 100) if "%" in cell.number_format else ("number", value)
    return ("text", trimmed(str(value))) if trimmed(str(value)) else None


def expected(path):
    lines = []
    for sheet in openpyxl.load_workbook(path, data_only=True).worksheets:
        lines.append(("sheet", sheet.title, "visible" if sheet.sheet_state == "visible" else "hidden"))
        for row in sheet.iter_rows():
            for cell in row:
                words = cell_words(cell)
                if words:
                    lines.append((str(cell.row), str(cell.column)) + words)
    return lines


def compare(path):
    got, wanted = [tuple(line.split("\t")) for line in printed(path)], expected(path)
    check(len(got) == len(wanted), f"{path}: {len(got)} lines, openpyxl has {len(wanted)}")
    for a, b in zip(got, wanted):
        same = a[:3] == b[:3] and (float(a[3]) == b[3] if b[2] in ("number", "percent") else a == b)
        if not same:
            check(False, f"{path}: got {a}, openpyxl has {b}")
            return


def make_by_openpyxl(path, epoch_1904=False, write_only=False):
    book = openpyxl.Workbook(write_only=write_only)
    if epoch_1904:
        book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    sheet = book.create_sheet("Readings") if write_only else book.active
    sheet.title = "Readings"
    start = datetime.datetime(2026, 3, 31, 22, 0)
    sheet.append(["Serial", 20417])
    sheet.append(["When", "Day", "Clock", "Pressure (kPa)", "Temp (°C)", "Remark"])
    for i in range(1500):
        when = start + datetime.timedelta(minutes=5 * i)
        remark = [None, "wiped", "Sättigung µS", True, "=1+1", "'5"][i % 6] if i % 6 != 4 else None
        sheet.append([when, when.date(), when.time(), 101.325 + i / 7, round(15 + i * 0.01, 2), remark])
    if not write_only:
        sheet["A2000"] = datetime.datetime(2026, 4, 30, 23, 59, 59)
        sheet["H2000"] = 123456789012345678
        sheet["I2000"] = 1e-12
        sheet["J2000"] = 0.965
        sheet["J2000"].number_format = numbers.FORMAT_PERCENTAGE_00
        sheet["K2000"] = 46118.25
        sheet["K2000"].number_format = 'dd/mm/yy" at "hh:mm'
        sheet["L2000"] = 12.5
        sheet["L2000"].number_format = '0.0" m/d"'
        sheet["M2000"] = "merged"
        sheet.merge_cells("M2000:O2002")
        sheet.row_dimensions[7].hidden = True
        sheet.column_dimensions["D"].hidden = True
        other = book.create_sheet("Put away")
        other.sheet_state = "hidden"
        other["C3"] = "text"
        book.create_sheet("empty")
    book.save(path)


# ---- Archives by hand ------------------------------------------------------------------------------------------------

MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"


def relations(*rows):
    return ('<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">' +
            "".join(f'<Relationship Id="{i}" Type="{OFFICE}/{kind}" Target="{target}"/>' for i, kind, target in rows) +
            "</Relationships>")


def parts(sheet="<row><c><v>1</v></c></row>", **changed):
    files = {
        "_rels/.rels": relations(("r1", "officeDocument", "xl/workbook.xml")),
        "xl/workbook.xml": f'<workbook {MAIN} xmlns:r="{OFFICE}"><sheets><sheet name="S" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": relations(("r1", "worksheet", "s.xml"), ("r2", "sharedStrings", "t.xml")),
        "xl/s.xml": f"<worksheet {MAIN}><sheetData>{sheet}</sheetData></worksheet>",
        "xl/t.xml": f"<sst {MAIN}/>",
    }
    files.update(changed)
    return files


def archive(files, compression=zipfile.ZIP_DEFLATED):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as zipped:
        for name, text in files.items():
            zipped.writestr(name, text)
    return out.getvalue()


class Pipe(io.RawIOBase):
    """Cannot be wound back: sizes and sums then follow each entry."""

    def __init__(self):
        self.bytes = bytearray()

    def writable(self):
        return True

    def write(self, data):
        self.bytes += bytes(data)
        return len(data)


def with_flag(data, flag):
    """The general purpose flag set in every header."""
    for signature, offset in ((b"PK\3\4", 6), (b"PK\1\2", 8)):
        for found in re.finditer(re.escape(signature), data):
            at = found.start() + offset
            value = struct.unpack_from("<H", data, at)[0] | flag
            data = data[:at] + struct.pack("<H", value) + data[at + 2:]
    return data


def zeros(count):
    return "<row><c><v>0</v></c></row>" * count


def hostile():
    """name -> (bytes, what the message must say)"""
    good = archive(parts())
    cases = {}
    for cut in range(0, len(good) - 1, 97):
        if cut >= 4:
            cases[f"cut at {cut}"] = (good[:cut], "damaged or was not copied completely")
    for at in range(40, len(good) - 60, 101):
        cases[f"byte {at} changed"] = (good[:at] + bytes([good[at] ^ 0x55]) + good[at + 1:], "")
    cases["encrypted entries"] = (with_flag(good, 1), "password")
    cases["no workbook"] = (archive({"heron.csv": "a,b\n"}), "it is an archive (ZIP): unpack it")
    cases["a document"] = (archive(parts(**{"xl/workbook.xml": '<w:document xmlns:w="urn:w"/>'})), "a document, not a workbook")
    cases["binary workbook"] = (archive({"_rels/.rels": relations(("r1", "officeDocument", "xl/workbook.bin"))}), "XLSB")
    cases["path upward"] = (archive(parts(**{"../../evil.xml": "x"})), "an entry '../../evil.xml'")
    cases["path from the root"] = (archive(parts(**{"/etc/passwd": "x"})), "an entry '/etc/passwd'")
    cases["drive"] = (archive(parts(**{"C:\\evil": "x"})), "an entry 'C:")
    cases["1,001 entries"] = (archive({f"a{i}": "" for i in range(1001)}), "1001 entries")
    cases["lzma"] = (archive(parts(), zipfile.ZIP_LZMA), "packed by method 14")
    twice = io.BytesIO()
    with zipfile.ZipFile(twice, "w") as zipped:
        for name, text in list(parts().items()) + [("XL/S.xml", "<a/>")]:
            zipped.writestr(name, text)
    cases["a part twice"] = (twice.getvalue(), "'xl/s.xml' twice")
    missing = parts()
    del missing["xl/s.xml"]
    cases["a part missing"] = (archive(missing), "lacks its part 'xl/s.xml'")
    cases["small bomb"] = (archive(parts(zeros(3_500_000))), "row")
    cases["rows without end"] = (archive(parts("<row/>" * 2_000_000)), "a row behind row 1048576")
    cases["large bomb"] = (archive(parts("<row r='1'>" + "<c/>" * 20_000_000)), "unpacks to more than 64 MiB")
    cases["bomb of blanks"] = (archive(parts(" " * 100_000_000)), "unpacks to more than 64 MiB")
    cases["bomb of shared texts"] = (archive(parts(**{"xl/t.xml": f"<sst {MAIN}>" + "<si/>" * 5_000_000 + "</sst>"})), "more text than a table needs")
    cases["bomb of text"] = (archive(parts(**{"xl/t.xml": f"<sst {MAIN}><si><t>" + os.urandom(33 << 20).hex() + "</t></si></sst>"}), zipfile.ZIP_STORED), "more text than a table needs")
    cases["bomb in the list of sheets"] = (archive(parts(**{"xl/workbook.xml": f"<workbook {MAIN}>" + os.urandom(9 << 20).hex() + "</workbook>"})), "unpacks to more than 16 MiB")
    cases["one huge tag"] = (archive(parts(**{"xl/s.xml": f'<worksheet {MAIN} a="' + "x" * 100_000_000})), "unpacks to more than 64 MiB")
    laughs = '<!DOCTYPE a [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    for name in ("xl/workbook.xml", "xl/s.xml", "xl/t.xml", "xl/_rels/workbook.xml.rels", "_rels/.rels"):
        cases[f"entities in {name}"] = (archive(parts(**{name: laughs + "<a>&b;</a>"})), "DOCTYPE")
    outside = '<!DOCTYPE a SYSTEM "file:///etc/passwd"><a/>'
    cases["outside entity"] = (archive(parts(**{"xl/s.xml": outside})), "DOCTYPE")
    cases["deep"] = (archive(parts("<a>" * 5000)), "nested more than 64 deep")
    cases["deep and foreign"] = (archive(parts(f'<x xmlns="urn:x">{"<a>" * 5000}')), "nested more than 64 deep")
    cases["half an element"] = (archive(parts("<row>")), "no sound XML")
    cases["a sheet outside"] = (archive(parts(**{"xl/_rels/workbook.xml.rels": relations(("r1", "worksheet", "../../../etc/passwd"))})), "lacks its part 'etc/passwd'")
    lying = archive(parts(zeros(200_000)))
    size = len(f"<worksheet {MAIN}><sheetData>{zeros(200_000)}</sheetData></worksheet>")
    cases["declared size too small"] = (lying.replace(struct.pack("<I", size), struct.pack("<I", 10)), "")
    return cases


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "a.xlsx")
        for options in ({}, {"epoch_1904": True}, {"write_only": True}):
            make_by_openpyxl(path, **options)
            compare(path)
        for options in ([], ["constant-memory"]):
            subprocess.run([MAKER, path] + options, check=True)
            compare(path)
        with open(path, "wb") as file:
            pipe = Pipe()
            with zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as zipped:
                for name, text in parts().items():
                    zipped.writestr(name.replace("/", "\\") if name == "xl/s.xml" else name, text)
            file.write(pipe.bytes)
        check(printed(path) == ["sheet\tS\tvisible", "1\t1\tnumber\t1"], "entries that tell their sizes behind, and backslashes")
        before = set(os.listdir(folder))
        for name, (data, message) in hostile().items():
            with open(path, "wb") as file:
                file.write(data)
            lines = printed(path)
            said = next((line for line in lines if line.startswith("error\t")), "")
            refused = said != "" if message else True
            check(refused and message in said, f"{name}: wanted '{message}', got '{said[:300]}' after {len(lines)} lines")
        check(set(os.listdir(folder)) == before, "nothing was written")
    print(f"{len(failures)} failures")
    return 1 if failures else 0


sys.exit(main())
