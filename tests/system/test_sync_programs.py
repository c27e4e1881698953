# SPDX-License-Identifier: MIT
"""Real sync programs fill the inbox, each in its own way. Whatever they do, only whole files are read, each row comes once,
and what is deleted or renamed on the other side takes nothing away. A program that is not installed is skipped."""
import contextlib
import hashlib
import os
import shutil
import signal
import subprocess
import time
import unicodedata
import zipfile

import pytest

from daemon import (LIMIT, REPEATED, SET_ASIDE, SMALL_NOW, TAKEN, WAITING, Service, air_file, binary, finished_times,
                    free_port, small_settings, wait_until, water_file, water_rows)

AIR, FIRST, MORE = 140, 60, 120  # rows
OLD = 1577836800  # what a sync program sets as time of change: long ago


def needs(*programs):
    missing = [name for name in programs if not (shutil.which(name) or os.path.exists(f"/usr/sbin/{name}"))]
    return pytest.mark.skipif(bool(missing), reason=f"skipped: not installed: {', '.join(missing)}")


class Crew:
    """The other side: a folder of its own, and every version of every file that ever was whole there."""

    def __init__(self, folder):
        self.folder, self.versions = folder, {}
        folder.mkdir()

    def write(self, path, text):
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        beside = self.folder.parent / "crew-writes"
        beside.write_text(text)
        self.versions[hashlib.sha256(text.encode()).hexdigest()] = path
        os.utime(beside, (OLD, OLD + len(self.versions)))
        beside.rename(target)
        return target


@pytest.fixture
def crew(tmp_path):
    return Crew(tmp_path / "crew")


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(settle="1.5 s"), SMALL_NOW) as result:
        yield result


def long_water(count):
    """Rows with many digits: some 400 kB, which a slow line takes seconds for."""
    filler = "0" * 3000
    return "Serial,M-1\ntime,pressure,temperature\n" + "".join(
        line.replace(",1", f",{filler}1", 1) + "\n" for line in water_rows(0, count).splitlines())


def assert_only_whole(service, crew):
    """Nothing was read that nobody had written so."""
    for row in service.ask("SELECT path, sha256 FROM drop_"):
        assert row["sha256"] in crew.versions, f"{row['path']} was read half-written"
    assert not service.ask("SELECT path, message FROM path WHERE state = ?", SET_ASIDE)


def assert_rows(service, count):
    times = finished_times(service)
    assert len(times) == len(set(times)) == count


def work_through(service, crew, sync):
    """Begin, come back longer, be renamed, be deleted: what every sync program must be able to do."""
    crew.write("mast/air.csv", air_file(0, AIR))
    crew.write("mill/water.csv", long_water(FIRST))
    service.start()
    sync()
    service.wait_for_path("mill/water.csv", TAKEN)
    service.wait_for_rest()
    assert_rows(service, FIRST)
    crew.write("mill/water.csv", long_water(MORE))
    sync()
    service.wait_until(lambda: service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] == 3, "the longer version")
    service.wait_for_rest()
    assert_rows(service, MORE)
    (crew.folder / "mill/water.csv").rename(crew.folder / "mill/water (week 18).csv")
    sync()
    service.wait_for_path("mill/water (week 18).csv", REPEATED)
    (crew.folder / "mill/water (week 18).csv").unlink()
    crew.write("mill/last.csv", water_file(MORE, 5))
    sync()
    service.wait_for_path("mill/last.csv", TAKEN)
    service.wait_for_rest()
    service.stop()
    assert not (service.inbox / "mill/water.csv").exists() and not (service.inbox / "mill/water (week 18).csv").exists()
    assert_rows(service, MORE + 5)
    assert_only_whole(service, crew)
    assert service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] == 4
    assert "0 findings" in service.verify(expected=0)


def run(*command, **more):
    subprocess.run([str(word) for word in command], check=True, capture_output=True, timeout=LIMIT, **more)


@needs("rsync")
@pytest.mark.parametrize("how", [[], ["--inplace"], ["--delay-updates"], ["--partial"], ["--inplace", "--no-whole-file"],
                                 ["--temp-dir"]], ids=lambda how: "".join(how) or "plain")
def test_rsync(service, crew, how, tmp_path):
    if how == ["--temp-dir"]:
        (tmp_path / "elsewhere").mkdir()
        how = [f"--temp-dir={tmp_path}/elsewhere"]
    work_through(service, crew, lambda: run("rsync", "-a", "--delete", "--bwlimit=150", *how, f"{crew.folder}/", service.inbox))


