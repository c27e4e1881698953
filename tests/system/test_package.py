# SPDX-License-Identifier: MIT
"""The Debian package, the unit and the manual: built from this build folder, looked into, and run from an unpacked copy."""
import gzip
import os
import pathlib
import re
import shutil
import subprocess

import pytest

from daemon import ROOT, binary

BUILD = pathlib.Path(binary()).parent
SCRIPTS = ("postinst", "prerm", "postrm")
NOT_PLAIN = "SANITIZE:STRING=\n" not in (BUILD / "CMakeCache.txt").read_text()


def run(*words, expected=0, **options):
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, **options)
    assert done.returncode == expected, f"{words}: {done.returncode}\n{done.stdout}{done.stderr}"
    return done.stdout


def pack(build, target, **options):
    target.mkdir()
    run("cpack", "-G", "DEB", "-B", target, cwd=build, **options)
    packages = list(target.glob("*.deb"))
    assert len(packages) == 1, packages
    return packages[0]


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    return pack(BUILD, tmp_path_factory.mktemp("package") / "a")


@pytest.fixture(scope="module")
def unpacked(package, tmp_path_factory):
    folder = tmp_path_factory.mktemp("unpacked")
    run("dpkg-deb", "-x", package, folder / "root")
    run("dpkg-deb", "-e", package, folder / "control")
    return folder


def test_it_holds_what_an_operator_needs(package, unpacked):
    root = unpacked / "root/usr"
    for path in ("bin/rillward", "lib/systemd/system/rillward.service", "lib/sysusers.d/rillward.conf",
                 "lib/tmpfiles.d/rillward.conf", "share/man/man1/rillward.1.gz", "share/man/man5/rillward.yaml.5.gz",
                 "share/bash-completion/completions/rillward", "share/doc/rillward/README.md",
                 "share/doc/rillward/copyright", "share/doc/rillward/examples/full.yaml",
                 "share/doc/rillward/examples/stations.d/lower-sallow.yaml"):
        assert (root / path).is_file(), path
    assert [p.name for p in (unpacked / "root").iterdir()] == ["usr"], "no settings, no state, no archive in it"
    for line in run("dpkg-deb", "-c", package).splitlines():
        mode, owner, path = line.split()[0], line.split()[1], line.split()[5]
        assert owner == "root/root", line
        assert mode == ("-rwxr-xr-x" if path == "./usr/bin/rillward" else "drwxr-xr-x" if path.endswith("/") else "-rw-r--r--"), line
    control = (unpacked / "control/control").read_text()
    for word in ("libc6", "libsqlite3-0", "libcurl4", "libyaml-0-2", "ca-certificates", "tzdata"):
        assert re.search(rf"^Depends:.*\b{word}\b", control, re.M), f"{word}: {control}"


def test_the_unpacked_program_runs(unpacked):
    program, examples = unpacked / "root/usr/bin/rillward", unpacked / "root/usr/share/doc/rillward/examples"
    assert re.fullmatch(r"rillward \d+\.\d+\.\d+\n", run(program, "--version"))
    for example in sorted(examples.glob("*.yaml")):
        run(program, "check", "-c", example)


def test_install_by_cmake_gives_the_same_files(unpacked, tmp_path):
    run("cmake", "--install", BUILD, "--prefix", tmp_path / "usr", "--strip")
    # Debian's own additions, and its compression, aside.
    packed = {str(p.relative_to(unpacked / "root")): p for p in (unpacked / "root").rglob("*") if p.is_file()}
    plain = {str(p.relative_to(tmp_path)): p for p in (tmp_path / "usr").rglob("*") if p.is_file()}
    assert {re.sub(r"(/man/.*)\.gz$", r"\1", name) for name in packed} - set(plain) == {
        "usr/share/doc/rillward/copyright", "usr/share/doc/rillward/changelog.Debian.gz"}
    for name, path in plain.items():
        content = packed[name].read_bytes() if name in packed else gzip.decompress(packed[name + ".gz"].read_bytes())
        assert content == path.read_bytes(), name


def test_maintainer_scripts_are_careful(unpacked):
    for name in SCRIPTS:
        path = unpacked / "control" / name
        assert os.access(path, os.X_OK)
        run("dash", "-n", path)
        text = path.read_text()
        assert "set -e" in text and "systemctl enable" not in text.replace("systemctl enable --now rillward)", ""), name
        assert not re.search(r"\brm\s|/var/lib|userdel|systemctl start", text), f"{name} touches what is the operator's"


