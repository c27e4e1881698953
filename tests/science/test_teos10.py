#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Our formulas against TEOS-10 as computed by gsw, over random grids with a fixed seed.

Usage: test_teos10.py FORMULA_PRINTER

FORMULA_PRINTER is the program built from formula_printer.c. Needs numpy and gsw (Debian: python3-gsw).
"""
import subprocess
import sys

import gsw
import numpy as np

SEED = 19780615
COUNT = 5000
G_PER_KG_PER_UNIT = 35.16504 / 35  # reference-composition salinity [g/kg] of one unit of practical salinity
MOLAR_MASS = 31.9988  # g/mol, oxygen


def evaluate(printer, name, *columns):
    """One call of the printer for arrays of arguments."""
    rows = zip(*(np.broadcast_to(column, COUNT) for column in columns))
    text = "".join(f"{name} {' '.join(repr(float(x)) for x in row)}\n" for row in rows)
    done = subprocess.run([printer], input=text, capture_output=True, text=True, check=True)
    values = np.array([float(line) for line in done.stdout.split()])
    assert len(values) == COUNT, f"{name}: {len(values)} answers to {COUNT} questions"
    return values


def uniform(random, low, high):
    return random.uniform(low, high, COUNT)


def largest(difference):
    """Largest absolute difference; a NaN counts as infinite."""
    return float(np.max(np.where(np.isnan(difference), np.inf, np.abs(difference))))


def test_density(printer, random):
    """EOS-80 and the 48-term or exact TEOS-10 equation were fitted to different data: up to 20 dbar they differ
    by at most 0.0054 kg/m3 (5.4e-6, or 0.05 mm in 10 m of water), largest in brackish water."""
    s, t, p = uniform(random, 0, 40), uniform(random, 0, 35), uniform(random, 0, 20)
    ours = evaluate(printer, "density_eos80", s, t, p * 1e4)
    sa = s * G_PER_KG_PER_UNIT
    assert largest(ours - gsw.rho_t_exact(sa, t, p)) < 0.006
    assert largest(ours - gsw.rho(sa, gsw.CT_from_t(sa, t, p), p)) < 0.006


def test_fresh_density(printer, random):
    """Tanaka et al. is the better of the two for pure water: TEOS-10 is within 0.0012 kg/m3."""
    t, p = uniform(random, 0, 40), uniform(random, 0, 50)
    ours = evaluate(printer, "density_of_water", 0.0, t, p * 1e4)
    assert largest(ours - gsw.rho_t_exact(np.zeros(COUNT), t, p)) < 0.0013


def test_salinity(printer, random):
    """The same scale, the same low-salinity extension and the same way of joining them: only the number of
    Newton steps for the joint differs, so 2e-9 is asked, a hundredth of what the published scale resolves."""
    t, p = uniform(random, -1.9, 35), uniform(random, 0, 100)
    c = gsw.C_from_SP(uniform(random, 0.005, 41.9), t, p)
    assert largest(evaluate(printer, "salinity_from_conductivity", c, t, p * 1e4) - gsw.SP_from_C(c, t, p)) < 2e-9


def test_low_salinity(printer, random):
    """Below 2, where creeks are, on a logarithmic grid."""
    t, p = uniform(random, -0.5, 35), uniform(random, 0, 20)
    c = np.exp(uniform(random, np.log(0.01), np.log(3.0)))
    expected = gsw.SP_from_C(c, t, p)
    assert np.sum(expected < 2) > COUNT / 2
    assert largest(evaluate(printer, "salinity_from_conductivity", c, t, p * 1e4) - expected) < 2e-9


def test_conductivity(printer, random):
    """The inverse: gsw iterates to about 1e-9 in salinity, so 2e-7 mS/cm is asked."""
    s, t, p = uniform(random, 0.02, 42), uniform(random, -1.9, 35), uniform(random, 0, 100)
    ours = evaluate(printer, "salinity_to_conductivity", s, t, p * 1e4)
    assert largest(ours - gsw.C_from_SP(s, t, p)) < 2e-7


def test_conductance_at_25(printer, random):
    """Exact compensation of sea-type water is salinity there and back."""
    s, t = uniform(random, 2, 41), uniform(random, 0, 35)
    c = gsw.C_from_SP(s, t, 0)
    ours = evaluate(printer, "conductance_at_25_seawater", c, t, 0.0)
    assert largest(ours - gsw.C_from_SP(s, 25, 0)) < 1e-6


def test_garcia_gordon(printer, random):
    """gsw gives the polynomial IPTS-68 temperature, ours takes what it is given: the same number to the
    last digits if we are given t68."""
    s, t = uniform(random, 0, 40), uniform(random, -1.9, 39)
    ours = evaluate(printer, "oxygen_garcia_gordon", 1.00024 * t, s)
    assert largest(ours / gsw.O2sol_SP_pt(s, t) - 1) < 1e-12


def test_solubility(printer, random):
    """Benson and Krause in mg/L against Garcia and Gordon in umol/kg (fitted to the same measurements), carried
    over with the density of TEOS-10: the two fits differ by 4e-4 at most, a quarter of it from the
    temperature scale that gsw uses. The stated accuracy of the solubility itself is 1e-3."""
    s, t = uniform(random, 0, 40), uniform(random, 0, 39)
    ours = evaluate(printer, "oxygen_solubility", t, s, 101325.0)
    density = gsw.rho_t_exact(s * G_PER_KG_PER_UNIT, t, 0)
    theirs = gsw.O2sol_SP_pt(s, t) * density * MOLAR_MASS * 1e-6
    assert largest(ours / theirs - 1) < 4e-4


def test_gravity(printer, random):
    """The same surface formula as TEOS-10; the ellipsoid formula is within 1e-5 m/s2 of it."""
    latitude = uniform(random, -90, 90)
    theirs = gsw.grav(latitude, 0)
    assert largest(evaluate(printer, "gravity_teos10", latitude) - theirs) < 1e-12
    assert largest(evaluate(printer, "gravity_at", latitude, 0.0) - theirs) < 1.2e-5


def test_depth(printer, random):
    """A column of one salinity and temperature against the hydrostatic integral of TEOS-10 density (midpoint
    rule, 40 slices): 0.2 mm in 20 m of water, nearly all of it from the density."""
    s, t, p = uniform(random, 0, 40), uniform(random, 0, 35), uniform(random, 0, 20)
    sa, g, slices = s * G_PER_KG_PER_UNIT, 9.81, 40
    volume = sum(1 / gsw.rho_t_exact(sa, t, p * (i + 0.5) / slices) for i in range(slices)) / slices
    ours = evaluate(printer, "depth_from_pressure", p * 1e4, s, t, g)
    assert largest(ours - p * 1e4 * volume / g) < 2e-4


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    tests = [(name, test) for name, test in globals().items() if name.startswith("test_")]
    failed = 0
    for name, test in tests:
        try:
            test(sys.argv[1], np.random.default_rng(SEED))
        except (AssertionError, subprocess.CalledProcessError) as problem:
            failed += 1
            print(f"{name}: {type(problem).__name__} {problem}")
    print(f"{len(tests) - failed} passed, {failed} failed")
    return 1 if failed or not tests else 0


if __name__ == "__main__":
    sys.exit(main())
