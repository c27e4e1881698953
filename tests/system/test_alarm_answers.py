# SPDX-License-Identifier: MIT
"""People answer alarms beside the running service, and it goes by what they said."""
import email
import email.policy
import json
import subprocess
import time

from daemon import SET_ASIDE, SMALL_NOW, TAKEN, Service, air_file, binary, free_port, later, small_settings, wait_until, water_file, water_rows

HOOK = """\
recipients:
  hook: {{webhook: "http://127.0.0.1:{port}/ok", secret: {{file: hook.secret}}, allow_private_address: true}}
{more}"""


def alarm_service(folder, more=""):
    port = free_port()
    service = Service(folder, small_settings(tell="[hook]", rest=HOOK.format(port=port, more=more)), now=SMALL_NOW)
    service.start_receiver(port=port)
    return service


def put_warm_water(service, rows=24, warm_from=12):
    """Warm from then on: the alarm is open."""
    service.put("mast/air.csv", air_file(0, rows))
    parts = [water_rows(row, 1, 27.0 if row >= warm_from else 12.0) for row in range(rows)]
    service.put("mill/water.csv", water_file(0, 0) + "".join(parts))


def alarms(service, *words, expected=None, now=None):
    return service.run("alarms", "-c", service.settings, "--clock", now or service.now, *words, expected=expected).stdout


def listed(service):
    return json.loads(alarms(service, "list", "--json"))["alarms"]


def one(service):
    found = listed(service)
    assert len(found) == 1, found
    return found[0]


def events(service):
    return [request["event"]["data"]["event"] for request in service.requests()]


def wait_for_events(service, *expected):
    wait_until(lambda: events(service) == list(expected), lambda: f"{expected}: {events(service)}\n{service.last_lines()}")


