# SPDX-License-Identifier: MIT
"""The pages of a sample archive, as the real binary writes them: every link leads somewhere, and a browser has nothing to
complain about, wide and narrow, light and dark."""
import pathlib
import re
import subprocess
import sys

import pytest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support"))
import browser  # noqa: E402
from daemon import ROOT, SAMPLE_NOW, make_sample, sample_service  # noqa: E402

STATION = "heron-creek"
PAGES = ["index.html", f"stations/{STATION}/index.html", f"stations/{STATION}/field-sheet.html"]
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


def test_everything_can_be_reached_by_keyboard_and_says_where_it_is(archive, window):
    assert window.load(archive / PAGES[1], 360) == []
    unnamed = """[...document.querySelectorAll('a, [tabindex]')].filter(element =>
        !(element.textContent.trim() || element.getAttribute('aria-label') || element.querySelector('img[alt]'))).length"""
    assert window.ask(unnamed) == 0
    window.ask("document.querySelector('.frame').focus()")
    assert window.ask("document.activeElement.className") == "frame"
