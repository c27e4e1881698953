# SPDX-License-Identifier: MIT
"""However many threads write records, the archive holds the same bytes; the feed tells of revisions in the same order."""
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