@needs("rclone")
def test_rclone(service, crew, tmp_path):
    environment = {**os.environ, "RCLONE_CONFIG": str(tmp_path / "rclone.conf")}
    work_through(service, crew, lambda: run("rclone", "sync", "--bwlimit", "150k", crew.folder, service.inbox, env=environment))


# ---- over ssh ----


@pytest.fixture
def ssh(tmp_path):
    """An sshd of our own on loopback; answers with the options for its clients."""
    keys = tmp_path / "ssh"
    keys.mkdir(mode=0o700)
    for name in ("host", "client"):
        run("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", keys / name)
    (keys / "authorized").write_text((keys / "client.pub").read_text())
    port = free_port()
    (keys / "config").write_text(
        f"Port {port}\nListenAddress 127.0.0.1\nHostKey {keys}/host\nAuthorizedKeysFile {keys}/authorized\nStrictModes no\n"
        f"UsePAM no\nPidFile {keys}/pid\nPermitRootLogin yes\nSubsystem sftp internal-sftp\n")
    if os.geteuid() == 0:
        os.makedirs("/run/sshd", exist_ok=True)
    server = subprocess.Popen(["/usr/sbin/sshd", "-D", "-e", "-f", keys / "config"], stderr=open(keys / "log", "w"))
    options = ["-i", str(keys / "client"), "-o", "StrictHostKeyChecking=no", "-o", f"UserKnownHostsFile={keys}/known",
               "-o", "BatchMode=yes", "-o", "LogLevel=ERROR"]

    def answers():
        done = subprocess.run(["ssh", *options, "-p", str(port), "127.0.0.1", "true"], capture_output=True)
        return done.returncode == 0 or server.poll() is not None
    try:
        wait_until(answers, lambda: (keys / "log").read_text())
        if server.poll() is not None:
            pytest.skip(f"skipped: no sshd can run here: {(keys / 'log').read_text()[-200:]}")
        yield options, port
    finally:
        server.terminate()
        server.wait()


@needs("sshd", "scp", "sftp")
def test_scp_and_sftp_write_in_place(service, crew, ssh):
    options, port = ssh
    air = crew.write("mast/air.csv", air_file(0, AIR))
    water = crew.write("mill/water.csv", long_water(FIRST))
    (service.inbox / "mill").mkdir()
    (service.inbox / "mast").mkdir()
    service.start()
    run("scp", "-O", "-p", "-l", "1200", *options, "-P", port, air, f"127.0.0.1:{service.inbox}/mast/air.csv")
    run("scp", "-l", "1200", *options, "-P", port, water, f"127.0.0.1:{service.inbox}/mill/water.csv")
    service.wait_for_path("mill/water.csv", TAKEN)
    longer = crew.write("mill/water.csv", long_water(MORE))
    run("sftp", "-l", "1200", *options, "-P", port, "-b", "-", "127.0.0.1",
        input=f"put {longer} {service.inbox}/mill/water.csv\n".encode())
    service.wait_until(lambda: service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] == 3, "the longer version")
    service.wait_for_rest()
    service.stop()
    assert_only_whole(service, crew)
    assert_rows(service, MORE)


