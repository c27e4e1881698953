# SPDX-License-Identifier: MIT
"""Disks that are full, closed or lie, clocks that jump, limits that are reached, an inbox that goes away: nothing is lost,
nothing is doubled, and somebody is told. What needs a mount or a namespace that the machine refuses is skipped."""
import contextlib
import errno
import os
import pathlib
import re
import resource
import sqlite3
import subprocess

import pytest

from daemon import (LIMIT, SET_ASIDE, SMALL_NOW, TAKEN, WAITING, Service, air_file, binary, finished_times,
                    small_settings, wait_until, water_file)

HERE = pathlib.Path(__file__).resolve().parent
FULL, BROKEN, CLOSED = errno.ENOSPC, errno.EIO, errno.EROFS


@pytest.fixture(scope="module")
def faults(tmp_path_factory):
    """The shim, built here."""
    target = tmp_path_factory.mktemp("faults") / "faults.so"
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-Wall", "-o", target, HERE / "faults.c", "-ldl"], check=True)
    return target


class BadDays(Service):
    """A service whose calls fail as told."""

    def start_with(self, shim, **more):
        self.state.mkdir(exist_ok=True)
        self.control = self.state / "faults"  # where also the sandbox lets it be read
        self.say()
        self.start(LD_PRELOAD=str(shim), FAULTS=str(self.control), **more)

    def say(self, *lines):
        beside = self.folder / "faults-next"
        beside.write_text("".join(f"{line}\n" for line in lines))
        beside.rename(self.control)

    def complaints(self, words, start=0):
        return re.findall(rf"{words}.*?; trying again in (\d+) (s|min)", self.log_text(start))

    def end(self):
        self.wait_for_rest()
        self.stop()
        assert "0 findings; the database is sound" in self.verify(expected=0)
        assert self.leftovers() == []


@pytest.fixture
def service(tmp_path):
    with BadDays(tmp_path / "work", small_settings(settle="0 s"), SMALL_NOW) as result:
        yield result


@pytest.fixture
def undisturbed(tmp_path):
    with Service(tmp_path / "undisturbed", small_settings(settle="0 s"), SMALL_NOW) as result:
        fill(result)
        result.run("once", "-c", result.settings, "--clock", SMALL_NOW, expected=0)
        return values(result)


def values(service):
    """Finished rows without the number of the drop: which of two is taken first is nobody's promise on a bad day."""
    table, = service.archive.glob("stations/mill-pond/20*/mill-pond_20??-??.csv")
    heading, *rows = [line.split(",") for line in table.read_text().splitlines()]
    assert heading[-2:] == ["drop", "line"], heading
    return [row[:-2] + row[-1:] for row in rows]


def fill(service, **how):
    service.put("mast/a.csv", air_file(0, 60), **how)
    service.put("mill/a.csv", water_file(0, 30), **how)


def assert_whole(service, undisturbed):
    service.end()
    assert values(service) == undisturbed
    assert service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] == 2


@pytest.mark.parametrize("line", [f"write rillward.db-wal {FULL}", f"write /archive/ {FULL}", f"sync /archive/ {BROKEN}",
                                  f"rename /archive/ {CLOSED}", f"open /archive/ {CLOSED}"])
def test_while_the_disk_is_in_the_way_pauses_grow_and_afterwards_all_is_there(service, faults, undisturbed, line):
    service.start_with(faults)
    service.say(line)
    fill(service)
    words = "(?:taking|database|cannot|publishing)"

    def pauses():
        return [int(number) for number, unit in service.complaints(words)]
    service.wait_until(lambda: pauses() and max(pauses()) >= 8, "pauses that grow")  # each drop's, or everybody's
    assert len(pauses()) < 16, pauses()
    service.say()
    assert_whole(service, undisturbed)


