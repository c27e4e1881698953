# SPDX-License-Identifier: MIT
"""What can be made again is made again, to the same bytes: with a sound database, without one, and after an interruption."""
import os
import pty
import re
import shutil
import signal
import subprocess

import pytest

from daemon import (SAMPLE_NOW, SMALL_NOW, TAKEN, WITHDRAWN, Service, air_file, binary, finished_times, make_sample,
                    sample_service, same_facts, small_settings, tree, wait_until, water_file)

PAGES = (".html", ".atom", ".json", "manifest-sha256.txt")  # tell of alarms too, which a lost database takes along


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    return make_sample(tmp_path_factory.mktemp("sample") / "quick", "--quick")


@pytest.fixture
def service(tmp_path, sample):
    with sample_service(tmp_path / "work", settle="0 s") as result:
        result.deliver(sample)
        result.start()
        result.wait_for_rest()
        result.stop()
        yield result


@pytest.fixture
def small(tmp_path):
    with Service(tmp_path / "small", small_settings(settle="0 s"), SMALL_NOW) as result:
        yield result


def rebuild(service, *places, expected=0):
    return service.run("rebuild", "-c", service.settings, "--clock", service.now, *places, expected=expected)


def facts(service):
    """Rows that must be the same after everything was made again."""
    columns = {"revision": "place, month, revision, last_time, arrived"}  # its number is nobody's but the database's
    return {table: [tuple(row) for row in service.ask(f"SELECT {columns.get(table, '*')} FROM {table} ORDER BY {order}")]
            for table, order in (("drop_", "number"), ("reading_chunk", "key"), ("record_chunk", "key"),
                                 ("check_result", "place, time, quantity, kind"), ("page", "place, month"),
                                 ("revision", "place, month, revision"), ("alarm", "id"), ("notice", "id"), ("path", "path"),
                                 ("archive_file", "path"), ("place", "number"), ("note", "id"))}


def assert_same(before, after):
    for table in before:
        assert after[table] == before[table], table


def test_a_rebuild_gives_the_same_bytes_and_the_same_facts(service):
    files, rows = tree(service.archive), facts(service)
    told = rebuild(service)
    assert "11 places made again, 0 left as they are, 0 findings" in told.stdout and told.stderr == ""
    assert tree(service.archive) == files
    assert_same(rows, facts(service))
    assert service.unrest() == "" and "0 findings" in service.verify(expected=0)


def test_products_of_any_kind_that_were_lost_or_changed_are_written_again(service):
    files = tree(service.archive)
    station = next(service.archive.glob("stations/*/20*")).parent
    (next(station.glob("20*/*.csv"))).unlink()
    page = station / "index.html"
    page.write_bytes(page.read_bytes().replace(b"a", b"b"))  # of the same size
    (service.archive / "network.json").unlink()
    told = rebuild(service, expected=1)
    assert told.stdout.count("it was written again") == 3
    assert tree(service.archive) == files
    assert "0 findings" in rebuild(service).stdout


def test_values_that_were_lost_in_the_database_come_back(service):
    rows, files = facts(service), tree(service.archive)
    import sqlite3
    with sqlite3.connect(service.state / "rillward.db") as database:
        database.execute("UPDATE reading_chunk SET bytes = zeroblob(7) WHERE key = (SELECT max(key) FROM reading_chunk)")
        database.execute("DELETE FROM record_chunk")
        database.execute("DELETE FROM check_result")
    database.close()
    rebuild(service)
    assert_same(rows, facts(service))
    assert tree(service.archive) == files


def assert_came_back(service, before, rows):
    """Records and originals to the byte; pages but for when an alarm was learnt of."""
    after = same_facts(service.archive)
    different = {path for path in before.keys() | after.keys() if before.get(path) != after.get(path)}
    assert not {path for path in different if not path.endswith(PAGES)}
    now = facts(service)
    for table in ("drop_", "reading_chunk", "record_chunk", "check_result", "page", "revision"):
        assert now[table] == rows[table], table
    # A silence that ended when a file came late is no fact of the files: a slow machine may have had one.
    episodes = ("SELECT station, rule, start, end_ FROM alarm WHERE state <> ? AND rule NOT IN ('bad-drop', 'silent')"
                " ORDER BY 1, 2, 3")
    return [tuple(row) for row in service.ask(episodes, WITHDRAWN)]


