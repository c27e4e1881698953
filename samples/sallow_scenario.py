# SPDX-License-Identifier: MIT
"""What happens at the invented Sallow estuary in the 28 days before NOW: nine stations, two barometers, three crews.

Everything a reader may want to change is in the tables of this file. The faults, each at a named place:

  heron-creek      oxygen below 3 mg/L in one night; logger clock runs fast, 90 s and 70 s in a deployment
  eelgrass-slough  oxygen below 3 mg/L in the last night, still so at the last sample
  ferry-channel    conductivity fouled by 12 % until cleaned; one surge that lifts the water above the landing
  fern-brook       0.8 m of rise in 45 minutes
  willow-run       the mount creeps down by 0.06 m during the first deployment; the second hand reading shows it
  stone-brook      nothing since nine days before NOW; the crew forgot to note one visit out of the water
  otter-stream     the second file holds the first again, with six rows that were damaged in the first
  alder-ford       the first file arrives in two halves, the second half at the end
  lily-pond        somebody opens the sluice; hand readings are tapes down in feet and inches
  quay             five hours without air pressure; its second file comes last of all
  hill             its second file comes after the water files of the same days
"""
from dataclasses import dataclass, field
from datetime import datetime, timezone

import numpy as np

import sallow_physics as physics

DAY, HOUR, MINUTE = 86400, 3600, 60


def at(text):
    """Epoch seconds of '2026-04-08 15:00' UTC."""
    return int(datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=timezone.utc).timestamp())


def april(text):
    """Epoch seconds of '08 15:00', April 2026, UTC; '-' before the day counts in March."""
    return at(("2026-03-" + text[1:]) if text.startswith("-") else "2026-04-" + text)


# The clocks of the north crew's phones go back one hour on 2026-04-05 at 03:00 UTC (zone Pacific/Easter).
NOW = at("2026-04-22 12:00")
START = NOW - 28 * DAY
FRONT = april("13 05:00")
QUAY_GAP = (april("16 06:00"), april("16 11:00"))
RAINS = (  # start, hours of rise, hours of recession, height [m] at a stream with rain factor 1
    (april("01 22:00"), 7.0, 30.0, 0.20),
    (april("13 08:00"), 6.0, 36.0, 0.28),
    (april("21 12:30"), 5.0, 20.0, 0.14),
)


def step(seconds, start, hours):
    """0 before `start`, 1 after `hours`, smooth between."""
    share = np.clip((seconds - start) / (hours * HOUR), 0, 1)
    return share * share * (3 - 2 * share)


def wave(seconds, start, rise_h, fall_h):
    """Rises to 1 within rise_h, then dies away."""
    after = np.maximum(seconds - start - rise_h * HOUR, 0)
    return step(seconds, start, rise_h) * np.exp(-after / (fall_h * HOUR))


@dataclass(frozen=True)
class Wet:
    """One stay in the water: [start, end), sensor at `elevation` above the datum."""
    start: int
    end: int
    elevation: float
    noted: tuple = (True, True)  # did the crew write when it went in, and out


@dataclass(frozen=True)
class Run:
    """One launch of a logger: it records from 15 minutes before the first stay to 15 minutes after the last."""
    wets: tuple
    fast: float = 0.0  # seconds that the logger's clock has gained at the end

    @property
    def start(self):
        return self.wets[0].start - 15 * MINUTE

    @property
    def end(self):
        return self.wets[-1].end + 15 * MINUTE

    def true_time(self, stamp):
        return self.start + (stamp - self.start) / (1 + self.fast / (self.end - self.start))

    def shown_time(self, time):
        return time + self.fast * (time - self.start) / (self.end - self.start)


@dataclass(frozen=True)
class Station:
    id: str
    label: str  # in the crew's own words
    serial: str
    crew: str
    kind: str  # creek, stream or pond
    seed: int
    datum: float  # elevation of the zero of the staff above the sea
    level: float  # mean level above the datum
    elevation: float  # of the water surface, as the settings state it
    runs: tuple
    sensors: tuple = ("oxygen", "conductivity")
    amplitude: float = 0.0  # of the tide
    lag: float = 0.0  # of the tide [h]
    salinity: tuple = (0.0, 0.0)  # creeks: mean and swing
    conductance: float = 0.15  # fresh water: mean specific conductance [mS/cm]
    rain: float = 0.0  # factor on RAINS
    settings_salinity: str = "fresh"  # what the settings say: 'measured' makes the truth carry salinity
    extra: dict = field(default_factory=dict)


