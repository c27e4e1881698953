# SPDX-License-Identifier: MIT
"""A finished month as a bag, judged by the rules of RFC 8493 and by sha256sum; and what `verify` finds in the archive."""
import hashlib
import re
import subprocess

import pytest

from daemon import LIMIT, Service, air_file, binary, months, small_settings, water_file

NOW = "2026-06-05T12:00:00Z"
LINE = re.compile(r"([0-9a-f]{64})  ([A-Za-z0-9._/-]+)\n")


@pytest.fixture
def service(tmp_path):
    with Service(tmp_path / "work", small_settings(settle="0 s"), NOW) as opened:
        opened.put("mill/water.csv", water_file(72, 300))
        opened.put("mast/air.csv", air_file(0, 400))
        opened.run("once", "-c", opened.settings, "--clock", NOW)
        yield opened


def bag(service, *words, now=NOW, expected=0):
    return service.run("bag", "-c", service.settings, "--clock", now, *words, expected=expected)


def faults(folder):
    """What is against RFC 8493, each in a few words."""
    found = []
    if (folder / "bagit.txt").read_bytes() != b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n":
        found.append("declaration")
    for name, begins in (("manifest-sha256.txt", "data/"), ("tagmanifest-sha256.txt", "")):
        lines = (folder / name).read_text().splitlines(keepends=True)
        listed = dict(reversed(LINE.fullmatch(line).groups()) for line in lines)
        if len(listed) != len(lines) or not all(path.startswith(begins) for path in listed):
            found.append(f"lines of {name}")
        for path, digest in listed.items():
            if not (folder / path).is_file() or hashlib.sha256((folder / path).read_bytes()).hexdigest() != digest:
                found.append(f"bytes of {path}")
        present = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
        wanted = ({path for path in present if path.startswith("data/")} if begins else
                  {path for path in present if not path.startswith("data/")} - {name})
        if wanted != set(listed):
            found.append(f"files beside {name}")
    payload = [path for path in (folder / "data").rglob("*") if path.is_file()]
    info = dict(line.split(": ", 1) for line in (folder / "bag-info.txt").read_text().splitlines())
    if info["Payload-Oxum"] != f"{sum(path.stat().st_size for path in payload)}.{len(payload)}":
        found.append("Payload-Oxum")
    return found


def test_a_finished_month_is_a_valid_bag_with_its_originals(service, tmp_path):
    target = tmp_path / "bag"
    assert "revision 1, provisional" in bag(service, "mill-pond", "2026-05", target).stdout
    assert faults(target) == []
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        assert subprocess.run(["sha256sum", "-c", "--strict", "--quiet", manifest], cwd=target).returncode == 0
    packed = {str(path.relative_to(target / "data")) for path in target.rglob("data/**/*") if path.is_file()}
    month = {str(path.relative_to(service.archive)) for path in service.archive.glob("stations/mill-pond/2026/*_2026-05*")}
    assert month < packed and len(month) >= 5 and "about.txt" in packed
    original = next(path for path in packed if path.startswith("stations/mill-pond/originals/"))
    assert (target / "data" / original).read_text() == water_file(72, 300)
    info = (target / "bag-info.txt").read_text()
    assert "External-Identifier: small-mill/mill-pond/2026-05/1\n" in info and "Bagging-Date: 2026-06-05\n" in info
    assert bag(service, "mill-pond", "2026-05", target, expected=2).stderr  # never over another one


def test_the_check_finds_what_is_wrong_with_a_bag(service, tmp_path):
    target = tmp_path / "bag"
    bag(service, "mill-pond", "2026-05", target)
    table = next(target.glob("data/stations/mill-pond/2026/*_2026-05.csv"))
    table.write_bytes(table.read_bytes()[:-1] + b"x")
    (target / "data/foreign.txt").write_text("x")
    assert {fault.split(" ")[0] for fault in faults(target)} == {"bytes", "files", "Payload-Oxum"}


@pytest.mark.parametrize("words, now", [(("mill-pond", "2026-05"), "2026-05-20T00:00:00Z"), (("mill-pond", "2026-04"), NOW),
                                        (("no-pond", "2026-05"), NOW), (("mill-pond", "May"), NOW)])
def test_what_is_no_finished_month_is_refused(service, tmp_path, words, now):
    told = bag(service, *words, tmp_path / "bag", now=now, expected=2).stderr
    assert re.search("not over|no record|no station|no month", told)
    assert not (tmp_path / "bag").exists()


def test_no_bag_is_made_of_changed_files_or_inside_the_archive(service, tmp_path):
    assert "outside" in bag(service, "mill-pond", "2026-05", service.archive / "bag", expected=2).stderr
    table = months(service, "mill-pond")[0]
    table.write_bytes(table.read_bytes().replace(b"1", b"2", 1))
    assert "verify" in bag(service, "mill-pond", "2026-05", tmp_path / "bag", expected=2).stderr
    assert not (tmp_path / "bag").exists()


def test_verify_finds_one_flipped_bit_one_missing_and_one_foreign_file(service):
    assert "0 findings" in service.run("verify", "-c", service.settings, expected=0).stdout
    table = months(service, "mill-pond")[0]
    whole = table.read_bytes()
    for place in (0, len(whole) // 2, len(whole) - 1):
        table.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1:])
        told = service.run("verify", "-c", service.settings, expected=1).stdout
        assert f"changed: {table.relative_to(service.archive)}" in told and "1 findings" in told
    table.write_bytes(whole)
    original = next(service.archive.glob("stations/mill-pond/originals/*"))
    kept = original.read_bytes()
    original.unlink()
    assert f"missing: {original.relative_to(service.archive)}" in service.run("verify", "-c", service.settings,
                                                                                expected=1).stdout
    original.write_bytes(kept)
    foreign = service.archive / "stations/mill-pond/2026/notes.txt"
    foreign.write_text("x")
    assert "foreign: stations/mill-pond/2026/notes.txt" in service.run("verify", "-c", service.settings, expected=1).stdout
    foreign.unlink()
    assert "0 findings" in service.run("verify", "-c", service.settings, expected=0).stdout


def test_verify_gives_what_is_on_its_way_its_time(service):
    """As beside a running service: a place's manifest is new, the one that lists it is written a moment later."""
    top = service.archive / "manifest-sha256.txt"
    whole = top.read_bytes()
    service.change_facts("INSERT INTO manifest_due VALUES(0)")
    top.write_bytes(whole.replace(b"0", b"1"))
    check = subprocess.Popen([binary(), "verify", "-c", str(service.settings)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    top.write_bytes(whole)
    service.change_facts("DELETE FROM manifest_due")
    out, err = check.communicate(timeout=LIMIT)
    assert check.returncode == 0 and "0 findings" in out and err == "", out + err
