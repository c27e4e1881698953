# SPDX-License-Identifier: MIT
"""An oxygen sensor under a growing film: found without any check, told by alarm, status, record and explain, whatever the
order and the pieces in which its files come."""
import json
import math
import random

import pytest

from daemon import Service, milliseconds, small_settings, written

NOW = "2026-05-02T12:00:00Z"
START = "2026-03-16T06:00:00Z"
LAYOUT = """\
  oxygen:
    delimiter: comma
    time: {columns: [time], format: iso, zone: UTC}
    columns: [{header: DO, is: oxygen, unit: mg/L}, {header: T, is: temperature, unit: degC}]
"""
RULE = "  fouled: {kind: drift, title: Oxygen sensor drifts, quantity: oxygen, limit: 1 mg/L, priority: low}\n"


def day_file(first, last):
    """Every half hour of the days [first, last): the daily swing fades from 4 to 1 mg/L in 45 days."""
    rows = []
    for i in range(first * 48, last * 48):
        day, angle = i / 48, i % 48 / 48 * 2 * math.pi
        scatter = random.Random(i // 48).uniform(-0.1, 0.1)
        value = 9 + scatter + (2 - 1.5 * day / 45) * math.sin(angle)
        rows.append(f"{written(milliseconds(START) + i * 1800000)},{value:.3f},15.0\n")
    return "time,DO,T\n" + "".join(rows)


@pytest.mark.parametrize("pieces", [[(0, 45)], [(0, 20), (20, 33), (33, 45)], [(20, 45), (0, 20)]])
def test_a_fading_daily_range_is_found_in_any_order(tmp_path, pieces):
    settings = small_settings(hold="0 s").replace("layouts:\n", "layouts:\n" + LAYOUT)
    settings = settings.replace("  bad-drop:", RULE + "  bad-drop:")
    with Service(tmp_path / "work", settings, NOW) as service:
        for k, (first, last) in enumerate(pieces):
            service.put(f"mill/{k}.csv", day_file(first, last))
            service.run("once", "-c", service.settings, "--clock", NOW)
        checks = service.ask("SELECT time, difference FROM check_result WHERE kind = 49 ORDER BY time")
        # 3 mg/L in 45 days, of which the 5th to the 95th of a hundred values span 98 %: over 14, 21, 28 and 35 days.
        truth = [-3 / 45 * 0.98 * days for days in (14, 21, 28, 35)]
        assert [row["difference"] for row in checks] == pytest.approx(truth, abs=0.05)
        alarms = json.loads(service.run("alarms", "-c", service.settings, "--json", "--clock", NOW).stdout)
        drift, = [alarm for alarm in alarms["alarms"] if alarm["rule"] == "fouled"]
        assert "daily range of oxygen" in json.dumps(drift) and "read the meter before and after cleaning" in json.dumps(drift)
        told = service.run("explain", "-c", service.settings, "mill-pond", "2026-04-25T12:00:00Z", "oxygen", expected=0).stdout
        assert "the daily range of oxygen fell from" in told and "standard errors" in told
        status = service.run("status", "-c", service.settings, "--clock", NOW).stdout
        assert "daily range of oxygen fell" in status
