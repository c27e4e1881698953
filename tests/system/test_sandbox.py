# SPDX-License-Identifier: MIT
"""The running service reaches the folders of its settings and nothing else, and goes on doing its work there."""
import ctypes
import os

import pytest

from daemon import (SECRET, SMALL_NOW, TAKEN, Service, air_file, finished_times, free_port, make_sample, sample_service,
                    small_settings, wait_until, water_file)

HAS_LANDLOCK = ctypes.CDLL(None).syscall(444, None, 0, 1) > 0
needs_landlock = pytest.mark.skipif(not HAS_LANDLOCK, reason="this kernel offers no Landlock")


def settings_that_tell(port):
    rest = (f"recipients:\n  on-call: {{webhook: \"http://127.0.0.1:{port}/\", secret: {{file: hook.secret}},"
            " allow_private_address: true}\n")
    return small_settings(tell="[on-call]", rest=rest)


@pytest.fixture
def service(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_that_tell(port), SMALL_NOW) as result:
        result.start_receiver(port=port)
        yield result


def test_the_log_tells_what_protects(service):
    service.start()
    service.stop()
    assert ("in a sandbox (Landlock" if HAS_LANDLOCK else "the unit's protections are all there is") in service.log_text()
    with open(service.settings, "a", encoding="utf-8") as file:
        file.write("sandbox: off\n")
    already = len(service.log_text())
    service.start()
    service.stop()
    assert "sandbox" not in service.log_text(already)


def test_work_goes_on_inside(service):
    """Archive and database are written, a notice is signed with the secret and delivered, and a reload is taken."""
    service.start()
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.wait_for_rest()
    service.change_settings("limit: 25 degC", "limit: 5 degC")
    service.hang_up()
    service.wait_for_log("settings were read again")
    service.put("mill/b.csv", water_file(10, 10))
    wait_until(service.requests, "a notice at the receiver")
    service.wait_for_rest()
    service.stop()
    assert len(finished_times(service)) == 20
    assert "0 findings" in service.verify(expected=0)


def test_a_secret_that_is_replaced_by_another_file_counts(service):
    service.start()
    beside = service.folder / "beside"
    beside.write_text(SECRET + "\n")
    beside.chmod(0o600)
    beside.rename(service.folder / "hook.secret")
    service.change_settings("limit: 25 degC", "limit: 5 degC")
    service.hang_up()
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    wait_until(service.requests, "a notice at the receiver")
    service.stop()


@needs_landlock
def test_what_a_link_of_later_leads_to_is_out_of_reach(service, tmp_path):
    """The secret becomes a link to a file elsewhere that the account could read: the kernel says no."""
    elsewhere = tmp_path / "elsewhere/deep"
    elsewhere.mkdir(parents=True)
    (elsewhere / "secret").write_text(SECRET + "\n")
    (elsewhere / "secret").chmod(0o600)
    service.change_settings("limit: 25 degC", "limit: 5 degC")
    service.start()
    os.remove(service.folder / "hook.secret")
    os.symlink(elsewhere / "secret", service.folder / "hook.secret")
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.wait_for_log("Permission denied")
    assert service.requests() == []
    service.stop()


@needs_landlock
def test_a_reload_that_changes_folders_is_refused_with_the_cure(service, tmp_path):
    service.start()
    service.change_settings("archive: archive", f"archive: {tmp_path}/other")
    service.hang_up()
    service.wait_for_log("restart to change folders")
    assert f"'{tmp_path}/other' lies outside" in service.log_text() and not (tmp_path / "other").exists()
    service.put("mill/a.csv", water_file(0, 10))  # the running settings go on
    service.wait_for_path("mill/a.csv", TAKEN)
    already = len(service.log_text())
    service.change_settings(f"archive: {tmp_path}/other", "archive: archive")
    service.hang_up()
    service.wait_for_log("settings were read again", already)
    service.stop()
    service.change_settings("archive: archive", f"archive: {tmp_path}/other")
    service.start()  # a start may
    service.stop()


@needs_landlock
def test_an_archive_folder_that_is_replaced_ends_the_service_for_a_new_start(service):
    """As after a disk was mounted over it: its rules are tied to the folder of the start."""
    service.start()
    service.put("mill/a.csv", water_file(0, 10))
    service.put("mast/a.csv", air_file(0, 40))
    service.wait_for_rest()
    service.archive.rename(service.folder / "archive-before")
    service.archive.mkdir()
    service.put("mill/b.csv", water_file(10, 10))
    assert wait_until(lambda: service.process.poll() is not None, service.last_lines)
    assert service.process.returncode == 1
    service.process = None
    assert "the service manager starts the service again" in service.log_text()
    service.start()
    service.wait_for_rest()
    service.stop()
    assert len(finished_times(service)) == 20


def test_the_sample_network_is_worked_through_inside(tmp_path):
    sample = make_sample(tmp_path / "sample", "--quick")
    with sample_service(tmp_path / "work") as service:
        service.start()
        service.deliver(sample)
        service.wait_for_rest()
        service.stop()
        assert "0 findings" in service.verify(expected=0)
        assert ("in a sandbox" in service.log_text()) == HAS_LANDLOCK
        assert "Permission denied" not in service.log_text()
