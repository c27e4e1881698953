# SPDX-License-Identifier: MIT
"""The program is ended between every two steps that are to be durable, one after the other, and what is there in the end is
what an undisturbed run leaves. And a drop that ends the reader is not read for ever.

Needs a program built with -DCRASH_POINTS=ON, named by RILLWARD_CRASH_BINARY; without one these tests are skipped.
RILLWARD_CRASH_STRIDE=n (default 1) takes every n-th point only.
"""
import os
import shutil
import signal

import pytest

from daemon import (EVENTS, LIMIT, SET_ASIDE, SMALL_NOW, TAKEN, WITHDRAWN, Service, air_file, finished_times, free_port,
                    later, same_facts, small_settings, tree, water_file)

BINARY = os.environ.get("RILLWARD_CRASH_BINARY", "")
STRIDE = int(os.environ.get("RILLWARD_CRASH_STRIDE", "1"))
pytestmark = pytest.mark.skipif(not BINARY, reason="skipped: RILLWARD_CRASH_BINARY names no program with crash points")
RECIPIENTS = """\
recipients:
  desk: {{webhook: "http://127.0.0.1:{port}/ok", secret: {{file: hook.secret}}, allow_private_address: true}}
"""
OPEN = "sandbox: off\n"  # the file that the points are written to lies outside


@pytest.fixture(autouse=True)
def use_that_binary(monkeypatch):
    monkeypatch.setenv("RILLWARD_BINARY", BINARY)


def filled(folder, with_hook=True):
    """Water, air, a warm spell that raises and returns, the same bytes twice, a file for nobody; and a receiver."""
    port = free_port()
    settings = small_settings(settle="0 s", tell="[desk]" if with_hook else "",
                              rest=(RECIPIENTS.format(port=port) if with_hook else "") + OPEN)
    service = Service(folder, settings, SMALL_NOW)
    if with_hook:
        service.start_receiver(port=port)
    service.put("mill/a.csv", water_file(0, 30))
    service.put("mill/b.csv", water_file(30, 12, temperature=26.0))
    service.put("mill/b copy.csv", water_file(30, 12, temperature=26.0))
    service.put("mill/c.csv", water_file(38, 30))
    service.put("mast/a.csv", air_file(0, 80))
    service.put("mill/nobody.txt", "hello\n")
    return service


def once(service, now=SMALL_NOW, **environment):
    return service.run("once", "-c", service.settings, "--clock", now, env={**os.environ, **environment})


def facts_of(service):
    alarms = [tuple(row) for row in service.ask(
        "SELECT station, rule, iif(rule = 'bad-drop', 0, start), iif(rule = 'bad-drop', 0, end_), state FROM alarm"
        " WHERE state <> ? ORDER BY station, rule, start", WITHDRAWN)]
    told = sorted((row["recipient"], row["station"], row["rule"], EVENTS[row["event"]]) for row in service.ask(
        "SELECT n.* FROM notice n JOIN alarm ON alarm.id = n.alarm WHERE alarm.state <> ?", WITHDRAWN))
    drops = sorted(tuple(row) for row in service.ask("SELECT path, sha256, rows, added, repeated, disagreed FROM drop_"))
    paths = sorted(tuple(row) for row in service.ask("SELECT path, state, message FROM path"))
    return {"alarms": alarms, "told": told, "drops": drops, "paths": paths,
            "pages": [tuple(row) for row in service.ask("SELECT place, month, revision, content FROM page ORDER BY 1, 2")],
            "left": [tuple(row) for row in service.ask("SELECT (SELECT count(*) FROM dirty),"
                                                       " (SELECT count(*) FROM page WHERE due = 1),"
                                                       " (SELECT count(*) FROM manifest_due),"
                                                       " (SELECT count(*) FROM notice WHERE state <> 1)")]}


def passes(path):
    return path.read_text().splitlines() if path.exists() else []


def test_ended_at_each_point_in_turn_it_comes_to_the_same_end(tmp_path):
    with filled(tmp_path / "undisturbed") as service:
        log = tmp_path / "points"
        once(service, RILLWARD_CRASH_LOG=str(log))
        points = passes(log)
        archive, facts = same_facts(service.archive, SMALL_NOW), facts_of(service)
    assert {"file written", "file put in place", "folder durable", "before commit", "after commit", "reading",
            "before migration", "folder made"} <= set(points)
    assert facts["left"] == [(0, 0, 0, 0)] and len(facts["drops"]) == 4 and len(facts["told"]) == 2
    for at in range(1, len(points) + 1, STRIDE):
        where = f"ended at point {at} of {len(points)}, '{points[at - 1]}'"
        folder = tmp_path / f"at-{at}"
        with filled(folder) as service:
            done = once(service, RILLWARD_CRASH_AT=str(at))
            assert done.returncode == -signal.SIGKILL, f"{where}: it was not ended: {done.returncode} {done.stderr}"
            done = once(service, now=later(SMALL_NOW, seconds=30))  # the clock does not go back
            assert done.returncode == 1, f"{where}: {done.stderr}"  # 1: the file for nobody needs a hand
            now, after = same_facts(service.archive, SMALL_NOW), facts_of(service)
            different = sorted(path for path in now.keys() | archive.keys() if now.get(path) != archive.get(path))
            assert not different, f"{where}: {different}"
            for what in facts:
                assert after[what] == facts[what], f"{where}: {what}"
            sent = {}
            for request in service.requests():
                assert sent.setdefault(request["event"]["id"], request["body"]) == request["body"], where
            assert set(sent) == {row["uid"] for row in service.ask("SELECT uid FROM notice")}, where
            assert service.leftovers() == [], where
            assert "0 findings; the database is sound" in service.verify(expected=0), where
        shutil.rmtree(folder)