STATIONS = (
    Station("heron-creek", "Heron Cr footbridge", "S-0512", "south", "creek", 101, 0.40, 0.95, 1.4,
            (Run((Wet(april("-25 14:00"), april("08 15:00"), -0.350),), fast=90),
             Run((Wet(april("08 15:40"), april("21 20:00"), -0.346),), fast=70)),
            amplitude=0.42, lag=0.4, salinity=(14.0, 6.5), settings_salinity="measured"),
    Station("eelgrass-slough", "ES-2", "E-77", "east", "creek", 102, 0.30, 0.80, 1.1,
            (Run((Wet(april("-25 16:00"), april("09 14:30"), -0.300),)),
             Run((Wet(april("09 15:10"), april("22 11:20"), -0.304),))),
            amplitude=0.36, lag=0.9, salinity=(17.0, 6.0), settings_salinity="measured"),
    Station("ferry-channel", "Ferry Channel", "N-3107", "north", "creek", 103, 0.20, 1.10, 1.3,
            (Run((Wet(april("-25 18:30"), april("07 17:00"), -0.500),)),
             Run((Wet(april("07 17:45"), april("21 15:30"), -0.505),))),
            amplitude=0.55, lag=0.2, salinity=(21.0, 5.0), settings_salinity="measured"),
    Station("fern-brook", "Fern Brook", "N-3122", "north", "stream", 104, 17.40, 0.50, 17.9,
            (Run((Wet(april("-26 13:30"), april("08 19:00"), -0.120),)),
             Run((Wet(april("08 19:40"), april("21 22:40"), -0.117),))),
            sensors=("oxygen", "specific_conductance"), conductance=0.240, rain=0.6, settings_salinity="measured"),
    Station("willow-run", "WR-1", "E-81", "east", "stream", 105, 26.20, 0.80, 27.0,
            (Run((Wet(april("-26 16:00"), april("09 18:00"), 0.100),)),
             Run((Wet(april("09 18:35"), april("20 19:00"), 0.100),))),
            conductance=0.118, rain=0.8),
    Station("stone-brook", "Stone Brook weir", "S-0520", "south", "stream", 106, 40.50, 0.55, 41.0,
            (Run((Wet(april("-26 19:30"), april("06 20:00"), -0.150, (True, False)),)),
             Run((Wet(april("06 20:35"), april("13 13:30"), -0.147, (False, True)),))),
            conductance=0.086, rain=0.7),
    Station("otter-stream", "Otter Stream", "N-3140", "north", "stream", 107, 11.30, 0.70, 12.0,
            (Run((Wet(april("-27 14:00"), april("10 15:00"), 0.020),
                  Wet(april("10 15:20"), april("20 15:00"), 0.020))),),
            sensors=("oxygen",), conductance=0.165, rain=0.9),
    Station("lily-pond", "Lily Pond sluice", "S-0533", "south", "pond", 108, 20.10, 1.90, 22.0,
            (Run((Wet(april("-27 17:00"), april("10 19:00"), 0.900),)),
             Run((Wet(april("10 19:35"), april("21 18:00"), 0.903),))),
            conductance=0.320, rain=0.15, settings_salinity="0.15", extra={"tape_point": 11.35 * 0.3048}),
    Station("alder-ford", "AF-1", "E-90", "east", "stream", 109, 32.30, 0.65, 33.0,
            (Run((Wet(april("-28 15:00"), april("11 15:00"), 0.000),)),
             Run((Wet(april("11 15:35"), april("20 22:00"), 0.004),))),
            sensors=(), conductance=0.130, rain=1.0),
)

REMARKS = (
    ("ferry-channel", april("07 17:20"), "weed and slime on the conductivity cell, brushed clean"),
    ("fern-brook", april("21 22:35"), "water brown, branches coming down"),
    ("otter-stream", april("10 15:10"), "offload broke off twice; logger left running"),
    ("lily-pond", april("15 15:30"), "sluice board taken out by the mill"),
    ("willow-run", april("09 18:05"), "mount leans; set upright; clamp tightened"),
    ("eelgrass-slough", april("22 11:15"), "dead shrimp at the edge, smell of sulphide"),
)

CREEP = 0.06  # willow-run [m]
FOULING = 0.12  # ferry-channel: share of the reading that is missing before cleaning
LEVEL_AFTER, LEVEL_BEFORE = 25 * MINUTE, 10 * MINUTE  # hand readings: after going in, before coming out


def by_id(station_id):
    return next(station for station in STATIONS if station.id == station_id)


