# SPDX-License-Identifier: MIT
"""`explain --json` is what config-examples/explain.schema.json says, says no key twice, and says what the record and the
words for people say: corrected by hand readings, fouled, struck out, in air, waiting for a barometer, with a finding."""
import csv
import json
import re

import pytest

from daemon import ROOT, SMALL_NOW, Service, make_sample, months, sample_service, small_settings, water_file

jsonschema = pytest.importorskip("jsonschema")
TIMES = ["2026-04-10T06:00:00Z", "2026-04-08T16:00:00Z", "2026-04-21T19:45:00Z", "2026-04-15T00:00:00Z"]


@pytest.fixture(scope="module")
def validator():
    schema = json.loads((ROOT / "config-examples/explain.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def once_each(pairs):
    keys = [key for key, _ in pairs]
    assert len(set(keys)) == len(keys), keys
    return dict(pairs)


def explain(service, validator, *words):
    told = service.run("explain", "-c", service.settings, *words, "--json", expected=0).stdout
    answer = json.loads(told, object_pairs_hook=once_each)
    validator.validate(answer)
    return answer


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    sample = make_sample(tmp_path_factory.mktemp("sample"))
    with sample_service(tmp_path_factory.mktemp("work")) as service:
        service.deliver(sample)
        service.start()
        service.wait_for_rest()
        yield service


def test_all_stations_fit_and_say_the_words_for_people(network, validator):
    steps, kinds, seen = set(), set(), 0
    for folder in sorted((network.archive / "stations").iterdir()):
        for time in TIMES:
            told = network.run("explain", "-c", network.settings, folder.name, time)
            if told.returncode:
                assert "no sample within two hours" in told.stderr
                continue
            answer = explain(network, validator, folder.name, time)
            seen += 1
            lines = told.stdout.splitlines()
            assert len(lines) == len(answer["chain"])
            for line, step in zip(lines, answer["chain"]):
                assert line.split() == (step["step"] + " " + step["text"]).split()
            steps |= {re.sub(r" \d+$", "", step["step"]) for step in answer["chain"]}
            kinds |= {finding["kind"] for finding in answer["findings"]}
    assert seen >= 20
    assert {"clock", "belongs here", "correction", "hand reading before", "hand reading after", "density", "air pressure",
            "finding", "uncertainty", "made of", "saturation"} <= steps, steps
    assert {"rating", "air_pressure"} <= kinds, kinds


def test_a_value_is_that_of_the_record(network, validator):
    path = months(network, "heron-creek")[-1]
    rows = list(csv.DictReader(path.open(encoding="utf-8")))
    row = next(row for row in rows[len(rows) // 3:] if row["level_m"])
    answer = explain(network, validator, "heron-creek", row["time_utc"], "level")
    assert answer["quantity"] == "level" and answer["time"] == row["time_utc"] and list(answer["values"]) == ["level"]
    level = answer["values"]["level"]
    assert level["value"] == pytest.approx(float(row["level_m"]), abs=1e-9) and level["unit"] == "m"
    assert level["uncertainty"] == pytest.approx(sum(part**2 for part in level["budget"].values()) ** 0.5, rel=1e-6)
    assert (network.archive / answer["source"]["original"]).is_file()
    original = (network.archive / answer["source"]["original"]).read_bytes().splitlines()
    assert answer["source"]["line"] <= len(original)


def test_a_value_that_waits_for_air_is_null_with_its_reason(tmp_path, validator):
    with Service(tmp_path / "work", small_settings(), SMALL_NOW) as service:
        service.put("mill/a.csv", water_file(0, 40))
        service.run("once", "-c", service.settings, "--clock", SMALL_NOW)
        answer = explain(service, validator, "mill-pond", "2026-05-02T01:00:00Z")
        assert answer["barometer"] is None
        level = answer["values"]["level"]
        assert level["value"] is None and level["flag"] == "missing" and "no_air_pressure" in level["tests"]
        assert "budget" not in level
