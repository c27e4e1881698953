# SPDX-License-Identifier: MIT
"""Five days of trouble: receivers that are down, refuse, drip, break off, ask for patience, and a service that is killed
again and again. In the end every notice has arrived, each message is the same in every attempt, and nobody waited for
somebody else's receiver. The clock of the service is set forward from day to day."""
import collections
import email
import email.policy
import json

from daemon import SMALL_NOW, Service, air_file, free_port, later, water_file, water_rows
from test_notices import DELIVERED, MAIL, PLAIN_MAIL, hook, notices, settings_for


def news(first_hour, count):
    """So many short episodes of warm water, one every second hour."""
    rows = [27.0 if row // 12 % 2 and row % 12 < 3 else 12.0 for row in range(24 * count)]
    return water_file(0, 0) + "".join(water_rows(first_hour * 12 + row, 1, warmth) for row, warmth in enumerate(rows))


class Drill:
    def __init__(self, service):
        self.service, self.control = service, service.folder / "behaviour.json"

    def day(self, number, behaviour, fresh_files=()):
        """The receivers behave so from this day on, and the service begins anew."""
        self.control.write_text(json.dumps(behaviour))
        self.service.start(now=later(SMALL_NOW, days=number))
        for name, content in fresh_files:
            self.service.put(name, content)

    def attempts(self, recipient):
        return sum(row["attempts"] for row in notices(self.service, recipient))

    def wait_for_more_attempts(self, recipient, than):
        self.service.wait_until(lambda: self.attempts(recipient) > than, lambda: f"{recipient}: {self.attempts(recipient)}")

    def has_all(self, recipient):
        rows = notices(self.service, recipient)
        return rows and all(row["state"] == DELIVERED for row in rows)

    def wait_for_attempt_or_all(self, recipient, than):
        self.service.wait_until(lambda: self.attempts(recipient) > than or self.has_all(recipient), recipient)

    def wait_for_delivery(self, recipient):
        self.service.wait_until(lambda: self.has_all(recipient), lambda: [tuple(row)[:8] for row in notices(self.service, recipient)])

    def arrived(self, recipient):
        """Ids that the receiver took, as often as it took them, and the bodies that came under each."""
        taken, bodies = collections.Counter(), collections.defaultdict(set)
        for request in self.service.requests():
            if request["path"] == f"/{recipient}":
                identity = request["headers"]["webhook-id"]
                bodies[identity].add(request["body"])
                taken[identity] += request["behaviour"] in (f"/{recipient}", "drip")  # both answered 2xx
                assert request["signed"]
        return +taken, bodies

    def mails_arrived(self):
        taken = collections.Counter()
        for raw in self.service.mails():
            message = email.message_from_bytes(raw, policy=email.policy.default)
            taken[message["Message-ID"].strip("<>").split("@")[0]] += 1
        return taken


def test_five_days_of_trouble_lose_no_notice(tmp_path):
    steady_port, shaky_port, mail_port = free_port(), free_port(), free_port()
    steady = hook(steady_port, "/steady").replace("hook:", "steady:", 1)
    shaky = hook(shaky_port, "/shaky").replace("hook:", "shaky:", 1)
    settings = settings_for(steady, shaky, MAIL, mail=PLAIN_MAIL.format(port=mail_port)).replace(
        "gather: 0 s", "gather: 0 s, news_age: 30 d")
    with Service(tmp_path / "work", settings, SMALL_NOW) as service:
        drill = Drill(service)
        service.put("mast/air.csv", air_file(0, 400))
        # Day 0: nobody is there. The service is killed while it tries.
        drill.day(0, {}, [("mill/a.csv", news(0, 3))])
        for recipient in ("steady", "shaky", "desk"):
            drill.wait_for_more_attempts(recipient, 0)
        service.kill()
        # Day 1: one receiver is well; the other breaks connections off; mail is greylisted.
        service.start_receiver("--control", drill.control, port=steady_port)
        service.start_receiver("--control", drill.control, port=shaky_port)
        service.start_mail("--greylist", 4, port=mail_port)
        before, mails_before = drill.attempts("shaky"), drill.attempts("desk")
        drill.day(1, {"/shaky": "reset"}, [("mill/b.csv", news(6, 2))])
        drill.wait_for_delivery("steady")  # while the other is in trouble
        drill.wait_for_more_attempts("shaky", before)
        drill.wait_for_attempt_or_all("desk", mails_before)
        service.kill()
        # Day 2: too many requests; asks for two hours. Day 3: errors. Each with a stop between.
        for day, trouble in ((2, "/busy/429/7200"), (3, "/status/503"), (4, "/redirect")):
            before, mails_before = drill.attempts("shaky"), drill.attempts("desk")
            drill.day(day, {"/shaky": trouble})
            drill.wait_for_more_attempts("shaky", before)
            drill.wait_for_attempt_or_all("desk", mails_before)
            drill.wait_for_delivery("steady")
            service.stop()
        # It hangs, and the service is killed with notices in the air.
        seen = len(service.requests())
        drill.day(4.2, {"/shaky": "hang"})
        service.wait_until(lambda: len(service.requests()) > seen, "a request that hangs")
        service.kill()
        # A status and then an answer without end: the status is the answer.
        seen = len(service.requests())
        drill.day(4.4, {"/shaky": "drip"})
        service.wait_until(lambda: len(service.requests()) > seen, "a request that drips")
        service.kill()
        # Day 4 and a half: all is well.
        drill.day(4.5, {}, [("mill/c.csv", news(10, 1))])
        for recipient in ("steady", "shaky", "desk"):
            drill.wait_for_delivery(recipient)
        service.stop()
        counts = {}
        for recipient in ("steady", "shaky", "desk"):
            wanted = {row["uid"] for row in notices(service, recipient)}
            if recipient == "desk":
                taken = drill.mails_arrived()
            else:
                taken, bodies = drill.arrived(recipient)
                assert all(len(texts) == 1 for texts in bodies.values()), "an attempt that says something else"
            lost = wanted - set(taken)
            counts[recipient] = {"notices": len(wanted), "arrived": len(taken), "repeated": sum(taken.values()) - len(taken),
                                 "lost": len(lost)}
            assert set(taken) <= wanted
        print(json.dumps(counts))
        assert all(count["lost"] == 0 and count["notices"] >= 5 for count in counts.values()), counts
        assert service.run("status", "-c", service.settings, "--clock", service.now).stdout.count(" 0 given up") == 3
