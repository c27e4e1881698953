# SPDX-License-Identifier: MIT
"""Notices reach people through real servers, whatever these servers do, and each receiver can tell a repeat."""
import email
import email.policy
import json
import subprocess

import pytest

from daemon import (ROOT, SMALL_NOW, SUPPORT, TAKEN, Service, air_file, free_port, later, milliseconds, small_settings,
                    water_file, water_rows)

DELIVERED, DUE = 1, 0
SCHEMA = ROOT / "config-examples/notice.schema.json"
HOOK = 'hook: {{webhook: "http://127.0.0.1:{port}{path}", secret: {{file: hook.secret}}, allow_private_address: true}}'
MAIL = "desk: {mail: desk@example.org}"
PLAIN_MAIL = ("mail: {{server: 127.0.0.1, port: {port}, security: plain, from: rillward@example.org,"
              " hello_name: watch.example.org}}\n")


def settings_for(*recipients, mail=""):
    ids = ", ".join(recipient.split(":")[0] for recipient in recipients)
    people = "recipients:\n" + "".join(f"  {recipient}\n" for recipient in recipients)
    return small_settings(tell=f"[{ids}]", rest=people + mail)


def hook(port, path="/ok"):
    return HOOK.format(port=port, path=path)


def safe_hook(port, authority):
    plain = hook(port).replace("http://127.0.0.1", "https://localhost")
    return plain.removesuffix("}") + f', ca_file: "{authority}"}}'


def make_news(service, hours=(1,)):
    """One episode of warm water in each of these hours of the day: raised and, with the next rows, ended."""
    rows = [27.0 if row // 12 in hours else 12.0 for row in range(12 * (max(hours) + 2))]
    content = water_file(0, 0) + "".join(water_rows(row, 1, temperature) for row, temperature in enumerate(rows))
    service.put("mast/air.csv", air_file(0, len(rows)))
    service.put("mill/water.csv", content)


def notices(service, recipient=None):
    return [row for row in service.ask("SELECT * FROM notice ORDER BY id") if recipient in (None, row["recipient"])]


def wait_for_notices(service, count, state, recipient=None):
    def are_so():
        found = notices(service, recipient)
        return found if len(found) == count and all(row["state"] == state for row in found) else None
    return service.wait_until(
        are_so, lambda: f"{count} notices in state {state}: {[dict(row) for row in notices(service)]}")


def wait_for_answer(service, words, recipient="hook"):
    def last_answer():
        lines = {line["recipient"]: line for line in service.status()["outbox"]}
        return lines[recipient] if recipient in lines and words in lines[recipient]["last_answer"] else None
    return service.wait_until(last_answer, lambda: f"the answer '{words}': {service.status()['outbox']}")


def wait_for_attempts(service, count, least):
    """So many notices, each tried so often or more."""
    def are_tried():
        found = notices(service)
        return len(found) == count and all(row["attempts"] >= least for row in found)
    service.wait_until(are_tried, f"{count} notices tried {least} times")


def ids_sent(service):
    return [request["event"]["id"] for request in service.requests()]


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    folder = tmp_path_factory.mktemp("certificates")
    subprocess.run([str(SUPPORT / "make_certificate.sh"), str(folder)], check=True)
    return folder


def test_https_with_an_authority_of_ones_own(tmp_path, certificates):
    port = free_port()
    recipient = safe_hook(port, certificates / "ca.pem")
    with Service(tmp_path / "work", settings_for(recipient), SMALL_NOW) as service:
        service.start_receiver("--tls", certificates / "server.pem", certificates / "server.key", port=port)
        make_news(service)
        service.start()
        wait_for_notices(service, 1, DELIVERED)
        service.stop()
        request, = service.requests()
        assert request["signed"] and request["event"]["data"]["rule"]["id"] == "warm"
        assert request["event"]["data"]["worst"] == 27.4 and request["event"]["data"]["still_so"] is False


def test_an_authority_that_is_not_trusted_gets_nothing(tmp_path, certificates):
    port = free_port()
    recipient = safe_hook(port, certificates / "other-ca.pem")
    with Service(tmp_path / "work", settings_for(recipient), SMALL_NOW) as service:
        service.start_receiver("--tls", certificates / "server.pem", certificates / "server.key", port=port)
        make_news(service)
        service.start()
        line = wait_for_answer(service, "certificate")
        assert (line["delivered"], line["due"], line["given_up"]) == (0, 1, 0)
        assert service.run("status", "-c", service.settings).returncode == 1
        service.stop()
        assert service.requests() == []


def test_mail_with_starttls_and_a_login(tmp_path, certificates):
    port = free_port()
    mail = (f"mail: {{server: localhost, port: {port}, security: starttls, user: watch,"
            f' password: {{file: mail.secret}}, ca_file: "{certificates}/ca.pem", from: rillward@example.org,'
            " hello_name: watch.example.org}\n")
    with Service(tmp_path / "work", settings_for(MAIL, mail=mail), SMALL_NOW) as service:
        service.write_secret("mail.secret", "correct horse")
        commands = service.folder / "commands.log"
        service.start_mail("--security", "starttls", "--tls", certificates / "server.pem", certificates / "server.key",
                           "--auth", "watch:correct horse", "--log", commands, port=port)
        make_news(service)
        service.start()
        wait_for_notices(service, 1, DELIVERED)
        service.stop()
        content, = service.mails()
        message = email.message_from_bytes(content, policy=email.policy.default)
        assert message["To"] == "desk@example.org" and "Water warm" in message["Subject"]
        entries = [json.loads(line) for line in commands.read_text().splitlines()]
        assert [entry["command"] for entry in entries if entry["tls"]][:4] == ["EHLO", "MAIL", "RCPT", "DATA"]
        assert {entry["user"] for entry in entries if entry["command"] == "DATA"} == {"watch"}
        assert "correct horse" not in service.log_text()


def test_a_receiver_that_was_down_gets_each_notice_once(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port)), SMALL_NOW) as service:
        make_news(service, hours=(1, 3, 5))
        service.start()
        wait_for_attempts(service, 3, 1)
        wait_for_answer(service, "connect")
        service.start_receiver(port=port)
        told = wait_for_notices(service, 3, DELIVERED)
        service.stop()
        assert sorted(ids_sent(service)) == sorted(row["uid"] for row in told)
        assert all(row["attempts"] >= 2 for row in told)


