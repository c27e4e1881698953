#!/usr/bin/python3
"""How fast and how small: one table, ratios where time is concerned. Nothing here asserts a time.

usage: bench.py RILLWARD [--tools DIR] [--only NAME,...] [--repeat N] [--keep DIR]

DIR holds make_network.py (makes synthetic networks) and peer_pipeline.py (the script that ratios are against); default
../shared/bench beside the project. Everything runs on this machine, over loopback only, and ends what it started.
"""
import argparse
import concurrent.futures
import hashlib
import json
import os
import pathlib
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
PYTHON = "/usr/bin/python3"
sys.path.insert(0, str(HERE))
from network_settings import settings  # noqa: E402

NOW = "2026-04-01T00:00:00Z"


def run(*command, **more):
    return subprocess.run([str(c) for c in command], check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **more)


def seconds(function):
    start = time.monotonic()
    function()
    return time.monotonic() - start


def median_of(repeat, function):
    return statistics.median(seconds(function) for _ in range(repeat))


class Bench:
    def __init__(self, args):
        self.rillward, self.tools, self.repeat = pathlib.Path(args.rillward).resolve(), pathlib.Path(args.tools), args.repeat
        self.drops, self.stations, self.pause = args.drops, args.stations, args.pause
        self.work = pathlib.Path(args.keep or tempfile.mkdtemp(prefix="rillward-bench-")).resolve()
        self.aside = self.work / "aside"
        self.rows = []

    def row(self, what, value, bar=""):
        self.rows.append((what, value, bar))
        print(f"{what:64s} {value:>30s}   {bar}", flush=True)

    def network(self, name, stations, days, baros=2, **more):
        folder = self.work / name
        if not folder.exists():
            subprocess.run([PYTHON, self.tools / "make_network.py", folder, "--stations", str(stations), "--days", str(days),
                            "--baros", str(baros)], check=True)
        network = json.loads((folder / "network.json").read_text())
        (folder / "rillward.yaml").write_text(settings(network, folder, **more))
        return folder, network

    def fresh(self, folder):
        """Put aside, not removed: a file system is slow to hand out numbers of files that were removed a moment ago."""
        for name in ("archive", "state"):
            if (folder / name).exists():
                self.aside.mkdir(exist_ok=True)
                (folder / name).rename(pathlib.Path(tempfile.mkdtemp(dir=self.aside)) / name)

    def once(self, folder):
        self.fresh(folder)
        return seconds(lambda: run(self.rillward, "once", "-c", folder / "rillward.yaml", "--clock", NOW))

    def peer(self, folder, *more):
        out = pathlib.Path(tempfile.mkdtemp(dir=self.work, prefix="peer-"))
        command = [PYTHON, self.tools / "peer_pipeline.py", folder, out, *more]
        return seconds(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))

    def script_ratio(self):
        folder, network = self.network("net20", 20, 30)
        ours = statistics.median(self.once(folder) for _ in range(self.repeat))
        theirs = self.peer(folder)
        floor = statistics.median(self.floor(folder) for _ in range(self.repeat))
        self.row("20 stations x 30 days at 5 min: ours", f"{ours:.2f} s")
        self.row("the same bytes read, hashed, written and waited for", f"{floor:.2f} s")
        self.row("the same by the script", f"{theirs:.2f} s")
        self.row("ratio", f"{theirs / ours:.1f} x", "at least 40 x")
        self.row("ratio with the script's formats alone", f"{theirs / self.once_as_script(folder, network):.1f} x")

    def cold_station(self):
        folder, network = self.network("net1", 1, 30, baros=1)
        ours = statistics.median(self.once(folder) for _ in range(self.repeat))
        theirs = statistics.median(self.peer(folder) for _ in range(self.repeat))
        self.row("one station-month, cold start: ours", f"{ours * 1000:.0f} ms")
        self.row("ratio to the script", f"{theirs / ours:.1f} x", "at least 50 x")
        self.row("ratio with the script's formats alone", f"{theirs / self.once_as_script(folder, network):.1f} x")

    def floor(self, folder):
        """What came is read and hashed; what stands in the archive is hashed and written beside it, each file waited for."""
        came = [path for path in (folder / "inbox").rglob("*") if path.is_file()]
        stands = [path.read_bytes() for path in (folder / "archive").rglob("*") if path.is_file()]
        target = pathlib.Path(tempfile.mkdtemp(dir=self.work, prefix="floor-"))

        def write(numbered):
            number, content = numbered
            hashlib.sha256(content).digest()
            with open(target / str(number), "wb", buffering=0) as file:
                file.write(content)
                os.fsync(file.fileno())

        def all_of_it():
            with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as threads:
                list(threads.map(lambda path: hashlib.sha256(path.read_bytes()).digest(), came))
                list(threads.map(write, enumerate(stands)))
        took = seconds(all_of_it)
        shutil.rmtree(target)
        return took

    def once_as_script(self, folder, network):
        """Without the workbook, which the script does not write; and with pages, daily values and metadata all the same."""
        (folder / "rillward.yaml").write_text(settings(network, folder, formats="csv, netcdf, chart"))
        return statistics.median(self.once(folder) for _ in range(self.repeat))

    def latency(self):
        stations = 24
        folder, network = self.network("netlat", stations, 30, baros=1)
        log, secret = folder / "hooks.log", folder / "hook.secret"
        log.unlink(missing_ok=True)
        secret.write_text("whsec_" + "MDEyMzQ1Njc4OTAxMjM0NTY3ODkwMTIzNDU2Nzg5MDE=")
        secret.chmod(0o600)
        receiver = subprocess.Popen([PYTHON, ROOT / "tests/support/receiver.py", "--port", "0", "--log", log, "--for", "300"],
                                    stdout=subprocess.PIPE, text=True)
        port = int(receiver.stdout.readline().split()[-1])
        text = settings(network, folder, webhook=f"http://127.0.0.1:{port}/ok", secret=secret, settle="1 s")
        (folder / "rillward.yaml").write_text(text + "alarms: {news_age: 400 d}\n")
        self.fresh(folder)
        held = folder / "held"
        if not held.exists():
            (folder / "inbox").rename(held)
        shutil.rmtree(folder / "inbox", ignore_errors=True)
        (folder / "inbox").mkdir()
        for name in list(network["baros"]):
            shutil.copytree(held / name, folder / "inbox" / name)
        for name in network["stations"]:
            (folder / "inbox" / name).mkdir()
            shutil.copy2(held / name / "visits.csv", folder / "inbox" / name / "visits.csv")
        service = subprocess.Popen([self.rillward, "serve", "-c", folder / "rillward.yaml", "--clock", NOW],
                                   stderr=subprocess.DEVNULL)
        try:
            self.await_drops(folder, 1 + stations)
            took = []
            for name in sorted(network["stations"]):
                source = folder / f"{name}.tmp"
                shutil.copy2(held / name / f"{name}_20260301.csv", source)
                time.sleep(0.5)  # let the last one's products be written: this row is about an idle service
                start = time.monotonic()
                os.rename(source, folder / "inbox" / name / f"{name}_20260301.csv")
                while name not in (log.read_text() if log.exists() else ""):
                    if time.monotonic() - start > 20:
                        raise SystemExit(f"no webhook for {name}")
                    time.sleep(0.0005)
                took.append(time.monotonic() - start)
            took.sort()
            self.row("file renamed in -> webhook received, station-month: median", f"{1000 * statistics.median(took):.0f} ms")
            self.row("the same: p95", f"{1000 * took[int(len(took) * 0.95) - 1]:.0f} ms", "under 100 ms")
        finally:
            for process in (service, receiver):
                process.terminate()
                process.wait()

    def cores(self):
        """The same back-fill on one core and on all there are, as the service comes."""
        folder, _ = self.network("net200", 200, 30)
        took = {}
        for n in (1, os.cpu_count()):
            pin = ["taskset", "-c", "0"] if n == 1 else []
            took[n] = statistics.median(self.once_with(folder, pin) for _ in range(self.repeat))
            self.row(f"200 stations x 30 days, {n} core{'s' if n > 1 else ''}", f"{took[n]:.1f} s")
        self.row("ratio", f"{took[1] / took[max(took)]:.2f} x", "at least 1.7 x on 2 cores")

    def once_with(self, folder, before):
        self.fresh(folder)
        return seconds(lambda: run(*before, self.rillward, "once", "-c", folder / "rillward.yaml", "--clock", NOW))

    def busy_latency(self):
        """An alarm of fresh data while a back-fill of years of other stations goes on."""
        urgent = 20
        folder, network = self.network(f"netyear{self.stations}", self.stations + urgent, 365)
        names = sorted(network["stations"])[-urgent:]
        log, secret, held = folder / "hooks.log", folder / "hook.secret", folder / "held"
        log.unlink(missing_ok=True)
        secret.write_text("whsec_" + "MDEyMzQ1Njc4OTAxMjM0NTY3ODkwMTIzNDU2Nzg5MDE=")
        secret.chmod(0o600)
        held.mkdir(exist_ok=True)
        for name in names:  # of these, the newest two days alone
            if (folder / "inbox" / name / "visits.csv").exists():
                (folder / "inbox" / name).rename(held / name)
            shutil.rmtree(folder / "inbox" / name, ignore_errors=True)
            (folder / "inbox" / name).mkdir()
            lines = next((held / name).glob(f"{name}_*.csv")).read_text().splitlines()
            cells = [line.split(",") for line in lines[-576:]]
            for row in cells[-24:]:
                row[3] = "1.50"
            (folder / f"{name}.urgent").write_text("\n".join([lines[0]] + [",".join(row) for row in cells]) + "\n")
        receiver = subprocess.Popen([PYTHON, ROOT / "tests/support/receiver.py", "--port", "0", "--log", log, "--for", "3000"],
                                    stdout=subprocess.PIPE, text=True)
        port = int(receiver.stdout.readline().split()[-1])
        watched = {"stations": {name: network["stations"][name] for name in names}, "baros": {}}
        text = settings(network, folder)
        (folder / "rillward.yaml").write_text(text[:text.index("rules:")] + self.rules_of(watched, folder, port, secret))
        self.fresh(folder)
        service = subprocess.Popen([self.rillward, "serve", "-c", folder / "rillward.yaml", "--clock", "2027-03-01T00:00:00Z"],
                                   stderr=subprocess.DEVNULL)
        try:
            took, was_busy = [], 0
            time.sleep(3)
            for name in names:
                time.sleep(self.pause)
                start = time.monotonic()
                os.rename(folder / f"{name}.urgent", folder / "inbox" / name / f"{name}_urgent.csv")
                while name not in (log.read_text() if log.exists() else ""):
                    if time.monotonic() - start > 120:
                        raise SystemExit(f"no webhook for {name}")
                    time.sleep(0.002)
                took.append(time.monotonic() - start)
                counts = self.counts(folder)
                was_busy += bool(counts["dirty_spans"] or counts["due_records"] or counts["drops"] < self.stations)
            took.sort()
            self.row(f"the same while {self.stations} station-years come in ({was_busy} of {urgent} in its midst): median",
                     f"{1000 * statistics.median(took):.0f} ms")
            self.row("the same: p95", f"{1000 * took[int(len(took) * 0.95) - 1]:.0f} ms", "under 1000 ms")
        finally:
            for process in (service, receiver):
                process.terminate()
                process.wait()

    def rules_of(self, watched, folder, port, secret):
        text = settings(watched, folder, webhook=f"http://127.0.0.1:{port}/ok", secret=secret)
        return text[text.index("rules:"):] + "alarms: {news_age: 400 d}\n"

    def counts(self, folder):
        answer = subprocess.run([self.rillward, "status", "-c", folder / "rillward.yaml", "--json"], capture_output=True, text=True)
        return json.loads(answer.stdout)["counts"]

    def await_drops(self, folder, count):
        for _ in range(600):
            answer = subprocess.run([self.rillward, "status", "-c", folder / "rillward.yaml", "--json"], capture_output=True, text=True)
            if answer.stdout:
                status = json.loads(answer.stdout)["counts"]
                if status["drops"] >= count and not status["dirty_spans"] and not status["due_records"]:
                    return
            time.sleep(0.1)
        raise SystemExit("the service did not come to rest")

    def history(self):
        """A drop of one day after one month of history, and after ten years of it: in turn, so that whatever else the
        machine does meets both; the ratio is the median of each day's."""
        import numpy as np

        def water(day, n):
            rows = [f"{t}Z,{112 + 3 * np.sin(i / 40):.3f},{14 + np.sin(i / 90):.2f},{8 + np.sin(i / 70):.2f},{20 + 5 * np.sin(i / 41):.3f}"
                    for i, t in enumerate(np.datetime_as_string(day + np.arange(n) * np.timedelta64(300, "s"), unit="s"))]
            return "time,abs_pressure_kpa,temp_c,do_mgl,cond_mscm\n" + "\n".join(rows) + "\n"

        def air(day, n):
            rows = [f"{t}Z,{101.3 + 0.1 * np.sin(i / 50):.4f},12.00"
                    for i, t in enumerate(np.datetime_as_string(day + np.arange(n) * np.timedelta64(900, "s"), unit="s"))]
            return "time,baro_kpa,air_c\n" + "\n".join(rows) + "\n"

        folders, days = {}, 20
        for years in (0, 10):
            folder, network = self.network(f"netday{years}", 1, 2, baros=1)
            folders[years] = folder
            self.fresh(folder)
            shutil.rmtree(folder / "inbox", ignore_errors=True)
            (folder / "inbox/st0001").mkdir(parents=True)
            (folder / "inbox/air01").mkdir()
            first = np.datetime64("2026-03-02") - np.timedelta64(30 + 3652 * (years > 0), "D")
            before = int((np.datetime64("2026-03-02") - first) / np.timedelta64(1, "D"))
            (folder / "inbox/st0001/st0001_old.csv").write_text(water(first, before * 288))
            (folder / "inbox/air01/air01_all.csv").write_text(air(first, (before + days + 1) * 96))
            text = settings(network, folder, settle="0 s")
            (folder / "rillward.yaml").write_text(text.replace("intake: {", "intake: {largest_drop: 512 MiB, "))
            self.once_no_fresh(folder)
        took, spent = {years: [] for years in folders}, {years: [] for years in folders}
        for k in range(days):
            drop = water(np.datetime64("2026-03-02") + np.timedelta64(k, "D"), 288)
            for years, folder in folders.items():
                (folder / f"inbox/st0001/st0001_d{k}.csv").write_text(drop)
                before = resource.getrusage(resource.RUSAGE_CHILDREN)
                took[years].append(self.once_no_fresh(folder))
                after = resource.getrusage(resource.RUSAGE_CHILDREN)
                spent[years].append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        self.row("a day's drop after 1 month of history (whole `once`)", f"{1000 * statistics.median(took[0]):.0f} ms")
        self.row("after 10 years", f"{1000 * statistics.median(took[10]):.0f} ms")
        for what, of in (("ratio", took), ("ratio of processor time", spent)):
            self.row(what, f"{statistics.median(late / early for early, late in zip(of[0], of[10])):.2f} x", "at most 1.2 x")

    def once_no_fresh(self, folder):
        return seconds(lambda: run(self.rillward, "once", "-c", folder / "rillward.yaml", "--clock", NOW))

    def idle(self):
        folder = self.work / "netidle"
        shutil.rmtree(folder, ignore_errors=True)
        (folder / "inbox").mkdir(parents=True)
        network = {"stations": {f"st{i:05d}": {"lat": 40 + i % 100 * 0.01, "lon": -120 + i // 100 * 0.01, "elevation_m": 5} for i in range(10000)},
                   "baros": {"air01": {"lat": 40.5, "lon": -119.5, "elevation_m": 5}}}
        (folder / "rillward.yaml").write_text(settings(network, folder))
        service = subprocess.Popen([self.rillward, "serve", "-c", folder / "rillward.yaml", "--clock", NOW], stderr=subprocess.DEVNULL)
        try:
            previous, same = None, 0
            for _ in range(240):  # at rest: for three seconds no context switch, and no tick of the processor
                activity = self.switches(service.pid), self.ticks(service.pid)
                same = same + 1 if activity == previous else 0
                if same == 3:
                    break
                previous = activity
                time.sleep(1)
            before = self.switches(service.pid)
            time.sleep(20)
            status = pathlib.Path(f"/proc/{service.pid}/status").read_text()
            memory = int(status.split("VmRSS:")[1].split()[0]) / 1024
            private = sum(int(line.split()[1]) for line in pathlib.Path(f"/proc/{service.pid}/smaps_rollup").read_text().splitlines()
                          if line.startswith("Private_")) / 1024
            self.row("10,000 stations configured, idle: resident memory", f"{memory:.1f} MiB", "under 32 MiB")
            self.row("the same: private to the process", f"{private:.1f} MiB")
            self.row("wake-ups in 20 s", f"{self.switches(service.pid) - before}", "none but rescan and watchdog")
        finally:
            service.terminate()
            service.wait()

    @staticmethod
    def ticks(pid):
        fields = pathlib.Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return int(fields[11]) + int(fields[12])

    @staticmethod
    def switches(pid):
        text = pathlib.Path(f"/proc/{pid}/status").read_text()
        return int(text.split("\nvoluntary_ctxt_switches:")[1].split()[0])

    def parts(self):
        """Readers and writers one by one, from the program beside the tests, where it was built."""
        program = self.rillward.parent / "tests/part_cost"
        if not program.exists():
            print(f"parts: skipped, no {program}: build the target part_cost")
            return
        import openpyxl
        folder, network = self.network("net1", 1, 30, baros=1)
        csv = next((folder / "inbox/st0001").glob("st0001_*.csv"))
        book, lines = openpyxl.Workbook(write_only=True), csv.read_text().splitlines()
        sheet = book.create_sheet("data")
        sheet.append(lines[0].split(","))
        for line in lines[1:]:
            cells = line.split(",")
            sheet.append(cells[:1] + [float(cell) for cell in cells[1:]])
        book.save(folder / "month.xlsx")
        answer = subprocess.run([program, folder / "rillward.yaml", f"st0001/a.csv={csv}", f"st0001/a.xlsx={folder}/month.xlsx",
                                 f"st0001/visits.csv={folder}/inbox/st0001/visits.csv"], capture_output=True, text=True)
        print(answer.stdout + answer.stderr)

    def storage(self):
        """Bytes on disk, and what one small drop costs in calls that wait for the disk."""
        folder, _ = self.network("net20", 20, 30)
        self.once(folder)
        samples = 20 * 30 * 288
        sizes = {name: sum(f.stat().st_size for f in (folder / name).rglob("*") if f.is_file()) for name in ("state", "archive")}
        drops = sum(f.stat().st_size for f in (folder / "inbox").rglob("*") if f.is_file())
        for name, size in sizes.items():
            self.row(f"bytes a sample in the {name} (a drop has {drops / samples:.0f})", f"{size / samples:.1f}")
            self.row(f"{name} of one station-year at 5 min", f"{size / samples * 365 * 288 / 2 ** 20:.1f} MiB")
        if not shutil.which("strace"):
            print("calls of one drop: skipped, no strace")
            return
        path = folder / "inbox/st0001/st0001_next.csv"
        path.write_text("time,abs_pressure_kpa,temp_c,do_mgl,cond_mscm\n2026-03-30T23:57:00Z,113.000,11.00,8.00,18.0000\n")
        log = folder / "strace"
        run("strace", "-f", "-c", "-o", log, self.rillward, "once", "-c", folder / "rillward.yaml", "--clock", NOW)
        path.unlink()
        calls = {line.split()[-1]: int(line.split()[3]) for line in log.read_text().splitlines()
                 if len(line.split()) >= 5 and line.split()[3].isdigit()}
        self.row("one small drop, whole `once`: writes", f"{calls.get('write', 0) + calls.get('pwrite64', 0)}")
        self.row("the same: waits for the disk (fsync, fdatasync)", f"{calls.get('fsync', 0) + calls.get('fdatasync', 0)}")

    def growth(self):
        """One drop of a day into a running service, by how many stations are configured."""
        for stations in (10, 10000):
            folder, network = self.network("netgrow", 10, 30, baros=1)
            for i in range(len(network["stations"]), stations):
                network["stations"][f"more{i:05d}"] = {"lat": 10 + i % 100 * 0.01, "lon": 20 + i // 100 * 0.01, "elevation_m": 5}
            (folder / "rillward.yaml").write_text(settings(network, folder))
            self.fresh(folder)
            service = subprocess.Popen([self.rillward, "serve", "-c", folder / "rillward.yaml", "--clock", NOW],
                                       stderr=subprocess.DEVNULL)
            try:
                took = []
                for k in range(12):
                    self.wait_for_drops(folder, service, 21 + k)
                    path = folder / f"inbox/st0001/day{k}.csv"
                    path.write_text("time,abs_pressure_kpa,temp_c,do_mgl,cond_mscm\n"
                                    f"2026-03-30T2{k // 6}:{k % 6}7:30Z,113.000,11.00,8.00,18.0000\n")
                    start = time.monotonic()
                    while self.taken(folder) < 22 + k:
                        time.sleep(0.002)
                    took.append(time.monotonic() - start)
                for path in folder.glob("inbox/st0001/day*.csv"):
                    path.unlink()
                self.row(f"a small drop until it is known as taken, {stations} stations configured", f"{1000 * statistics.median(took):.0f} ms")
            finally:
                service.terminate()
                service.wait()

    def carry(self):
        """How many stations one machine carries: a file each, records of 30 days written anew and durable behind it."""
        stations = 100
        folder, network = self.network("net100", stations, 30)
        (folder / "rillward.yaml").write_text(settings(network, folder))
        self.fresh(folder)
        for old in (folder / "inbox").glob("*/next*.csv"):
            old.unlink()
        service = subprocess.Popen([self.rillward, "serve", "-c", folder / "rillward.yaml", "--clock", NOW], stderr=subprocess.DEVNULL)
        try:
            count = 2 + 2 * stations
            self.await_drops(folder, count)
            for what, rows, every, named in (("day", 288, 86400, "day"), ("short", 3, 900, "15 minutes")):
                first = 30 * 288 if what == "day" else 31 * 288
                start = time.monotonic()
                for name in sorted(network["stations"]):
                    lines = ["time,abs_pressure_kpa,temp_c,do_mgl,cond_mscm"]
                    for i in range(first, first + rows):
                        stamp = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(1772323200 + i * 300))
                        lines.append(f"{stamp},{113 + i % 7 * 0.01:.3f},11.00,{8 + i % 5 * 0.01:.3f},18.0000")
                    (folder / f"{what}.part").write_text("\n".join(lines) + "\n")
                    (folder / f"{what}.part").rename(folder / f"inbox/{name}/next_{what}.csv")
                count += stations
                self.await_drops(folder, count)
                each = (time.monotonic() - start) / stations
                self.row(f"a file of {rows} samples into a month of history, all products: each", f"{1000 * each:.0f} ms")
                self.row(f"stations that one machine carries with a file each {named}", f"{every / each:,.0f}")
        finally:
            service.terminate()
            service.wait()

    def many(self):
        """Many small drops at once into a running service whose event queue is far too short: none missed, none doubled,
        memory flat."""
        count, stations = self.drops, 100
        folder, network = self.network("netmany", stations, 1, baros=1)
        shutil.rmtree(folder / "inbox", ignore_errors=True)
        (folder / "inbox").mkdir()
        self.fresh(folder)
        service = self.start_with_short_queue(folder)
        start = time.monotonic()
        beside = folder / "arriving"
        for s in range(stations):
            (folder / f"inbox/st{s + 1:04d}").mkdir()
        for k in range(count // stations):
            for s in range(stations):
                day, minute = divmod(k * 15, 1440)
                stamp = f"2026-03-{day + 1:02d}T{minute // 60:02d}:{minute % 60:02d}:00Z"
                beside.write_text("time,abs_pressure_kpa,temp_c,do_mgl,cond_mscm\n"
                                  f"{stamp},{110 + s * 0.01:.3f},14.00,{8 + k * 0.001:.3f},20.000\n")
                beside.rename(folder / f"inbox/st{s + 1:04d}/st{s + 1:04d}_{k:05d}.csv")
        arrived = time.monotonic() - start
        facts = self.wait_for_drops(folder, service, count)
        took = time.monotonic() - start
        peak = int(pathlib.Path(f"/proc/{service.pid}/status").read_text().split("VmHWM:")[1].split()[0]) / 1024
        service.terminate()
        service.wait()
        self.row(f"{count} drops at once: taken, rows added", f"{facts['drops']}, {facts['rows']}",
                 f"{count}, {count}: none missed, none doubled")
        self.row("the last of them arrived after", f"{arrived:.0f} s, queue {facts['queue']}")
        self.row("all taken, derived and published: time and rate", f"{took:.0f} s, {count / took:.0f} drops/s")
        self.row("memory peak", f"{peak:.0f} MiB", "under 256 MiB")

    @staticmethod
    def taken(folder):
        """By the database itself: `status` reads the settings of all stations first."""
        import sqlite3
        database = sqlite3.connect(f"file:{folder}/state/rillward.db?mode=ro", uri=True, timeout=60)
        count = database.execute("SELECT count(*) FROM drop_").fetchone()[0]
        database.close()
        return count

    def start_with_short_queue(self, folder):
        """The queue's length is read when the service starts; only root may shorten it, and it is put back at once."""
        knob = pathlib.Path("/proc/sys/fs/inotify/max_queued_events")
        usual = knob.read_text()
        self.queue = usual.strip()
        try:
            if os.geteuid() == 0:
                knob.write_text("16")
                self.queue = "16"
            service = subprocess.Popen([self.rillward, "serve", "-c", folder / "rillward.yaml", "--clock", NOW],
                                       stderr=open(folder / "log", "w"))
            while "watching" not in (folder / "log").read_text():
                time.sleep(0.01)
        finally:
            if os.geteuid() == 0:
                knob.write_text(usual)
        return service

    def wait_for_drops(self, folder, service, count):
        """At rest: all taken, nothing dirty, nothing to publish; or no progress for five minutes."""
        import sqlite3
        facts, progress = None, time.monotonic()
        while not (folder / "state/rillward.db").exists() and service.poll() is None:
            time.sleep(0.1)
        time.sleep(0.5)  # the schema comes in one transaction
        while service.poll() is None and time.monotonic() - progress < 300:
            database = sqlite3.connect(f"file:{folder}/state/rillward.db?mode=ro", uri=True, timeout=60)
            now = database.execute("SELECT (SELECT count(*) FROM drop_), (SELECT coalesce(sum(added), 0) FROM drop_),"
                                   " (SELECT count(*) FROM dirty), (SELECT count(*) FROM page WHERE due = 1)"
                                   " + (SELECT count(*) FROM manifest_due)").fetchone()
            database.close()
            if now != facts:
                facts, progress = now, time.monotonic()
            if now[0] >= count and now[2] == 0 and now[3] == 0:
                break
            time.sleep(0.5)
        return {"drops": facts[0], "rows": facts[1], "queue": getattr(self, "queue", "")}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rillward")
    parser.add_argument("--tools", default=ROOT.parent / "shared/bench")
    parser.add_argument("--only", default="script_ratio,cold_station,cores,latency,busy_latency,history,growth,carry,idle,storage,parts,many")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--keep")
    parser.add_argument("--stations", type=int, default=200, help="how many station-years 'busy_latency' makes")
    parser.add_argument("--pause", type=float, default=2, help="seconds between its urgent drops")
    parser.add_argument("--drops", type=int, default=100000, help="how many drops 'many' makes")
    args = parser.parse_args()
    bench = Bench(args)
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}\n")
    needs_peer = {"script_ratio", "cold_station"}
    for name in args.only.split(","):
        if name in needs_peer and run(PYTHON, "-c", "import pandas, gsw, netCDF4, matplotlib").returncode:
            print(f"{name}: skipped, the script needs python3-pandas, -gsw, -netcdf4 and -matplotlib")
            continue
        if name != "idle" and not (bench.tools / "make_network.py").exists():
            print(f"{name}: skipped, no network generator in {bench.tools}")
            continue
        getattr(bench, name)()
    shutil.rmtree(bench.aside, ignore_errors=True)
    if not args.keep:
        shutil.rmtree(bench.work, ignore_errors=True)


if __name__ == "__main__":
    main()