def test_a_drop_that_cannot_be_kept_is_told_and_all_others_go_on(service, faults):
    """Its original's place is taken by other bytes: only a person can help."""
    service.start_with(faults)
    service.put("mast/a.csv", air_file(0, 60))
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_for_rest()
    kept, = service.archive.glob("stations/mill-pond/originals/*")
    service.say(f"write originals/.rillward {FULL}")
    service.put("mill/b.csv", water_file(10, 10))
    fact = service.wait_for_path("mill/b.csv", WAITING, "No space left on device")
    assert fact["attempts"] == 0
    assert "No space left" in service.run("status", "-c", service.settings, "--clock", SMALL_NOW, expected=1).stdout
    service.say(f"write b.csv {FULL}")
    for i in range(2, 6):
        service.put(f"mill/c{i}.csv", water_file(i * 10, 10))
    for i in range(2, 6):
        service.wait_for_path(f"mill/c{i}.csv", TAKEN)
    service.wait_until(lambda: len(finished_times(service)) == 50, "records of the others")
    service.say()
    service.wait_for_path("mill/b.csv", TAKEN)
    service.end()
    assert len(finished_times(service)) == 60 and kept.exists()


@pytest.mark.parametrize("line", ["write / short", "read / short"])
def test_calls_that_do_half_of_their_work_change_nothing(service, faults, undisturbed, line):
    service.state.mkdir()
    service.start_with(faults)
    service.say(line)
    fill(service)
    assert_whole(service, undisturbed)


def test_a_database_disk_that_breaks_ends_the_service_and_the_next_start_goes_on(service, faults, undisturbed):
    service.start_with(faults)
    service.say(f"sync rillward.db-wal {BROKEN}")
    fill(service)
    assert service.process.wait(LIMIT) == 1
    service.process = None
    assert "disk I/O error" in service.log_text()
    service.start_with(faults)
    assert_whole(service, undisturbed)


def test_a_database_that_is_deleted_under_the_service_ends_it_and_comes_back_from_the_archive(service):
    service.start()
    service.put("mast/a.csv", air_file(0, 60))
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_for_rest()
    for path in service.state.glob("rillward.db*"):
        path.unlink()
    service.put("mill/b.csv", water_file(10, 10))
    assert service.process.wait(LIMIT) == 1
    service.process = None
    assert "moved or deleted while it was in use" in service.log_text()
    assert "2 drops came back" in service.run("rebuild", "-c", service.settings, "--clock", SMALL_NOW, expected=1).stdout
    service.start()
    service.end()
    assert len(finished_times(service)) == 20


def test_a_database_that_somebody_holds_is_waited_for(service):
    service.start()
    service.put("mast/a.csv", air_file(0, 60))
    service.wait_for_rest()
    other = sqlite3.connect(service.state / "rillward.db")
    other.execute("BEGIN IMMEDIATE")
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_until(lambda: service.complaints("database is locked"), "a complaint")
    other.rollback()
    other.close()
    service.wait_for_path("mill/a.csv", TAKEN)
    service.end()


@pytest.mark.parametrize("jump", [365 * 86400, -365 * 86400, -1777000000])
def test_the_wall_clock_jumps(tmp_path, faults, jump):
    with BadDays(tmp_path / "work", small_settings(settle="0 s", rescan="1 s"), SMALL_NOW) as service:
        jumps(service, faults, jump)


def jumps(service, faults, jump):
    service.start_with(faults)
    service.put("mast/a.csv", air_file(0, 60))
    service.put("mill/a.csv", water_file(0, 10), how="write")
    service.wait_for_path("mill/a.csv", TAKEN)
    service.say(f"clock {jump}")
    service.put("mill/b.csv", water_file(10, 10), how="write")
    service.wait_until(lambda: service.path_fact("mill/b.csv"), "a look at it")
    service.put("mill/c.csv", water_file(20, 10))
    service.wait_until(lambda: service.path_fact("mill/c.csv"), "a look at it")
    service.say()
    for name in "bc":  # before its time has come nothing of today is read, and nothing is set aside for it
        service.wait_for_path(f"mill/{name}.csv", TAKEN)
    service.end()
    assert len(finished_times(service)) == len(set(finished_times(service))) == 30


