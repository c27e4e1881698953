# SPDX-License-Identifier: MIT
"""The package on a fresh Debian with a service manager of its own: installed, started, upgraded, removed, purged.

The machine is made by debootstrap from where this one has its packages, and runs in namespaces: what is done there stays
there."""
import json
import os
import pathlib
import re
import shutil
import signal
import subprocess
import time

import pytest

from daemon import LIMIT, ROOT, binary

BUILD = pathlib.Path(binary()).parent
EXAMPLE = "/usr/share/doc/rillward/examples/first-hour"
WORDS = ("pid", "mount", "uts", "ipc", "cgroup")
UNSHARE = ["unshare", *(f"--{word}" for word in WORDS), "--fork", "--kill-child", "--propagation", "private"]
NOT_PLAIN = "SANITIZE:STRING=\n" not in (BUILD / "CMakeCache.txt").read_text()


def can_have_a_machine():
    return (os.geteuid() == 0 and shutil.which("debootstrap") and shutil.which("cpack") and
            subprocess.run([*UNSHARE, "mount", "-t", "cgroup2", "cgroup2", "/sys/fs/cgroup"], capture_output=True).returncode == 0)


pytestmark = [pytest.mark.skipif(NOT_PLAIN, reason="a build with sanitizers does not live under the unit's limits"),
              pytest.mark.skipif(not can_have_a_machine(), reason="no debootstrap, or no namespaces for a machine of its own")]


class Machine:
    def __init__(self, root):
        self.root = root
        self.outside = subprocess.Popen([*UNSHARE, "bash", ROOT / "tests/support/machine.sh", root])
        children = pathlib.Path(f"/proc/{self.outside.pid}/task/{self.outside.pid}/children")
        self.first = wait_for(lambda: children.read_text().split(), "the first process")[0]
        wait_for(lambda: (root / "run/systemd/system").exists() or self.has_manager(), "the service manager")
        wait_for(lambda: self.run("systemctl", "is-system-running", expected=None).stdout.strip() in ("running", "degraded"), "its start")

    def has_manager(self):
        return pathlib.Path(f"/proc/{self.first}/comm").read_text().strip() == "systemd"

    def run(self, *words, expected=0):
        inside = ["nsenter", "-t", self.first, "-a", "-r", "-w", "env", "DEBIAN_FRONTEND=noninteractive", *map(str, words)]
        done = subprocess.run(inside, capture_output=True, text=True, timeout=10 * LIMIT)
        assert expected is None or done.returncode == expected, f"{words}: {done.returncode}\n{done.stdout}{done.stderr}"
        return done

    def shell(self, script):
        return self.run("bash", "-ec", script).stdout

    def state(self):
        return self.run("systemctl", "show", "rillward", "-p", "ActiveState", "--value").stdout.strip()

    def service_pid(self):
        return int(self.run("systemctl", "show", "rillward", "-p", "MainPID", "--value").stdout)

    def status(self):
        done = self.run("runuser", "-u", "rillward", "--", "rillward", "status", "-c", "/etc/rillward/rillward.yaml", "--json", expected=None)
        assert done.returncode in (0, 1), done.stderr
        return json.loads(done.stdout)

    def drops(self):
        return self.status()["counts"]["drops"]

    def facts(self):
        """What must outlive everything: settings, state and archive, by path, owner and content."""
        return self.shell("cd /; find etc/rillward var/lib/rillward srv/archive -type f ! -name '*-wal' ! -name '*-shm' ! -name lock"
                          " ! -name reading -printf '%u %m %p ' -exec sha256sum {} \\; | sort")

    def end(self):
        self.outside.kill()  # the machine ends with it
        self.outside.wait()


def wait_for(condition, what):
    end = time.monotonic() + LIMIT
    while not (found := condition()):
        assert time.monotonic() < end, f"waited in vain for {what}"
        time.sleep(0.05)
    return found


def pack(target):
    target.mkdir()
    subprocess.run(["cpack", "-G", "DEB", "-B", target], cwd=BUILD, check=True, stdout=subprocess.DEVNULL)
    return next(target.glob("*.deb"))


