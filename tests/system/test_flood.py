# SPDX-License-Identifier: MIT
"""A flood of alarms, one after the other, through the whole service: ten are told one by one, then summaries take their
place; each alarm is told once, and none is lost."""
import pytest

from daemon import SMALL_NOW, SMALL_START, Service, air_file, free_port, later, small_settings

ALARMS = 30
ONE_BY_ONE = 10  # FLOOD_BEGINS
HOOK = """recipients:
  hook: {{webhook: "http://127.0.0.1:{port}/ok", secret: {{file: hook.secret}}, allow_private_address: true}}
"""


def settings(port, gather):
    """A rule for each half degree: each sample, half a degree warmer than the one before, meets one more."""
    rules = "".join(f"\n  over-{k:02d}: {{kind: above, quantity: temperature, limit: {20 + k / 2} degC, deadband: 15 degC, tell: [hook]}}"
                    for k in range(ALARMS))
    return small_settings(gather=gather, rest=HOOK.format(port=port)).replace("\nrules:", "\nrules:" + rules, 1).replace("limit: 25 degC", "limit: 90 degC")


def sample(k):
    return f"Serial,M-1\ntime,pressure,temperature\n{later(SMALL_START, minutes=5 * k)},{1113.2 + k % 7 * 0.5:.1f},{20.2 + k / 2:.1f}\n"


def known(service):
    return service.ask("SELECT count(*) AS n FROM alarm")[0]["n"]


def messages(service):
    return [request["event"]["data"] for request in service.requests()]


def told(data):
    return [one["alarm"] for one in data["alarms"]] if data["event"] == "summary" else [data["alarm"]]


@pytest.mark.parametrize("gather", ["0 s", "1 min"])
def test_thirty_alarms_are_ten_messages_and_two_summaries(tmp_path, gather):
    port = free_port()
    with Service(tmp_path / "work", settings(port, gather), SMALL_NOW) as service:
        service.start_receiver(port=port)
        service.put("mast/air.csv", air_file(0, ALARMS + 1))
        service.start()
        for k in range(ALARMS):
            service.put(f"mill/water-{k:02d}.csv", sample(k))
            service.wait_until(lambda: known(service) > k, lambda: f"alarm {k + 1}")
            at_least = min(k + 1, ONE_BY_ONE + 1)
            service.wait_until(lambda: len(messages(service)) >= at_least, lambda: f"message {at_least}")
        service.stop()
        events = [data["event"] for data in messages(service)]
        assert events[:ONE_BY_ONE] == ["raised"] * ONE_BY_ONE and len(events) == ONE_BY_ONE + 1, events
        line, = service.status()["outbox"]
        assert line["most_in_10_min"] == ALARMS and line["flood"], line

        service.start(later(SMALL_NOW, minutes=12))
        service.wait_until(lambda: len(messages(service)) > ONE_BY_ONE + 1, lambda: "the rest, in one")
        service.wait_for_rest()
        service.stop()
        heard = messages(service)
        assert len(heard) == ONE_BY_ONE + 2 and heard[-1]["event"] == "summary"
        assert heard[-1]["count"] == ALARMS - ONE_BY_ONE - 1
        states = {row["alarm"]: row["state"] for row in service.ask("SELECT alarm, state FROM notice WHERE alarm > 0")}
        assert len(states) == ALARMS and set(states.values()) <= {1, 3}, "delivered, or told by another"
        once = [number for data in heard for number in told(data)]
        assert len(once) == len(set(once)), "and none twice"