def test_the_outbox_outlives_a_restart_and_a_kill(tmp_path):
    hook_port, mail_port = free_port(), free_port()
    settings = settings_for(hook(hook_port), MAIL, mail=PLAIN_MAIL.format(port=mail_port))
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        make_news(service, hours=(1, 3))
        service.start()
        wait_for_attempts(service, 4, 1)
        service.stop()
        kept = wait_for_notices(service, 4, DUE)
        service.start(now=later(SMALL_NOW, minutes=1))
        wait_for_attempts(service, 4, max(row["attempts"] for row in kept) + 1)
        service.kill()
        service.start_receiver(port=hook_port)
        service.start_mail(port=mail_port)
        service.start(now=later(SMALL_NOW, minutes=10))
        told = wait_for_notices(service, 4, DELIVERED)
        service.stop()
        assert [row["uid"] for row in told] == [row["uid"] for row in kept]
        assert ids_sent(service) == [row["uid"] for row in told if row["recipient"] == "hook"]
        assert len(service.mails()) == 2


def test_a_receiver_that_fails_first_is_asked_again_with_the_same_id(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port, "/fail/1/500")), SMALL_NOW) as service:
        service.start_receiver(port=port)
        make_news(service)
        service.start()
        told, = wait_for_notices(service, 1, DELIVERED)
        service.stop()
        first, second = service.requests()
        assert first["event"]["id"] == second["event"]["id"] == told["uid"] and first["body"] == second["body"]
        assert first["signed"] and second["signed"] and told["attempts"] == 2
        assert first["headers"]["webhook-timestamp"] < second["headers"]["webhook-timestamp"]


def test_a_receiver_that_asks_for_patience_gets_it(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port, "/busy/429/700")), SMALL_NOW) as service:
        service.start_receiver(port=port)
        make_news(service)
        service.start()
        wait_for_answer(service, "429")
        due, = wait_for_notices(service, 1, DUE)
        assert due["next_try"] >= milliseconds(SMALL_NOW) + 700_000
        service.stop()


def test_a_receiver_that_is_gone_is_asked_once_and_given_up(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port, "/status/410")), SMALL_NOW) as service:
        service.start_receiver(port=port)
        make_news(service)
        service.start()
        wait_for_notices(service, 1, 2)
        line = wait_for_answer(service, "410")
        assert (line["due"], line["given_up"]) == (0, 1)
        assert service.run("status", "-c", service.settings).returncode == 1
        service.stop()
        assert len(service.requests()) == 1


