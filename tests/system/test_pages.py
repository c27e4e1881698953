# SPDX-License-Identifier: MIT
"""The pages of a sample archive, as the real binary writes them: every link leads somewhere, and a browser has nothing to
complain about, wide and narrow, light and dark."""
import functools
import http.server
import json
import pathlib
import re
import subprocess
import sys
import threading
import urllib.request
import xml.etree.ElementTree as ET

import feedparser
import pytest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support"))
import browser  # noqa: E402
from daemon import ROOT, SAMPLE_NOW, make_sample, sample_service  # noqa: E402

STATION = "heron-creek"
PAGES = ["index.html", f"stations/{STATION}/index.html", f"stations/{STATION}/field-sheet.html", "alarms.html"]
VIEWS = {"wide": (1280, False), "narrow": (360, False), "narrowest": (320, False), "wide, dark": (1280, True),
         "narrow, dark": (360, True)}


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    make_sample(folder / "sample", "--quick")
    with sample_service(folder / "service") as service:
        service.deliver(folder / "sample", "--pause", "0")
        service.run("once", "-c", service.settings, "--clock", SAMPLE_NOW)
        yield service.archive


@pytest.fixture(scope="module")
def window():
    if not browser.find():
        pytest.skip("no browser here: install chromium")
    with browser.Browser() as opened:
        yield opened


def test_every_page_picture_and_feed_is_sound(archive):
    done = subprocess.run([sys.executable, str(ROOT / "tests/archive/check_pages.py"), str(archive)], capture_output=True,
                          text=True)
    assert done.returncode == 0, done.stdout


def test_every_station_has_its_pages_and_its_newest_month_in_two_clicks(archive):
    front = (archive / "index.html").read_text()
    stations = sorted(path.name for path in (archive / "stations").iterdir())
    assert stations
    for station in stations:
        assert f'href="stations/{station}/index.html"' in front
        newest = sorted((archive / "stations" / station).glob(f"*/{station}_????-??.csv"))[-1]
        page = (archive / "stations" / station / "index.html").read_text()
        assert f'href="../../{newest.relative_to(archive)}"' in page
        assert (archive / "stations" / station / "field-sheet.html").is_file()


def test_every_revision_stands_in_the_feed(archive):
    entries = re.findall(r'rel="enclosure" type="text/csv" href="([^"]+)"', (archive / "feed.atom").read_text())
    records = {str(path.relative_to(archive)) for path in archive.glob("stations/*/*/*_????-??.csv")}
    assert records and {entry.split("/", 3)[-1] if "://" in entry else entry for entry in entries} == records


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("page", PAGES)
def test_a_browser_has_nothing_to_complain_about(archive, window, page, view):
    width, dark = VIEWS[view]
    assert window.load(archive / page, width, dark) == []
    assert window.ask("document.documentElement.scrollWidth") <= width, "the page scrolls sideways"
    assert window.ask("[...document.images].filter(picture => picture.naturalHeight == 0).length") == 0
    assert window.ask("getComputedStyle(document.body).maxWidth") != "none", "the style sheet does not apply"


def test_dark_and_light_differ_and_print_is_light(archive, window):
    ground = "getComputedStyle(document.body).backgroundColor"
    seen = {}
    for name, dark, media in (("light", False, ""), ("dark", True, ""), ("print", True, "print")):
        assert window.load(archive / PAGES[0], 1280, dark, media) == []
        seen[name] = [int(part) for part in re.findall(r"\d+", window.ask(ground))[:3]]
    assert min(seen["light"]) > 200 > 60 > max(seen["dark"])
    assert seen["print"] == [255, 255, 255]


def test_no_text_of_a_chart_runs_out_of_its_picture(archive, window):
    picture = sorted(archive.glob(f"stations/{STATION}/*/*.svg"))[-1]
    assert window.load(picture, 1100) == []
    outside = """[...document.querySelectorAll('text')].filter(text => {
        const box = text.getBoundingClientRect();
        return box.width > 0 && (box.left < 0 || box.right > innerWidth || box.top < 0);
    }).map(text => text.textContent)"""
    assert window.ask(outside) == []


def test_the_field_sheet_fits_one_sheet_of_paper(archive, window):
    """A4 less 12 mm on each side, at 96 px an inch."""
    assert window.load(archive / PAGES[2], 703, False, "print") == []
    assert window.ask("document.documentElement.scrollHeight") <= (297 - 24) / 25.4 * 96


