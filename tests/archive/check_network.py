#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""Does network.json fit its schema?   check_network.py network.json network.schema.json

Stricter than the schema says: a key that the schema does not describe is a mistake here. Needs jsonschema
(Debian: python3-jsonschema); exit status 77 without it, 0 when all is well, else 1 with a list."""
import json
import sys

try:
    import jsonschema
except ImportError:
    sys.exit(77)


def close(schema):
    if isinstance(schema, dict):
        if "properties" in schema:
            schema["additionalProperties"] = False
        for part in schema.values():
            close(part)
    elif isinstance(schema, list):
        for part in schema:
            close(part)


with open(sys.argv[1], encoding="utf-8") as file:
    data = json.load(file)
with open(sys.argv[2], encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)
close(schema)
problems = list(jsonschema.Draft202012Validator(schema).iter_errors(data))
for problem in problems:
    print(problem.json_path, problem.message, file=sys.stderr)
sys.exit(1 if problems else 0)
