# SPDX-License-Identifier: MIT
"""Long commands on a terminal: they tell how far they are, can be interrupted at any moment, and go on from there."""
import os
import pty
import re
import signal
import subprocess
import time

import pytest

from daemon import LIMIT, SMALL_NOW, Service, air_file, binary, small_settings, water_file

FILES = 120


class Terminal:
    """A program whose standard error is a terminal; its output a pipe."""

    def __init__(self, *words):
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen([binary(), *map(str, words)], stdout=subprocess.PIPE, stderr=theirs, start_new_session=True)
        os.close(theirs)
        self.seen = ""

    def read(self):
        try:
            got = os.read(self.ours, 65536)
        except OSError:  # the other end is closed
            got = b""
        self.seen += got.decode()
        return bool(got)

    def wait_for(self, pattern):
        end = time.monotonic() + LIMIT
        while not re.search(pattern, self.seen):
            assert self.read() and time.monotonic() < end, f"waited in vain for {pattern}:\n{self.seen}"

    def end(self):
        while self.read():
            pass
        os.close(self.ours)
        return self.process.wait(LIMIT), self.process.stdout.read().decode()

    def screen(self):
        """What stands there in the end: what was drawn over is gone."""
        lines = []
        for line in self.seen.replace("\r\n", "\n").split("\n"):
            lines.append(re.split(r"\r\x1b\[K", line)[-1])
        return "\n".join(lines)


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(settle="0 s"), SMALL_NOW) as opened:
        for k in range(FILES):
            opened.put(f"mill/{k:03d}.csv", water_file(2 * k, 2))
        opened.put("mast/air.csv", air_file(0, 400))
        yield opened


def once(service):
    return ("once", "-c", service.settings, "--clock", SMALL_NOW)


def test_once_tells_how_far_it_is_and_leaves_a_clean_screen(service):
    terminal = Terminal(*once(service))
    status, _ = terminal.end()
    assert status == 0
    assert re.search(r"\r\x1b\[Ktaking drops: \d+", terminal.seen)
    left = terminal.screen()
    assert "taking drops" not in left and "a second" not in left
    assert len(re.findall(r"took 'mill/\d+\.csv'", left)) == FILES  # whole lines, each once


def test_interrupted_it_goes_on_from_there(service):
    terminal = Terminal(*once(service))
    terminal.wait_for(r"took 'mill/")
    terminal.process.send_signal(signal.SIGINT)
    status, _ = terminal.end()
    assert status in (0, 1)  # it may have been done by then
    service.run(*once(service), expected=0)
    assert service.ask("SELECT count(*) FROM drop_")[0][0] == FILES + 1
    assert service.ask("SELECT coalesce(sum(added), 0) FROM drop_")[0][0] == 2 * FILES + 400
    service.run("verify", "-c", service.settings, expected=0)


@pytest.mark.parametrize("words, told", [(("verify",), "checking files"), (("rehearse",), "playing places"),
                                         (("rebuild", "--clock", SMALL_NOW), "places made again|files of the archive")])
def test_the_others_tell_it_too_and_may_be_ended(service, words, told):
    service.run(*once(service), expected=0)
    terminal = Terminal(words[0], "-c", service.settings, *words[1:])
    status, _ = terminal.end()
    assert status == 0, terminal.seen
    assert re.search(rf"\x1b\[K({told})", terminal.seen), terminal.seen
    assert terminal.screen().strip() == ""
    ended = Terminal(words[0], "-c", service.settings, *words[1:])
    ended.process.send_signal(signal.SIGINT)
    assert ended.end()[0] in (0, 1, -signal.SIGINT)
    service.run(words[0], "-c", service.settings, *words[1:], expected=0)  # nothing stands in the way of the next


def test_elsewhere_nothing_is_drawn(service):
    for words in (once(service), ("verify", "-c", service.settings), ("rehearse", "-c", service.settings)):
        done = service.run(*words, expected=0)
        assert "\r" not in done.stderr + done.stdout and "a second" not in done.stderr
