# SPDX-License-Identifier: MIT
"""A parser that works by the HTML standard reads every page of a sample archive without an error, what names another part of
the page finds it, and headings come in order."""
import re

import html5lib
import pytest

from daemon import SAMPLE_NOW, make_sample, sample_service

REFERENCES = ("for", "aria-labelledby", "aria-describedby", "aria-controls")


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("html")
    make_sample(folder / "sample", "--quick")
    with sample_service(folder / "service") as service:
        service.deliver(folder / "sample", "--pause", "0")
        service.run("once", "-c", service.settings, "--clock", SAMPLE_NOW)
        yield {str(path.relative_to(service.archive)): path.read_bytes() for path in service.archive.rglob("*.html")}


def parse(page):
    parser = html5lib.HTMLParser(namespaceHTMLElements=False)
    return list(parser.parse(page).iter()), [f"{code} at {place}" for place, code, _ in parser.errors]


def elements(page):
    return [element for element in parse(page)[0] if isinstance(element.tag, str)]


def faults_of_names(page):
    """Identifiers given twice, and references to none."""
    ids = [element.get("id") for element in elements(page) if element.get("id") is not None]
    wanted = [name for element in elements(page) for key in REFERENCES for name in element.get(key, "").split()]
    wanted += [element.get("href")[1:] for element in elements(page) if element.get("href", "").startswith("#")]
    return [name for name in set(ids) if ids.count(name) > 1] + [name for name in wanted if name not in ids]


def faults_of_headings(page):
    levels = [int(element.tag[1]) for element in elements(page) if re.fullmatch("h[1-6]", element.tag)]
    return levels[:1] != [1] or levels.count(1) > 1 or any(b > a + 1 for a, b in zip(levels, levels[1:]))


def test_every_page_is_html_without_an_error(pages):
    assert "index.html" in pages and len(pages) > 3
    assert {path: errors for path, page in pages.items() if (errors := parse(page)[1])} == {}


def test_every_page_names_its_parts_once_and_refers_to_those_that_are_there(pages):
    assert {path: faults for path, page in pages.items() if (faults := faults_of_names(page))} == {}


def test_headings_begin_with_one_of_the_first_rank_and_leave_no_rank_out(pages):
    assert [path for path, page in pages.items() if faults_of_headings(page)] == []


@pytest.mark.parametrize("old, new, finds", [
    (b"</h1>", b"</h2>", lambda page: parse(page)[1]),
    (b"</body>", b"<p id=a></p><p id=a></p></body>", faults_of_names),
    (b"</body>", b'<a href="#nowhere">x</a></body>', faults_of_names),
    (b"</body>", b"<h6>x</h6></body>", faults_of_headings),
])
def test_these_checks_find_what_is_put_in(pages, old, new, finds):
    page = pages["index.html"]
    assert old in page and finds(page.replace(old, new))
