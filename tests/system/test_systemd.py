# SPDX-License-Identifier: MIT
"""What the service manager hears, and how little the unit may do."""
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time

import pytest

from daemon import LIMIT, ROOT, SMALL_NOW, TAKEN, Service, binary, small_settings, water_file

MOST_EXPOSURE = 1.5


class Manager:
    """The receiving end of NOTIFY_SOCKET."""

    def __init__(self, folder):
        self.path = str(folder / "notify")
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
        self.socket.bind(self.path)
        self.socket.settimeout(LIMIT)
        self.heard = []

    def wait_for(self, words):
        """The first message from now on that holds the line."""
        while True:
            message = self.socket.recv(4096).decode()
            self.heard.append(message)
            if any(line.startswith(words) for line in message.splitlines()):
                return message

    def end(self):
        self.socket.close()


@pytest.fixture
def manager(tmp_path):
    result = Manager(tmp_path)
    yield result
    result.end()


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(), SMALL_NOW) as result:
        yield result


def test_the_manager_hears_of_start_reload_and_stop(service, manager):
    service.start(awaits=False, NOTIFY_SOCKET=manager.path)
    assert manager.wait_for("READY=1") == "READY=1"
    before = time.clock_gettime(time.CLOCK_MONOTONIC)
    service.hang_up()
    reloading = manager.wait_for("RELOADING=1")
    stamp = int(re.search(r"^MONOTONIC_USEC=(\d+)$", reloading, re.M)[1]) / 1e6
    assert before - 0.001 <= stamp <= time.clock_gettime(time.CLOCK_MONOTONIC)  # it is told in whole milliseconds
    manager.wait_for("READY=1")
    service.write_settings("nonsense")
    service.hang_up()
    manager.wait_for("RELOADING=1")
    manager.wait_for("READY=1")  # with the settings that it had
    service.process.terminate()
    manager.wait_for("STOPPING=1")
    assert service.process.wait(LIMIT) == 0
    service.process = None
    assert not [message for message in manager.heard if message.startswith("WATCHDOG")]


def test_the_watchdog_is_fed_idle_and_at_work(service, manager):
    service.start(awaits=False, NOTIFY_SOCKET=manager.path, WATCHDOG_USEC="2000000")
    manager.wait_for("READY=1")
    for _ in range(2):
        manager.wait_for("WATCHDOG=1")
    for number in range(100):
        service.put(f"mill/{number}.csv", water_file(number, 1))
    service.wait_for_path("mill/99.csv", TAKEN)
    manager.wait_for("WATCHDOG=1")
    service.stop()


def test_a_watchdog_for_another_process_is_none_of_ours(service, manager):
    service.start(awaits=False, NOTIFY_SOCKET=manager.path, WATCHDOG_USEC="200000", WATCHDOG_PID="1")
    manager.wait_for("READY=1")
    service.put("mill/a.csv", water_file(0, 10))
    service.wait_for_path("mill/a.csv", TAKEN)
    service.process.terminate()
    manager.wait_for("STOPPING=1")
    assert not [message for message in manager.heard if message.startswith("WATCHDOG")]


def test_the_manager_may_listen_on_an_abstract_socket_or_not_at_all(service):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as abstract:
        abstract.bind("")  # the kernel chooses a name
        abstract.settimeout(LIMIT)
        name = abstract.getsockname().decode()
        service.start(awaits=False, NOTIFY_SOCKET="@" + name[1:])
        assert abstract.recv(4096) == b"READY=1"
        service.stop()
    for nonsense in ("/nowhere/to/be/found", "relative", "/" + "x" * 200):
        service.start(NOTIFY_SOCKET=nonsense)
        service.stop()


def test_for_the_journal_lines_carry_their_priority(service):
    service.start(awaits=False, JOURNAL_STREAM="8:1")
    service.wait_until(lambda: "watching '" in service.log_text(), "the first line")
    service.put("mill/notes.txt", "no table\n")
    service.wait_until(lambda: "set aside" in service.log_text(), "the warning")
    service.stop()
    lines = service.log_text().splitlines()
    assert all(re.match(r"<[3-7]>\S", line) for line in lines)
    assert [line for line in lines if line.startswith("<4>set aside 'mill/notes.txt'")]


JOURNAL = """
set -eu
mount -t tmpfs none /run/systemd
mkdir /run/systemd/journal
mount -t tmpfs none /run/log
mkdir /run/log/journal
/lib/systemd/systemd-journald &
journald=$!
while [ ! -S /run/systemd/journal/stdout ]; do kill -0 $journald; sleep 0.05; done
"$@" || true  # something needs a hand
journalctl --sync
journalctl -D /run/log/journal -o json _COMM=rillward
kill $journald
wait $journald || true
"""

AS_THE_MANAGER = """
import os, socket, subprocess, sys
stream = socket.socket(socket.AF_UNIX)
stream.connect("/run/systemd/journal/stdout")
stream.sendall(b"rillward\\n\\n6\\n1\\n0\\n0\\n0\\n")  # as the service manager introduces a service's output
status = os.fstat(stream.fileno())
names = {**os.environ, "JOURNAL_STREAM": f"{status.st_dev}:{status.st_ino}"}
sys.exit(subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=stream, env=names).returncode)
"""


@pytest.mark.skipif(os.geteuid() != 0 or not os.path.exists("/lib/systemd/systemd-journald"),
                    reason="no journal that root could start")
def test_the_journal_keeps_what_became_of_each_drop(service):
    """A real journal in a mount namespace of its own: entries can be found by fields, also those of an odd name."""
    service.put("mill/no table.txt", "no table\n")
    service.put("mill/a.csv", water_file(0, 10))
    command = [binary(), "once", "-c", str(service.settings), "--clock", SMALL_NOW]
    wrapped = ["unshare", "-m", "bash", "-c", JOURNAL, "journal", sys.executable, "-c", AS_THE_MANAGER, *command]
    done = subprocess.run(wrapped, capture_output=True, text=True, timeout=LIMIT)
    entries = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    by_drop = {entry["RILLWARD_DROP"]: entry for entry in entries if "RILLWARD_DROP" in entry}
    assert by_drop["mill/no table.txt"]["RILLWARD_OUTCOME"] == "set_aside", done.stdout + done.stderr
    assert by_drop["mill/no table.txt"]["PRIORITY"] == "4"
    assert "taken" in {entry["RILLWARD_OUTCOME"] for entry in by_drop.values()}
    assert all(entry["SYSLOG_IDENTIFIER"] == "rillward" and "<" not in entry["MESSAGE"][:1] for entry in entries)


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd-analyze is not there")
def test_the_unit_may_do_little():
    unit = ROOT / "systemd/rillward.service"
    command = ["systemd-analyze", "security", "--offline=true", "--no-pager", str(unit)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT)
    overall = re.search(r"Overall exposure level for rillward\.service: ([0-9.]+)", done.stdout)
    assert overall, done.stdout + done.stderr
    assert float(overall[1]) <= MOST_EXPOSURE, done.stdout