def test_a_rebuild_ended_at_each_point_comes_to_the_same_end(tmp_path):
    with filled(tmp_path / "work", with_hook=False) as service:
        once(service)
        files, log = tree(service.archive), tmp_path / "points"
        assert service.run("rebuild", "-c", service.settings, "--clock", SMALL_NOW,
                           env={**os.environ, "RILLWARD_CRASH_LOG": str(log)}).returncode == 0
        for lost in (False, True):
            for at in range(1, len(passes(log)) + 1, max(STRIDE, 2)):
                where = f"lost: {lost}, point {at}"
                if lost:
                    shutil.rmtree(service.state)
                service.run("rebuild", "-c", service.settings, "--clock", SMALL_NOW, expected=-signal.SIGKILL,
                            env={**os.environ, "RILLWARD_CRASH_AT": str(at)})
                service.run("rebuild", "-c", service.settings, "--clock", SMALL_NOW)
                now = tree(service.archive)
                assert {p: now[p] for p in now if "/20" in p or "/originals/" in p or p.endswith(("history.csv", "feed.atom"))} \
                    == {p: files[p] for p in files if "/20" in p or "/originals/" in p or p.endswith(("history.csv", "feed.atom"))}, where
                assert "0 findings" in service.verify(expected=0), where


def test_a_revision_whose_former_one_is_kept_ended_at_each_point_comes_to_the_same_end(tmp_path):
    """Between the kept files and the new ones, and behind these: what was published before is there, and once."""
    def revised(folder, **environment):
        service = filled(folder, with_hook=False)
        service.change_settings("archive:", "keep_revisions: all\nrevision_formats: [csv, netcdf]\narchive:")
        once(service)
        service.put("mill/d.csv", water_file(68, 5))
        return service, once(service, now=later(SMALL_NOW, seconds=10), **environment)

    log = tmp_path / "points"
    undisturbed, _ = revised(tmp_path / "undisturbed", RILLWARD_CRASH_LOG=str(log))
    files = {path: digest for path, digest in tree(undisturbed.archive).items() if "/20" in path}
    assert sum("/revisions/2026-05_r1/" in path for path in files) == 5
    for at in range(1, len(passes(log)) + 1, STRIDE):
        where = f"ended at point {at}, '{passes(log)[at - 1]}'"
        service, done = revised(tmp_path / f"at-{at}", RILLWARD_CRASH_AT=str(at))
        assert done.returncode == -signal.SIGKILL, where
        once(service, now=later(SMALL_NOW, seconds=30))
        assert {path: digest for path, digest in tree(service.archive).items() if "/20" in path} == files, where
        assert "0 findings; the database is sound" in service.verify(expected=0), where
        shutil.rmtree(service.folder)


def end_by_drop(service, name):
    service.start(awaits=False, RILLWARD_CRASH_ON=f"reading:{name}")
    assert service.process.wait(LIMIT) == -signal.SIGKILL
    service.process = None


def test_a_drop_that_ends_the_reader_is_set_aside_and_all_others_are_taken(tmp_path):
    with filled(tmp_path / "work", with_hook=False) as service:
        service.put("mill/bad.csv", water_file(70, 5))
        for attempt in (1, 2, 3):
            end_by_drop(service, "mill/bad.csv")
        service.start(RILLWARD_CRASH_ON="reading:mill/bad.csv")
        fact = service.wait_for_path("mill/bad.csv", SET_ASIDE, "ended each time it was read")
        service.wait_for_rest()
        assert len(finished_times(service)) == 68
        status = service.run("status", "-c", service.settings, "--clock", SMALL_NOW, expected=1).stdout
        assert "mill/bad.csv" in status and "it is read no more" in status
        service.put("mill/bad.csv", water_file(70, 6))  # another file by now, and it ends the reader once more
        assert service.process.wait(LIMIT) == -signal.SIGKILL
        service.process = None
        service.start()  # a program that can read it
        service.wait_for_path("mill/bad.csv", TAKEN)
        assert service.path_fact("mill/bad.csv")["attempts"] == 0 and fact["attempts"] == 0
        service.stop()


def test_one_that_is_read_at_the_third_time_is_taken(tmp_path):
    with filled(tmp_path / "work", with_hook=False) as service:
        for attempt in (1, 2):
            end_by_drop(service, "mill/a.csv")
        assert "for the 2. time" not in service.log_text()  # told by the start after it
        service.start()
        service.wait_for_rest()
        assert "ended while it read 'mill/a.csv', for the 2. time" in service.log_text()
        assert service.path_fact("mill/a.csv")["state"] == TAKEN
        service.stop()