def test_an_answer_is_kept_with_its_name_and_changes_what_is_said_next(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        alarm = one(service)
        assert alarm["state"] == "unacknowledged" and alarm["rule"] == "warm"
        said = alarms(service, "acknowledge", alarm["alarm"], "--who", "anna", expected=0)
        assert said == f"alarm {alarm['alarm']} is now acknowledged\n"
        taken = len(service.ask("SELECT 1 FROM drop_"))
        put_warm_water(service, rows=36, warm_from=12)
        service.wait_until(lambda: len(service.ask("SELECT 1 FROM drop_")) == taken + 2, "both files")  # the cool ones are later
        cool = "".join(water_rows(row, 1, 12.0) for row in range(24, 36))
        service.put("mill/later.csv", water_file(0, 0) + cool)
        wait_for_events(service, "raised", "returned")
        history = json.loads(alarms(service, "history", alarm["alarm"], "--json", expected=0))
        assert history["state"] == "returned to normal", "answered and over: done"
        steps = [(step["who"], step["what"]) for step in history["steps"] if step["is"] == "step"]
        assert steps == [("rillward", "raised"), ("anna", "acknowledged"), ("rillward", "returned")]
        service.stop()


def test_a_shelved_alarm_comes_back_by_itself_while_the_service_sleeps(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        began = time.monotonic()
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        service.wait_for_rest()
        alarm = one(service)["alarm"]
        # The service's clock began at SMALL_NOW and runs: a shelf of a moment ends soon after it was made.
        soon = later(SMALL_NOW, seconds=time.monotonic() - began + 15)
        alarms(service, "shelve", alarm, "--until", soon, "--reason", "pump test", "--who", "anna", expected=0)
        assert one(service)["state"] == "shelved" and one(service)["shelf_reason"] == "pump test"
        wait_for_events(service, "raised", "updated")
        found = one(service)
        assert found["state"] == "unacknowledged" and found["shelved_until"] is None
        assert "rillward: the shelf's time is over (unacknowledged)" in alarms(service, "history", alarm)
        service.stop()


def test_taken_off_the_shelf_it_is_told_at_once(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        alarm = one(service)["alarm"]
        alarms(service, "shelve", alarm, "--until", "8 h", "--reason", "pump test", expected=0)
        alarms(service, "unshelve", alarm, "--who", "anna", expected=0)
        wait_for_events(service, "raised", "updated")
        service.stop()


def test_answers_need_no_running_service_and_wrong_use_says_so(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        service.wait_for_rest()
        service.stop()
        number = one(service)["alarm"]
        refused = service.run("alarms", "-c", service.settings, "acknowledge", 99, expected=2)
        assert "no alarm 99" in refused.stderr
        refused = service.run("alarms", "-c", service.settings, "shelve", number, expected=2)
        assert "--until" in refused.stderr
        alarms(service, "acknowledge", number, "--who", "anna", expected=0)
        assert one(service)["state"] == "acknowledged"
        assert alarms(service, expected=0).count("\n") == 2, "nobody's answer is waited for any more"


def test_answers_from_many_hands_are_all_kept(tmp_path):
    """Twenty commands at once beside a service that works: each is one step, none is lost, none is torn."""
    with alarm_service(tmp_path / "net") as service:
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        number = str(one(service)["alarm"])
        command = [binary(), "alarms", "-c", str(service.settings), "--clock", service.now]
        children = [subprocess.Popen([*command, "shelve", number, "--until", f"{hours} h", "--reason", f"shift {hours}",
                                      "--who", f"hand {hours}"], stdout=subprocess.PIPE) for hours in range(1, 21)]
        for row in range(24, 48):
            service.put("mill/water.csv", water_file(0, row, 27.0))
        for child in children:
            child.communicate()
            assert child.returncode == 0
        service.wait_for_rest()
        steps = json.loads(alarms(service, "history", number, "--json"))["steps"]
        hands = sorted(step["who"] for step in steps if step["is"] == "step" and step["who"].startswith("hand"))
        assert hands == sorted(f"hand {hours}" for hours in range(1, 21))
        assert service.verify().endswith("the database is sound\n")
        service.stop()


# ---- never a flood ----

MAIL = """\
  desk: {{mail: desk@example.org}}
mail: {{server: 127.0.0.1, port: {port}, security: plain, from: rillward@example.org, hello_name: watch.example.org}}
"""


def read_mail(raw):
    message = email.message_from_bytes(raw, policy=email.policy.default)
    return message["Subject"], message.get_body(("plain",)).get_content().replace("\r\n", "\n")


def test_several_new_alarms_of_one_rule_are_one_mail_and_one_event(tmp_path):
    hook_port, mail_port = free_port(), free_port()
    people = HOOK.format(port=hook_port, more=MAIL.format(port=mail_port))
    settings = small_settings(tell="[hook, desk]", gather="1 min", rest=people)
    with Service(tmp_path / "net", settings, now=SMALL_NOW) as service:
        service.start_receiver(port=hook_port)
        service.start_mail(port=mail_port)
        service.start()
        warm_hours = (1, 3, 5)
        rows = [27.0 if row // 12 in warm_hours else 12.0 for row in range(84)]
        service.put("mast/air.csv", air_file(0, len(rows)))
        service.put("mill/water.csv", water_file(0, 0) + "".join(water_rows(k, 1, warmth) for k, warmth in enumerate(rows)))
        wait_until(lambda: service.requests() and service.mails(), service.last_lines)
        service.wait_for_rest()
        assert len(service.requests()) == 1 and len(service.mails()) == 1
        data = service.requests()[0]["event"]["data"]
        assert data["event"] == "group" and data["count"] == 3
        assert [alarm["alarm"] for alarm in data["alarms"]] == [1, 2, 3]
        subject, text = read_mail(service.mails()[0])
        assert subject == "[HIGH] Water warm: 3 alarms, 0 still so"
        assert text.count("\n- ") == 3 and "rillward alarms -c FILE acknowledge ALARM..." in text
        history = json.loads(alarms(service, "history", 2, "--json"))
        assert [(step["to"], step["delivery"], step["together_with_others"]) for step in history["steps"]
                if step["is"] == "notice"] == [("hook", "delivered", True), ("desk", "delivered", True)]
        service.stop()


def test_the_digest_comes_at_its_time_with_what_woke_nobody(tmp_path):
    mail_port = free_port()
    people = "recipients:\n" + MAIL.format(port=mail_port)
    settings = small_settings(tell="[desk]", rest=people).replace(
        "gather: 0 s", 'gather: 0 s, news_age: 1 min, digest: {at: "12:00", zone: UTC, tell: [desk]}')
    with Service(tmp_path / "net", settings, now="2026-05-02T11:59:40Z") as service:
        service.start_mail(port=mail_port)
        service.start()
        put_warm_water(service)
        subject, text = read_mail(wait_until(service.mails, service.last_lines)[0])
        assert subject == "[LOW] Digest of Mill pond"
        assert text.startswith("Old news: learnt of too late to wake anybody (1)\n- Water warm at mill-pond: worst 27.40")
        assert len(service.mails()) == 1
        service.stop()


# ---- before it is real ----

def test_a_rehearsal_shows_what_other_limits_would_have_said(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        service.wait_for_rest()
        words = ["rehearse", "-c", service.settings, "--clock", service.now, "--json"]
        same = json.loads(service.run(*words, expected=0).stdout)
        assert same["difference"] == {"new": 0, "gone": 0, "same": 1, "gone_alarms": []}
        assert same["episodes"][0]["to"] == ["hook"] and same["episodes"][0]["known_at"] >= same["episodes"][0]["raised_at"]
        before = service.ask("SELECT count(*) AS n FROM alarm_step")[0]["n"]
        service.change_settings("limit: 25 degC", "limit: 30 degC")
        other = json.loads(service.run(*words, expected=0).stdout)
        assert other == {"episodes": [], "weeks": [], "difference": {"new": 0, "gone": 1, "same": 0, "gone_alarms": [1]}}
        in_force = service.folder / "in-force.yaml"
        in_force.write_text(service.settings.read_text().replace("limit: 30 degC", "limit: 25 degC"))
        compared = json.loads(service.run(*words, "--against", in_force, expected=0).stdout)["against"]
        assert (compared["only_here"], compared["only_there"], compared["both"]) == (0, 1, 0)
        assert compared["weeks"] == [{"monday": "2026-04-27", "to": {"hook": 1}}]
        assert service.ask("SELECT count(*) AS n FROM alarm_step")[0]["n"] == before and events(service) == ["raised"]
        service.stop()


# ---- without a shell ----

def test_a_file_from_the_desk_answers_an_alarm_and_one_from_elsewhere_does_not(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        service.change_settings("gather: 0 s", 'gather: 0 s, answers: ["desk/answers*.csv"]')
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        answer = "alarm,answer,who,until,reason\n1,acknowledge,R. Fen,,seen on the phone\n9,acknowledge,R. Fen,,\n"
        service.put("mill/answers.csv", answer)
        service.wait_for_path("mill/answers.csv", SET_ASIDE, "answers are not taken from here")
        assert json.loads(alarms(service, "list", "--json"))["alarms"][0]["state"] == "unacknowledged"
        service.put("desk/answers.csv", answer)
        service.wait_for_path("desk/answers.csv", TAKEN)
        assert json.loads(alarms(service, "list", "--json"))["alarms"][0]["state"] == "acknowledged"
        told = [(line["line"], line["given"], line["said"][:20]) for line in service.status()["answers"]]
        assert told == [(3, False, "there is no alarm 9:"), (2, True, "alarm 1 is now ackno")]
        originals = [path.read_text() for path in service.archive.rglob("originals/**/*") if path.is_file()]
        assert answer in originals
        service.wait_for_rest()
        service.verify()
        service.stop()


def test_with_the_database_lost_and_made_again_an_old_answer_answers_nothing(tmp_path):
    with alarm_service(tmp_path / "net") as service:
        service.change_settings("gather: 0 s", 'gather: 0 s, answers: ["desk/answers*.csv"]')
        service.start()
        put_warm_water(service)
        wait_for_events(service, "raised")
        answer = "alarm,answer,who\n1,acknowledge,R. Fen\n"
        service.put("desk/answers.csv", answer)
        service.wait_for_path("desk/answers.csv", TAKEN)
        service.wait_for_rest()
        service.stop()
        for path in service.state.glob("rillward.db*"):
            path.unlink()
        service.run("rebuild", "-c", service.settings, "--clock", service.now, expected=1)
        assert one(service)["state"] == "unacknowledged"
        service.start()
        service.put("desk/answers.csv", answer + "1,acknowledge,J. Reed\n")
        wait_until(lambda: one(service)["state"] == "acknowledged", service.last_lines)
        told = [(line["who"], line["given"]) for line in service.status()["answers"]]
        assert told == [("J. Reed", True), ("R. Fen", False)]
        service.stop()
