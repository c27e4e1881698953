# SPDX-License-Identifier: MIT
"""The list of one station's files in the README is the list of its files."""
import re

import pytest

from daemon import ROOT, SAMPLE_NOW, make_sample, sample_service

STATION = "heron-creek"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("files")
    make_sample(place / "sample", "--quick")
    with sample_service(place / "service") as service:
        service.deliver(place / "sample", "--pause", "0")
        service.run("once", "-c", service.settings, "--clock", SAMPLE_NOW)
        yield service.archive / "stations" / STATION


def kind(path):
    """The path of a file, with what differs from month to month and from drop to drop left out."""
    return re.sub(r"originals/[0-9a-f]{16}_[^/]+\.", "originals/*.", re.sub(r"20\d\d-\d\d", "month", path))


def told():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    part = readme.split("### One station, file by file\n")[1].split("\n##")[0]
    return re.findall(r"^\| `([^`]+)` \| [^|]+ \| (\d+) kB \|$", part, re.M)


def test_the_readme_lists_the_files_of_a_station(folder):
    there = {kind(str(path.relative_to(folder))) for path in folder.rglob("*") if path.is_file()}
    assert there and {kind(path) for path, _ in told()} == there


def test_each_file_that_the_readme_lists_is_there_in_about_that_size(folder):
    assert told()
    for path, kilobytes in told():
        assert abs((folder / path).stat().st_size / 1000 - int(kilobytes)) <= 1 + 0.3 * int(kilobytes), path


def test_the_manifest_names_every_other_file(folder):
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    named = {line.split("  ", 1)[1] for line in (folder / "manifest-sha256.txt").read_text().splitlines()}
    assert named == there - {"manifest-sha256.txt"}
