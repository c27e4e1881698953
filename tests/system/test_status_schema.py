# SPDX-License-Identifier: MIT
"""`status --json` is what config-examples/status.schema.json says, and no more: others build on it."""
import html
import json

import pytest

from daemon import ROOT, SMALL_NOW, Service, air_file, make_sample, sample_service, small_settings, water_file

jsonschema = pytest.importorskip("jsonschema")


@pytest.fixture(scope="module")
def validator():
    schema = json.loads((ROOT / "config-examples/status.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def test_the_sample_network_s_status_fits(tmp_path, validator):
    sample = make_sample(tmp_path / "sample", "--quick")
    with sample_service(tmp_path / "work") as service:
        service.deliver(sample)
        service.start()
        service.wait_for_rest()
        status = service.status()
        validator.validate(status)
        for part in ("stations", "barometers", "drops", "alarms", "outbox"):
            assert status[part], f"nothing was said of {part}"


def test_field_notes_are_told_as_they_were_understood_in_the_words_of_the_pages(tmp_path, validator):
    sample = make_sample(tmp_path / "sample", "--quick")
    with sample_service(tmp_path / "work") as service:
        service.deliver(sample)
        service.start()
        service.wait_for_rest()
        notes = service.status()["notes"]
        assert {"level", "check", "out_of_water"} <= {note["kind"] for note in notes}
        for note in notes:
            page = html.unescape((service.archive / f"stations/{note['station']}/index.html").read_text(encoding="utf-8"))
            assert note["understood"] in page
        told = service.run("status", "-c", service.settings, "--clock", service.now).stdout
        for note in notes[:10]:
            assert f"{note['station']}: {note['understood']}" in told
        validator.validate(service.status())


def test_an_empty_network_s_status_fits_and_what_is_foreign_does_not(tmp_path, validator):
    with Service(tmp_path / "work", small_settings(), SMALL_NOW) as service:
        service.start()
        status = service.status()
        validator.validate(status)
        for spoilt in (dict(status, more=1), {k: v for k, v in status.items() if k != "drops"}, dict(status, now="today")):
            with pytest.raises(jsonschema.ValidationError):
                validator.validate(spoilt)
        service.put("mast/air.csv", air_file(0, 10))
        service.put("mill/water.csv", water_file(0, 10))
        service.wait_for_rest()
        validator.validate(service.status())