def test_a_lost_database_comes_back_from_the_archive_alone(service):
    before, rows = same_facts(service.archive), facts(service)
    episodes = assert_came_back(service, before, rows)
    shutil.rmtree(service.state)
    inbox = service.inbox.rename(service.folder / "away")  # what the phones still have does not count
    service.inbox.mkdir()
    told = rebuild(service, expected=1)
    assert "there was no database" in told.stdout and f"{len(rows['drop_'])} drops came back" in told.stdout
    assert "not restored" in told.stdout and "acknowledgements" in told.stdout and "0 findings" in told.stdout
    assert assert_came_back(service, before, rows) == episodes
    assert "0 findings" in service.verify(expected=0)
    service.inbox.rmdir()
    inbox.rename(service.inbox)
    service.start()  # the same files in the inbox are known
    service.wait_for_rest()
    service.stop()
    assert assert_came_back(service, before, rows) == episodes
    assert not service.ask("SELECT 1 FROM path WHERE state = 0")


def test_a_damaged_database_is_kept_aside_and_made_again(service):
    before, rows = same_facts(service.archive), facts(service)
    path = service.state / "rillward.db"
    content = bytearray(path.read_bytes())
    content[4096 * 5:4096 * 9] = bytes(4096 * 4)
    path.write_bytes(content)
    told = rebuild(service, expected=1)
    aside, = [p for p in service.state.glob("rillward.db.damaged-*") if not p.name.endswith(("-wal", "-shm"))]
    assert f"as {aside.name}" in told.stdout and aside.read_bytes() == content
    assert_came_back(service, before, rows)
    assert "0 findings" in service.verify(expected=0)


@pytest.mark.parametrize("content", [b"", b"not a database at all, but long enough to look at" * 100, b"SQLite format 3\0" + bytes(84)], ids=("empty", "foreign", "cut"))
def test_a_file_that_is_no_database_any_more_is_damage_too(small, content):
    small.put("mill/a.csv", water_file(0, 20))
    small.put("mast/a.csv", air_file(0, 60))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    times = finished_times(small)
    for path in small.state.glob("rillward.db*"):
        path.unlink()
    (small.state / "rillward.db").write_bytes(content)
    told = rebuild(small, expected=1 if content else None)
    assert "2 drops came back" in told.stdout
    assert finished_times(small) == times and "0 findings" in small.verify(expected=0)


def test_an_original_that_was_changed_is_named_and_its_place_stays_as_it_is(service):
    files, rows = tree(service.archive), facts(service)
    station = max(service.archive.glob("stations/*"), key=lambda p: len(list(p.glob("originals/*"))))
    bad = sorted(station.glob("originals/*"))[:2]
    for path in bad:
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
    told = rebuild(service, expected=1)
    for path in bad:
        assert f"{path.relative_to(service.archive)}: has other bytes than those that arrived" in told.stdout
        files.pop(str(path.relative_to(service.archive)))
    assert "10 places made again, 1 left as they are, 2 findings" in told.stdout
    now = tree(service.archive)
    assert {path: now[path] for path in files} == files
    assert_same(rows, facts(service))


def test_with_the_database_lost_a_changed_original_is_named_and_all_others_come_back(small):
    small.put("mill/a.csv", water_file(0, 20))
    small.put("mill/b.csv", water_file(20, 20))
    small.put("mast/a.csv", air_file(0, 60))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    times = finished_times(small)
    shutil.rmtree(small.state)
    bad, = small.archive.glob("stations/*/originals/*_b.csv")
    good = bad.read_bytes()
    bad.write_bytes(good.replace(b"12.0", b"12.9", 1))
    told = rebuild(small, expected=1)
    assert f"{bad.relative_to(small.archive)}: has other bytes" in told.stdout and "2 drops came back" in told.stdout
    assert finished_times(small) == times[:20]
    bad.write_bytes(good)  # from a copy of the archive
    told = rebuild(small, expected=1)
    assert "1 drops came back" in told.stdout and "was in no list" in told.stdout
    assert finished_times(small) == times