def with_version(package, version, folder):
    """The same package as a later version."""
    subprocess.run(["dpkg-deb", "-R", package, folder], check=True)
    control = folder / "DEBIAN/control"
    control.write_text(re.sub(r"^Version: .*$", f"Version: {version}", control.read_text(), flags=re.M))
    later = folder.with_suffix(".deb")
    subprocess.run(["dpkg-deb", "--root-owner-group", "-b", folder, later], check=True, stdout=subprocess.DEVNULL)
    return later


@pytest.fixture(scope="module")
def packages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("packages")
    package = pack(folder / "built")
    return package, with_version(package, "99.0-1", folder / "later")


@pytest.fixture(scope="module")
def machine(tmp_path_factory, packages):
    root = tmp_path_factory.mktemp("machine") / "root"
    sources = subprocess.run(["apt-get", "indextargets", "--format", "$(REPO_URI)", "Created-By: Packages"],
                             capture_output=True, text=True, check=True).stdout.split()
    made = subprocess.run(["debootstrap", "--variant=minbase", "--include=systemd,systemd-sysv,dbus", "bookworm", root, sources[0]],
                          capture_output=True, text=True)
    assert made.returncode == 0, made.stdout[-2000:] + made.stderr[-2000:]
    for package in packages:
        shutil.copy(package, root / "opt" / package.name)
    result = Machine(root)
    yield result
    result.end()


def test_installed_it_starts_nothing_and_owns_its_folders(machine, packages):
    machine.run("apt-get", "update")
    machine.run("apt-get", "install", "-y", "--no-install-recommends", f"/opt/{packages[0].name}")
    assert machine.state() == "inactive"
    listed = machine.run("stat", "-c", "%U %G %a %n", "/etc/rillward", "/var/lib/rillward", "/run/rillward").stdout.splitlines()
    assert listed == ["root rillward 750 /etc/rillward", "rillward rillward 750 /var/lib/rillward", "rillward rillward 755 /run/rillward"]


def test_it_serves_under_the_unit_as_the_readme_says(machine):
    """A synced folder of another group, an archive elsewhere: the drop-in that README and the unit show."""
    machine.shell(f"""
        groupadd crews
        install -d -o root -g crews -m 2750 /srv/inbox
        install -d -o rillward -g rillward /srv/archive
        sed -e 's#^inbox: .*#inbox: /srv/inbox#; s#^archive: .*#archive: /srv/archive#; s#^state: .*#state: /var/lib/rillward#' \
            {EXAMPLE}/rillward.yaml >/etc/rillward/rillward.yaml
        echo 'metrics: {{file: /run/rillward/rillward.prom}}' >>/etc/rillward/rillward.yaml
        install -d /etc/systemd/system/rillward.service.d
        printf '[Service]\\nSupplementaryGroups=crews\\nReadWritePaths=/srv/archive\\n' \
            >/etc/systemd/system/rillward.service.d/override.conf
        systemctl daemon-reload
        runuser -u rillward -- rillward check -c /etc/rillward/rillward.yaml
        systemctl enable --now rillward""")
    assert machine.state() == "active"
    machine.shell(f"cp {EXAMPLE}/files/creek.csv {EXAMPLE}/files/hill.csv /srv/inbox/; chmod 640 /srv/inbox/*")
    record = machine.root / "srv/archive/stations/creek/2026"
    wait_for(lambda: list(record.glob("*.csv")), "the record")
    wait_for(lambda: "rillward_" in machine.run("cat", "/run/rillward/rillward.prom", expected=None).stdout, "the metrics")
    journal = [json.loads(line) for line in machine.run("journalctl", "-u", "rillward", "-o", "json").stdout.splitlines()]
    assert "creek.csv" in {entry.get("RILLWARD_DROP") for entry in journal if entry.get("RILLWARD_OUTCOME") == "taken"}
    exposure = machine.run("systemd-analyze", "security", "rillward", "--no-pager").stdout
    assert float(re.search(r"exposure level for rillward\.service: ([0-9.]+)", exposure)[1]) <= 1.5, exposure


