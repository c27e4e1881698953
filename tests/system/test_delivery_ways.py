# SPDX-License-Identifier: MIT
"""Every way in which files come into a synced folder: each drop is taken once and whole, the inbox stays as it is."""
import contextlib
import errno
import os
import shutil

import pytest

from daemon import (NEEDS_MORE, REPEATED, SET_ASIDE, SMALL_NOW, SMALL_START, TAKEN, WAITING, Service, air_file,
                    finished_times, fingerprint, later, records, small_settings, water_file, water_rows)

MARKER = os.fsencode("/marker")


@contextlib.contextmanager
def watching(folder, already=(), **settings):
    """A running service over the small network. Whatever the test did, the service does not touch the inbox, and takes
    what comes after. `already`: names that lie there before it starts."""
    with Service(folder / "work", small_settings(**settings), SMALL_NOW) as service:
        for name in ("marker", "mast", "mill"):
            (service.inbox / name).mkdir()
        for name in already:
            service.put(name, water_file(0, 10))
        service.start()
        yield service
        before = fingerprint(service.inbox)
        prove_that_it_looks(service)
        service.stop()
        after = fingerprint(service.inbox)
        assert {path: facts for path, facts in after.items() if MARKER not in path} == \
            {path: facts for path, facts in before.items() if MARKER not in path}


def prove_that_it_looks(service):
    """A drop that comes now is taken: what came before has been looked at, and nothing holds the service up."""
    service.put("marker/mill.csv", water_file(100, 3))
    service.wait_for_path("marker/mill.csv", TAKEN)


def drops(service):
    return [(row["path"].decode(), row["added"], row["repeated"], row["disagreed"])
            for row in service.ask("SELECT * FROM drop_ ORDER BY number")]


def rows_in_store(service):
    return service.status()["counts"]["rows"]


def time_of(row):
    return later(SMALL_START, minutes=5 * row)


def test_a_file_renamed_into_place_is_taken_at_once(tmp_path):
    with watching(tmp_path, already=["zz/a.csv"], settle="1 h") as service:
        service.wait_for_path("zz/a.csv", WAITING)  # the scan at the start is through: the folders are watched
        service.put("mill/a.csv", water_file(0, 10))
        service.wait_for_path("mill/a.csv", TAKEN)
        assert drops(service) == [("mill/a.csv", 10, 0, 0)]


def test_a_file_written_slowly_is_taken_when_its_writer_is_done(tmp_path):
    content = water_file(0, 40).encode()
    with watching(tmp_path) as service:
        with open(service.inbox / "mill/slow.csv", "wb") as file:
            file.write(content[:500])
            file.flush()
            os.utime(file.fileno())  # looked at when it was made, it was empty, and a write alone tells nobody
            service.wait_for_path("mill/slow.csv", WAITING, "open by a writer")
            assert drops(service) == []
            assert [line["state"] for line in service.status()["drops"]] == ["waiting"]
            file.write(content[500:])
        service.wait_for_path("mill/slow.csv", TAKEN)
        assert drops(service) == [("mill/slow.csv", 40, 0, 0)]


def test_a_broken_upload_waits_for_its_other_half(tmp_path):
    content = water_file(0, 40)
    with watching(tmp_path) as service:
        service.put("mill/half.csv", content[:500], "write")
        service.wait_for_path("mill/half.csv", WAITING, NEEDS_MORE)
        assert drops(service) == []
        service.put("mill/half.csv", content[500:], "append")
        service.wait_for_path("mill/half.csv", TAKEN)
        assert drops(service) == [("mill/half.csv", 40, 0, 0)]


def test_a_last_line_that_never_gets_its_end_is_taken_after_a_rest(tmp_path):
    with watching(tmp_path, hold="0.4 s", rescan="1 s") as service:
        service.put("mill/open.csv", water_file(0, 12).rstrip("\n"), "write")
        service.wait_for_path("mill/open.csv", TAKEN)
        assert drops(service) == [("mill/open.csv", 12, 0, 0)]


def test_a_file_that_grows_adds_only_its_new_rows(tmp_path):
    with watching(tmp_path) as service:
        service.put("mast/a.csv", air_file(0, 60))
        service.put("mill/log.csv", water_file(0, 10))
        service.wait_for_rest()
        service.put("mill/log.csv", water_rows(10, 5), "append")
        service.wait_for_rest()
        mine = [drop for drop in drops(service) if drop[0].startswith("mill/")]
        assert mine == [("mill/log.csv", 10, 0, 0), ("mill/log.csv", 5, 10, 0)]
        assert finished_times(service) == [time_of(row) for row in range(15)]