def test_a_webhook_that_hangs_delays_nobody_else(tmp_path):
    hook_port, other_port, mail_port = free_port(), free_port(), free_port()
    other = hook(other_port).replace("hook:", "other:", 1)
    settings = settings_for(hook(hook_port, "/hang"), other, MAIL, mail=PLAIN_MAIL.format(port=mail_port))
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        for port in (hook_port, other_port):
            service.start_receiver(port=port)
        service.start_mail(port=mail_port)
        make_news(service, hours=(1, 3))
        service.start()
        wait_for_notices(service, 2, DELIVERED, "desk")
        wait_for_notices(service, 2, DELIVERED, "other")
        service.put("mill/more.csv", water_file(200, 4))
        service.wait_for_path("mill/more.csv", TAKEN)
        assert [(row["state"], row["attempts"]) for row in notices(service, "hook")] == [(DUE, 0)] * 2
        service.stop()
        assert [request["path"] for request in service.requests()].count("/hang") == 1


def test_a_mail_server_that_hangs_delays_no_webhook(tmp_path):
    hook_port, mail_port = free_port(), free_port()
    with Service(tmp_path / "work", settings_for(hook(hook_port), MAIL, mail=PLAIN_MAIL.format(port=mail_port)),
                 SMALL_NOW) as service:
        service.start_receiver(port=hook_port)
        service.start_mail("--hang", "data", port=mail_port)
        make_news(service, hours=(1, 3))
        service.start()
        wait_for_notices(service, 2, DELIVERED, "hook")
        assert [(row["state"], row["attempts"]) for row in notices(service, "desk")] == [(DUE, 0)] * 2
        service.stop()


def test_a_mail_box_that_is_refused_is_given_up_and_shown(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(MAIL, mail=PLAIN_MAIL.format(port=port)), SMALL_NOW) as service:
        service.start_mail("--refuse", "desk@example.org", port=port)
        make_news(service)
        service.start()
        line = wait_for_answer(service, "550", "desk")
        assert line["delivered"] == 0 and line["due"] + line["given_up"] == 1
        service.stop()
        assert service.mails() == []


def test_what_a_mail_box_refuses_is_told_to_another_recipient(tmp_path):
    mail_port, hook_port = free_port(), free_port()
    settings = settings_for(MAIL, mail=PLAIN_MAIL.format(port=mail_port)) \
        .replace("recipients:\n", f"recipients:\n  {hook(hook_port)}\n") \
        .replace("\nrules:", "\nrules:\n  lost: {kind: undelivered, title: Notices do not get through, tell: [hook, desk]}", 1)
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        service.start_mail("--refuse", "desk@example.org", port=mail_port)
        service.start_receiver(port=hook_port)
        make_news(service)
        service.start()
        wait_for_notices(service, 1, DELIVERED, "hook")
        service.wait_for_rest()
        service.stop()
        event = service.requests()[0]["event"]["data"]
        assert event["station"]["id"] == "recipient desk" and event["rule"]["kind"] == "undelivered"
        pytest.importorskip("jsonschema").validate(service.requests()[0]["event"], json.loads(SCHEMA.read_text()))
        assert "given up" in json.dumps(event) and "550" not in json.dumps(event)
        page = (service.archive / "index.html").read_text(encoding="utf-8")
        assert "Notices do not get through" in page and "desk@example.org" not in page.split("<footer>")[0]
        assert [row["recipient"] for row in notices(service)].count("desk") == 1, "whom it does not reach is not told"


@pytest.mark.parametrize("spoil", [lambda path: path.unlink(), lambda path: path.chmod(0o644)], ids=["missing", "open"])
def test_without_a_secret_kept_safe_nothing_is_sent_unsigned(tmp_path, spoil):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port)), SMALL_NOW) as service:
        service.start_receiver(port=port)
        spoil(service.folder / "hook.secret")
        make_news(service)
        service.start()
        wait_for_answer(service, "hook.secret")
        service.stop()
        assert service.requests() == []


