#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Do events fit the published schema?   check_events.py SCHEMA EVENT.json...

A key that the schema does not describe is a mistake here, and so is a schema that would take anything: each event is
also spoilt in several ways, and must then be refused. Needs jsonschema (Debian: python3-jsonschema)."""
import copy
import json
import sys

import jsonschema

SPOILT = {"id": "a b", "type": "alarm.unheard.v1", "time": "yesterday", "specversion": "0.3", "data": {}}
SPOILT_DATA = {"priority": "urgent", "event": "sung", "provisional": False, "station": "heron", "worst": "much",
               "still_so": "yes", "ended_at": "2026-04-01", "state": "lost", "count": 0}


def described(schema):
    """Names of all properties that stand anywhere in the schema."""
    if isinstance(schema, dict):
        return set(schema.get("properties", {})).union(*map(described, schema.values()))
    return set().union(*map(described, schema)) if isinstance(schema, list) else set()


def keys(value):
    if isinstance(value, dict):
        return set(value).union(*map(keys, value.values()))
    return set().union(*map(keys, value)) if isinstance(value, list) else set()


def main(schema_path, *event_paths):
    with open(schema_path, encoding="utf-8") as file:
        schema = json.load(file)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    problems = []
    for path in event_paths:
        with open(path, encoding="utf-8") as file:
            event = json.load(file)
        problems += [f"{path}: {error.json_path} {error.message}" for error in validator.iter_errors(event)]
        problems += [f"{path}: '{key}' is not described" for key in keys(event) - described(schema)]
        for key, value in SPOILT.items():
            if validator.is_valid({**event, key: value}):
                problems.append(f"{path}: taken with {key} = {value!r}")
        for key, value in SPOILT_DATA.items():
            spoilt = copy.deepcopy(event)
            if key in spoilt["data"]:
                spoilt["data"][key] = value
                if validator.is_valid(spoilt):
                    problems.append(f"{path}: taken with data.{key} = {value!r}")
    print("\n".join(problems) or f"{len(event_paths)} events fit")
    return 1 if problems or not event_paths else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