def test_a_file_that_comes_back_different_is_a_revision_row_by_row(tmp_path):
    with watching(tmp_path) as service:
        service.put("mast/a.csv", air_file(0, 60))
        service.put("mill/log.csv", water_file(0, 10))
        service.wait_for_rest()
        revised = water_file(0, 4) + water_rows(4, 2, temperature=18.0)  # rows 6 to 9 are missing from it
        service.put("mill/log.csv", revised)
        service.wait_for_rest()
        assert drops(service)[2] == ("mill/log.csv", 0, 4, 2)
        assert "2 rows disagree with 'mill/log.csv'" in service.log_text()
        assert finished_times(service) == [time_of(row) for row in range(10)]
        month = (service.archive / "stations/mill-pond/2026/mill-pond_2026-05.csv").read_text().splitlines()
        warm = [line for line in month[1:] if ",18." in line]
        assert [line.split(",")[0] for line in warm] == [time_of(4), time_of(5)]


def test_a_file_published_as_a_hard_link_is_taken(tmp_path):
    with watching(tmp_path) as service:
        (service.folder / "elsewhere.csv").write_text(water_file(0, 10))
        os.link(service.folder / "elsewhere.csv", service.inbox / "mill/linked.csv")
        service.wait_for_path("mill/linked.csv", TAKEN)
        assert drops(service) == [("mill/linked.csv", 10, 0, 0)]


def test_a_file_in_a_new_deep_folder_is_taken(tmp_path):
    with watching(tmp_path) as service:
        service.put("mill/2026/05/02/phone 3/a.csv", water_file(0, 10))
        service.wait_for_path("mill/2026/05/02/phone 3/a.csv", TAKEN)


def test_the_files_of_a_folder_that_is_moved_in_are_taken(tmp_path):
    with watching(tmp_path) as service:
        visit = service.folder / "visit"
        for name, first in (("a.csv", 0), ("b.csv", 10), ("deep/c.csv", 20)):
            (visit / name).parent.mkdir(parents=True, exist_ok=True)
            (visit / name).write_text(water_file(first, 10))
        visit.rename(service.inbox / "visit")
        for name in ("visit/a.csv", "visit/b.csv", "visit/deep/c.csv"):
            service.wait_for_path(name, TAKEN)
        assert rows_in_store(service) == 30


def test_a_touched_file_is_no_new_drop(tmp_path):
    with watching(tmp_path) as service:
        service.put("mast/a.csv", air_file(0, 60))
        path = service.put("mill/a.csv", water_file(0, 10))
        service.wait_for_rest()
        kept, known = records(service.archive), drops(service)
        touched = 1777700000_000000000
        os.utime(path, ns=(touched, touched))
        service.wait_until(lambda: service.path_fact("mill/a.csv")["modified"] == touched, "a look at the touched file")
        service.wait_for_rest()
        assert (records(service.archive), drops(service)) == (kept, known)
        assert service.path_fact("mill/a.csv")["state"] == TAKEN


def test_the_same_bytes_under_another_name_are_one_drop(tmp_path):
    with watching(tmp_path) as service:
        service.put("mill/a.csv", water_file(0, 10))
        service.wait_for_path("mill/a.csv", TAKEN)
        service.put("mill/a (copy).csv", water_file(0, 10))
        service.wait_for_path("mill/a (copy).csv", REPEATED, "the same bytes as 'mill/a.csv'")
        (service.inbox / "mill/a.csv").rename(service.inbox / "mill/moved.csv")
        service.wait_for_path("mill/moved.csv", REPEATED, "the same bytes as 'mill/a.csv'")
        assert drops(service) == [("mill/a.csv", 10, 0, 0)]


def test_a_deleted_file_takes_nothing_away(tmp_path):
    with watching(tmp_path) as service:
        service.put("mast/a.csv", air_file(0, 60))
        path = service.put("mill/a.csv", water_file(0, 10))
        service.wait_for_rest()
        kept = records(service.archive)
        path.unlink()
        shutil.rmtree(service.inbox / "mast")
        service.put("elsewhere/b.txt", "no table\n")
        service.wait_for_path("elsewhere/b.txt", SET_ASIDE)
        service.wait_for_rest()
        assert records(service.archive) == kept


def test_a_file_replaced_while_it_waits_is_read_as_what_it_is_now(tmp_path):
    with watching(tmp_path) as service:
        with open(service.inbox / "mill/a.csv", "wb") as file:
            file.write(water_file(0, 30).encode()[:400])
            file.flush()
            os.utime(file.fileno())  # as above
            service.wait_for_path("mill/a.csv", WAITING, "open by a writer")
            service.put("mill/a.csv", water_file(50, 8))
            service.wait_for_path("mill/a.csv", TAKEN)
        assert drops(service) == [("mill/a.csv", 8, 0, 0)]


def test_an_empty_file_waits_for_its_content(tmp_path):
    with watching(tmp_path) as service:
        path = service.put("mill/a.csv", b"")
        service.wait_for_path("mill/a.csv", WAITING, "empty")
        path.write_text(water_file(0, 10))
        service.wait_for_path("mill/a.csv", TAKEN)
        assert drops(service) == [("mill/a.csv", 10, 0, 0)]


