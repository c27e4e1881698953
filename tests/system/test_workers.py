# SPDX-License-Identifier: MIT
"""However many threads write records, the archive holds the same bytes; the feed tells of revisions in the same order."""
import contextlib
import sqlite3

import pytest

from daemon import make_sample, sample_service, same_facts


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    return make_sample(tmp_path_factory.mktemp("sample") / "quick", "--quick")


def filled_once(folder, sample, workers):
    with sample_service(folder, settle="0 s") as service:
        service.change_settings("archive: ", f"workers: {workers}\narchive: ")
        service.deliver(sample)
        service.run("once", "-c", service.settings, "--clock", service.now)
        service.verify()
        return same_facts(service.archive)


def test_the_archive_does_not_show_how_many_threads_wrote_it(tmp_path, sample):
    alone, several = (filled_once(tmp_path / str(workers), sample, workers) for workers in (1, 5))
    assert "feed.atom" in alone
    assert sorted(several) == sorted(alone)
    assert several == alone


def test_a_page_that_is_drawn_later_is_the_one_that_was_drawn_behind_its_record(tmp_path, sample):
    """What the writer of a record knew is passed on to the page; one that is drawn without it reads the record."""
    with sample_service(tmp_path / "work", settle="0 s") as service:
        service.deliver(sample)
        service.run("once", "-c", service.settings, "--clock", service.now)
        pages = {path: path.read_bytes() for name in ("index.html", "field-sheet.html")
                 for path in service.archive.glob(f"stations/*/{name}")}
        assert len(pages) > 4 and any(b"This month in numbers" in page for page in pages.values())
        for path in pages:
            path.unlink()
        with contextlib.closing(sqlite3.connect(service.state / "rillward.db")) as database, database:
            database.execute("INSERT OR IGNORE INTO manifest_due SELECT number FROM place")
        service.run("once", "-c", service.settings, "--clock", service.now)
        assert {path: path.read_bytes() for path in pages} == pages
        service.verify()