def test_the_field_sheet_asks_for_what_the_notebook_template_has_and_in_its_order(archive):
    lines = (ROOT / "samples/field-notes-template.csv").read_text(encoding="utf-8").splitlines()
    columns = [re.sub(r" \(.*", "", cell) for cell in next(line for line in lines if not line.startswith("#")).split(",")]
    assert columns[0] == "Date" and "Remarks" in columns
    for station in sorted(path.name for path in (archive / "stations").iterdir()):
        sheet = (archive / "stations" / station / "field-sheet.html").read_text(encoding="utf-8")
        blank = sheet.split('class="blank"')[1].split("</table>")[0]
        rows = re.findall(r'<th scope="row">([^<]+?) ?<span', blank)
        assert rows and rows == [column for column in columns if column in rows], station
        assert {"Time", "Staff", "Logger out", "Logger in", "Logger clock", "Remarks"} <= set(rows)


def test_the_front_page_says_where_to_go_next_why_and_what_to_bring(archive):
    front = (archive / "index.html").read_text(encoding="utf-8")
    table = front.split('class="cards visits"')[1].split("</table>")[0]
    rows = {re.search(r"stations/([a-z-]+)/index", row)[1]: row for row in table.split("<tr>")[2:]}
    assert "an oxygen meter" in rows["eelgrass-slough"] and "still so, since" in rows["eelgrass-slough"]
    assert "a spare logger" in rows["stone-brook"] and "what the level is read with" in rows["willow-run"]
    assert list(rows)[0] == "eelgrass-slough", "the most pressing first"
    assert "heron-creek" not in rows, "its alarm is over: nothing to see at the water"


def test_figures_of_recipients_name_them_by_their_id_and_nothing_else(archive):
    page = (archive / "alarms.html").read_text(encoding="utf-8")
    rows = {re.search(r"<bdi>([^<]+)</bdi>", row)[1]: row for row in page.split("<tr>")[2:-1]}
    assert set(rows) == {"on-call", "desk"} and "up to 150 a day" in page
    assert all(re.search(r'data-label="New alarms">[1-9]', row) for row in rows.values())
    told = page.split("<main>")[1].split("</main>")[0]
    assert "@" not in told and "http" not in told and "secret" not in told
    assert 'href="alarms.html"' in (archive / "index.html").read_text(encoding="utf-8")


def test_everything_can_be_reached_by_keyboard_and_says_where_it_is(archive, window):
    assert window.load(archive / PAGES[1], 360) == []
    unnamed = """[...document.querySelectorAll('a, [tabindex]')].filter(element =>
        !(element.textContent.trim() || element.getAttribute('aria-label') || element.querySelector('img[alt]'))).length"""
    assert window.ask(unnamed) == 0
    window.ask("document.querySelector('.frame').focus()")
    assert window.ask("document.activeElement.className") == "frame"


# ---- the chart comes closer ----

def zoom(window, words):
    window.ask(f"[...document.querySelectorAll('.zoom button')].find(b => b.textContent == '{words}').click()")


def chart(window):
    return window.ask("""(() => { const view = document.querySelector('.view'), picture = view.querySelector('img');
        return {wide: picture.getBoundingClientRect().width / view.clientWidth, at: view.scrollLeft,
                room: view.scrollWidth / view.clientWidth, said: document.querySelector('.zoom output').textContent,
                labels: [...document.querySelectorAll('.times span')].map(tick => tick.textContent),
                focus: view.tabIndex, off: [...document.querySelectorAll('.zoom button:disabled')].map(b => b.textContent)}; })()""")


@pytest.mark.parametrize("view", VIEWS)
def test_the_chart_comes_closer_and_its_axis_is_labelled_anew(archive, window, view):
    width, dark = VIEWS[view]
    assert window.load(archive / PAGES[1], width, dark) == []
    whole = chart(window)
    assert whole["wide"] == 1 and whole["labels"] == [] and whole["said"] == "All days are shown" and whole["focus"] == -1
    assert whole["off"] == ["Wider", "Earlier", "Later", "Whole month"]
    zoom(window, "Closer")
    zoom(window, "Closer")
    close = chart(window)
    assert abs(close["wide"] - 4) < 0.01 and close["at"] > 0 and close["room"] > 3.5 and close["focus"] == 0
    assert close["labels"][0] == "1 Apr" and len(close["labels"]) >= 6 and " to " in close["said"]
    assert window.ask("document.documentElement.scrollWidth") <= width, "the page scrolls sideways"
    zoom(window, "Later")
    later = chart(window)
    assert later["at"] > close["at"] and later["said"] != close["said"]
    zoom(window, "Closer")
    assert len(chart(window)["labels"]) > len(close["labels"]) and "Closer" in chart(window)["off"]
    zoom(window, "Whole month")
    assert chart(window) == whole