def test_scripts_leave_settings_and_data_alone(unpacked, tmp_path):
    """Run with a small machine around them: /etc/rillward is a folder of ours, the system's commands only write down."""
    etc, log, commands = tmp_path / "etc", tmp_path / "log", tmp_path / "bin"
    etc.mkdir()
    commands.mkdir()
    for name in ("systemctl", "systemd-sysusers", "systemd-tmpfiles", "rillward"):
        (commands / name).write_text(f"#!/bin/sh\necho {name} \"$@\" >>{log}\n")
        (commands / name).chmod(0o755)

    def script(name, *arguments):
        text = (unpacked / "control" / name).read_text()
        text = text.replace("/etc/rillward", str(etc)).replace("/run/systemd/system", str(tmp_path))
        log.unlink(missing_ok=True)
        run("dash", "-c", text, name, *arguments, env={**os.environ, "PATH": f"{commands}:{os.environ['PATH']}"})
        return log.read_text().splitlines() if log.exists() else []

    first = script("postinst", "configure", "")
    assert first[0] == "systemd-sysusers rillward.conf" and "systemctl --system daemon-reload" in first
    assert not any("restart" in line or "enable" in line for line in first)
    upgraded = script("postinst", "configure", "0.0.9-1")
    assert upgraded.index(f"rillward check -c {etc}/rillward.yaml") < upgraded.index("systemctl restart rillward.service")
    assert script("prerm", "upgrade", "0.2") == [] and len(script("prerm", "remove")) == 1
    (etc / "rillward.yaml").write_text("mine")
    script("postrm", "remove")
    script("postrm", "purge")
    assert (etc / "rillward.yaml").read_text() == "mine"
    (etc / "rillward.yaml").unlink()
    script("postrm", "remove")
    assert etc.exists()
    script("postrm", "purge")
    assert not etc.exists()


def test_packed_twice_it_is_the_same_bytes(package, tmp_path):
    again = pack(BUILD, tmp_path / "b", env={**os.environ, "TZ": "Asia/Kolkata", "LC_ALL": "C"})
    assert again.name == package.name and again.read_bytes() == package.read_bytes()


@pytest.mark.skipif(NOT_PLAIN, reason="a build with sanitizers carries paths of its own")
def test_built_elsewhere_the_program_is_the_same_bytes(unpacked, tmp_path):
    source = tmp_path / "a source elsewhere"
    for name in ("CMakeLists.txt", "README.md", "daemon", "systemd", "config-examples"):
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        copy(ROOT / name, source / name) if source.exists() else (source.mkdir(), copy(ROOT / name, source / name))
    cache = (BUILD / "CMakeCache.txt").read_text()
    compiler = re.search(r"^CMAKE_C_COMPILER:\w+=(.*)$", cache, re.M)[1]
    run("cmake", "-S", source, "-B", tmp_path / "build", "-G", "Ninja", "-DTESTS=OFF", f"-DCMAKE_C_COMPILER={compiler}")
    run("cmake", "--build", tmp_path / "build", "--target", "rillward")
    run("strip", "-o", tmp_path / "stripped", tmp_path / "build/rillward")
    assert (tmp_path / "stripped").read_bytes() == (unpacked / "root/usr/bin/rillward").read_bytes()


@pytest.mark.skipif(not shutil.which("lintian"), reason="lintian is not installed")
def test_the_distribution_s_checker_finds_no_errors(package):
    told = subprocess.run(["lintian", "--fail-on", "error", "--allow-root", str(package)], capture_output=True, text=True)
    assert told.returncode == 0 and not re.search(r"^E:", told.stdout, re.M), told.stdout + told.stderr


@pytest.mark.skipif(not shutil.which("man"), reason="man-db is not installed")
def test_manual_pages_are_sound(unpacked):
    for page in ("man1/rillward.1.gz", "man5/rillward.yaml.5.gz"):
        path = unpacked / "root/usr/share/man" / page
        done = subprocess.run(["man", "--warnings", "-l", str(path)], capture_output=True, text=True,
                              env={**os.environ, "MANWIDTH": "100", "LC_ALL": "C.UTF-8"})
        assert done.returncode == 0 and done.stderr == "", done.stderr
        assert "NAME" in done.stdout and "CAUTIONS" in done.stdout
    assert "standard_time" in done.stdout and "psi" in done.stdout


def test_completion_completes(unpacked):
    completion = unpacked / "root/usr/share/bash-completion/completions/rillward"

    def complete(*words):
        script = (f"source {completion}; COMP_WORDS=({' '.join(repr(w) for w in words)}); COMP_CWORD={len(words) - 1};"
                  " compopt() { :; }; _rillward; echo \"${COMPREPLY[@]}\"")
        return run("bash", "-c", script, cwd=ROOT / "config-examples").split()
    assert complete("rillward", "sta") == ["status"] and "backup" in complete("rillward", "")
    assert complete("rillward", "status", "--js") == ["--json"]
    assert complete("rillward", "status", "-c", "min") == ["minimal.yaml"]
    assert complete("rillward", "serve", "--clock", "") == []


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd is not installed")
def test_the_unit_keeps_its_protections():
    told = run("systemd-analyze", "security", "--offline=true", ROOT / "systemd/rillward.service")
    level = float(re.search(r"Overall exposure level for rillward.service: ([0-9.]+)", told)[1])
    assert level <= 1.3, told
