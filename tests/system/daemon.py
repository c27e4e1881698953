# SPDX-License-Identifier: MIT
"""The real binary with real parts around it: a folder of its own, a watched inbox, receivers on free ports.

The binary is named by RILLWARD_BINARY; without it every test fails. Nothing here sleeps to see whether something has
come: wait_until() polls a condition, with a limit that only a broken service reaches.
"""
import contextlib
import hashlib
import json
import os
import pathlib
import random
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from datetime import datetime, timedelta, timezone

ROOT = pathlib.Path(__file__).resolve().parents[2]
SUPPORT, SAMPLES = ROOT / "tests/support", ROOT / "samples"
SAMPLE_NOW = "2026-04-22T12:00:00Z"
LIMIT = int(os.environ.get("RILLWARD_LIMIT", "60"))  # seconds
SECRET = "whsec_c2FsbG93IGVzdHVhcnkgd2F0ZXIgd2F0Y2g="
WAITING, TAKEN, REPEATED, SET_ASIDE = range(4)  # enum drop_state
WITHDRAWN = 5  # enum alarm_state
EVENTS = ("raised", "updated", "returned", "withdrawn", "test", "reminded", "escalated", "group", "summary", "digest")  # enum notice_event
NEEDS_MORE = "no end yet"  # in the message of a drop that waits for the rest of its last line


def binary():
    path = os.environ.get("RILLWARD_BINARY", "")
    assert os.access(path, os.X_OK), "name the program to test: RILLWARD_BINARY=build/rillward"
    return os.path.abspath(path)


def wait_until(condition, what, limit=LIMIT):
    """The first true answer of the condition."""
    end = time.monotonic() + limit
    while True:
        answer = condition()
        if answer:
            return answer
        assert time.monotonic() < end, f"not within {limit} s: {what() if callable(what) else what}"
        time.sleep(0.02)


def free_port():
    """Of this moment, and outside the range from which the system gives ports to others by itself."""
    for port in random.SystemRandom().sample(range(20000, 30000), 100):
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError("no free port")


def later(time_text, **parts):
    """'2026-04-22T12:00:00Z' and hours=1 -> '2026-04-22T13:00:00Z'."""
    return written(milliseconds(time_text) + timedelta(**parts).total_seconds() * 1000)


def milliseconds(time_text):
    return round(datetime.fromisoformat(time_text.replace("Z", "+00:00")).timestamp() * 1000)


def written(time_ms):
    return datetime.fromtimestamp(time_ms / 1000, timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def tree(folder):
    """Relative path -> SHA-256 of every file."""
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(pathlib.Path(folder).rglob("*")) if path.is_file()}


def same_facts(folder, now=SAMPLE_NOW):
    """tree() of an archive, so that runs which began at the moment `now` can be compared: pages, feed and histories tell
    when a drop came, to the millisecond, histories also in which order, and manifests hold their fingerprints (which `rillward verify` looks after)."""
    result = {}
    for path, digest in tree(folder).items():
        if path.endswith((".html", ".atom", "history.csv")):
            text = re.sub(now[:13] + r":\d\d:\d\d(\.\d+)?Z", "then", (folder / path).read_text(encoding="utf-8"))
            if path.endswith("history.csv"):
                text = sorted(re.sub(r"^drop,\d+", "drop", line) for line in text.splitlines())
            digest = hashlib.sha256(str(text).encode()).hexdigest()
        if not path.endswith("manifest-sha256.txt"):
            result[path] = digest
    return result


def records(folder):
    """tree() of what is kept for good: finished records and originals."""
    return {path: digest for path, digest in tree(folder).items() if "/20" in path or "/originals/" in path}


def months(service, station):
    """The monthly tables of a station."""
    return sorted(service.archive.glob(f"stations/{station}/20*/{station}_20??-??.csv"))


def fingerprint(folder):
    """All that somebody who should only read could change: names, kinds, bytes, times, modes, links."""
    result = {}
    for parent, folders, files in os.walk(os.fsencode(folder)):
        for name in [b"."] + folders + files:
            path = os.path.join(parent, name)
            facts = os.lstat(path)
            content = b""
            if os.path.isfile(path) and not os.path.islink(path):
                with open(path, "rb") as file:
                    content = file.read()
            result[path] = (facts.st_mode, facts.st_ino, facts.st_nlink, facts.st_size, facts.st_mtime_ns,
                            facts.st_ctime_ns, hashlib.sha256(content).hexdigest())
    return result