def test_the_labels_of_a_close_chart_stand_where_its_samples_are(archive, window):
    """By the share of the month, which is where the picture's own labels stand."""
    picture = sorted(archive.glob(f"stations/{STATION}/*/*.svg"))[-1]
    assert window.load(picture, 4000) == []
    own = window.ask("""[...document.querySelectorAll('text.day')].map(text => { const box = text.getBoundingClientRect();
        return [text.textContent, (box.left + box.right) / 2 / 4000]; })""")
    assert len(own) == 7 and all(abs(.05 + .935 * (int(day) - 1) / 30 - at) < 0.001 for day, at in own), own
    window.load(archive / PAGES[1], 1280)
    zoom(window, "Closer")
    places = window.ask("""(() => { const view = document.querySelector('.view').querySelector('img').getBoundingClientRect();
        return [...document.querySelectorAll('.times span')].map(tick => [tick.textContent,
            ((tick.getBoundingClientRect().left - view.left) / view.width - .05) / .935 * 30]); })()""")
    assert len(places) > 10
    for words, day in places:
        clock = re.fullmatch(r"(\d\d):00", words)
        assert (day * 24 - (int(clock[1]) if clock else 0) + 0.05) % 24 < 0.1, (words, day)
        assert clock or round(day) == int(words.split()[0]) - 1


def test_the_chart_obeys_the_keyboard_and_two_fingers(archive, window):
    window.load(archive / PAGES[1], 390, touch=True)
    zoom(window, "Closer")
    window.ask("document.querySelector('.view').focus()")
    for key, wide in (("+", 4), ("-", 2), ("0", 1)):
        window.press(key)
        assert abs(chart(window)["wide"] - wide) < 0.01, key
    x, y = window.ask("""(() => { document.querySelector('.chart').scrollIntoView();
        const at = document.querySelector('.view').getBoundingClientRect(); return [at.left + at.width / 2, at.top + 200]; })()""")
    for kind, apart in (("touchStart", 40), ("touchMove", 80), ("touchMove", 120)):
        window.call("Input.dispatchTouchEvent", type=kind, touchPoints=[{"x": x - apart / 2, "y": y, "id": 0},
                                                                         {"x": x + apart / 2, "y": y, "id": 1}])
    window.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
    assert 2 < chart(window)["wide"] <= 3.1


def test_without_script_the_page_is_complete(archive, window):
    window.call("Emulation.setScriptExecutionDisabled", value=True)
    try:
        assert window.load(archive / PAGES[1], 1280) == []
        assert window.ask("document.querySelectorAll('.zoom, .times, .axis').length") == 0
        assert window.ask("document.querySelector('.chart img').getBoundingClientRect().width") > 900
    finally:
        window.call("Emulation.setScriptExecutionDisabled", value=False)


# ---- the same from a server ----

