# SPDX-License-Identifier: MIT
"""Air and water of the invented Sallow estuary, and what sensors in them read.

Nothing here shares a formula with the service: density, salinity, conductivity, gravity and oxygen solubility come from
TEOS-10 (gsw); air pressure is carried up and down with moist virtual temperature. All times are seconds since the epoch,
UTC; pressure Pa, temperature degC, length m, conductivity mS/cm, oxygen mg/L.
"""
import gsw
import numpy as np

LATITUDE, LONGITUDE = -47.9, 263.8  # open ocean: 47.9 S, 96.2 W; no real network is meant
GRAVITY = float(gsw.grav(LATITUDE, 0.0))
ATMOSPHERE = 101325.0
DRY_AIR = 287.0528  # J/(kg K), US Standard Atmosphere 1976
MOIST_SHARE = 0.78  # relative humidity of the air between a barometer and the water
COEFFICIENT = 0.0191  # of the streams' conductivity, per degC: true by construction
TIDES = (  # name, period [h], share of the amplitude, phase [rad]
    ("M2", 12.4206012, 1.00, 0.3),
    ("S2", 12.0, 0.30, 1.9),
    ("N2", 12.65834751, 0.19, 0.8),
    ("K1", 23.93447213, 0.17, 2.6),
    ("O1", 25.81933871, 0.11, 4.0),
)
NOON = 18.4133 * 3600  # of the sun at 96.2 W, seconds after midnight UTC


def generator(seed):
    """One stream of random numbers for one purpose, the same in every run."""
    return np.random.Generator(np.random.PCG64(seed))


def smooth_noise(seconds, seed, periods_h, amplitude):
    """Sum of twelve waves with periods between the two given: smooth, so it can be sampled at any instant."""
    random = generator(seed)
    low, high = np.log(periods_h)
    result = np.zeros_like(seconds, dtype=float)
    for _ in range(12):
        period = np.exp(random.uniform(low, high)) * 3600
        phase = random.uniform(0, 2 * np.pi)
        result += random.uniform(0.5, 1.5) * np.sin(2 * np.pi * seconds / period + phase)
    return amplitude * result / np.sqrt(12 * 0.54)


def daily(seconds, peak_h):
    """One wave a day, 1 at `peak_h` hours after the sun's noon."""
    return np.cos(2 * np.pi * (seconds - NOON - peak_h * 3600) / 86400)


def tide(seconds, amplitude, lag_h):
    return amplitude * sum(
        share * np.cos(2 * np.pi * (seconds / 3600 - lag_h) / period + phase) for _, period, share, phase in TIDES)


class Air:
    """The weather over the whole estuary; small enough to be one column of air."""

    def __init__(self, start, front):
        self.start, self.front = start, front

    def temperature(self, seconds, elevation=0.0):
        days = (seconds - self.start) / 86400
        return (13.5 - 0.07 * days + 3.8 * daily(seconds, 2.6) + smooth_noise(seconds, 11, (40, 160), 1.6)
                + smooth_noise(seconds, 12, (2, 9), 0.3) - 0.0065 * np.asarray(elevation, float))

    def pressure_at_sea(self, seconds):
        hours = (seconds - self.front) / 3600
        front = -420 * np.exp(-((hours / 16) ** 2)) + 260 * np.tanh(hours / 1.1)
        return (101180 + smooth_noise(seconds, 13, (45, 210), 520) + smooth_noise(seconds, 14, (2, 8), 16) + front
                + 55 * np.cos(2 * np.pi * (seconds - NOON - 3.3 * 3600) / 43200))

    def pressure(self, seconds, elevation):
        """Hypsometric, with the virtual temperature half-way up."""
        elevation = np.asarray(elevation, float)
        sea = self.pressure_at_sea(seconds)
        mean_temperature = self.temperature(seconds, elevation / 2)
        vapour = MOIST_SHARE * 611.2 * np.exp(17.62 * mean_temperature / (243.12 + mean_temperature))
        virtual = (mean_temperature + 273.15) / (1 - 0.378 * vapour / sea)
        return sea * np.exp(-GRAVITY * elevation / (DRY_AIR * virtual))


def absolute(salinity, temperature, pressure_dbar):
    """Absolute Salinity and Conservative Temperature."""
    absolute_salinity = gsw.SA_from_SP(salinity, pressure_dbar, LONGITUDE, LATITUDE)
    return absolute_salinity, gsw.CT_from_t(absolute_salinity, temperature, pressure_dbar)


def gauge_pressure(depth, salinity, temperature):
    """Pressure of `depth` metres of water [Pa], with the density half-way down."""
    half = np.maximum(depth, 0) / 2 * 0.98
    return gsw.rho(*absolute(salinity, temperature, half), half) * GRAVITY * depth


def conductivity(salinity, temperature, depth):
    return gsw.C_from_SP(salinity, temperature, np.maximum(depth, 0) * 0.98)


def salinity_of_stream(specific_conductance, temperature, depth):
    """Practical salinity of fresh water that conducts `specific_conductance` at 25 degC."""
    here = specific_conductance * (1 + COEFFICIENT * (temperature - 25))
    return gsw.SP_from_C(here, temperature, np.maximum(depth, 0) * 0.98)


def oxygen_at_saturation(temperature, salinity):
    """mg/L in balance with moist air of one atmosphere: gsw's solubility [umol/kg] times density."""
    absolute_salinity, conservative = absolute(salinity, temperature, 0.0)
    zero = np.zeros_like(conservative)
    solubility = gsw.O2sol(absolute_salinity, conservative, zero, LONGITUDE, LATITUDE)
    return solubility * 31.9988e-6 * gsw.rho(absolute_salinity, conservative, 0.0)


def salinity_factor(temperature, salinity):
    """How much less oxygen water of this salinity holds: the ratio of gsw's solubilities, not a formula of its own.
    A sensor that was told salinity 0 reads the true concentration divided by this."""
    return oxygen_at_saturation(temperature, salinity) / oxygen_at_saturation(temperature, np.zeros_like(temperature))


def pressure_factor(temperature, salinity, air_pressure):
    """Solubility at `air_pressure` over that at one atmosphere; water vapour after Weiss and Price (1980), from memory."""
    kelvin = temperature + 273.15
    vapour = ATMOSPHERE * np.exp(
        24.4543 - 67.4509 * 100 / kelvin - 4.8489 * np.log(kelvin / 100) - 0.000544 * salinity)
    return (air_pressure - vapour) / (ATMOSPHERE - vapour)
