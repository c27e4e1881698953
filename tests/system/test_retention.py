# SPDX-License-Identifier: MIT
"""What the database keeps for a while only, and that nothing else goes with it."""
from daemon import SMALL_NOW, TAKEN, Service, finished_times, small_settings, tree, water_file, air_file

YEAR = 366 * 86400000
SETTINGS = small_settings(settle="0 s", rescan="1 s", rest="retention: {names: 100 d}\n")


def forget_in_time(service):
    """As if all of it had happened two years ago."""
    service.change_facts(f"UPDATE path SET since = since - {2 * YEAR}")


def test_names_of_files_that_are_gone_are_forgotten_and_what_they_held_stays(tmp_path):
    with Service(tmp_path / "work", SETTINGS, SMALL_NOW) as service:
        service.put("mast/a.csv", air_file(0, 30))
        gone, stays = service.put("mill/gone.csv", water_file(0, 10)), service.put("mill/stays.csv", water_file(10, 10))
        service.start()
        service.wait_for_rest()
        service.stop()
        gone.unlink()
        forget_in_time(service)
        archive, times = tree(service.archive), finished_times(service)
        service.start()
        service.wait_until(lambda: not service.path_fact("mill/gone.csv"), "the name is forgotten")
        assert service.path_fact("mill/stays.csv") and stays.exists()
        service.put("mill/gone.csv", water_file(0, 10))
        service.wait_for_path("mill/gone.csv", TAKEN)
        service.wait_for_rest()
        service.stop()
        assert service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] == 3
        assert tree(service.archive) == archive and finished_times(service) == times and len(times) == 20


def test_while_the_inbox_is_missing_no_name_is_forgotten(tmp_path):
    with Service(tmp_path / "work", SETTINGS, SMALL_NOW) as service:
        service.put("mill/a.csv", water_file(0, 10))
        service.start()
        service.wait_for_rest()
        service.stop()
        service.inbox.rename(tmp_path / "aside")
        forget_in_time(service)
        service.start(awaits=False)
        service.wait_for_log("inbox")
        (tmp_path / "aside").rename(service.inbox)
        service.put("mill/b.csv", water_file(10, 10))
        service.wait_for_path("mill/b.csv", TAKEN)
        service.stop()
        assert service.path_fact("mill/a.csv")


def test_a_database_that_is_mostly_empty_is_written_anew_at_the_start_unless_told_not_to(tmp_path):
    with Service(tmp_path / "work", SETTINGS, SMALL_NOW) as service:
        service.put("mill/a.csv", water_file(0, 10))
        service.start()
        service.wait_for_rest()
        service.stop()
        database = service.state / "rillward.db"
        service.change_facts("CREATE TABLE much(b BLOB) STRICT")
        service.change_facts("INSERT INTO much VALUES(zeroblob(40000000))")
        service.change_facts("DROP TABLE much")
        assert database.stat().st_size > 40000000
        service.change_settings("retention: {names: 100 d}", "retention: {compact: false}")
        service.start()
        service.stop()
        assert database.stat().st_size > 40000000
        service.change_settings("retention: {compact: false}", "retention: {names: 100 d}")
        service.start()
        service.wait_for_log("the database was written anew")
        service.stop()
        assert database.stat().st_size < 1000000
        assert "0 findings; the database is sound" in service.verify(expected=0)
