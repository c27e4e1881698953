#!/usr/bin/python3
"""The layers hold: no include points upward, no two siblings include each other, every source is listed bottom to top.

usage: check_layers.py PROJECT_ROOT
"""
import pathlib
import re
import sys

RANKS = [["base"], ["science", "model"], ["config"], ["watch", "intake", "quality", "derive", "alarms", "store"],
         ["notify", "archive"], ["service"]]
RANK_OF = {folder: rank for rank, folders in enumerate(RANKS) for folder in folders}
# Which folder alone may see a library.
ONLY = {"sqlite3.h": "store", "curl/curl.h": "notify", "yaml.h": "config", "sys/inotify.h": "watch"}


def problems_of(root):
    daemon = root / "daemon"
    listed = (root / "CMakeLists.txt").read_text()
    for path in sorted(daemon.rglob("*.[ch]")):
        folder = path.parent.name if path.parent != daemon else None
        name = path.relative_to(root)
        if folder and folder not in RANK_OF:
            yield f"{name}: the folder has no rank in {pathlib.Path(__file__).name}"
            continue
        if path.suffix == ".c" and str(name) not in listed:
            yield f"{name}: not listed in CMakeLists.txt"
        text = path.read_text()
        if "SPDX-License-Identifier: MIT" not in text.splitlines()[0]:
            yield f"{name}:1: the licence line is missing"
        for number, line in enumerate(text.splitlines(), 1):
            found = re.match(r'\s*#\s*include\s+"([^"/]+)/[^"]+"', line)
            if found and folder:
                other = found.group(1)
                if other not in RANK_OF:
                    yield f"{name}:{number}: includes from '{other}', which is no layer"
                elif other != folder and RANK_OF[other] >= RANK_OF[folder]:
                    yield f"{name}:{number}: '{folder}' may not include '{other}'"
                elif folder == "science" or (folder == "model" and other == "science"):
                    if other not in (folder,) and not (folder == "model" and other == "base"):
                        yield f"{name}:{number}: '{folder}' needs nothing of '{other}'"
            library = re.match(r"\s*#\s*include\s+<([^>]+)>", line)
            if library and library.group(1) in ONLY and folder != ONLY[library.group(1)]:
                yield f"{name}:{number}: only {ONLY[library.group(1)]}/ may include <{library.group(1)}>"
    order = [RANK_OF[f] for f in re.findall(r"daemon/([a-z]+)/[a-z0-9_]+\.c", listed)]
    if order != sorted(order):
        yield "CMakeLists.txt: sources are not listed bottom to top"


def main():
    problems = list(problems_of(pathlib.Path(sys.argv[1]).resolve()))
    for problem in problems:
        print(problem)
    print(f"{0 if problems else 1} passed, {len(problems)} failed")
    return 1 if problems else 0


sys.exit(main())
