# SPDX-License-Identifier: MIT
"""The first hour of README, walked: each command of its blocks is typed into a shell in a fresh folder, and what comes out
must be what README shows. RILLWARD_WRITE_README=1 brings README up to date instead; look at the difference then.

Only what differs from run to run is masked: the folder, the port of the mail listener, the time in log lines.
"""
import os
import pathlib
import re
import subprocess
import time

import pytest

from daemon import LIMIT, ROOT, binary, free_port

README = ROOT / "README.md"
EXAMPLES = "/usr/share/doc/rillward/examples"
HOME = "/home/you/sallow"
WRITES = os.environ.get("RILLWARD_WRITE_README") == "1"
WAITS = ("grep", "rillward status", "rillward alarms -c rillward.yaml")  # looked at again until they show it
BEGIN, END = "<!-- first hour: begin -->\n", "<!-- first hour: end -->\n"


class Shell:
    """One bash, so that what is put into the background stays there."""

    def __init__(self, folder):
        self.folder, self.port, self.count = pathlib.Path(folder), free_port(), 0
        environment = {**os.environ, "PATH": f"{pathlib.Path(binary()).parent}:/usr/bin:/bin", "NO_COLOR": "1",
                       "LC_ALL": "C.UTF-8"}
        self.process = subprocess.Popen(["bash", "--norc"], cwd=folder, env=environment, text=True,
                                        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)

    def type(self, command):
        self.count += 1
        mark = f"<{self.count} done>"
        command = command.replace(EXAMPLES, str(ROOT / "config-examples")).replace("8025", str(self.port))
        self.listen_here()
        self.process.stdin.write(f"{command}\necho '{mark}'\n")
        self.process.stdin.flush()
        lines = []
        for line in self.process.stdout:
            if line == mark + "\n":
                return masked("".join(lines).replace(str(self.folder), HOME).replace(str(self.port), "8025"))
            lines.append(line)
        raise AssertionError(f"the shell ended at {command!r}: {lines}")

    def listen_here(self):
        """The settings name the port of mail as the commands do: the one that is free here."""
        settings = self.folder / "rillward.yaml"
        if settings.exists() and "8025" in settings.read_text():
            settings.write_text(settings.read_text().replace("8025", str(self.port)))

    def end(self):
        self.process.stdin.write("kill $(jobs -p) 2>/dev/null; wait\n")
        self.process.stdin.close()
        self.process.wait(LIMIT)
        self.process.stdout.close()


def masked(text):
    return re.sub(r"^20\d\d-\d\d-\d\dT\d\d:\d\d:\d\dZ (?=\S)", "2026-05-03T21:00:00Z ", text, flags=re.M)


def steps(text):
    """(command, what is shown below it) of all console blocks."""
    for block in re.findall(r"^```console\n(.*?)^```$", text, re.M | re.S):
        for step in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, shown = step.split("\n", 1)
            yield command, shown


def look(shell, command, expected):
    shown = shell.type(command)
    end = time.monotonic() + (5 if WRITES else LIMIT)
    awaits = command.startswith(WAITS) and "--who" not in command
    while awaits and (WRITES or shown != masked(expected)) and time.monotonic() < end:
        time.sleep(0.05)  # between two looks at what is awaited
        shown = shell.type(command)
    return shown


@pytest.fixture
def shell(tmp_path):
    shell = Shell(tmp_path)
    yield shell
    shell.end()


def test_each_command_shows_what_readme_says(shell):
    before, rest = README.read_text(encoding="utf-8").split(BEGIN)
    left, after = rest.split(END)
    for word in ("layout", "check", "once", "rehearse", "serve", "status", "verify"):
        assert f"$ rillward {word}" in left, word
    fresh = ""
    for command, expected in list(steps(left)):
        shown = look(shell, command, expected)
        between, left = left.split(f"$ {command}\n{expected}", 1)
        fresh += f"{between}$ {command}\n{shown}"
        assert WRITES or shown == masked(expected), f"$ {command}"
    if WRITES:
        README.write_text(before + BEGIN + fresh + left + END + after, encoding="utf-8")
