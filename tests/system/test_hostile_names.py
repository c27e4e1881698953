# SPDX-License-Identifier: MIT
"""Names, notes and remarks that try to be something else - markup, formulas, text that turns around, line ends - come out
harmless in every format, and still say what was written."""
import csv
import email
import email.policy
import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import feedparser
import netCDF4
import openpyxl
import pytest

from daemon import ROOT, SMALL_NOW, Service, air_file, free_port, small_settings, water_file
from test_notices import DELIVERED, MAIL, PLAIN_MAIL, hook, settings_for

EVIL = "=1+1\"'<img src=x onerror=alert(1)>&amp;]]> \u202egpj.exe\u2066 <!-- </td></title>"
LINES = "@SUM(A1)\r\nBcc: all@example.org\n<script>alert(2)</script>"
TURNS = re.compile("[\u202a-\u202e\u2066-\u2069\u200e\u200f]")
NOTES = """
  book:
    holds: notes
    delimiter: comma
    files: ["mill/book*"]
    time: {columns: [time], format: iso, zone: UTC}
    columns: [{header: what, is: kind}, {header: text, is: text}]
rules:"""


def yaml(text):
    return json.dumps(text)  # a double-quoted scalar of YAML


def cell(text):
    return '"' + text.replace('"', '""') + '"'


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    hook_port, mail_port = free_port(), free_port()
    settings = settings_for(hook(hook_port), MAIL, mail=PLAIN_MAIL.format(port=mail_port))
    for old, new in (("name: Mill pond,", f"name: {yaml(EVIL)}, operator: {yaml(EVIL)}, contact: {yaml(EVIL)},"),
                     ("\n  mill-pond: &place\n", f"\n  mill-pond: &place\n    name: {yaml(EVIL)}\n    datum: {yaml(EVIL)}\n"),
                     ("title: Water warm", f"title: {yaml(EVIL)}, advice: {yaml(EVIL)}"),
                     ("  mast: {", f"  mast: {{name: {yaml(EVIL)}, "), ("\nrules:", NOTES),
                     ("archive: archive\n", "archive: archive\narchive_formats: [csv, netcdf, xlsx, waterml, chart]\n")):
        assert old in settings, old
        settings = settings.replace(old, new, 1)
    with Service(tmp_path_factory.mktemp("hostile") / "work", settings, SMALL_NOW) as opened:
        opened.start_receiver(port=hook_port)
        opened.start_mail(port=mail_port)
        opened.put("mast/air.csv", air_file(0, 80))
        opened.put("mill/=cmd|' <b>&.csv", water_file(0, 20) + water_file(20, 12, temperature=26.0).split("\n", 2)[2])
        opened.put("mill/book.csv", "time,what,text\n" + "".join(
            f"2026-05-02T0{k}:00:00Z,remark,{cell(text)}\n" for k, text in enumerate((EVIL, LINES))))
        opened.start()
        opened.wait_for_rest()
        opened.wait_until(lambda: len(opened.requests()) >= 1 and len(opened.mails()) >= 1, "webhook and mail")
        opened.stop()
        yield opened


def month(service, ending):
    path, = service.archive.glob(f"stations/mill-pond/2026/mill-pond_2026-05{ending}")
    return path


class Tags(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes = set(), set()
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attributes}


def assert_harmless(markup, scripts=False):
    found = Tags(markup)
    assert not any(name.startswith("on") for name in found.attributes)
    assert "alert(1)" in markup, "what was written is still told"
    assert not TURNS.search(markup)
    assert scripts or "script" not in found.tags


def test_pages_pictures_and_feed(service):
    done = subprocess.run([sys.executable, str(ROOT / "tests/archive/check_pages.py"), str(service.archive)],
                          capture_output=True, text=True)
    assert done.returncode == 0, done.stdout
    for path in ("index.html", "stations/mill-pond/index.html", "stations/mill-pond/field-sheet.html"):
        text = (service.archive / path).read_text(encoding="utf-8")
        assert_harmless(text, scripts=path.endswith("pond/index.html"))
        assert "alert(2)</script>" not in text and "<img src=x" not in text
    assert_harmless(month(service, ".svg").read_text(encoding="utf-8"))
    feed = feedparser.parse(str(service.archive / "feed.atom"))
    assert not feed.bozo and not TURNS.search((service.archive / "feed.atom").read_text(encoding="utf-8"))
    assert feed.entries[0].title_detail.type == "text/plain" and "alert(1)" in feed.entries[0].title


def test_tables_for_spreadsheets(service):
    for path in service.archive.rglob("*.csv"):
        if "originals" in path.parts:
            continue
        with open(path, newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))
        assert len({len(row) for row in rows}) == 1, path
        for text in (text for row in rows for text in row if text[:1] in "=+-@\t\r" and text):
            assert text == "-" or re.fullmatch(r"[-+]?[\d.]+", text), (path, text)
    book = openpyxl.load_workbook(month(service, ".xlsx"))
    cells = [entry for sheet in book for row in sheet.iter_rows() for entry in row if entry.value is not None]
    assert not [entry.coordinate for entry in cells if entry.data_type == "f"], "a text became a formula"
    assert any("alert(1)" in str(entry.value) for entry in cells)


def test_what_machines_read(service):
    for path in (service.archive / "network.json", month(service, ".csv-metadata.json"),
                 month(service, "_daily.csv-metadata.json")):
        assert "alert(1)" in json.dumps(json.loads(path.read_text(encoding="utf-8"))), path
        assert "<script" not in path.read_text(encoding="utf-8"), "JSON may be pasted into a page"
    metadata = json.loads(month(service, ".csv-metadata.json").read_text(encoding="utf-8"))
    notes = next(note for note in metadata["notes"] if note["about"] == "field_notes")["notes"]
    assert [note["text"] for note in notes][:1] == [EVIL], "what the crew wrote is kept as it is"
    with netCDF4.Dataset(month(service, ".nc")) as file:
        assert "alert(1)" in file.title + str(file["station_name"][...])
    assert subprocess.run(["ncdump", "-h", str(month(service, ".nc"))], capture_output=True).returncode == 0
    top = ET.parse(month(service, ".xml")).getroot()
    assert "alert(1)" in "".join(top.itertext()) and not [element for element in top.iter() if element.tag == "img"]


def test_mail_and_webhook(service):
    requests = service.requests()
    assert all(request["signed"] for request in requests)
    assert any("alert(1)" in json.dumps(request["event"]) for request in requests)
    for raw in service.mails():
        message = email.message_from_bytes(raw, policy=email.policy.default)
        assert {name.lower() for name in message.keys()}.isdisjoint({"bcc", "cc"}) and len(message.get_all("Subject")) == 1
        assert not TURNS.search(str(message["Subject"])) and "\n" not in str(message["Subject"])
        assert not TURNS.search(message.get_body(("plain",)).get_content())
        page = message.get_body(("html",)).get_content()
        assert_harmless(page)
        assert "<img src=x" not in page and "<!-- " not in page


def test_what_the_terminal_shows(service):
    shown = service.run("status", "-c", service.settings, "--clock", SMALL_NOW).stdout
    assert not TURNS.search(shown) and "\x1b" not in shown