def shift_of(station, seconds):
    """How far the sensor has slid from where the crew hung it [m]: linear between the two hand readings."""
    if station.id != "willow-run":
        return np.zeros_like(seconds, dtype=float)
    wet = station.runs[0].wets[0]
    first, second = wet.start + LEVEL_AFTER, wet.end - LEVEL_BEFORE
    share = np.clip((seconds - first) / (second - first), 0, 1)
    return np.where(seconds < wet.end, -CREEP * share, 0.0)


def fouling_of(station, seconds):
    """Conductivity read is the true one divided by 1 + this: grows evenly from the first check to the second."""
    if station.id != "ferry-channel":
        return np.zeros_like(seconds, dtype=float)
    wet = station.runs[0].wets[0]
    first, second = wet.start + LEVEL_AFTER, wet.end - LEVEL_BEFORE
    share = np.clip((seconds - first) / (second - first), 0, 1)
    return np.where(seconds < wet.end, FOULING / (1 - FOULING) * share, 0.0)


class Water:
    """The true state of the water at one station, at any instants."""

    def __init__(self, station, air):
        self.station, self.air = station, air

    def level(self, seconds):
        station = self.station
        level = station.level + physics.smooth_noise(seconds, station.seed, (5, 40), 0.004)
        if station.kind == "creek":
            surge = -1e-4 * (self.air.pressure_at_sea(seconds) - 101325)
            level += physics.tide(seconds, station.amplitude, station.lag) + surge
        for start, rise_h, fall_h, height in RAINS:
            level += station.rain * height * wave(seconds, start, rise_h, fall_h)
        if station.id == "fern-brook":
            level += 0.8 * wave(seconds, april("21 13:50"), 0.75, 9.0)
        if station.id == "ferry-channel":
            level += 0.30 * step(seconds, april("17 10:00"), 8) * (1 - step(seconds, april("18 12:00"), 10))
        if station.id == "lily-pond":
            level -= 0.25 * step(seconds, april("15 16:00"), 6)
        return level

    def temperature(self, seconds):
        days = (seconds - START) / DAY
        if self.station.kind == "creek":
            swing = 0.7 * physics.tide(seconds, 1, self.station.lag + 2)
            return 14.6 - 0.08 * days + 0.7 * physics.daily(seconds, 4) + 0.5 * swing \
                + physics.smooth_noise(seconds, self.station.seed + 1, (30, 120), 0.35)
        strength = {"stream": 1.3, "pond": 0.9}[self.station.kind]
        return {"stream": 11.8, "pond": 14.2}[self.station.kind] - 0.09 * days + strength * physics.daily(seconds, 3.5) \
            + physics.smooth_noise(seconds, self.station.seed + 1, (30, 120), 0.6)

    def specific_conductance(self, seconds):
        """mS/cm at 25 degC. Creeks: sea salt, so the conductivity of the same salinity at 25 degC."""
        if self.station.kind == "creek":
            return physics.conductivity(self.salinity(seconds), np.full_like(seconds, 25.0, dtype=float), 0.0)
        diluted = 1 - 0.25 * sum(wave(seconds, start, rise, fall) for start, rise, fall, _ in RAINS)
        return self.station.conductance * diluted \
            * (1 + physics.smooth_noise(seconds, self.station.seed + 2, (20, 90), 0.02))

    def salinity(self, seconds):
        station = self.station
        if station.kind != "creek":
            return physics.salinity_of_stream(
                self.specific_conductance(seconds), self.temperature(seconds), 0.5)
        mean, swing = station.salinity
        fresher = sum(wave(seconds, start + 6 * HOUR, rise, fall) for start, rise, fall, _ in RAINS)
        tide = np.tanh(1.2 * physics.tide(seconds, 1, station.lag + 0.5)) / np.tanh(1.2)
        return mean + swing * tide * 0.9 - 2.5 * fresher + physics.smooth_noise(seconds, station.seed + 2, (8, 50), 0.2)

    def oxygen_share(self, seconds):
        """Of saturation at one atmosphere."""
        station = self.station
        mean, swing = {"creek": (0.86, 0.10), "stream": (0.94, 0.05), "pond": (0.90, 0.24)}[station.kind]
        share = mean + swing * physics.daily(seconds, 3.2) + physics.smooth_noise(seconds, station.seed + 3, (10, 60), 0.015)
        if station.id == "heron-creek":
            share *= 1 - 0.30 * step(seconds, april("03 02:00"), 5) * (1 - step(seconds, april("03 10:00"), 5))
            share *= 1 - 0.76 * step(seconds, april("19 02:00"), 6) * (1 - step(seconds, april("19 11:00"), 6))
        if station.id == "eelgrass-slough":
            share *= 1 - 0.75 * step(seconds, april("22 01:30"), 6.5)
        return share

    def conductivity(self, seconds):
        if self.station.kind == "creek":
            depth = self.level(seconds) - self.station.runs[0].wets[0].elevation
            return physics.conductivity(self.salinity(seconds), self.temperature(seconds), depth)
        return self.specific_conductance(seconds) * (1 + physics.COEFFICIENT * (self.temperature(seconds) - 25))

    def oxygen(self, seconds):
        return self.oxygen_share(seconds) * physics.oxygen_at_saturation(self.temperature(seconds), self.salinity(seconds))

    def oxygen_read(self, seconds):
        """What a sensor that was told salinity 0 reads."""
        factor = physics.salinity_factor(self.temperature(seconds), self.salinity(seconds))
        return self.oxygen(seconds) / factor

    def oxygen_percent(self, seconds):
        air_pressure = self.air.pressure(seconds, self.station.elevation)
        return 100 * self.oxygen_share(seconds) / physics.pressure_factor(
            self.temperature(seconds), self.salinity(seconds), air_pressure)

    def sensor_elevation(self, seconds):
        """Above the datum; NaN while the logger is out of the water."""
        elevation = np.full(len(seconds), np.nan)
        for wet in wets_of(self.station):
            inside = (seconds >= wet.start) & (seconds < wet.end)
            elevation[inside] = wet.elevation
        return elevation + shift_of(self.station, seconds)