def test_what_is_no_file_is_left_alone(tmp_path):
    with watching(tmp_path) as service:
        os.mkfifo(service.inbox / "pipe.csv")
        (service.inbox / "folder.csv").mkdir()
        prove_that_it_looks(service)
        assert service.path_fact("pipe.csv") is None and service.path_fact("folder.csv") is None
        with pytest.raises(OSError) as nobody_reads:
            os.open(service.inbox / "pipe.csv", os.O_WRONLY | os.O_NONBLOCK)
        assert nobody_reads.value.errno == errno.ENXIO


def test_symbolic_links_are_never_followed(tmp_path):
    with watching(tmp_path) as service:
        outside = service.folder / "outside"
        outside.mkdir()
        (outside / "secret.csv").write_text(water_file(0, 10))
        (service.inbox / "link.csv").symlink_to(outside / "secret.csv")
        (service.inbox / "folder").symlink_to(outside)
        service.put("mill/here.csv", water_file(50, 2))
        (service.inbox / "mill/inside.csv").symlink_to("here.csv")
        service.wait_for_path("mill/here.csv", TAKEN)
        prove_that_it_looks(service)
        looked_at = {row["path"].decode() for row in service.ask("SELECT path FROM path")}
        assert looked_at == {"mill/here.csv", "marker/mill.csv"}
        assert rows_in_store(service) == 5


def test_a_name_that_nobody_can_read_is_a_name(tmp_path):
    good, bad = b"mill/caf\xe9 \xff\x1b[31m\n.csv", b"notes\xfe\n\x07.txt"
    with watching(tmp_path) as service:
        for name, content in ((good, water_file(0, 10)), (bad, "no table\n")):
            with open(os.fsencode(service.inbox) + b"/" + name, "w", encoding="ascii") as file:
                file.write(content)
        service.wait_for_path(good, TAKEN)
        service.wait_for_path(bad, SET_ASIDE)
        service.wait_for_rest()
        assert len(service.status()["drops"]) == 1  # and it is JSON
        text = service.run("status", "-c", service.settings, expected=1).stdout
        assert not [c for c in text + service.log_text() if ord(c) < 32 and c != "\n"]
        originals = [path.name for path in service.archive.glob("stations/mill-pond/originals/*")]
        assert len(originals) == 1 and originals[0].isascii() and originals[0].isprintable()
        assert "0 findings" in service.verify(expected=0)


def test_temporary_and_hidden_names_are_read_only_under_their_real_name(tmp_path):
    names = (".a.csv.x1y2z3", "a.csv.part", "a.csv.tmp", "~$a.csv", ".hidden/a.csv")
    with watching(tmp_path) as service:
        for name in names:
            service.put("mill/" + name, water_file(0, 10), "write")
        prove_that_it_looks(service)
        assert not [name for name in names if service.path_fact("mill/" + name)]
        (service.inbox / "mill/a.csv.part").rename(service.inbox / "mill/a.csv")
        service.wait_for_path("mill/a.csv", TAKEN)


def test_many_drops_at_once_are_all_taken_and_none_twice(tmp_path):
    count = 140  # 35 hours of readings: those of tomorrow are just about believed
    with watching(tmp_path) as service:
        for number in range(count):
            service.put(f"mill/{number % 7}/{number}.csv", water_file(number * 3, 3))
        service.wait_for_rest()
        assert len(drops(service)) == count and rows_in_store(service) == count * 3
        assert service.status()["counts"]["repeated_rows"] == 0


def test_an_inbox_that_is_mounted_late_is_found(tmp_path):
    with Service(tmp_path / "work", small_settings(), SMALL_NOW) as service:
        service.inbox.rmdir()
        service.start()
        (tmp_path / "synced/mill").mkdir(parents=True)
        (tmp_path / "synced/mill/a.csv").write_text(water_file(0, 10))
        (tmp_path / "synced").rename(service.inbox)
        service.wait_for_path("mill/a.csv", TAKEN)
        service.stop()


def test_an_inbox_full_of_everything_is_left_as_it_was(tmp_path):
    with Service(tmp_path / "work", small_settings(settle="0 s"), SMALL_NOW) as service:
        service.put("mill/a.csv", water_file(0, 30))
        service.put("mill/a again.csv", water_file(0, 30))
        service.put("mast/a.csv", air_file(0, 30))
        service.put("mill/half.csv", water_file(40, 9)[:-4])
        service.put("picture.csv", b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(256)) * 9)
        service.put("mill/.a.csv.tmp", water_file(60, 3))
        service.put("mill/locked.csv", water_file(70, 3)).chmod(0o400)
        os.mkfifo(service.inbox / "pipe")
        (service.inbox / "link").symlink_to("mill")
        before = fingerprint(service.inbox)
        service.start()
        service.wait_for_path("mill/locked.csv", TAKEN)
        service.wait_for_path("picture.csv", SET_ASIDE)
        service.wait_for_path("mill/half.csv", WAITING, NEEDS_MORE)
        service.wait_until(lambda: finished_times(service), "the record")
        service.stop()
        assert fingerprint(service.inbox) == before
