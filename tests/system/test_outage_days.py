# SPDX-License-Identifier: MIT
"""Outages of whole days, by the clock of the service: this machine without a network, servers that are stopped, and
addresses that swallow all packets. Each day brings news. Afterwards every notice has arrived once: none lost, none
doubled; and who was well all the time never waited for the others."""
import collections
import contextlib
import email
import email.policy
import json
import os
import signal
import socket
import subprocess

from daemon import LIMIT, SMALL_NOW, Service, air_file, binary, free_port, later, water_file, water_rows
from test_notices import DELIVERED, MAIL, PLAIN_MAIL, hook, notices, settings_for

RECIPIENTS = ("well", "stopped", "swallowed", "desk")
IN_NO_NETWORK = ["unshare", "--user", "--map-root-user", "--net"]


def news(first_hour, count):
    """So many short episodes of warm water, one every second hour."""
    rows = [27.0 if row // 12 % 2 and row % 12 < 3 else 12.0 for row in range(24 * count)]
    return water_file(0, 0) + "".join(water_rows(first_hour * 12 + row, 1, warmth) for row, warmth in enumerate(rows))


@contextlib.contextmanager
def black_hole(port):
    """A listener that takes nobody in, with its queue full: the system drops whatever else comes, so a connection is
    neither made nor refused."""
    with contextlib.ExitStack() as held:
        listener = held.enter_context(socket.socket())
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(0)
        for _ in range(4):
            filler = held.enter_context(socket.socket())
            filler.setblocking(False)
            filler.connect_ex(("127.0.0.1", port))
        with socket.socket() as probe:  # it is one indeed
            probe.settimeout(0.5)
            with contextlib.suppress(TimeoutError):
                probe.connect(("127.0.0.1", port))
                raise AssertionError("the port answers")
        yield


def start_without_network(service, now):
    """As Service.start(), in a namespace where even loopback is down; false where the machine refuses that."""
    if subprocess.run([*IN_NO_NETWORK, "true"], capture_output=True, check=False).returncode != 0:
        return False
    service.now, already = now, service.log.stat().st_size if service.log.exists() else 0
    command = [*IN_NO_NETWORK, binary(), "serve", "-c", str(service.settings), "--clock", now]
    with open(service.log, "ab") as log:
        service.process = subprocess.Popen(command, stderr=log, env=dict(os.environ))  # unshare becomes the service
    service.wait_for_log("watching '", already)
    return True


def attempts(service, recipient):
    return sum(row["attempts"] for row in notices(service, recipient))


def wait_for_attempts(service, recipient, than):
    service.wait_until(lambda: attempts(service, recipient) > than, lambda: f"{recipient}: {attempts(service, recipient)}")


def wait_for_delivery(service, recipient, more_than=0):
    """Of all there is, and of more notices than so many: a stop while one is in the air would rightly repeat it."""
    def all_delivered():
        rows = notices(service, recipient)
        return len(rows) > more_than and all(row["state"] == DELIVERED for row in rows)
    service.wait_until(all_delivered, lambda: [tuple(row)[:8] for row in notices(service, recipient)])


def arrived(service):
    taken = {recipient: collections.Counter() for recipient in RECIPIENTS}
    for request in service.requests():
        taken[request["path"].strip("/")][request["headers"]["webhook-id"]] += 1
    for raw in service.mails():
        message = email.message_from_bytes(raw, policy=email.policy.default)
        taken["desk"][message["Message-ID"].strip("<>").split("@")[0]] += 1
    return taken


def test_days_without_network_servers_or_answers_lose_and_double_nothing(tmp_path):
    ports = {recipient: free_port() for recipient in RECIPIENTS}
    hooks = [hook(ports[name], f"/{name}").replace("hook:", f"{name}:", 1) for name in RECIPIENTS[:3]]
    settings = settings_for(*hooks, MAIL, mail=PLAIN_MAIL.format(port=ports["desk"])).replace(
        "gather: 0 s", "gather: 0 s, news_age: 30 d")
    skipped = []
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        service.put("mast/air.csv", air_file(0, 400))
        control = service.folder / "behaviour.json"  # well, whatever the path
        control.write_text(json.dumps({f"/{name}": "ok" for name in RECIPIENTS[:3]}))
        service.start_receiver("--control", control, port=ports["well"])
        # Day 0: the machine has no network at all.
        if start_without_network(service, SMALL_NOW):
            service.put("mill/a.csv", news(0, 2))
            for recipient in RECIPIENTS:
                wait_for_attempts(service, recipient, 0)
            assert not service.requests()
            service.process.send_signal(signal.SIGTERM)
            assert service.process.wait(LIMIT) == 0
            service.process = None
        else:
            skipped.append("no network: no namespace here")
        # Days 1 and 2: one is well, the servers of two are stopped, the address of the fourth swallows everything.
        with black_hole(ports["swallowed"]):
            for day, first_hour in ((1, 4), (2, 8)):
                before = {recipient: attempts(service, recipient) for recipient in ("stopped", "desk")}
                known = len(notices(service, "well"))
                service.start(now=later(SMALL_NOW, days=day))
                service.put(f"mill/day{day}.csv", news(first_hour, 1))
                wait_for_delivery(service, "well", known)
                for recipient, than in before.items():
                    wait_for_attempts(service, recipient, than)
                service.stop()
        # Day 3: it is the mail server that swallows everything; the webhook's server there is still stopped.
        with black_hole(ports["desk"]):
            before, known = attempts(service, "swallowed"), len(notices(service, "well"))
            service.start(now=later(SMALL_NOW, days=3))
            service.put("mill/day3.csv", news(12, 1))
            wait_for_delivery(service, "well", known)
            wait_for_attempts(service, "swallowed", before)
            service.stop()
        # Day 4: all are back.
        for recipient in ("stopped", "swallowed"):
            service.start_receiver("--control", control, port=ports[recipient])
        service.start_mail(port=ports["desk"])
        service.start(now=later(SMALL_NOW, days=4))
        for recipient in RECIPIENTS:
            wait_for_delivery(service, recipient)
        service.stop()
        counts, taken = {}, arrived(service)
        for recipient in RECIPIENTS:
            wanted = {row["uid"] for row in notices(service, recipient)}
            counts[recipient] = {"notices": len(wanted), "attempts": attempts(service, recipient),
                                 "arrived": len(taken[recipient]), "lost": len(wanted - set(taken[recipient])),
                                 "doubled": sum(taken[recipient].values()) - len(taken[recipient])}
            assert set(taken[recipient]) <= wanted, "somebody else's notice"
        print(json.dumps({"skipped": skipped, **counts}))
        assert len({count["notices"] for count in counts.values()}) == 1, "all were told the same"
        assert all(count["lost"] == count["doubled"] == 0 and count["notices"] >= 5 for count in counts.values()), counts
        assert counts["stopped"]["attempts"] > counts["stopped"]["notices"], "it was tried in vain, too"