def limited(service, command, **limits):
    """The service under limits of its own, started in its own way because they are set between fork and exec."""
    def limit():
        for name, value in limits.items():
            resource.setrlimit(getattr(resource, f"RLIMIT_{name}"), (value, value))
    with open(service.log, "ab") as log:
        return subprocess.Popen(command, stderr=log, preexec_fn=limit)


def serve(service):
    return [binary(), "serve", "-c", str(service.settings), "--clock", SMALL_NOW]


def test_few_file_descriptors_are_enough(service, undisturbed):
    fill(service)
    for i in range(40):
        (service.inbox / f"mill/deep/{i}").mkdir(parents=True)
    service.process = limited(service, serve(service), NOFILE=24)
    assert_whole(service, undisturbed)


def test_a_drop_too_large_for_the_memory_ends_the_program_three_times_and_is_then_left_alone(service):
    service.put("mast/a.csv", air_file(0, 60))
    service.put("mill/a.csv", water_file(0, 30))
    rows = "".join(f"2026-05-02T00:{i // 60 % 60:02d}:{i % 60:02d}.{i // 3600:03d}Z,1113.2,12.0\n" for i in range(1500000))
    service.put("mill/large.csv", "Serial,M-1\ntime,pressure,temperature\n" + rows)
    for attempt in range(3):
        service.process = limited(service, serve(service), AS=230 << 20)
        assert service.process.wait(LIMIT) != 0
        service.process = None
    assert service.log_text().count("out of memory") == 3
    service.process = limited(service, serve(service), AS=230 << 20)
    service.wait_for_path("mill/large.csv", SET_ASIDE, "ended each time")
    service.wait_for_rest()
    assert len(finished_times(service)) == 30
    service.stop()


def test_a_derivation_too_large_for_the_memory_is_tried_in_pieces_and_then_set_aside(service):
    """The drop itself can be read; what is derived from it needs more than there is: the rest goes on."""
    service.put("mast/a.csv", air_file(0, 60))
    service.put("mill/a.csv", water_file(0, 30))
    rows = "".join(f"2026-04-20T00:{i // 60 % 60:02d}:{i % 60:02d}.{i // 3600:03d}Z,1113.2,12.0\n" for i in range(700000))
    service.put("mill/large.csv", "Serial,M-1\ntime,pressure,temperature\n" + rows)
    once = [binary(), "once", "-c", str(service.settings), "--clock", SMALL_NOW]
    ends = []
    while not ends or ends[-1] < 0:
        assert len(ends) < 20
        ends.append(limited(service, once, AS=300 << 20).wait(LIMIT))
    assert ends[-1] == 1, "something needs a hand"
    assert len(ends) > 5, "five times a piece, and each time in a smaller one"
    told = service.log_text()
    assert "ended while it derived a span, for the 1. time: it is tried again in smaller pieces" in told
    assert "for the 5. time: it is set aside" in told and "while it read" not in told
    assert len([time for time in finished_times(service) if time.startswith("2026-05-02")]) == 30, "what is beside it goes on"
    assert service.ask("SELECT count(*) AS n FROM dirty")[0]["n"] == 0
    status = service.run("status", "-c", service.settings, "--clock", SMALL_NOW, expected=1).stdout
    assert "the program ended each time that it was derived" in status and "rillward retry" in status
    assert "spans are derived again" in service.run("retry", "-c", service.settings, "--clock", SMALL_NOW, expected=0).stdout
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
    status = service.run("status", "-c", service.settings, "--clock", SMALL_NOW).stdout
    assert "the program ended each time" not in status and service.ask("SELECT count(*) AS n FROM unfinished")[0]["n"] == 0


DENSE = 400000  # rows, ten a second: each file can be read, the month of all cannot be worked on


def dense_file(first):
    """Times of fractions of a second: what a broken logger, or one for waves, brings."""
    rows = "".join(f"2026-05-02T{i // 36000:02d}:{i // 600 % 60:02d}:{i // 10 % 60:02d}.{i % 10}00Z,1113.2,12.0\n"
                   for i in range(first, first + DENSE))
    return "Serial,M-2\ntime,pressure,temperature\n" + rows