class Child:
    """A script of tests/support that prints its port; ended by its process id."""

    def __init__(self, script, *arguments, port=0):
        command = [sys.executable, str(SUPPORT / script), "--port", str(port), *map(str, arguments)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self.port = int(self.process.stdout.readline())

    def end(self):
        self.process.terminate()
        self.process.wait(LIMIT)
        self.process.stdout.close()


class Service:
    """One network: folders, settings, receivers, and the service over them."""

    def __init__(self, folder, settings, now=SAMPLE_NOW):
        self.folder, self.now = pathlib.Path(folder), now
        self.inbox, self.archive, self.state = (self.folder / name for name in ("inbox", "archive", "state"))
        self.mail, self.settings = self.folder / "mail", self.folder / "rillward.yaml"
        self.log, self.hooks = self.folder / "rillward.log", self.folder / "webhook.log"
        self.inbox.mkdir(parents=True)
        self.mail.mkdir()
        self.write_settings(settings)
        self.write_secret("hook.secret", SECRET)
        self.process, self.children = None, []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process:
            self.process.kill()
            self.process.wait()
        for child in self.children:
            child.end()

    # ---- around it ----

    def write_settings(self, text):
        self.settings.write_text(text, encoding="utf-8")

    def change_settings(self, old, new):
        text = self.settings.read_text(encoding="utf-8")
        assert text.count(old) == 1, f"'{old}' stands {text.count(old)} times in the settings"
        self.write_settings(text.replace(old, new))

    def write_secret(self, name, text):
        handle = os.open(self.folder / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w") as file:
            file.write(text + "\n")

    def start_receiver(self, *arguments, port=0):
        child = Child("receiver.py", "--log", self.hooks, "--secret", SECRET, *arguments, port=port)
        self.children.append(child)
        return child

    def start_mail(self, *arguments, port=0):
        child = Child("mail_sink.py", "--folder", self.mail, *arguments, port=port)
        self.children.append(child)
        return child

    def end_child(self, child):
        self.children.remove(child)
        child.end()

    def put(self, path, content, how="rename"):
        """As a sync program does it: under another name beside the inbox, then moved into place; or plainly."""
        target = self.inbox / path
        target.parent.mkdir(parents=True, exist_ok=True)
        content = content.encode() if isinstance(content, str) else content
        if how == "rename":
            beside = self.folder / "arriving"
            beside.write_bytes(content)
            beside.rename(target)
        else:
            with open(target, {"write": "wb", "append": "ab"}[how]) as file:
                file.write(content)
        return target

    def deliver(self, sample, *arguments):
        command = [sys.executable, SAMPLES / "deliver.py", sample, self.inbox, "--quiet", *arguments]
        subprocess.run(list(map(str, command)), check=True)

    # ---- the service itself ----

    def start(self, now=None, awaits=True, **environment):
        """Begins with the wall clock at `now`. The log is added to."""
        self.now = now or self.now
        already = self.log.stat().st_size if self.log.exists() else 0
        command = [binary(), "serve", "-c", str(self.settings), "--clock", self.now]
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen(command, stderr=log, env={**os.environ, **environment})
        if awaits:
            self.wait_for_log("watching '", already)

    def stop(self, expected=0):
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(LIMIT)
        self.process = None
        assert status == expected, f"exit status {status}\n{self.last_lines()}"

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.process = None

    def hang_up(self):
        self.process.send_signal(signal.SIGHUP)

    def run(self, *words, expected=None, **options):
        """One command of the program to its end."""
        done = subprocess.run([binary(), *map(str, words)], capture_output=True, text=True, timeout=LIMIT, **options)
        told = f"{' '.join(map(str, words))}: exit status {done.returncode}\n{done.stdout}{done.stderr}"
        assert expected is None or done.returncode == expected, told
        return done

    def status(self):
        done = self.run("status", "-c", self.settings, "--json", "--clock", self.now)
        assert done.returncode in (0, 1), done.stderr
        return json.loads(done.stdout)

    def verify(self, expected=0):
        return self.run("verify", "-c", self.settings, expected=expected).stdout

    # ---- what became of it ----

    def log_text(self, start=0):
        if not self.log.exists():
            return ""
        with open(self.log, encoding="utf-8", errors="replace") as file:
            file.seek(start)
            return file.read()

    def last_lines(self):
        return "\n".join(self.log_text().splitlines()[-25:])

    def wait_until(self, condition, what):
        """As the function, and no longer than the service lives."""
        def is_so():
            answer = condition()
            ended = self.process.poll() if self.process else None
            assert answer or ended is None, f"it ended by itself, exit status {ended}\n{self.last_lines()}"
            return answer
        return wait_until(is_so, lambda: f"{what() if callable(what) else what}\n{self.last_lines()}")

    def wait_for_log(self, words, start=0):
        self.wait_until(lambda: words in self.log_text(start), f"'{words}' in the log")

    def ask(self, question, *arguments):
        """Rows of the database; an empty list while there is none."""
        path = self.state / "rillward.db"
        if not path.exists():
            return []
        # Not opened read-only: after a kill even a reader must be able to make the shared memory anew.
        database = sqlite3.connect(f"file:{path}?mode=rw", uri=True, timeout=LIMIT)
        database.execute("PRAGMA query_only = ON")
        database.row_factory = sqlite3.Row
        try:
            return database.execute(question, arguments).fetchall()
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):  # its first moments
                return []
            raise
        finally:
            database.close()

    def change_facts(self, statement):
        """Write into the database of a stopped service."""
        with contextlib.closing(sqlite3.connect(self.state / "rillward.db")) as database, database:
            database.execute(statement)

    def path_fact(self, path):
        rows = self.ask("SELECT * FROM path WHERE path = ?", os.fsencode(path))
        return rows[0] if rows else None

    def wait_for_path(self, path, state, words=""):
        def is_so():
            fact = self.path_fact(path)
            return fact if fact and fact["state"] == state and words in fact["message"] else None

        def what():
            fact = self.path_fact(path)
            return f"'{path}' in state {state} '{words}', it is {dict(fact) if fact else 'not known'}"
        return self.wait_until(is_so, what)

    def unrest(self):
        """What is still to be done, in words; "" at rest. Each of the service's transactions leaves either the next
        piece of work behind or none, so that rest in the database is rest; and what is done with a path is asked before
        the work that it made."""
        files = {}
        for parent, _, names in os.walk(os.fsencode(self.inbox)):
            for name in names:
                path = os.path.join(parent, name)
                facts = os.lstat(path)
                files[os.path.relpath(path, os.fsencode(self.inbox))] = (facts.st_size, facts.st_mtime_ns)
        paths = self.ask("SELECT path, size, modified, state, message FROM path")
        counts = self.ask("SELECT (SELECT count(*) FROM dirty) AS dirty,"
                          " (SELECT count(*) FROM page WHERE due = 1) AS due,"
                          " (SELECT count(*) FROM manifest_due) AS manifests,"
                          " (SELECT count(*) FROM notice WHERE state = 0) AS notices,"
                          " (SELECT count(*) FROM path WHERE state = 3 AND CAST(path AS TEXT) NOT IN"
                          "  (SELECT station FROM alarm)) AS untold")
        if not counts:
            return "there is no database"
        for row in paths:
            is_done = row["state"] != WAITING or NEEDS_MORE in row["message"]
            if is_done and files.get(row["path"]) == (row["size"], row["modified"]):
                del files[row["path"]]
        busy = [f"{counts[0][key]} {key}" for key in counts[0].keys() if counts[0][key]]
        return ", ".join(busy + [f"not dealt with: {path!r}" for path in sorted(files)])

    def wait_for_rest(self):
        """Everything in the inbox dealt with, derived, published, told. Needs a rule for unreadable drops. The limit
        counts from the last progress."""
        unrest = None

        def progress():
            now = self.unrest()
            return (now,) if now != unrest else None
        while unrest != "":
            unrest, = self.wait_until(progress, lambda: f"rest: {unrest}")

    def requests(self):
        """What the webhook was sent, in order; the body read."""
        if not self.hooks.exists():
            return []
        with open(self.hooks, encoding="utf-8") as file:
            return [dict(json.loads(line), event=json.loads(json.loads(line)["body"])) for line in file]

    def mails(self):
        return [path.read_bytes() for path in sorted(self.mail.glob("*.eml"))]

    def leftovers(self):
        return [str(path) for path in self.archive.rglob(".*")]


# ---- the sample network ----


def make_sample(folder, *arguments):
    subprocess.run([sys.executable, str(SAMPLES / "make_sample_network.py"), str(folder), *arguments], check=True)
    return pathlib.Path(folder)


def sample_settings(hook_port, mail_port, settle="0.3 s"):
    text = (ROOT / "config-examples/sample-network.yaml").read_text(encoding="utf-8")
    for pattern, new in ((r"127\.0\.0\.1:\d+", f"127.0.0.1:{hook_port}"), (r"port: \d+", f"port: {mail_port}"),
                         (r"settle: 1 s ", f"settle: {settle} "), (r"\n  news_age:", "\n  gather: 0 s\n  news_age:")):
        text, count = re.subn(pattern, new, text)
        assert count == 1, f"'{pattern}' stands {count} times in the sample's settings"
    return text


def sample_service(folder, settle="0.3 s"):
    """The sample network with both receivers running, the service not yet."""
    hook_port, mail_port = free_port(), free_port()
    service = Service(folder, sample_settings(hook_port, mail_port, settle))
    service.start_receiver(port=hook_port)
    service.start_mail(port=mail_port)
    return service


# ---- a network of two places, for what needs no more ----

SMALL_NOW = "2026-05-02T12:00:00Z"
SMALL_SETTINGS = """\
network: {{id: small-mill, name: Mill pond, url: "https://water.example.org/"}}
inbox: inbox
archive: archive
state: state
intake: {{settle: {settle}, hold_open_end: {hold}, rescan: {rescan}}}
alarms: {{gather: {gather}}}
stations:
  mill-pond: &place
    latitude: -47.9
    longitude: -96.1
    elevation: 2 m
    standard_time: "-06:00"
    salinity: fresh
    sensor_elevation: 0.2 m
    drops: ["mill/**"]
    serials: [M-1]
barometers:
  mast: {{latitude: -47.91, longitude: -96.11, elevation: 5 m, standard_time: "-06:00", drops: ["mast/**"]}}
layouts:
  water:
    serial_label: Serial
    delimiter: comma
    time: {{columns: [time], format: iso, zone: UTC}}
    columns: [{{header: pressure, is: water_pressure, unit: hPa}}, {{header: temperature, is: temperature, unit: degC}}]
  air:
    delimiter: comma
    time: {{columns: [time], format: iso, zone: UTC}}
    columns: [{{header: air, is: air_pressure, unit: hPa}}]
rules:
  warm: {{kind: above, title: Water warm, quantity: temperature, limit: 25 degC, priority: high{tell}}}
  bad-drop: {{kind: unreadable_drop, title: A file needs a hand, window: 6 h, priority: low{tell}}}
{rest}"""
SMALL_START = "2026-05-02T00:00:00Z"


def small_settings(settle="0.2 s", hold="10 min", rescan="10 min", gather="0 s", tell="", rest=""):
    """`tell`: "[ids]" of recipients; `rest`: the sections about them. Each notice is its own, unless `gather` is set."""
    told = f", tell: {tell}" if tell else ""
    return SMALL_SETTINGS.format(settle=settle, hold=hold, rescan=rescan, gather=gather, tell=told, rest=rest)


def water_rows(first, count, temperature=12.0):
    start = milliseconds(SMALL_START)
    return "".join(f"{written(start + i * 300000)},{1113.2 + i % 7 * 0.5:.1f},{temperature + i % 5 * 0.1:.1f}\n"
                   for i in range(first, first + count))


def water_file(first, count, temperature=12.0, serial="M-1"):
    return f"Serial,{serial}\ntime,pressure,temperature\n" + water_rows(first, count, temperature)


def air_file(first, count):
    start = milliseconds(SMALL_START)
    return "time,air\n" + "".join(f"{written(start + i * 300000)},{1013.2 + i % 3 * 0.1:.1f}\n"
                                  for i in range(first, first + count))


def finished_times(service, station="mill-pond"):
    """Times of all finished rows in the archive."""
    times = []
    for path in months(service, station):
        times += [line.split(",", 1)[0] for line in path.read_text(encoding="utf-8").splitlines()[1:]]
    return times
