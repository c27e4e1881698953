# SPDX-License-Identifier: MIT
"""Which alarms the settings of config-examples/sample-network.yaml must find in the sample, worked out from the truth.

The limits here are those of that file. Each expected episode names its station and rule, when it starts and ends (null:
still so at the last sample), and by how much a service may differ: a sensor's noise, the settling time and the delay of
a rule all move the edges a little.
"""
import numpy as np

import sallow_scenario as scenario

MINUTE, HOUR = 60, 3600
SETTLING = 15 * MINUTE
LOW_OXYGEN = dict(limit=3.0, deadband=0.5, on_delay=30 * MINUTE, off_delay=30 * MINUTE)
HIGH_WATER = dict(limit=2.15, deadband=0.10, on_delay=0, off_delay=30 * MINUTE)
QUICK_RISE = dict(limit=0.30, window=HOUR)
POND_FALLING = dict(limit=0.15, window=6 * HOUR)


def threshold_episodes(time, value, limit, deadband, on_delay, off_delay, sign):
    """sign -1: below the limit, +1: above. An episode starts with the first sample beyond the limit, counts once that
    has lasted for on_delay, and ends with the first sample of a stay of off_delay on the good side of the deadband."""
    episodes, start, good = [], None, None
    for t, v in zip(time, sign * value):
        beyond, clear = v > sign * limit, v <= sign * limit - deadband
        if start is None:
            start = t if beyond else None
            good = None
        elif not beyond and t - start < on_delay:
            start = None
        elif clear:
            good = t if good is None else good
            if t - good >= off_delay:
                episodes.append((start, good))
                start = None
        else:
            good = None
    if start is not None and time[-1] - start >= on_delay:
        episodes.append((start, None))
    return episodes


def change_episodes(time, value, limit, window, sign):
    """sign +1: rose, -1: fell, by more than the limit within the window."""
    beyond = np.zeros(len(time), dtype=bool)
    signed = sign * value
    for i in range(len(time)):
        first = np.searchsorted(time, time[i] - window)
        beyond[i] = signed[i] - signed[first:i + 1].min() > limit
    edges = np.flatnonzero(np.diff(np.concatenate([[0], beyond.astype(int), [0]])))
    return [(time[a], time[b] if b < len(time) else None) for a, b in zip(edges[::2], edges[1::2])]


def settled(station, data):
    """Samples in the water that are past the settling time."""
    good = np.zeros(len(data["time"]), dtype=bool)
    for wet in scenario.wets_of(station):
        good |= (data["time"] >= wet.start + SETTLING) & (data["time"] < wet.end)
    return data["time"][good]


def alarms(measured, air):
    """`measured`: station id -> data of all its runs, joined."""
    found = []
    for station in scenario.STATIONS:
        water = scenario.Water(station, air)
        time = settled(station, measured[station.id])
        if "oxygen" in station.sensors:
            found += told(station, "low-oxygen", water.oxygen(time), time, 600, 2400,
                          threshold_episodes(time, water.oxygen(time), sign=-1, **LOW_OXYGEN), np.min)
        level = water.level(time)
        if station.kind == "stream":
            found += told(station, "quick-rise", level, time, 900, 3600,
                          change_episodes(time, level, sign=1, **QUICK_RISE))
        if station.id == "ferry-channel":
            found += told(station, "high-water", level, time, 600, 2400,
                          threshold_episodes(time, level, sign=1, **HIGH_WATER), np.max)
        if station.id == "lily-pond":
            found += told(station, "pond-falling", level, time, 1800, 7200,
                          change_episodes(time, level, sign=-1, **POND_FALLING))
    return found + drift_alarms() + silence_alarms(measured)


def told(station, rule, value, time, start_tolerance, end_tolerance, episodes, extreme=None):
    """`worst` only where it is a value of the quantity itself, not a change of it."""
    result = []
    for start, end in episodes:
        inside = (time >= start) & (time < (end if end is not None else np.inf))
        worst = round(float(extreme(value[inside])), 3) if extreme else None
        result.append(dict(station=station.id, rule=rule, start=start, end=end, start_tolerance_s=start_tolerance,
                           end_tolerance_s=end_tolerance, worst=worst))
    return result


def drift_alarms():
    """Seen at the second hand reading; how long they stand is a matter of the rule, so the end is not judged."""
    result = []
    for station_id, rule, worst in (("willow-run", "level-drift", scenario.CREEP), ("ferry-channel", "sensor-drift", None)):
        wet = scenario.by_id(station_id).runs[0].wets[0]
        result.append(dict(station=station_id, rule=rule, start=wet.end - scenario.LEVEL_BEFORE, end="any",
                           start_tolerance_s=300, end_tolerance_s=None, worst=worst))
    return result


def silence_alarms(measured):
    last = float(measured["stone-brook"]["time"][-1])
    return [dict(station="stone-brook", rule="silent", start=last, end=None, start_tolerance_s=1800,
                 end_tolerance_s=None, worst=None)]
