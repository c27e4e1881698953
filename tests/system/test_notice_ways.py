# SPDX-License-Identifier: MIT
"""The ways of a notice beside the alarm itself: a test by command, a pulse while all is well, bodies for chat hooks,
keys that are changed."""
import email
import email.policy
import json
import re
import sys

import pytest

from daemon import SECRET, SMALL_NOW, SUPPORT, Service, free_port, small_settings
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


def test_a_mail_is_a_text_a_page_and_a_chart(tmp_path):
    port = free_port()
    with Service(tmp_path / "work", settings_for(MAIL, mail=PLAIN_MAIL.format(port=port)), SMALL_NOW) as service:
        service.start_mail(port=port)
        make_news(service)
        service.put("mill/mine.exe", b"MZ\x90\x00\x03")  # another alarm, about which there is nothing to draw
        service.start()
        wait_for_notices(service, 2, DELIVERED)
        service.stop()
        by_subject = {message["Subject"]: message for message in
                      (email.message_from_bytes(raw, policy=email.policy.default) for raw in service.mails())}
        warm = by_subject["[HIGH] Water warm at mill-pond: over, worst 27.40 °C"]
        assert [part.get_content_type() for part in warm.walk()] == [
            "multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png"]
        text, page = warm.get_body(("plain",)).get_content(), warm.get_body(("html",)).get_content()
        assert max(map(len, text.splitlines())) <= 60 and "OVER: it had ended by the last sample." in text
        picture = list(warm.walk())[-1]
        png, identity = picture.get_content(), picture["Content-ID"].strip("<>")
        assert png.startswith(b"\x89PNG") and len(png) < 100_000 and picture.get_content_disposition() == "inline"
        assert f'src="cid:{identity}"' in page and page.count("<img") == 1
        alt = re.search(r'alt="([^"]*)"', page).group(1)
        assert alt == ("Chart: Water temperature at mill-pond from 2026-05-02T00:00:00Z to 2026-05-02T02:55:00Z: between"
                       " 12.00 °C and 27.40 °C, the limit is 25.00 °C"), alt
        assert re.findall(r'(?:src|href)="(?!cid:)([^"]*)"', page) == ["https://water.example.org/stations/mill-pond/"]
        drop = next(message for subject, message in by_subject.items() if "A file needs a hand" in subject)
        assert [part.get_content_type() for part in drop.walk()] == ["multipart/alternative", "text/plain", "text/html"]
        look_at(tmp_path, page.replace(f"cid:{identity}", "chart.png"), png)


def look_at(folder, page, png):
    """In a browser, on a desk and on a phone, by day and by night: nothing to complain of, nothing sticks out."""
    sys.path.insert(0, str(SUPPORT))
    import browser
    if not browser.find():
        pytest.skip("no Chromium")
    (folder / "chart.png").write_bytes(png)
    (folder / "mail.html").write_text(page, encoding="utf-8")
    with browser.Browser() as seen:
        for width in (700, 360):
            for dark in (False, True):
                assert seen.load(folder / "mail.html", width, dark) == []
                assert seen.ask("document.documentElement.scrollWidth") <= width
                assert seen.ask("document.images[0].naturalWidth") == 840
                ground = seen.ask("getComputedStyle(document.body).backgroundColor")
                assert ground == ("rgb(20, 25, 27)" if dark else "rgb(255, 255, 255)")
