# SPDX-License-Identifier: MIT
"""The ways of a notice beside the alarm itself: a test by command, a pulse while all is well, bodies for chat hooks,
keys that are changed."""
import email
import email.policy
import json
import re

from daemon import SECRET, SMALL_NOW, Service, free_port, small_settings
from test_notices import DELIVERED, MAIL, PLAIN_MAIL, hook, make_news, settings_for, wait_for_notices


def test_a_test_by_command_goes_the_way_of_alarms_and_tells_what_came_of_it(tmp_path):
    hook_port, mail_port, dead_port = free_port(), free_port(), free_port()
    dead = hook(dead_port).replace("hook:", "dead:", 1)
    settings = settings_for(hook(hook_port), dead, MAIL, mail=PLAIN_MAIL.format(port=mail_port))
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        service.start_receiver(port=hook_port)
        service.start_mail(port=mail_port)
        service.start()
        words = ["alarms", "-c", service.settings, "--clock", SMALL_NOW, "test"]
        fine = service.run(*words, "hook", "desk", expected=0).stdout
        assert re.fullmatch(r"hook: delivered: answered 204\ndesk: delivered: 250 .*\n", fine), fine
        request, = service.requests()
        assert request["signed"] and request["event"]["type"] == "org.example.water.alarm.test.v1"
        message = email.message_from_bytes(service.mails()[0], policy=email.policy.default)
        assert message["Subject"] == "[TEST] Message from Mill pond"
        assert "Nothing is wrong at the water." in message.get_body(("plain",)).get_content()
        assert "Nothing is wrong at the water." in message.get_body(("html",)).get_content()
        bad = service.run(*words, "dead", expected=1).stdout
        assert bad.startswith("dead: not delivered, it will be tried again: "), bad
        again = service.run(*words, "hook", expected=0).stdout
        assert again == "hook: delivered: answered 204\n" and len(service.requests()) == 2
        assert "no recipient" in service.run(*words, "nobody", expected=2).stderr
        service.stop()


def test_the_heartbeat_goes_while_all_is_well_and_stops_where_it_is_not(tmp_path):
    port = free_port()
    rest = f'heartbeat: {{url: "http://127.0.0.1:{port}/pulse", every: 1 s, allow_private_address: true}}\n'
    with Service(tmp_path / "work", small_settings(rescan="1 s", rest=rest), SMALL_NOW) as service:
        pulses = service.hooks = service.folder / "pulses"
        service.start_receiver(port=port)
        away = service.inbox.rename(service.folder / "away")
        service.start()

        def count():
            return len(pulses.read_text().splitlines()) if pulses.exists() else 0
        service.wait_for_log("the heartbeat pauses: the inbox is missing")
        assert count() == 0
        away.rename(service.inbox)
        service.wait_for_log("the heartbeat goes on")
        service.wait_until(lambda: count() >= 2, lambda: f"pulses: {count()}")
        known = len(service.log_text().encode())
        service.inbox.rename(away)
        service.wait_for_log("the heartbeat pauses: the inbox is missing", known)
        service.stop()
        first = json.loads(pulses.read_text().splitlines()[0])
        assert first["path"] == "/pulse" and first["method"] == "POST" and first["body"] == ""


def test_a_chat_hook_gets_the_body_it_wants_signed_like_any_other(tmp_path):
    port = free_port()
    chat = hook(port).removesuffix("}") + """, body: '{"text": "%{subject|entities}\\n%{advice}", "id": "%{id}"}'}"""
    with Service(tmp_path / "work", settings_for(chat).replace("title: Water warm", 'title: "Warm <!all> \\" & more"'),
                 SMALL_NOW) as service:
        service.start_receiver(port=port)
        make_news(service)
        service.start()
        told, = wait_for_notices(service, 1, DELIVERED)
        service.stop()
        request, = service.requests()
        body = json.loads(request["body"])
        assert body == {"text": '[HIGH] Warm &lt;!all&gt; " &amp; more at mill-pond: over, worst 27.40 °C\n',
                        "id": told["uid"]}
        assert request["signed"] and request["headers"]["Content-Type"] == "application/json"


def test_both_signatures_go_out_while_keys_are_changed(tmp_path):
    port = free_port()
    changing = hook(port).replace("secret: {file: hook.secret}", "secret: {file: new.secret}, old_secret: {file: hook.secret}")
    with Service(tmp_path / "work", settings_for(changing), SMALL_NOW) as service:
        service.write_secret("new.secret", "whsec_bmV3LXNlY3JldC1mb3ItdGhlLWdhdWdlLWhvb2s=")
        receiver = service.start_receiver(port=port)
        make_news(service)
        service.start()
        wait_for_notices(service, 1, DELIVERED)
        request, = service.requests()
        signatures = request["headers"]["webhook-signature"].split(" ")
        assert request["signed"] and len(signatures) == 2 and all(one.startswith("v1,") for one in signatures)
        assert signatures[0] != signatures[1] and SECRET not in service.log_text()
        service.end_child(receiver)
        service.stop()
