#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""From file to phone, stage by stage: a table of medians and 95th percentiles for webhooks and mails. Asserts nothing.

usage: delivery.py RILLWARD [--stations N] [--days N]

A service watches an inbox at rest. One station after the other gets a file of so many days whose last hours are an alarm;
the service tells with --verbose when it looks at the file, has kept it, has derived it, has committed values and alarms,
begins to send, and hears that the message was accepted. Lines are timed as they come out of a pipe. On a machine that runs
the service, the journal times the same lines: journalctl -u rillward -o short-precise. Loopback only.
"""
import argparse
import math
import os
import pathlib
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
SUPPORT = ROOT / "tests/support"
STAGES = ("seen", "kept", "derived", "committed", "sent", "accepted")
WORDS = {"seen": "file renamed in -> looked at", "kept": "-> read and kept for good", "derived": "-> derived",
         "committed": "-> values, alarm and notice committed", "sent": "-> begins to send", "accepted": "-> accepted by the receiver"}
SECRET = "whsec_MDEyMzQ1Njc4OTAxMjM0NTY3ODkwMTIzNDU2Nzg5MDE="


def stamp(seconds):
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(seconds))


def water(now, days):
    """A tide, and oxygen that sinks in the last two hours."""
    rows, n = ["time,abs_pressure_kpa,temp_c,do_mgl,cond_mscm"], days * 288
    for i in range(n):
        oxygen = 1.5 if i >= n - 24 else 8 + math.sin(i / 70)
        rows.append(f"{stamp(now - 300 * (n - i))},{112 + 3 * math.cos(i / 23.7):.3f},{14 + math.sin(i / 90):.2f},{oxygen:.2f},"
                    f"{20 + 5 * math.sin(i / 41):.3f}")
    return "\n".join(rows) + "\n"


def air(now, days):
    n = days * 96 + 8
    return "time,baro_kpa\n" + "\n".join(f"{stamp(now - 900 * (n - 4 - i))},{101.3 + 0.1 * math.sin(i / 50):.4f}" for i in range(n)) + "\n"


def settings(folder, names, hook_port, mail_port):
    """Each station its own recipients: one person who is told of many alarms at once gets them in one message, and late."""
    lines = ["network: {id: bench, name: Benchmark network, operator: '', contact: desk@example.org}",
             f"inbox: {folder}/inbox", f"archive: {folder}/archive", f"state: {folder}/state",
             f"mail: {{server: 127.0.0.1, port: {mail_port}, security: plain, from: rillward@example.org, hello_name: watch.example.org}}",
             "barometers: {hill: {name: Hill, latitude: 44, longitude: -124, elevation: 5 m, standard_time: Z, drops: ['hill/*']}}",
             "layouts:",
             "  water: {holds: readings, time: {columns: [time], format: iso, zone: Z}, columns: ["
             "{header: abs_pressure_kpa, is: water_pressure, unit: kPa}, {header: temp_c, is: temperature, unit: degC},"
             " {header: do_mgl, is: oxygen, unit: mg/L}, {header: cond_mscm, is: conductivity, unit: mS/cm}]}",
             "  air: {holds: readings, time: {columns: [time], format: iso, zone: Z}, columns: [{header: baro_kpa, is: air_pressure, unit: kPa}]}",
             "stations:"]
    lines += [f"  {n}: {{name: {n}, latitude: 44.01, longitude: -124.01, elevation: 3 m, standard_time: Z, drops: ['{n}/*'], salinity: measured,"
              " sensor_elevation: 0 m, oxygen_sensor_salinity: 0}" for n in names]
    lines += ["rules:"] + [f"  low-{n}: {{kind: below, quantity: oxygen, limit: 3 mg/L, on_delay: 30 min, priority: high, stations: [{n}],"
                           f" tell: [hook-{n}, mail-{n}]}}" for n in names]
    lines += ["recipients:"]
    for n in names:
        lines.append(f"  hook-{n}: {{webhook: 'http://127.0.0.1:{hook_port}/ok', secret: {{file: {folder}/hook.secret}}, allow_private_address: true}}")
        lines.append(f"  mail-{n}: {{mail: {n}@example.org}}")
    return "\n".join(lines) + "\n"


class Listener:
    """The service's lines, each with the moment at which it came."""

    def __init__(self, service):
        self.lines, self.service, self.news = [], service, threading.Condition()
        threading.Thread(target=self.read, daemon=True).start()

    def read(self):
        for line in self.service.stderr:
            with self.news:
                self.lines.append((time.monotonic(), line.rstrip()))
                self.news.notify_all()

    def wait_for(self, pattern, after=0, limit=60):
        """The first such line from index `after` on: (index, moment, match)."""
        end = time.monotonic() + limit
        with self.news:
            while True:
                for index in range(after, len(self.lines)):
                    match = re.search(pattern, self.lines[index][1])
                    if match:
                        return index, self.lines[index][0], match
                if not self.news.wait(end - time.monotonic()):
                    raise SystemExit(f"no line '{pattern}' within {limit} s; the last were\n" + "\n".join(t for _, t in self.lines[-12:]))

    def wait_for_rest(self, seconds=0.5):
        with self.news:
            while self.news.wait(seconds):
                pass


