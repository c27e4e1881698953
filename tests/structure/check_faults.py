#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Each fault of tests/system/FAULTS.md names a test that exists. usage: check_faults.py ROOT"""
import pathlib
import re
import sys

root = pathlib.Path(sys.argv[1])
files = {path.name: path.read_text(encoding="utf-8") for path in root.glob("tests/*/test_*.*")}
problems, rows = [], 0
for number, line in enumerate((root / "tests/system/FAULTS.md").read_text(encoding="utf-8").splitlines(), 1):
    cells = [cell.strip() for cell in line.strip("|").split("|")]
    if not line.startswith("| ") or len(cells) != 3 or cells[0] == "fault" or not (cells[1] or cells[2]):
        continue
    rows += 1
    name, _, test = (part.strip() for part in cells[2].partition(":"))
    defined = rf"^def {test}\(" if name.endswith(".py") else rf"^Test\(\w+, {test}\b"
    if name not in files:
        problems.append(f"line {number}: there is no '{name}'")
    elif test and not re.search(defined, files[name], re.M):
        problems.append(f"line {number}: '{name}' has no test '{test}'")
print("\n".join(problems) or f"{rows} faults, each with its test")
sys.exit(bool(problems) or rows < 50)
