# SPDX-License-Identifier: MIT
"""What a person has reviewed stays as they saw it: a late fact changes nothing silently, but asks for a hand, until a person
says so again."""
import json

import pytest

from daemon import Service, air_file, months, records, small_settings, water_file

NOTES = """
  book:
    holds: notes
    delimiter: comma
    files: ["mill/book*"]
    time: {columns: [time], format: iso, zone: UTC}
    columns: [{header: what, is: kind}, {header: until, is: until}, {header: text, is: text}]
rules:"""
NOW = "2026-05-05T12:00:00Z"
MONTH = ["mill-pond", "2026-05"]
WHO = ["--who", "Ines Hale", "--reason", "all checks close"]


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(settle="0 s").replace("\nrules:", NOTES, 1), NOW) as opened:
        opened.put("mill/water.csv", water_file(72, 400))
        opened.put("mast/air.csv", air_file(0, 600))
        once(opened)
        yield opened


def once(service):
    service.run("once", "-c", service.settings, "--clock", NOW)


def review(service, *words, **options):
    return service.run("review", "-c", service.settings, "--clock", NOW, *words, **options)


def status(service):
    return json.loads(service.run("status", "-c", service.settings, "--json", "--clock", NOW).stdout)


def state_of(service):
    """As the machine-readable list, the page and the metadata have it."""
    network = json.loads((service.archive / "network.json").read_text())
    state = network["stations"][0]["records"][0]["state"]
    metadata = json.loads(months(service, "mill-pond")[0].with_suffix(".csv-metadata.json").read_text())
    assert metadata["notes"][0]["state"] == state
    assert f'<td class="reviewed" data-label="State">{state}</td>' in (service.archive / "stations/mill-pond/index.html").read_text()
    return state


def test_a_record_is_provisional_until_a_person_has_reviewed_it(service):
    assert state_of(service) == "provisional"
    review(service, *MONTH, *WHO, expected=0)
    once(service)
    assert state_of(service) == "reviewed"
    metadata = months(service, "mill-pond")[0].with_suffix(".csv-metadata.json").read_text()
    assert "by Ines Hale, said on 2026-05" in metadata and "all checks close" in metadata
    assert "Ines Hale: all checks close" in review(service, expected=0).stdout


def test_a_late_fact_changes_nothing_until_a_person_says_so_again(service):
    review(service, *MONTH, *WHO, expected=0)
    once(service)
    before = records(service.archive)
    service.put("mill/late.csv", water_file(72, 30, temperature=14.0))
    once(service)
    after = {path: digest for path, digest in records(service.archive).items() if "/originals/" not in path}
    assert after == {path: digest for path, digest in before.items() if "/originals/" not in path}
    held = status(service)["held"]
    assert len(held) == 1 and held[0]["station"] == "mill-pond" and "temperature" in held[0]["would_change"]
    page = (service.archive / "stations/mill-pond/index.html").read_text()
    assert "Reviewed, and held" in page and "temperature" in page
    assert "later facts would change" in review(service, expected=1).stdout

    review(service, *MONTH, "--who", "Tomas Reed", "--reason", "the late file is right", expected=0)
    once(service)
    assert status(service)["held"] == [] and state_of(service) == "reviewed"
    table = months(service, "mill-pond")[0]
    assert table.read_bytes() and records(service.archive)[str(table.relative_to(service.archive))] not in before.values()
    assert "Tomas Reed" in table.with_suffix(".csv-metadata.json").read_text()


def test_other_settings_change_nothing_that_was_reviewed(service):
    review(service, *MONTH, *WHO, expected=0)
    once(service)
    table = months(service, "mill-pond")[0]
    before = table.read_bytes()
    service.change_settings("sensor_elevation: 0.2 m", "sensor_elevation: 0.7 m")
    once(service)
    assert table.read_bytes() == before
    assert "level" in status(service)["held"][0]["would_change"]
    review(service, *MONTH, "--who", "Ines Hale", "--reopen", expected=2)
    review(service, *MONTH, "--who", "Ines Hale", "--reopen", "--reason", "wrong elevation", expected=0)
    once(service)
    assert table.read_bytes() != before and state_of(service) == "provisional" and status(service)["held"] == []


