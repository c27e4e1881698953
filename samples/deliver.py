#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Play the deliveries of a sample into an inbox, the ways sync programs do it.

usage: deliver.py SAMPLE INBOX [--pause S] [--only PREFIX] [--first N] [--after N] [--quiet]

SAMPLE/deliveries.txt holds one delivery a line: how, source below SAMPLE, target below INBOX, tabs between.

  rename  written under a temporary name beside the inbox, then moved into place: appears whole
  write   written in place in two halves, --pause seconds between them: can be seen half
  append  added to the end of the target
"""
import argparse
import os
import sys
import tempfile
import time


def read_deliveries(sample):
    deliveries = []
    with open(os.path.join(sample, "deliveries.txt"), encoding="utf-8") as file:
        for number, line in enumerate(file, 1):
            how, source, target = line.rstrip("\n").split("\t")
            if how not in ACTIONS:
                sys.exit(f"deliveries.txt:{number}: '{how}' is none of {', '.join(ACTIONS)}")
            deliveries.append((number, how, source, target))
    return deliveries


def rename_into(inbox, target, content, _pause):
    beside = os.path.dirname(os.path.abspath(inbox))  # same file system, so that the move is one step
    handle, temporary = tempfile.mkstemp(prefix=".delivery-", dir=beside)
    with os.fdopen(handle, "wb") as file:
        put(file, content)
    os.chmod(temporary, 0o644)
    os.replace(temporary, target)


def write_into(_inbox, target, content, pause):
    half = len(content) // 2
    with open(target, "wb") as file:
        put(file, content[:half])
        time.sleep(pause)
        put(file, content[half:])


def append_to(_inbox, target, content, _pause):
    with open(target, "ab") as file:
        put(file, content)


def put(file, content):
    file.write(content)
    file.flush()
    os.fsync(file.fileno())


ACTIONS = {"rename": rename_into, "write": write_into, "append": append_to}


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("sample")
    parser.add_argument("inbox")
    parser.add_argument("--pause", type=float, default=0, metavar="S",
                        help="seconds between the halves of a plain write")
    parser.add_argument("--only", default="", metavar="PREFIX",
                        help="only steps or targets that begin so: '03', 'north/'")
    parser.add_argument("--first", type=int, metavar="N", help="stop after delivery N")
    parser.add_argument("--after", type=int, default=0, metavar="N", help="begin behind delivery N")
    parser.add_argument("--quiet", action="store_true")
    options = parser.parse_args()
    for number, how, source, target in read_deliveries(options.sample):
        step = source.removeprefix("drops/")
        is_wanted = step.startswith(options.only) or target.startswith(options.only)
        if number <= options.after or (options.first is not None and number > options.first) or not is_wanted:
            continue
        with open(os.path.join(options.sample, source), "rb") as file:
            content = file.read()
        path = os.path.join(options.inbox, target)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        ACTIONS[how](options.inbox, path, content, options.pause)
        if not options.quiet:
            print(f"{number:3} {how:6} {len(content):7} B  {target}", flush=True)


if __name__ == "__main__":
    main()