def times_of(listener, name, began, after):
    """Moments of the stages, {kind: [..]}; the first ones are shared by both messages."""
    at, shared = after, []
    for pattern in (f"looks at '{name}/", "kept \\d+ drops", f" derived '{name}'", f"committed '{name}'"):
        at, moment, _ = listener.wait_for(pattern, at)
        shared.append(moment)
    result = {}
    for kind in ("hook", "mail"):
        _, sent, match = listener.wait_for(f"notice (\\d+) of '{name}' goes to '{kind}-{name}'", at)
        _, accepted, _ = listener.wait_for(f"notice {match[1]} was delivered", at)
        result[kind] = [moment - began for moment in (*shared, sent, accepted)]
    return result


def measure(rillward, folder, names, days):
    (folder / "hook.secret").write_text(SECRET)
    (folder / "hook.secret").chmod(0o600)
    (folder / "mails").mkdir()
    helpers = [subprocess.Popen([sys.executable, SUPPORT / script, "--port", "0", "--for", "600", *more], stdout=subprocess.PIPE, text=True)
               for script, more in (("receiver.py", ["--log", folder / "hooks.log"]), ("mail_sink.py", ["--folder", folder / "mails"]))]
    service = None
    try:
        hook_port, mail_port = (int(helper.stdout.readline().split()[-1]) for helper in helpers)
        (folder / "rillward.yaml").write_text(settings(folder, names, hook_port, mail_port))
        for name in ["hill", *names]:
            (folder / "inbox" / name).mkdir(parents=True)
        now = time.time()
        (folder / "inbox/hill/air.csv").write_text(air(now, days))
        content = water(now, days)
        service = subprocess.Popen([rillward, "serve", "-v", "-c", folder / "rillward.yaml"], stderr=subprocess.PIPE, text=True)
        listener = Listener(service)
        listener.wait_for("took 'hill/air.csv'")
        found = {"hook": [], "mail": []}
        for name in names:
            (folder / "arriving").write_text(content)
            listener.wait_for_rest()  # an idle service
            after, began = len(listener.lines), time.monotonic()
            (folder / "arriving").rename(folder / f"inbox/{name}/water.csv")
            for kind, moments in times_of(listener, name, began, after).items():
                found[kind].append(moments)
        return found
    finally:
        for process in [service, *helpers]:
            if process:
                process.terminate()
                process.wait()


def print_table(found, days):
    def figures(values):
        ordered = sorted(values)
        return f"{1000 * statistics.median(ordered):8.1f} {1000 * ordered[math.ceil(0.95 * len(ordered)) - 1]:8.1f}"
    print(f"{len(found['hook'])} files of {days} days at 5 min, one after the other; ms")
    print(f"{'':42s} {'webhook':>17s} {'mail with a chart':>19s}\n{'':42s} {'median':>8s} {'p95':>8s}   {'median':>8s} {'p95':>8s}")
    for k, stage in enumerate(STAGES):
        columns = [figures([row[k] - (row[k - 1] if k else 0) for row in found[kind]]) for kind in ("hook", "mail")]
        print(f"{WORDS[stage]:42s} {columns[0]}   {columns[1]}")
    columns = [figures([row[-1] for row in found[kind]]) for kind in ("hook", "mail")]
    print(f"{'file renamed in -> accepted':42s} {columns[0]}   {columns[1]}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rillward")
    parser.add_argument("--stations", type=int, default=24)
    parser.add_argument("--days", type=int, default=30)
    args = parser.parse_args()
    names = [f"st{k:02d}" for k in range(args.stations)]
    with tempfile.TemporaryDirectory(prefix="rillward-delivery-") as folder:
        print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        print_table(measure(pathlib.Path(args.rillward).resolve(), pathlib.Path(folder), names, args.days), args.days)


if __name__ == "__main__":
    main()