def test_what_was_reviewed_survives_a_rebuild(service):
    review(service, *MONTH, *WHO, expected=0)
    once(service)
    service.put("mill/late.csv", water_file(72, 30, temperature=14.0))
    once(service)
    before, held = records(service.archive), status(service)["held"]
    for statement in ("DELETE FROM record_chunk", "DELETE FROM held", "DELETE FROM check_result", "DELETE FROM waiting",
                      "INSERT INTO dirty SELECT number, first_time, last_time + 1 FROM place WHERE key = 'mill-pond'",
                      "UPDATE page SET due = 1"):
        service.change_facts(statement)
    once(service)
    assert records(service.archive) == before and status(service)["held"] == held != []


def test_a_field_note_reviews_a_part_of_the_month(service):
    service.put("mill/book.csv", "time,what,until,text\n"
                "2026-05-02T06:00:00Z,reviewed,2026-05-03T00:00:00Z,Ines Hale: <b>staff</b> and meter agree\n")
    once(service)
    assert state_of(service) == "partly reviewed"
    page = (service.archive / "stations/mill-pond/index.html").read_text()
    assert "&lt;b&gt;staff&lt;/b&gt;" in page and "<b>staff" not in page
    assert 'class="reviewed"' in next(service.archive.glob("stations/mill-pond/2026/*.svg")).read_text()
    service.put("mill/late.csv", water_file(80, 10, temperature=14.0))
    once(service)
    assert len(status(service)["held"]) == 1
    service.put("mill/more.csv", water_file(472, 20))  # what nobody reviewed goes on
    once(service)
    assert months(service, "mill-pond")[0].read_text().count("\n") == 421 and state_of(service) == "partly reviewed"


def test_a_note_that_names_nobody_reviews_nothing(service):
    service.put("mill/book.csv", "time,what,until,text\n2026-05-02T06:00:00Z,reviewed,2026-05-03T00:00:00Z,\n")
    once(service)
    assert state_of(service) == "provisional" and status(service)["counts"]["notes"] == 0


def test_wrong_words_are_told_and_say_nothing(service):
    for words in (["mill-pond"], ["mill-pond", "2026-5"], ["mill-pond", "2026-05-03T00:00:00Z", "2026-05-02T00:00:00Z"],
                  ["mill-pond", "2031-01"], ["no-pond", "2026-05"], ["mill-pond", "2026-05", "--who", ""]):
        assert review(service, *words, expected=2).stderr
    assert "nothing was reviewed" in review(service, expected=0).stdout


def test_the_rebuild_command_keeps_what_was_reviewed(service):
    review(service, *MONTH, *WHO, expected=0)
    once(service)
    service.put("mill/late.csv", water_file(72, 30, temperature=14.0))
    once(service)
    before, held = records(service.archive), status(service)["held"]
    service.run("rebuild", "-c", service.settings, "--clock", NOW, "mill-pond")
    assert records(service.archive) == before and status(service)["held"] == held != []
    assert state_of(service) == "reviewed"


def test_a_review_by_note_comes_back_with_the_originals_of_a_lost_database(service):
    service.put("mill/book.csv", "time,what,until,text\n"
                "2026-05-02T00:00:00Z,reviewed,2026-05-04T00:00:00Z,Ines Hale: staff and meter agree\n")
    once(service)
    before = records(service.archive)
    assert state_of(service) == "reviewed"
    for path in service.state.glob("rillward.db*"):
        path.unlink()
    service.run("rebuild", "-c", service.settings, "--clock", NOW)
    assert records(service.archive) == before and state_of(service) == "reviewed"