@pytest.fixture(scope="module")
def server(archive):
    handler = functools.partial(QuietHandler, directory=str(archive))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as opened:
        thread = threading.Thread(target=opened.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{opened.server_port}"
        opened.shutdown()
        thread.join()


class QuietHandler(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass

    def do_GET(self):
        if self.path == "/favicon.ico":  # asked for by browsers by themselves
            self.send_response(204)
            self.end_headers()
        else:
            super().do_GET()


@pytest.mark.parametrize("page", PAGES)
def test_a_web_server_serves_the_same_without_complaint(server, window, page):
    assert window.load(f"{server}/{page}", 1280) == []
    assert window.ask("[...document.images].filter(picture => picture.naturalHeight == 0).length") == 0
    assert window.ask("getComputedStyle(document.body).maxWidth") != "none", "the style sheet does not apply"
    assert window.ask("document.querySelectorAll('.zoom button').length") == (5 if page == PAGES[1] else 0)
    links = window.ask("[...new Set([...document.querySelectorAll('a[href]')].map(link => new URL(link.getAttribute('href'), location).href))]")
    assert links and all(link.startswith(server) for link in links)
    for link in links:
        with urllib.request.urlopen(link) as answer:
            assert answer.status == 200


def test_two_clicks_lead_from_the_front_page_to_the_newest_file_of_each_station(archive, server, window):
    """As a person does it: click the station, click its first CSV; nothing else is touched."""
    for station in sorted(path.name for path in (archive / "stations").iterdir()):
        assert window.load(f"{server}/index.html", 390) == []
        clicks = 0
        for find in (f"a[href='stations/{station}/index.html']", ".downloads a"):
            before = window.ask("location.href")
            where = window.ask(f"(() => {{ const link = document.querySelector(\"{find}\");"
                               " link.scrollIntoView({block: 'center'}); const box = link.getClientRects()[0];"
                               " return [box.left + 5, box.top + box.height / 2, link.href]; })()")
            if clicks == 1:
                newest = sorted((archive / "stations" / station).glob(f"*/{station}_????-??.csv"))[-1]
                assert where[2] == f"{server}/{newest.relative_to(archive)}", "the second click leads to the newest month"
                with urllib.request.urlopen(where[2]) as answer:
                    reached = answer.read()
                assert reached == newest.read_bytes()
                told = next(s for s in json.loads((archive / "network.json").read_text())["stations"] if s["id"] == station)
                assert told["last"] in reached.decode().splitlines()[-1], "and that holds the newest sample"
                break
            window.events.clear()
            for kind in ("mousePressed", "mouseReleased"):
                window.call("Input.dispatchMouseEvent", type=kind, x=where[0], y=where[1], button="left", clickCount=1)
            window._wait("Page.loadEventFired")
            clicks += 1
            assert window.ask("location.href") == where[2] != before


# Text against the ground that it stands on, by WCAG 2.2 (1.4.3): the worst ratio, and where.
CONTRAST = """(() => {
  const parts = text => (text.match(/[\\d.]+/g) || []).map(Number);
  const light = ([r, g, b]) => [r, g, b].map(c => c / 255).map(c => c <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4)
    .reduce((sum, c, i) => sum + c * [.2126, .7152, .0722][i], 0);
  const ground = element => {
    for (let e = element; e; e = e.parentElement) {
      const colour = parts(getComputedStyle(e).backgroundColor);
      if (colour.length == 3 || colour[3] == 1) return colour;
    }
    return [255, 255, 255];
  };
  let worst = [99, ""];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node; node = walker.nextNode();) {
    const e = node.parentElement;
    if (!node.data.trim() || e.closest("svg") || !e.getClientRects().length) continue;
    const style = getComputedStyle(e), a = light(parts(style.color)), b = light(ground(e));
    const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05), size = parseFloat(style.fontSize);
    const need = size >= 24 || (size >= 18.66 && style.fontWeight >= 700) ? 3 : 4.5;
    if (ratio / need < worst[0]) worst = [ratio / need, node.data.trim().slice(0, 40)];
  }
  return worst;
})()"""


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("page", PAGES)
def test_text_stands_out_from_its_ground(archive, window, page, dark):
    window.load(archive / page, 1280, dark)
    ratio, where = window.ask(CONTRAST)
    assert ratio >= 1, f"'{where}' has too little contrast"


@pytest.mark.parametrize("page", PAGES[:2])
def test_every_link_is_reached_by_keyboard_and_seen_there(archive, window, page):
    window.load(archive / page, 1280)
    wanted = window.ask("document.querySelectorAll('a[href], [tabindex=\"0\"], summary, button:enabled').length")
    seen = set()
    for _ in range(wanted + 1):
        for kind in ("keyDown", "keyUp"):
            window.call("Input.dispatchKeyEvent", type=kind, key="Tab", code="Tab", windowsVirtualKeyCode=9)
        at = window.ask("(e => e == document.body ? '' : [...document.querySelectorAll('*')].indexOf(e) + '|' +"
                        " getComputedStyle(e).outlineStyle + '|' + getComputedStyle(e).outlineWidth)"
                        "(document.activeElement)")
        if not at:
            break
        number, style, width = at.split("|")
        assert style == "solid" and float(width.removesuffix("px")) >= 2, "the place of the keyboard is not shown"
        assert number not in seen or len(seen) == wanted, "the keyboard is caught"
        seen.add(number)
    assert len(seen) == wanted


def test_pictures_are_xml_and_have_words_for_those_who_cannot_see_them(archive):
    pictures = list(archive.rglob("*.svg"))
    assert pictures
    for path in pictures:
        top = ET.parse(path).getroot()
        assert top.find("{http://www.w3.org/2000/svg}title").text and top.find("{http://www.w3.org/2000/svg}desc").text


def test_a_feed_reader_reads_the_feed(archive):
    feed = feedparser.parse(str(archive / "feed.atom"))
    assert not feed.bozo, feed.get("bozo_exception")
    assert feed.version == "atom10" and feed.feed.title and feed.feed.id.startswith("urn:uuid:") and feed.feed.updated_parsed
    assert feed.entries and len({entry.id for entry in feed.entries}) == len(feed.entries)
    assert all(entry.link and entry.title and entry.updated_parsed for entry in feed.entries)


def test_hours_below_oxygen_limits_are_those_of_the_daily_file(archive):
    page = (archive / "stations" / STATION / "index.html").read_text()
    daily = sorted((archive / "stations" / STATION).glob("*/*_daily.csv"))[-1].read_text().splitlines()
    names = daily[0].split(",")
    told = re.findall(r"below ([\d.]+)\u00a0mg/L for <b>([\d.]+)\u00a0h</b> on (\d+) days?", page)
    columns = [k for k, name in enumerate(names) if "below" in name]
    assert told and len(told) == len(columns)
    for (limit, hours, days), column in zip(told, columns):
        cells = [float(line.split(",")[column] or 0) for line in daily[1:]]
        assert abs(sum(cells) - float(hours)) < 0.3 and sum(cell > 0 for cell in cells) == int(days), limit
    assert any(float(hours) > 0 for _, hours, _ in told), "the sample has a sag"
