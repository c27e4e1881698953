# SPDX-License-Identifier: MIT
"""What a monitoring system sees, and copies of the database while the service runs."""
import importlib.util
import os
import re
import sqlite3
import stat
import threading

import pytest

from daemon import (SET_ASIDE, SMALL_NOW, TAKEN, Service, air_file, finished_times, small_settings, wait_until,
                    water_file)


@pytest.fixture
def service(tmp_path):
    settings = small_settings(rest="metrics: {file: metrics/rillward.prom}\n")
    with Service(tmp_path / "work", settings, SMALL_NOW) as result:
        yield result


def figures(service):
    """'name{labels}' -> value of a file that must have the form of the format."""
    text = (service.folder / "metrics/rillward.prom").read_text(encoding="utf-8")
    assert text.endswith("\n")
    result, family, types = {}, None, {}
    for line in text.splitlines():
        comment = re.fullmatch(r"# (HELP|TYPE) (rillward_[a-z_]+) (.+)", line)
        if comment and comment[1] == "HELP":
            family = comment[2]
            assert family not in types, f"{family} comes twice"
            types[family] = None
        elif comment:
            assert comment[2] == family and comment[3] in ("gauge", "counter")
            types[family] = comment[3]
        else:
            sample = re.fullmatch(r'([a-z_]+)(\{[a-z]+="[^"\\\n]*"\})? (-?[0-9.]+)', line)
            assert sample and sample[1] == family and types[family], line
            assert sample[1] + (sample[2] or "") not in result, line
            result[sample[1] + (sample[2] or "")] = float(sample[3])
    return result


def test_figures_follow_what_happens(service):
    os.umask(0o077)
    service.start()
    path = service.folder / "metrics/rillward.prom"
    wait_until(path.exists, "the first figures")
    assert stat.S_IMODE(path.stat().st_mode) == 0o644
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.put("mill/notes.txt", "hello\n")
    service.wait_for_path("mill/notes.txt", SET_ASIDE)
    wait_until(lambda: figures(service)["rillward_drops_set_aside"] == 1, "the file set aside in the figures")
    service.wait_for_rest()
    service.stop()  # the last figures are those of the end
    now = figures(service)
    assert now['rillward_drops_total{result="taken"}'] == 2 and now['rillward_drops_total{result="set_aside"}'] >= 1
    assert now['rillward_last_data_timestamp_seconds{station="mill-pond"}'] == 1777682700
    assert now['rillward_last_air_timestamp_seconds{barometer="mast"}'] == 1777691700
    assert now['rillward_alarms_active{priority="low"}'] == 1
    assert now["rillward_last_turn_timestamp_seconds"] >= now["rillward_start_timestamp_seconds"] > 1.7e9
    assert [p.name for p in path.parent.iterdir()] == ["rillward.prom"]


@pytest.mark.skipif(not importlib.util.find_spec("prometheus_client"), reason="python3-prometheus-client is not installed")
def test_another_reader_of_the_format_understands_the_file(service):
    from prometheus_client.parser import text_string_to_metric_families
    service.put("mill/a.csv", water_file(0, 10))
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
    text = (service.folder / "metrics/rillward.prom").read_text(encoding="utf-8")
    families = list(text_string_to_metric_families(text))
    assert len(families) == text.count("# TYPE ") and all(f.samples and f.documentation for f in families)
    ours = figures(service)
    assert sum(len(f.samples) for f in families) == len(ours)


def test_a_refused_reload_and_a_missing_inbox_show(service):
    service.start()
    good = service.settings.read_text()
    service.write_settings(good + "nonsense: true\n")
    service.hang_up()
    service.wait_for_log("the running ones stay in force")
    service.write_settings(good)
    service.inbox.rename(service.folder / "away")
    wait_until(lambda: figures(service).get("rillward_inbox_missing") == 1, "the missing inbox in the figures")
    service.stop()
    assert figures(service)["rillward_settings_refused_total"] == 1


def test_figures_that_cannot_be_written_stop_nothing(service):
    (service.folder / "metrics").mkdir()
    (service.folder / "metrics/rillward.prom").mkdir()
    service.start()
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_for_path("mill/a.csv", TAKEN)
    service.wait_for_log("cannot write the metrics")
    service.stop()


def test_a_backup_while_the_service_works_is_its_database_of_one_moment(service):
    service.start()
    service.put("mast/a.csv", air_file(0, 300))
    ended = threading.Event()

    def feed():
        for i in range(200):
            if ended.is_set():
                return
            service.put(f"mill/{i:03}.csv", water_file(i, 3))
    feeder = threading.Thread(target=feed)
    feeder.start()
    try:
        for i in range(5):
            target = service.folder / f"copy-{i % 2}.db"
            done = service.run("backup", "-c", service.settings, target, expected=0)
            assert f"'{target}' is a sound copy" in done.stdout and done.stderr == ""
            with sqlite3.connect(f"file:{target}?mode=ro", uri=True) as copy:
                assert copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    finally:
        ended.set()
        feeder.join()
    service.wait_for_rest()
    last = service.folder / "last.db"
    service.run("backup", "-c", service.settings, last, expected=0)
    service.stop()
    times = finished_times(service)
    assert not list(service.folder.glob("*.partial*")) and len(times) > 100
    # Put back, it is the database: nothing is done twice, nothing is missing.
    for path in service.state.iterdir():
        path.unlink()
    last.rename(service.state / "rillward.db")
    service.start()
    service.wait_for_rest()
    service.stop()
    assert finished_times(service) == times and "0 findings" in service.verify(expected=0)


def test_a_backup_that_is_older_than_the_archive_is_brought_up_to_it(service):
    """Put back as the operator's page says; what came after it is in the archive, and the phones no longer have it."""
    service.put("mast/a.csv", air_file(0, 60))
    service.put("mill/a.csv", water_file(0, 10))
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
    service.run("backup", "-c", service.settings, service.folder / "copy.db", expected=0)
    service.put("mill/b.csv", water_file(10, 10))
    service.put("mill/a.csv", water_file(0, 12))
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
    times, revisions = finished_times(service), service.ask("SELECT revision FROM page")[0]["revision"]
    for path in [*service.state.iterdir(), *service.inbox.glob("*/*.csv")]:
        path.unlink()
    (service.folder / "copy.db").rename(service.state / "rillward.db")
    assert "2 drops came back" in service.run("rebuild", "-c", service.settings, "--clock", SMALL_NOW, expected=0).stdout
    assert finished_times(service) == times and len(times) == 20
    assert service.ask("SELECT revision FROM page")[0]["revision"] == revisions
    assert "0 findings" in service.verify(expected=0)


def test_a_backup_is_refused_into_our_own_folders_and_where_none_can_be(service):
    service.put("mill/a.csv", water_file(0, 10))
    service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
    for target in ("state/rillward.db", "archive/copy.db", "inbox/copy.db"):
        assert "outside of" in service.run("backup", "-c", service.settings, service.folder / target, expected=2).stderr
    assert "cannot create" in service.run("backup", "-c", service.settings, "/nowhere/copy.db", expected=1).stderr
    service.run("backup", "-c", service.settings, expected=2)