def test_an_alarm_tells_its_beginning_its_end_and_its_withdrawal(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port)), SMALL_NOW) as service:
        service.start_receiver(port=port)
        service.put("mill/a.csv", water_file(0, 120) + water_rows(120, 5, temperature=27.0))
        service.put("mast/a.csv", air_file(0, 200))
        service.start()
        wait_for_notices(service, 1, DELIVERED)
        service.put("mill/b.csv", water_file(125, 3))
        wait_for_notices(service, 2, DELIVERED)
        service.put("mill/c.csv", water_file(118, 12))  # the same rows again: they never were so warm
        wait_for_notices(service, 3, DELIVERED)
        service.stop()
        data = [request["event"]["data"] for request in service.requests()]
        assert [one["event"] for one in data] == ["raised", "returned", "withdrawn"]
        assert [one["still_so"] for one in data] == [True, False, False]
        assert "text" not in data[0] and data[2]["text"].startswith(
            "Why: temperature of 2026-05-02T10:15:00Z, told as 27.30 °C, is now 12."), data[2]
        assert "; what came later: the file 'mill/c.csv', at 2026-05-02T12:" in data[2]["text"]
        assert len({one["alarm"] for one in data}) == 1 and [one["sequence"] for one in data] == [1, 2, 3]
        assert len(set(ids_sent(service))) == 3


def test_a_withdrawal_by_other_settings_says_so(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port)), SMALL_NOW) as service:
        service.start_receiver(port=port)
        make_news(service)
        service.start()
        wait_for_notices(service, 1, DELIVERED)
        service.wait_for_rest()
        service.change_settings("stations:\n", "quality: {temperature: {sensor: [-5 degC, 20 degC]}}\nstations:\n")
        service.hang_up()
        wait_for_notices(service, 2, DELIVERED)
        service.stop()
        data = service.requests()[1]["event"]["data"]
        assert data["event"] == "withdrawn" and data["state"] == "withdrawn"
        assert "is now 27.40 °C, flagged fail (" in data["text"], data["text"]
        assert data["text"].endswith("; no file came since: the settings, or the program, were changed."), data["text"]
        history = service.run("alarms", "-c", service.settings, "history", "1", expected=0).stdout
        assert "rillward: withdrawn: temperature of " in history


# ---- what wakes nobody ----

def years_of_water(first_day, days, warm_days):
    """A row an hour, warm for the afternoon of some days."""
    rows = []
    for day in range(days):
        date = later(first_day, days=day)
        for hour in range(24):
            warmth = 27.0 if day in warm_days and 12 <= hour < 18 else 12.0
            rows.append(f"{later(date, hours=hour)},{1113.2 + (hour % 7) * 0.5:.1f},{warmth + hour % 5 * 0.1:.1f}\n")
    return "".join(rows)


def years_of_air(first_day, days):
    return "time,air\n" + "".join(f"{later(first_day, hours=hour)},{1013.2 + hour % 3 * 0.1:.1f}\n" for hour in range(24 * days))


def alarms_known(service):
    return [(row["station"], row["start"], row["end_"], row["is_old_news"])
            for row in service.ask("SELECT * FROM alarm WHERE rule = 'warm' ORDER BY start")]


def test_a_first_import_back_files_and_a_rebuild_wake_nobody(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(hook(port)), SMALL_NOW) as service:
        service.start_receiver(port=port)
        head = water_file(0, 0)
        service.put("mast/air.csv", years_of_air("2025-01-01T00:00:00Z", 400))
        service.put("mill/2025.csv", head + years_of_water("2025-03-01T00:00:00Z", 330, {5, 6, 100, 200}))
        service.start()
        service.wait_until(lambda: len(alarms_known(service)) == 4, lambda: alarms_known(service))
        service.put("mill/early.csv", head + years_of_water("2025-01-01T00:00:00Z", 59, {10, 20}))  # a back-file
        service.wait_until(lambda: len(alarms_known(service)) == 6, lambda: alarms_known(service))
        service.wait_for_rest()
        before = alarms_known(service)
        assert all(is_old for *_, is_old in before) and notices(service) == [] and service.requests() == []
        # Everything is derived anew: the same episodes, and nobody hears of them.
        service.change_settings("elevation: 2 m", "elevation: 30 m")
        known = len(service.log_text().encode())
        service.hang_up()
        service.wait_for_log("settings were read again", known)
        service.wait_for_rest()
        assert alarms_known(service) == before and notices(service) == []
        # And from nothing but the inbox, as after the loss of the database.
        service.stop()
        for path in service.state.glob("rillward.db*"):
            path.unlink()
        service.start()
        service.wait_until(lambda: len(alarms_known(service)) == 6, lambda: alarms_known(service))
        service.wait_for_rest()
        assert alarms_known(service) == before and service.requests() == []
        # What happens now is news all the same.
        service.put("mill/now.csv", head + years_of_water("2026-05-02T00:00:00Z", 1, {0}))
        service.put("mast/now.csv", years_of_air("2026-05-02T00:00:00Z", 1))
        wait_for_notices(service, 1, DELIVERED)
        service.stop()
        assert len(service.requests()) == 1