def test_an_original_that_no_list_holds_comes_back_under_a_guessed_name(small):
    small.put("mill/a.csv", water_file(0, 20))
    small.put("mast/a.csv", air_file(0, 60))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    history = small.archive / "stations/mill-pond/history.csv"
    assert re.search(r"^drop,\d,2026-05-02T12:00:\d\d(\.\d+)?Z,[0-9a-f]{64},originals/[0-9a-f]{16}_a.csv,mill/a.csv,,,,,$",
                     history.read_text(), re.M)
    before = history.read_text()
    small.put("mill/b.csv", water_file(20, 20))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    times = finished_times(small)
    history.write_text(before)  # as if the power had gone before it was written
    shutil.rmtree(small.state)
    told = rebuild(small, expected=1)
    assert "was in no list" in told.stdout and "3 drops came back" in told.stdout
    assert finished_times(small) == times
    assert ["mill/a.csv", "mill/b.csv"] == sorted(row["path"].decode() for row in small.ask("SELECT path FROM drop_ WHERE place = 1"))


def test_a_revised_record_keeps_its_number_and_rises_from_there(small):
    small.put("mill/a.csv", water_file(0, 20))
    small.put("mast/a.csv", air_file(0, 60))
    for start in (20, 25, 30):
        small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
        small.put("mill/more.csv", water_file(start, 5))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    feed = (small.archive / "feed.atom").read_bytes()
    files = tree(small.archive)
    shutil.rmtree(small.state)
    rebuild(small, expected=1)
    assert [row["revision"] for row in small.ask("SELECT revision FROM page")] == [4]
    assert (small.archive / "feed.atom").read_bytes() == feed
    assert tree(small.archive) == files
    small.put("mill/more.csv", water_file(35, 5))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    assert [row["revision"] for row in small.ask("SELECT revision FROM page")] == [5]


def test_a_changed_layout_reaches_what_was_taken_before(small):
    small.put("mill/a.csv", water_file(0, 20))
    small.put("mast/a.csv", air_file(0, 60))
    small.run("once", "-c", small.settings, "--clock", SMALL_NOW, expected=0)
    before = tree(small.archive)
    small.change_settings("{header: temperature, is: temperature, unit: degC}",
                          "{header: temperature, is: temperature, unit: degF}")
    rebuild(small, "mill-pond")
    assert tree(small.archive) != before
    small.change_settings("unit: degF", "unit: degC")
    rebuild(small, "mill-pond")
    csv, = small.archive.glob("stations/mill-pond/20*/mill-pond_2026-05.csv")
    assert small.ask("SELECT revision FROM page")[0]["revision"] == 3 and ",12.400,1,0," in csv.read_text()


def test_beside_a_running_service_it_is_refused(small):
    small.start()
    told = rebuild(small, expected=2)
    assert "another rillward works on the state folder" in told.stderr and "'lock'" in told.stderr
    small.put("mill/a.csv", water_file(0, 20))
    small.wait_for_path("mill/a.csv", TAKEN)
    small.stop()
    assert "neither a station nor a barometer" in rebuild(small, "mill-pnd", expected=2).stderr


def test_stopped_between_two_pieces_it_goes_on_where_it_was(service):
    files, rows = tree(service.archive), facts(service)
    command = [binary(), "rebuild", "-c", str(service.settings), "--clock", SAMPLE_NOW]
    lead, follow = pty.openpty()  # progress is for a terminal; it tells when it is at work
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=follow, text=True)
    os.close(follow)
    assert os.read(lead, 1000)
    process.send_signal(signal.SIGINT)
    told = process.stdout.read()
    assert process.wait(60) == 1 and "the same command goes on from here" in told
    process.stdout.close()
    os.close(lead)
    rebuild(service)
    assert not service.ask("SELECT 1 FROM rebuild_due")
    assert tree(service.archive) == files
    assert_same(rows, facts(service))


@pytest.mark.parametrize("lost", [False, True])
def test_killed_over_and_over_it_ends_where_an_undisturbed_one_does(service, lost):
    before, rows = same_facts(service.archive), facts(service)
    if lost:
        shutil.rmtree(service.state)
    command = [binary(), "rebuild", "-c", str(service.settings), "--clock", SAMPLE_NOW]
    wait = 0.004
    while True:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            status = process.wait(wait)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            wait *= 1.3
            continue
        assert status in (0, 1)
        break
    assert "0 findings" in rebuild(service).stdout
    assert_came_back(service, before, rows)
    assert "0 findings" in service.verify(expected=0)