def test_a_record_too_large_for_the_memory_is_left_alone_and_the_others_are_written(tmp_path):
    settings = small_settings(settle="0 s")
    dense = ("  dense: {latitude: -47.9, longitude: -96.1, elevation: 2 m, standard_time: \"-06:00\", salinity: fresh,"
             " drops: [\"dense/**\"], serials: [M-2]}\nbarometers:\n")
    with BadDays(tmp_path / "work", settings.replace("barometers:\n", dense, 1), SMALL_NOW) as service:
        service.put("mast/a.csv", air_file(0, 400))
        for k in range(2):
            service.put(f"dense/{k}.csv", dense_file(k * DENSE))
        service.put("mill/a.csv", water_file(0, 30))
        def is_left_alone():
            return bool(service.ask("SELECT 1 FROM unfinished WHERE kind = 1 AND is_left_alone"))

        for _ in range(12):
            service.process = limited(service, serve(service), AS=600 << 20)
            wait_until(lambda: service.process.poll() is not None or is_left_alone(), "its end, or that it lets go")
            if service.process.poll() is None:
                break
            service.process = None
        assert service.process and service.log_text().count("out of memory") >= 3, service.last_lines()
        service.wait_until(lambda: len(finished_times(service)) == 30, "the other station's record")
        told = {station["id"]: station["waits_for"] for station in service.status()["stations"]}
        assert told["dense"].startswith("records left alone since") and told["mill-pond"] is None
        assert service.run("status", "-c", service.settings, "--clock", SMALL_NOW).returncode == 1
        assert "'dense', for the 3. time: it is left alone" in service.log_text()
        service.put("mill/b.csv", water_file(30, 30))
        service.wait_until(lambda: len(finished_times(service)) == 60, "what came later")
        service.stop()
        # With room for it, and a word, it is made: nothing was lost.
        assert "1 places that were left alone" in service.run("retry", "-c", service.settings, expected=0).stdout
        service.start()
        service.wait_until(lambda: len(finished_times(service, "dense")) == 2 * DENSE, "the record of the dense one")
        assert service.ask("SELECT count(*) FROM unfinished")[0][0] == 0
        service.stop()


# ---- real file systems: root only ----


@contextlib.contextmanager
def mounted(folder, *options):
    folder.mkdir(exist_ok=True)
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", ",".join(options), "tmpfs", str(folder)], capture_output=True, text=True)
    if done.returncode != 0:
        pytest.skip(f"skipped: this machine mounts nothing: {done.stderr.strip()}")
    try:
        yield
    finally:
        while subprocess.run(["mountpoint", "-q", str(folder)]).returncode == 0:
            subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.parametrize("which", ["state", "archive"])
def test_a_real_disk_fills_up_and_is_emptied_again(tmp_path, undisturbed, which):
    folder = tmp_path / "work"
    with BadDays(folder, small_settings(settle="0 s"), SMALL_NOW) as service, mounted(folder / which, "size=4m"):
        service.start()
        ballast = folder / which / "ballast"
        with contextlib.suppress(OSError), open(ballast, "wb", buffering=0) as file:
            while True:
                file.write(bytes(4096))
        fill(service)
        service.wait_until(lambda: len(service.complaints("(?:full|No space left|disk)")) >= 3, "three failures")
        ballast.unlink()
        assert_whole(service, undisturbed)


def test_an_archive_that_turns_read_only_and_back(tmp_path, undisturbed):
    folder = tmp_path / "work"
    with BadDays(folder, small_settings(settle="0 s"), SMALL_NOW) as service, mounted(folder / "archive", "size=64m"):
        service.start()
        # Refused while the service has a file of its own open there.
        remount = ["mount", "-o", "remount,ro", str(service.archive)]
        wait_until(lambda: subprocess.run(remount, capture_output=True).returncode == 0, "an archive that is read-only")
        fill(service)
        service.wait_until(lambda: len(service.complaints("Read-only file system")) >= 3, "three failures")
        subprocess.run(["mount", "-o", "remount,rw", str(service.archive)], check=True)
        assert_whole(service, undisturbed)


