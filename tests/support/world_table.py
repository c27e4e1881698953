# SPDX-License-Identifier: MIT
"""The tables of checks against the world in DEVELOPERS.md, from the tests themselves.

    world_table.py BUILD            compare; exit status 1 where the page no longer says what the tests measure
    world_table.py BUILD --write    bring the page up to date

Without the open data only the check values are compared."""
import os
import pathlib
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
PAGE = ROOT / "DEVELOPERS.md"
HEADS = {"check": "| check | value | reference | difference | source |\n|---|---|---|---|---|\n",
         "residual": "| open data | rows | median | 95 of 100 | largest | allowed (median, 95 of 100) |\n|---|---|---|---|---|---|\n",
         "rate": "| labelled data, test | found of labelled | false alarms |\n|---|---|---|\n"}


def measure(build):
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "lines"
        for program in ("unit_science", "unit_derive"):
            subprocess.run([build / "tests" / program, "--jobs", "1"], env={**os.environ, "RILLWARD_WORLD": str(path)},
                           check=True, capture_output=True)
        lines = path.read_text(encoding="utf-8").splitlines()
    return {kind: sorted(set(line[len(kind) + 1:] for line in lines if line.startswith(kind + " "))) for kind in HEADS}


def with_tables(page, tables):
    for kind, rows in tables.items():
        begin, end = f"<!-- {kind}: kept by tests/support/world_table.py -->\n", f"<!-- end of {kind} -->\n"
        before, rest = page.split(begin)
        _, after = rest.split(end)
        page = before + begin + HEADS[kind] + "".join(row + "\n" for row in rows) + end + after
    return page


def main():
    tables = measure(pathlib.Path(sys.argv[1]))
    if not tables["residual"]:
        print("skipped, no open data: only check values are compared")
        del tables["rate"], tables["residual"]
    page = PAGE.read_text(encoding="utf-8")
    new = with_tables(page, tables)
    if "--write" in sys.argv:
        PAGE.write_text(new, encoding="utf-8")
    elif new != page:
        print("DEVELOPERS.md no longer says what the tests measure: run tests/support/world_table.py BUILD --write")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
