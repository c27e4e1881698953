# SPDX-License-Identifier: MIT
"""Each reason for which the service does not start is provoked, and what it says names the thing and the cure.

Exit status 2: the settings or what they name must be mended, and starting again does not help (the unit does not try).
Exit status 1: the machine may get better by itself.
"""
import contextlib
import os
import sqlite3
import subprocess

import pytest

from daemon import Service, binary, small_settings


def make_database(service, *statements):
    service.state.mkdir(exist_ok=True)
    with contextlib.closing(sqlite3.connect(service.state / "rillward.db")) as database, database:
        for statement in statements:
            database.execute(statement)


def used_before(service):
    service.run("once", "-c", service.settings)


def newer(service):
    used_before(service)
    make_database(service, "PRAGMA user_version = 900")


def damaged(service):
    used_before(service)
    (service.state / "rillward.db").write_bytes(b"\0" * 8192)


def a_file_at(name):
    def spoil(service):
        path = service.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("somebody's")
    return spoil


def a_folder_at(name):
    return lambda service: (service.folder / name).mkdir(parents=True)


def settings(old, new):
    return lambda service: service.change_settings(old, new)


def more(text):
    return lambda service: service.write_settings(service.settings.read_text() + "\n" + text)


def without_settings(service):
    service.settings.unlink()


MAIL = """\
recipients:
  desk: {mail: desk@example.org}
"""

# what is wrong, how it is made so, exit status, what must be told
REFUSALS = [
    ("no settings file", without_settings, 2, ["cannot open", "rillward.yaml"]),
    ("settings that are no YAML", more("rules: [\n"), 2, ["rillward.yaml:", "no YAML"]),
    ("a key nobody knows", more("inbux: here\n"), 2, ["unknown key 'inbux'", "expected 'inbox'"]),
    ("an include that is nowhere", more("include: [more.yaml]\n"), 2, ["'more.yaml'", "expected a file"]),
    ("folders in each other", settings("archive: archive\n", "archive: inbox/archive\n"), 2, ["must lie apart"]),
    ("a part without parts", more("part: north\n"), 2, ["no 'parts'", "name them"]),
    ("mail without a server", more(MAIL), 2, ["mail", "server"]),
    ("a newer database", newer, 2, ["schema 900", "left untouched", "install the newer rillward"]),
    ("a database of another program",
     lambda service: make_database(service, "PRAGMA application_id = 77", "CREATE TABLE mine(x)"), 2,
     ["not ours", "move it away"]),
    ("a damaged database", damaged, 1, ["damaged", "rillward rebuild"]),
    ("a file where the state folder should be", a_file_at("state"), 1, ["/state' is in the way", "move it away"]),
    ("a file where the archive should be", a_file_at("archive"), 1, ["/archive' is in the way", "move it away"]),
    ("a file where the bell should be", a_file_at("state/bell"), 1, ["remove it"]),
]


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path, small_settings()) as service:
        yield service


@pytest.mark.parametrize(("spoil", "status", "words"), [row[1:] for row in REFUSALS], ids=[row[0] for row in REFUSALS])
def test_it_says_why_it_does_not_start_and_what_to_do(service, spoil, status, words):
    spoil(service)
    done = subprocess.run([binary(), "serve", "-c", str(service.settings)], capture_output=True, text=True, timeout=60,
                          env={key: value for key, value in os.environ.items() if key != "CREDENTIALS_DIRECTORY"})
    assert done.returncode == status, done.stderr
    for word in words:
        assert word in done.stderr, done.stderr