@needs("sshd", "sftp")
def test_an_upload_that_breaks_off_adds_no_broken_row_and_the_next_one_completes_it(service, crew, ssh):
    options, port = ssh
    air = crew.write("mast/air.csv", air_file(0, AIR))
    shutil.copytree(crew.folder / "mast", service.inbox / "mast")
    water = crew.write("mill/water.csv", long_water(MORE))
    (service.inbox / "mill").mkdir()
    service.start()
    client = subprocess.Popen(["sftp", "-l", "800", *options, "-P", str(port), "-b", "-", "127.0.0.1"], stdin=subprocess.PIPE,
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    client.stdin.write(f"put {water} {service.inbox}/mill/water.csv\n".encode())
    client.stdin.flush()
    target = service.inbox / "mill/water.csv"
    wait_until(lambda: target.exists() and target.stat().st_size > 50000, "a part of it")
    client.send_signal(signal.SIGKILL)
    client.wait()
    client.stdin.close()
    broken = wait_until(lambda: subprocess.run(["lsof", str(target)], capture_output=True).returncode != 0
                        and target.read_bytes(), "the server to let go")
    assert 0 < len(broken) < water.stat().st_size
    service.wait_for_path("mill/water.csv", WAITING, "no end yet")  # its last line was cut
    run("sftp", *options, "-P", port, "-b", "-", "127.0.0.1", input=f"put {water} {target}\n".encode())
    service.wait_for_path("mill/water.csv", TAKEN)
    service.wait_for_rest()
    service.stop()
    assert_rows(service, MORE)
    assert air.exists()
    assert_only_whole(service, crew)


# ---- two syncthing on loopback ----


class Syncthing:
    def __init__(self, home, folder):
        self.home, self.folder, self.process = home, folder, None
        run("syncthing", "generate", "--no-default-folder", f"--home={home}")
        self.id = subprocess.run(["syncthing", f"--home={home}", "--device-id"], capture_output=True, text=True,
                                 check=True).stdout.strip()
        self.port, self.gui = free_port(), free_port()

    def configure(self, others):
        devices = "".join(f'<device id="{o.id}" name="x"><address>tcp://127.0.0.1:{o.port}</address></device>' for o in others)
        shares = "".join(f'<device id="{o.id}"></device>' for o in others)
        (self.home / "config.xml").write_text(f"""<configuration version="36">
  <folder id="sallow" label="x" path="{self.folder}" type="sendreceive" rescanIntervalS="3600" fsWatcherEnabled="true"
    fsWatcherDelayS="1" ignorePerms="false" autoNormalize="true">{shares}<markerName>.stfolder</markerName></folder>
  {devices}
  <gui enabled="true" tls="false"><address>127.0.0.1:{self.gui}</address><apikey>sallow</apikey></gui>
  <options><listenAddress>tcp://127.0.0.1:{self.port}</listenAddress><globalAnnounceEnabled>false</globalAnnounceEnabled>
    <localAnnounceEnabled>false</localAnnounceEnabled><relaysEnabled>false</relaysEnabled><natEnabled>false</natEnabled>
    <startBrowser>false</startBrowser><urAccepted>-1</urAccepted><autoUpgradeIntervalH>0</autoUpgradeIntervalH>
    <crashReportingEnabled>false</crashReportingEnabled><reconnectionIntervalS>1</reconnectionIntervalS></options>
</configuration>
""")

    def start(self):
        log = open(self.home / "log", "w")
        self.process = subprocess.Popen(["syncthing", "serve", f"--home={self.home}", "--no-browser", "--no-restart"],
                                        stdout=log, stderr=log, env={**os.environ, "STNOUPGRADE": "1", "HOME": str(self.home)})

    def end(self):
        if self.process:
            self.process.terminate()
            self.process.wait()


@pytest.fixture
def syncthing(service, crew, tmp_path):
    pair = Syncthing(tmp_path / "st-crew", crew.folder), Syncthing(tmp_path / "st-desk", service.inbox)
    for one in pair:
        (one.folder / ".stfolder").mkdir()
        one.configure(pair)
    with contextlib.ExitStack() as stack:
        for one in pair:
            one.start()
            stack.callback(one.end)
        yield pair


@needs("syncthing")
def test_syncthing(service, crew, syncthing):
    def sync():
        """It comes by itself; wait until both sides hold the same."""
        def names(folder):
            return {str(p.relative_to(folder)): p.stat().st_size for p in folder.rglob("*")
                    if p.is_file() and not p.name.startswith(".")}
        wait_until(lambda: names(crew.folder) == names(service.inbox), lambda: (syncthing[1].home / "log").read_text()[-1500:])
    work_through(service, crew, sync)


# ---- slow hands ----


@needs("unzip")
def test_unzip_into_the_inbox(service, crew, tmp_path):
    with zipfile.ZipFile(tmp_path / "week.zip", "w", zipfile.ZIP_DEFLATED) as package:
        for path, text in (("mast/air.csv", air_file(0, AIR)), ("mill/water.csv", long_water(MORE)),
                           ("mill/Deep/more.csv", water_file(MORE, 5))):
            package.write(crew.write(path, text), path)
    service.start()
    run("unzip", "-q", tmp_path / "week.zip", "-d", service.inbox)
    for path in ("mast/air.csv", "mill/water.csv", "mill/Deep/more.csv"):
        service.wait_for_path(path, TAKEN)
    service.wait_for_rest()
    service.stop()
    assert_only_whole(service, crew)
    assert_rows(service, MORE + 5)


def write_slowly(target, content, pieces, pause):
    """As over a satellite: opened anew for each piece, so that nobody holds it open in between."""
    size = len(content) // pieces + 1
    for k in range(0, len(content), size):
        with open(target, "ab") as file:
            file.write(content[k:k + size])
        time.sleep(pause)  # the slow line itself


@pytest.mark.parametrize("events", [True, False], ids=["with events", "found by scans only"])
def test_a_slow_copy_is_read_when_it_is_whole(tmp_path, crew, events):
    """Without events it is as on a network folder that others write to."""
    enter = [] if events else ["unshare", "--user", "--map-root-user", "sh", "-c",
                               'echo 0 > /proc/sys/user/max_inotify_instances && exec "$@"', "sh"]
    if enter and subprocess.run([*enter, "true"], capture_output=True).returncode != 0:
        pytest.skip("skipped: no user namespaces on this machine")
    settings = small_settings(settle="2 s", rescan="10 min" if events else "1 s")
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        with open(service.log, "ab") as log:
            command = [*enter, binary(), "serve", "-c", str(service.settings), "--clock", SMALL_NOW]
            service.process = subprocess.Popen(command, stderr=log)
        service.wait_for_log("watching '")
        crew.write("mast/air.csv", air_file(0, AIR))
        crew.write("mill/water.csv", long_water(MORE))
        for path in ("mast/air.csv", "mill/water.csv"):
            (service.inbox / path).parent.mkdir()
            write_slowly(service.inbox / path, (crew.folder / path).read_bytes(), 8, 0.4)
        service.wait_for_path("mill/water.csv", TAKEN)
        service.wait_for_rest()
        service.stop()
        assert_only_whole(service, crew)
        assert_rows(service, MORE)
        assert service.ask("SELECT count(*) AS n FROM drop_")[0]["n"] == 2


# ---- names ----


def test_conflict_copies_are_files_like_any_other(service):
    service.put("mast/air.csv", air_file(0, AIR))
    service.put("mill/water.csv", water_file(0, 30))
    service.start()
    service.wait_for_rest()
    service.put("mill/water.sync-conflict-20260502-101500-ABCDEFG.csv", water_file(0, 30))
    service.put("mill/water (conflicted copy 2026-05-02 101500).csv", water_file(10, 30))  # holds rows that nobody else has
    service.put("mill/water (1).csv", water_file(20, 30))
    service.wait_for_path("mill/water.sync-conflict-20260502-101500-ABCDEFG.csv", REPEATED, "the same bytes as 'mill/water.csv'")
    service.wait_for_rest()
    service.stop()
    assert_rows(service, 50)
    assert service.ask("SELECT sum(added) AS n FROM drop_ WHERE place = 1")[0]["n"] == 50


def test_names_that_differ_in_case_or_composition_are_different_files(service):
    composed, taken_apart = (unicodedata.normalize(form, "mill/é.csv") for form in ("NFC", "NFD"))
    service.put("mast/air.csv", air_file(0, AIR))
    service.start()
    for k, path in enumerate(("mill/Data.csv", "mill/DATA.csv", composed, taken_apart)):
        service.put(path, water_file(k * 5, 5))
        service.wait_for_path(path, TAKEN)
    service.put(taken_apart, water_file(10, 5))  # what the other one of the two holds
    service.wait_for_path(taken_apart, REPEATED)
    service.wait_for_rest()
    service.stop()
    assert_rows(service, 20)
    originals = [row["original"] for row in service.ask("SELECT original FROM drop_ WHERE place = 1")]
    assert len(set(map(str.lower, originals))) == 4  # also on a disk that knows no case


def test_placeholders_and_names_of_half_files_wait_or_count_for_nothing(tmp_path):
    settings = small_settings(settle="0.2 s").replace("rescan: 10 min}", 'rescan: 1 s, ignore: ["*.draft", "mill/scratch/**"]}')
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        service.put("mast/air.csv", air_file(0, AIR))
        service.start()
        service.put("mill/water.csv.nextcloud", " ")
        service.wait_for_path("mill/water.csv.nextcloud", WAITING, "placeholder")
        service.put("mill/empty.csv", "")
        service.wait_for_path("mill/empty.csv", WAITING, "empty")
        half = ("mill/.water.csv.a1B2c3", "mill/water.csv.partial", "mill/.syncthing.water.csv.tmp", "mill/~$water.csv",
                "mill/water.csv.filepart", "mill/water.csv~", "mill/.~tmp~/water.csv", "mill/a.draft", "mill/scratch/a.csv")
        for name in half:
            service.put(name, water_file(50, 7))
        service.put("mill/water.csv", water_file(0, 10))
        (service.inbox / "mill/water.csv.nextcloud").unlink()
        service.wait_for_path("mill/water.csv", TAKEN)
        service.put("mill/empty.csv", water_file(10, 10))
        service.wait_for_path("mill/empty.csv", TAKEN)
        service.wait_until(lambda: len(finished_times(service)) == 20, "both files in the record")
        service.stop()
        known = {os.fsdecode(row["path"]) for row in service.ask("SELECT path FROM path")}
        assert not known & set(half)
        assert_rows(service, 20)