def wets_of(station):
    return [wet for run in station.runs for wet in run.wets]


def measure(station, run, air, sample_s):
    """What the logger of one run keeps: a dict of equal arrays; 'stamp' is by its own clock."""
    stamp = np.arange(-(-run.start // sample_s) * sample_s, run.end + 1, sample_s, dtype=float)
    time = run.true_time(stamp)
    water = Water(station, air)
    random = physics.generator(station.seed * 1000 + station.runs.index(run))
    elevation = water.sensor_elevation(time)
    wet = ~np.isnan(elevation)
    level = water.level(time)
    surface = station.datum + level
    depth = np.where(wet, level - elevation, 0.0)
    temperature = relaxed(time, wet, water.temperature(time), air.temperature(time, station.elevation), 100, 240)
    pressure = air.pressure(time, np.where(wet, surface, surface + 1.0)) \
        + physics.gauge_pressure(depth, water.salinity(time), water.temperature(time)) + random.normal(0, 5, len(time))
    in_air = physics.oxygen_at_saturation(air.temperature(time, station.elevation), np.zeros(len(time)))
    oxygen = relaxed(time, wet, water.oxygen_read(time), in_air, 70, 90)
    conductivity = water.conductivity(time) / (1 + fouling_of(station, time)) * (1 + random.normal(0, 1e-3, len(time)))
    dry = np.abs(random.normal(0, 0.0008, len(time)))
    battery = 3.62 - 0.16 * (time - run.start) / (30 * DAY) + random.normal(0, 0.003, len(time))
    specific = conductivity / (1 + physics.COEFFICIENT * (temperature - 25))
    return {
        "stamp": stamp, "time": time, "wet": wet, "pressure": pressure,
        "temperature": temperature + random.normal(0, 0.01, len(time)),
        "oxygen": oxygen + random.normal(0, 0.02, len(time)),
        "conductivity": np.where(wet, conductivity, dry),
        "specific_conductance": np.where(wet, specific, dry), "battery": battery,
    }


def relaxed(time, wet, in_water, in_air, water_s, air_s):
    """A sensor that follows its surroundings with a lag that matters only after it changed them."""
    target = np.where(wet, in_water, in_air)
    other = np.where(wet, in_air, in_water)
    changes = np.flatnonzero(np.diff(wet.astype(int))) + 1
    last = np.zeros(len(time), dtype=int)
    last[changes] = changes
    last = np.maximum.accumulate(last)
    since = np.where(last > 0, time - time[last] + (time[1] - time[0]) / 2, np.inf)
    return target + (other - target) * np.exp(-since / np.where(wet, water_s, air_s))


def measure_air(air, elevation, start, end, sample_s, seed, gap=None):
    time = np.arange(-(-start // sample_s) * sample_s, end + 1, sample_s, dtype=float)
    if gap:
        time = time[(time < gap[0]) | (time >= gap[1])]
    random = physics.generator(seed)
    return {"stamp": time, "pressure": air.pressure(time, elevation) + random.normal(0, 3, len(time)),
            "temperature": air.temperature(time, elevation) + random.normal(0, 0.05, len(time))}