def test_the_service_cannot_write_elsewhere(machine):
    """The inbox and the rest of the machine are out of reach of the process itself, whatever it would try."""
    pid = machine.service_pid()
    inside = f"nsenter -t {pid} -m -- setpriv --reuid rillward --regid rillward --init-groups --inh-caps=-all touch"
    for path in ("/srv/inbox/a", "/usr/a", "/etc/rillward/a", "/home/a"):
        assert machine.run("bash", "-c", f"{inside} {path}", expected=None).returncode != 0, path
    machine.shell(f"{inside} /srv/archive/.a && rm /srv/archive/.a")


def test_it_reloads_and_comes_back_by_itself(machine):
    machine.shell("sed -i 's/^network:.*/network: {id: sallow-reach, name: Sallow reach and creek}/' /etc/rillward/rillward.yaml;"
                  "systemctl reload rillward")
    page = machine.root / "srv/archive/index.html"
    wait_for(lambda: "Sallow reach and creek" in page.read_text(), "the name on the page")
    before = machine.service_pid()
    machine.run("kill", "-9", before)
    wait_for(lambda: machine.state() == "active" and machine.service_pid() not in (0, before), "the restart")
    machine.shell(f"cp {EXAMPLE}/files/creek_2.csv /srv/inbox/; chmod 640 /srv/inbox/*")
    wait_for(lambda: machine.drops() == 3, "the next drop")


def test_one_that_hangs_is_ended_by_the_watchdog(machine):
    machine.shell("printf '[Service]\\nWatchdogSec=2s\\nTimeoutAbortSec=1s\\n' >/etc/systemd/system/rillward.service.d/watchdog.conf;"
                  "systemctl daemon-reload; systemctl restart rillward")
    before = machine.service_pid()
    machine.run("kill", f"-{signal.SIGSTOP.value}", before)
    wait_for(lambda: machine.service_pid() not in (0, before) and machine.state() == "active", "another process")
    machine.shell("rm /etc/systemd/system/rillward.service.d/watchdog.conf; systemctl daemon-reload; systemctl restart rillward")


def test_an_upgrade_restarts_it_and_keeps_everything(machine, packages):
    before, facts = machine.service_pid(), machine.facts()
    machine.run("apt-get", "install", "-y", f"/opt/{packages[1].name}")
    assert machine.state() == "active" and machine.service_pid() != before
    assert machine.drops() == 3
    assert machine.facts() == facts
    # The settings are wrong for the later version: the former goes on.
    machine.shell("cp -a /etc/rillward/rillward.yaml /root/; echo 'nonsense: 1' >>/etc/rillward/rillward.yaml")
    running = machine.service_pid()
    said = machine.run("apt-get", "install", "-y", "--reinstall", f"/opt/{packages[1].name}")
    assert "the settings need a change" in said.stderr + said.stdout
    assert machine.service_pid() == running and machine.state() == "active"
    machine.shell("cp -a /root/rillward.yaml /etc/rillward/")


def test_removed_and_purged_it_leaves_data_and_settings(machine):
    machine.run("systemctl", "stop", "rillward")  # what a stop writes is written
    facts = machine.facts()
    for path in ("srv/archive/index.html", "etc/rillward/rillward.yaml", "var/lib/rillward/rillward.db"):
        assert f" {path} " in facts, facts
    machine.run("systemctl", "start", "rillward")
    machine.run("apt-get", "remove", "-y", "rillward")
    assert machine.state() in ("inactive", "failed") and not (machine.root / "usr/bin/rillward").exists()
    machine.run("apt-get", "purge", "-y", "rillward")
    assert machine.facts() == facts
    assert machine.run("getent", "passwd", "rillward").stdout.startswith("rillward:")


def test_installed_again_it_goes_on_where_it_was(machine, packages):
    machine.run("apt-get", "install", "-y", f"/opt/{packages[0].name}")
    machine.run("systemctl", "enable", "--now", "rillward")
    assert machine.state() == "active" and machine.drops() == 3
    machine.run("runuser", "-u", "rillward", "--", "rillward", "verify", "-c", "/etc/rillward/rillward.yaml")