def test_an_inbox_that_is_unmounted_is_missing_and_not_empty(tmp_path):
    folder = tmp_path / "work"
    settings = small_settings(settle="0 s", rescan="1 s", rest="sandbox: off\n")
    with BadDays(folder, settings, SMALL_NOW) as service, mounted(folder / "disk", "size=16m"):
        # The disk is bound to the inbox, so that it can go away and come back with all that is on it.
        bind = ["mount", "--bind", str(folder / "disk"), str(service.inbox)]
        subprocess.run(bind, check=True)
        try:
            (service.inbox / "mast").mkdir()
            (service.inbox / "mill").mkdir()
            (service.inbox / "mast/a.csv").write_text(air_file(0, 60))
            (service.inbox / "mill/a.csv").write_text(water_file(0, 10))
            service.start()
            service.wait_for_path("mill/a.csv", TAKEN)
            service.wait_for_path("mast/a.csv", TAKEN)
            rows = service.ask("SELECT path, state, drop_ FROM path ORDER BY path")
            wait_until(lambda: subprocess.run(["umount", str(service.inbox)], capture_output=True).returncode == 0, "umount")
            wait_until(lambda: "is missing" in service.run("status", "-c", service.settings, "--clock", SMALL_NOW).stdout
                       or "is missing" in service.log_text(), "the inbox told to be missing")
            assert [tuple(row) for row in service.ask("SELECT path, state, drop_ FROM path ORDER BY path")] == \
                [tuple(row) for row in rows]
            (folder / "disk/mill/b.csv").write_text(water_file(10, 10))
            subprocess.run(bind, check=True)
            service.wait_for_path("mill/b.csv", TAKEN)
            service.end()
            assert len(finished_times(service)) == 20
        finally:
            subprocess.run(["umount", "-l", str(service.inbox)], capture_output=True)


# ---- limits of inotify, in a namespace of their own ----


@pytest.mark.parametrize("limit, words", [("max_inotify_watches", "too many folders to watch"),
                                          ("max_inotify_instances", "no inotify")])
def test_where_folders_cannot_be_watched_scans_find_everything(tmp_path, limit, words):
    value = "3" if limit == "max_inotify_watches" else "0"
    enter = ["unshare", "--user", "--map-root-user", "sh", "-c", f'echo {value} > /proc/sys/user/{limit} && exec "$@"', "sh"]
    if subprocess.run([*enter, "true"], capture_output=True).returncode != 0:
        pytest.skip("skipped: no user namespaces on this machine")
    settings = small_settings(settle="0 s", rescan="1 s", rest="metrics: {file: state/metrics.prom}\n")
    with BadDays(tmp_path / "work", settings, SMALL_NOW) as service:
        for i in range(12):
            (service.inbox / f"mill/{i}").mkdir(parents=True)
        service.process = limited(service, [*enter, *serve(service)])
        service.wait_for_log("watching '")
        service.put("mast/a.csv", air_file(0, 60))
        for i in range(12):
            service.put(f"mill/{i}/a.csv", water_file(i * 5, 5))
        for i in range(12):
            service.wait_for_path(f"mill/{i}/a.csv", TAKEN)
        service.wait_until(lambda: words in service.log_text(), f"'{words}' in the log")
        service.end()
        assert len(finished_times(service)) == 60


def test_an_open_end_is_read_when_its_time_has_come_without_a_scan(tmp_path):
    with BadDays(tmp_path / "work", small_settings(settle="0 s", hold="2 s", rescan="12 h"), SMALL_NOW) as service:
        service.start()
        service.put("mast/a.csv", air_file(0, 60))
        service.put("mill/a.csv", water_file(0, 30).rstrip("\n"))
        service.wait_for_path("mill/a.csv", WAITING, "no end yet")
        service.wait_for_path("mill/a.csv", TAKEN)
        service.end()
        assert len(finished_times(service)) == 30
