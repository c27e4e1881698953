# SPDX-License-Identifier: MIT
"""The service is killed at random moments, over and over, and what it leaves behind is what an undisturbed run leaves.

RILLWARD_LONG=1 kills it more often. Each failure names the seed of its moments; RILLWARD_SEED repeats it.
"""
import os
import random
import shutil
import time

import pytest

from daemon import EVENTS, SAMPLE_NOW, WITHDRAWN, fingerprint, make_sample, sample_service, same_facts

LEAST_KILLS = 150 if os.environ.get("RILLWARD_LONG") == "1" else 14
SEED = int(os.environ.get("RILLWARD_SEED", "4711"))


class Undisturbed:
    """A run in peace: its archive, what it told, and how long it took."""


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    return make_sample(tmp_path_factory.mktemp("sample") / "quick", "--quick")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory, sample):
    result = Undisturbed()
    with filled_service(tmp_path_factory.mktemp("undisturbed") / "work", sample) as service:
        begun = time.monotonic()
        service.start(awaits=False)
        service.wait_for_rest()
        result.seconds = time.monotonic() - begun
        service.stop()
        result.archive, result.drops = same_facts(service.archive), drops_of(service)
        result.alarms, result.told = alarms_of(service), told_of(service)
    return result


def filled_service(folder, sample):
    """All files are there before the service is; none has to rest."""
    service = sample_service(folder, settle="0 s")
    service.deliver(sample)
    return service


def alarms_of(service):
    return sorted(tuple(row) for row in service.ask(
        "SELECT station, rule, iif(rule = 'bad-drop', 0, start), iif(rule = 'bad-drop', 0, end_), state"
        " FROM alarm WHERE state <> ?", WITHDRAWN))


def told_of(service):
    """Who was told what, but for what later knowledge took back."""
    return {(row["recipient"], row["station"], row["rule"], EVENTS[row["event"]]) for row in service.ask(
        "SELECT n.* FROM notice n JOIN alarm ON alarm.id = n.alarm WHERE alarm.state <> ?", WITHDRAWN)}


def drops_of(service):
    return [tuple(row) for row in service.ask(
        "SELECT path, sha256, rows, added, repeated, disagreed FROM drop_ ORDER BY number")]


def test_kills_at_random_moments_change_nothing(tmp_path, sample, undisturbed):
    moments, kills, rounds = random.Random(SEED), 0, 0
    while kills < LEAST_KILLS:
        rounds += 1
        kills += one_round(tmp_path / f"round-{rounds}", sample, undisturbed, moments)
        shutil.rmtree(tmp_path / f"round-{rounds}")


def one_round(folder, sample, undisturbed, moments):
    """From nothing to rest; returns how often it was killed at work."""
    kills, rests = 0, False
    with filled_service(folder, sample) as service:
        before = fingerprint(service.inbox)
        while kills < LEAST_KILLS and not rests:
            service.start(awaits=False)
            time.sleep(moments.uniform(0, undisturbed.seconds * 0.7))  # the moment of the kill, no more
            rests = not service.unrest()  # asked while it lives: the next start alone mends what the kill left
            service.kill()
            kills += not rests
        service.start()
        service.wait_for_rest()
        service.stop()
        where = f"seed {SEED}, {folder.name}, {kills} kills"
        assert_same_archive(service, undisturbed, where)
        assert alarms_of(service) == undisturbed.alarms, where
        assert told_of(service) == undisturbed.told, where
        assert drops_of(service) == undisturbed.drops, where
        assert_delivered(service, where)
        assert "0 findings; the database is sound" in service.verify(expected=0)
        assert service.leftovers() == [], where
        assert not [path.name for path in service.state.iterdir() if path.name.startswith(".")], where
        assert fingerprint(service.inbox) == before, where
    return kills


def assert_same_archive(service, undisturbed, where):
    archive = same_facts(service.archive)
    different = sorted(path for path in archive.keys() | undisturbed.archive.keys()
                       if archive.get(path) != undisturbed.archive.get(path))
    assert not different, f"{where}: {different}"


def assert_delivered(service, where):
    """At least once each, always under its own name and with the same words."""
    sent = {}
    for request in service.requests():
        assert request["signed"], where
        assert sent.setdefault(request["event"]["id"], request["body"]) == request["body"], where
    letters = b"\n".join(service.mails()).decode()
    for notice in service.ask("SELECT uid, recipient, state FROM notice"):
        assert notice["state"] == 1, where
        arrived = notice["uid"] in sent if notice["recipient"] == "on-call" else f"<{notice['uid']}@" in letters
        assert arrived, f"{where}: {notice['uid']} never came"


def test_a_stop_during_work_ends_well_and_the_work_goes_on_later(tmp_path, sample, undisturbed):
    with filled_service(tmp_path / "work", sample) as service:
        service.start(awaits=False)
        service.wait_until(lambda: service.ask("SELECT 1 FROM drop_ LIMIT 1"), "a first drop")
        service.stop(expected=0)
        assert service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] > 0
        assert service.log_text().splitlines()[-1].endswith("stopping")
        service.start()
        service.wait_for_rest()
        service.stop(expected=0)
        assert_same_archive(service, undisturbed, "after a stop")
        assert told_of(service) == undisturbed.told


def test_a_database_made_anew_gives_the_same_records(tmp_path, sample, undisturbed):
    """The archive stays, the database is lost: the same files give the same bytes."""
    with filled_service(tmp_path / "work", sample) as service:
        service.start()
        service.wait_for_rest()
        service.stop()
        shutil.rmtree(service.state)
        service.start()
        service.wait_for_rest()
        service.stop()
        assert_same_archive(service, undisturbed, "after the database was lost")


def test_a_second_service_on_the_same_state_refuses(tmp_path, sample):
    with filled_service(tmp_path / "work", sample) as service:
        service.start()
        service.wait_for_rest()
        for command in ("serve", "once"):
            done = service.run(command, "-c", service.settings, expected=2)
            assert f"another rillward works on the state folder '{service.state}'" in done.stderr
        service.status()  # reading beside it is fine
        service.stop()
        service.run("once", "-c", service.settings, "--clock", SAMPLE_NOW, expected=1)


def test_a_database_that_is_damaged_is_told_and_left_alone(tmp_path, sample):
    with filled_service(tmp_path / "work", sample) as service:
        service.start()
        service.wait_for_rest()
        service.stop()
        path = service.state / "rillward.db"
        content = bytearray(path.read_bytes())
        content[4096 * 5:4096 * 9] = bytes(4096 * 4)
        path.write_bytes(content)
        assert "database" in service.run("verify", "-c", service.settings, expected=1).stderr
        assert path.read_bytes() == content
