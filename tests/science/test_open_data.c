/* SPDX-License-Identifier: MIT */

/* Formulas against columns that others published, from open data that lie beside the source tree or in the
 * folder that RILLWARD_OPEN_DATA names. They are not copied into the project; where they are absent, the
 * tests are skipped. Expected differences are those that the descriptions of the data state. */

#include "science/check.h"
#include "science/conductance.h"
#include "science/density.h"
#include "science/gravity.h"
#include "science/level.h"
#include "science/oxygen.h"
#include "science/salinity.h"
#include "science/statistics.h"
#include "science/units.h"

#include "support/world.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef RILLWARD_SOURCE_ROOT
#define RILLWARD_SOURCE_ROOT "."
#endif

#define CELL_LIMIT 64
#define DIFFERENCE_LIMIT 40000

/* A CSV file without quoted cells, row by row; the cells of the present row point into `line`. */
struct sheet {
    FILE *file;
    size_t column_count;
    char header[4096];
    char line[4096];
    char *names[CELL_LIMIT];
    char *cells[CELL_LIMIT];
};

/* Absolute differences between our value and the published one. */
struct differences {
    size_t count;
    double values[DIFFERENCE_LIMIT];
};

static struct sheet *sheet_open(const char *path_below_data);
static bool sheet_next(struct sheet *sheet);
static const char *sheet_text(const struct sheet *sheet, const char *column);
static double sheet_number(const struct sheet *sheet, const char *column);
static bool is_flagged_good(const struct sheet *sheet, const char *column);
static void sheet_close(struct sheet *sheet);
static size_t split(char *line, char **cells);

static void add(struct differences *differences, double ours, double published);
static void expect(struct differences *differences, const char *what, size_t least_count, double median, double p95,
                   double largest);
static double base(const char *unit, double value);
static double at_surface(double temperature_c, double pressure_dbar);

/* Reference casts of the TEOS-10 check values: GSW-C, SCOR/IAPSO WG127. */
Test(open_data, reference_casts_of_teos10)
{
    static struct differences salinity, density, solubility, kilogram, conductivity;
    struct sheet *sheet = sheet_open("teos10-pss78-checkvalues/gsw_check_casts.csv");
    while (sheet_next(sheet)) {
        const double s = sheet_number(sheet, "SP");
        const double t = sheet_number(sheet, "t_ITS90");
        const double pressure_pa = base("dbar", sheet_number(sheet, "p_dbar"));
        const double c = sheet_number(sheet, "C_mScm");
        const double published = sheet_number(sheet, "O2sol_SP_pt");
        add(&salinity, salinity_from_conductivity(c, t, pressure_pa), sheet_number(sheet, "SP_from_C"));
        add(&conductivity, salinity_to_conductivity(s, t, pressure_pa), c);
        add(&density, density_eos80(s, t, pressure_pa), sheet_number(sheet, "rho_insitu"));
        const double pt = sheet_number(sheet, "pt0");
        add(&kilogram, oxygen_garcia_gordon(1.00024 * pt, s), published);
        if (pressure_pa == 0) {
            const double mg_l = oxygen_solubility(t, s, OXYGEN_SEA_LEVEL_PA);
            add(&solubility, mg_l / oxygen_from_micromoles_per_kg(1, density_eos80(s, t, 0)), published);
        }
    }
    sheet_close(sheet);
    expect(&salinity, "salinity", 98, 1e-12, 1e-12, 1e-12);
    expect(&conductivity, "conductivity, mS/cm", 98, 1e-9, 1e-8, 1e-7);
    expect(&density, "density against TEOS-10, kg/m3", 98, 0.0125, 0.0525, 0.0545);
    expect(&kilogram, "solubility (Garcia and Gordon), umol/kg", 98, 1e-9, 1e-9, 1e-9);
    expect(&solubility, "solubility (Benson and Krause), umol/kg", 3, 0.0425, 0.0425, 0.0425);
}

/* IMOS mooring NRSROT-1812, CC BY 4.0: "Data was sourced from Australia's Integrated Marine Observing
 * System". Only rows with a salinity: in the others the pump had failed. */
Test(open_data, oxygen_of_a_marine_mooring)
{
    static struct differences salinity, percent_kilogram, percent, litre, kilogram, kilogram_68;
    struct sheet *sheet = sheet_open("imos-rottnest-oxygen/imos_nrsrot_1812_55m_bursts.csv");
    while (sheet_next(sheet)) {
        const double s = sheet_number(sheet, "PSAL");
        if (isnan(s))
            continue;
        const double t = sheet_number(sheet, "TEMP");
        const double c = base("S/m", sheet_number(sheet, "CNDC"));
        const double pressure_dbar = sheet_number(sheet, "PRES_REL");
        add(&salinity, salinity_from_conductivity(c, t, base("dbar", pressure_dbar)), s);

        const double pt = at_surface(t, pressure_dbar);
        const double potential_density = density_eos80(s, pt, 0);
        const double published_percent = sheet_number(sheet, "DOXS");
        const double umol_kg = sheet_number(sheet, "DOX2");
        const double mg_l = oxygen_from_micromoles_per_kg(umol_kg, density_eos80(s, t, 0));
        add(&percent_kilogram, 100 * umol_kg / oxygen_garcia_gordon(1.00024 * pt, s), published_percent);
        add(&percent, oxygen_percent(mg_l, t, s, OXYGEN_SEA_LEVEL_PA), published_percent);

        const double umol_l = sheet_number(sheet, "DOX1");
        add(&litre, base("mL/L", sheet_number(sheet, "DOX")), base("umol/L", umol_l));
        add(&kilogram, umol_l / potential_density * 1000, umol_kg);
        add(&kilogram_68, umol_l / density_eos80_68(s, pt, 0) * 1000, umol_kg);
    }
    sheet_close(sheet);
    expect(&salinity, "salinity", 422, 0.000245, 0.00049, 0.0006);
    /* Stated 0.00007 with the exact potential temperature; ours is good to 4e-5 degC. */
    expect(&percent_kilogram, "per cent (Garcia and Gordon)", 422, 0.00003, 0.00008, 0.00012);
    expect(&percent, "per cent (Benson and Krause)", 422, 0.0060, 0.0061, 0.0065);
    expect(&litre, "mL/L and umol/L, mg/L", 422, 2e-5, 2e-5, 3e-5);
    /* Stated 0.0006 is EOS-80 fed with ITS-90 as if it were IPTS-68; converted it is 0.0008 from TEOS-10. */
    expect(&kilogram, "umol/L and umol/kg", 422, 0.00085, 0.00085, 0.0009);
    expect(&kilogram_68, "umol/L and umol/kg, scale not converted", 422, 0.0006, 0.0006, 0.00065);
}

/* IMOS mooring NRSROT-1804 at 24 m, CC BY 4.0: "Data was sourced from Australia's Integrated Marine Observing
 * System". Conductivity is rounded to 0.001 mS/cm. */
Test(open_data, salinity_and_depth_of_a_marine_mooring)
{
    static struct differences salinity, without_pressure, depth;
    struct sheet *sheet = sheet_open("imos-rottnest-ctd/imos_nrsrot_1804_24m_15min.csv");
    while (sheet_next(sheet)) {
        const double t = sheet_number(sheet, "TEMP");
        const double c = base("S/m", sheet_number(sheet, "CNDC"));
        const double pressure_dbar = sheet_number(sheet, "PRES_REL");
        const double published = sheet_number(sheet, "PSAL");
        add(&salinity, salinity_from_conductivity(c, t, base("dbar", pressure_dbar)), published);
        add(&without_pressure, salinity_from_conductivity(c, t, 0), published);
        add(&depth, depth_unesco44(pressure_dbar, sheet_number(sheet, "LATITUDE")), sheet_number(sheet, "DEPTH"));
    }
    sheet_close(sheet);
    expect(&salinity, "salinity", 1001, 0.000205, 0.000395, 0.001);
    expect(&depth, "depth, m", 1001, 0.00035, 0.00085, 0.0015);
    cr_expect(statistics_median(without_pressure.count, without_pressure.values) > 0.005,
              "the pressure term is felt at 24 m");
}

/* NOAA National Estuarine Research Reserve System, Apalachicola Bay, 2012 (public data, CC0): salinity,
 * oxygen and per cent rounded to 0.1, which alone makes the differences. Its per cent refers to 1 atm. The
 * description of the data gives a median of 0.33 for per cent saturation over more years; this year alone has
 * 0.343. */
Test(open_data, salinity_and_oxygen_of_an_estuary)
{
    static struct differences salinity, concentration, percent;
    struct sheet *sheet = sheet_open("nerrs-apalachicola/apacpwq_2012.csv");
    while (sheet_next(sheet)) {
        if (!is_flagged_good(sheet, "temp") || !is_flagged_good(sheet, "spcond") || !is_flagged_good(sheet, "sal"))
            continue;
        const double t = sheet_number(sheet, "temp");
        const double s = sheet_number(sheet, "sal");
        const double c = conductance_undone(sheet_number(sheet, "spcond"), t, CONDUCTANCE_DEFAULT_COEFFICIENT);
        add(&salinity, salinity_from_conductivity(c, t, 0), s);
        if (!is_flagged_good(sheet, "do_pct") || !is_flagged_good(sheet, "do_mgl"))
            continue;
        const double published_percent = sheet_number(sheet, "do_pct");
        const double published_mg_l = sheet_number(sheet, "do_mgl");
        add(&concentration, oxygen_from_percent(published_percent, t, s, OXYGEN_SEA_LEVEL_PA), published_mg_l);
        add(&percent, oxygen_percent(published_mg_l, t, s, OXYGEN_SEA_LEVEL_PA), published_percent);
    }
    sheet_close(sheet);
    expect(&salinity, "salinity", 20000, 0.0255, 0.0535, 0.2);
    expect(&concentration, "oxygen, mg/L", 20000, 0.0255, 0.0525, 0.2);
    expect(&percent, "per cent saturation", 20000, 0.345, 0.735, 2);
}

/* The same station's depth: its logger took a fixed 1013 mbar from absolute pressure and 100 mbar for a
 * metre; the corrected depth uses the barometer of the weather station, and the same metre. */
Test(open_data, depth_of_an_estuary_with_a_barometer)
{
    static struct differences by_convention, hydrostatic;
    struct sheet *water = sheet_open("nerrs-apalachicola/apacpwq_2012.csv");
    struct sheet *air = sheet_open("nerrs-apalachicola/apaebmet_2012.csv");
    const double gravity = gravity_at(29.7, 0);
    bool has_air = sheet_next(air);
    while (has_air && sheet_next(water)) {
        const char *time = sheet_text(water, "datetimestamp");
        while (has_air && strcmp(sheet_text(air, "datetimestamp"), time) < 0)
            has_air = sheet_next(air);
        if (!has_air || strcmp(sheet_text(air, "datetimestamp"), time) != 0)
            continue;
        const double published = sheet_number(water, "cdepth");
        const double absolute_pa = base("mbar", 1013 + 100 * sheet_number(water, "depth"));
        const double gauge_pa = absolute_pa - base("mbar", sheet_number(air, "bp"));
        if (isnan(published) || isnan(gauge_pa))
            continue;
        add(&by_convention, depth_from_density(gauge_pa, 1e4 / GRAVITY_STANDARD_M_S2, GRAVITY_STANDARD_M_S2),
            published);
        if (is_flagged_good(water, "temp") && is_flagged_good(water, "sal"))
            add(&hydrostatic,
                depth_from_pressure(gauge_pa, sheet_number(water, "sal"), sheet_number(water, "temp"), gravity),
                published);
    }
    sheet_close(water);
    sheet_close(air);
    expect(&by_convention, "depth by the station's convention, m", 20000, 1e-9, 1e-9, 1e-3);
    expect(&hydrostatic, "hydrostatic depth, m", 20000, 0.013, 0.030, 0.2);
}

static struct sheet *sheet_open(const char *path_below_data)
{
    char path[1024];
    const char *folder = getenv("RILLWARD_OPEN_DATA");
    if (folder != NULL)
        snprintf(path, sizeof path, "%s/%s", folder, path_below_data);
    else
        snprintf(path, sizeof path, "%s/../shared/data/%s", RILLWARD_SOURCE_ROOT, path_below_data);
    FILE *file = fopen(path, "r");
    if (file == NULL) {
        printf("skipped, no open data (%s)\n", path_below_data);
        cr_skip("skipped, no open data");
    }
    struct sheet *sheet = calloc(1, sizeof *sheet);
    cr_assert_not_null(sheet);
    sheet->file = file;
    cr_assert_not_null(fgets(sheet->header, sizeof sheet->header, file), "'%s' is empty", path);
    sheet->column_count = split(sheet->header, sheet->names);
    return sheet;
}

static bool sheet_next(struct sheet *sheet)
{
    if (fgets(sheet->line, sizeof sheet->line, sheet->file) == NULL)
        return false;
    cr_assert(split(sheet->line, sheet->cells) == sheet->column_count, "a row has another number of cells");
    return true;
}

static const char *sheet_text(const struct sheet *sheet, const char *column)
{
    for (size_t i = 0; i < sheet->column_count; i++) {
        if (strcmp(sheet->names[i], column) == 0)
            return sheet->cells[i];
    }
    cr_assert_fail("no column '%s'", column);
    return "";
}

static double sheet_number(const struct sheet *sheet, const char *column)
{
    const char *text = sheet_text(sheet, column);
    char *end;
    const double value = strtod(text, &end);
    return end != text && *end == '\0' ? value : NAN;
}

/* The flag of column x stands in column f_x; "<0>" is passed. */
static bool is_flagged_good(const struct sheet *sheet, const char *column)
{
    char name[64];
    snprintf(name, sizeof name, "f_%s", column);
    return strncmp(sheet_text(sheet, name), "<0>", 3) == 0;
}

static void sheet_close(struct sheet *sheet)
{
    fclose(sheet->file);
    free(sheet);
}

static size_t split(char *line, char **cells)
{
    size_t count = 0;
    line[strcspn(line, "\r\n")] = '\0';
    for (char *cell; (cell = strsep(&line, ",")) != NULL; count++) {
        cr_assert(count < CELL_LIMIT);
        cells[count] = cell;
    }
    return count;
}

/* A value that the publisher left out is passed over; one that only we cannot give counts as a difference. */
static void add(struct differences *differences, double ours, double published)
{
    if (isnan(published))
        return;
    cr_assert(differences->count < DIFFERENCE_LIMIT);
    differences->values[differences->count++] = isnan(ours) ? INFINITY : fabs(ours - published);
}

static void expect(struct differences *differences, const char *what, size_t least_count, double median, double p95,
                   double largest)
{
    const size_t n = differences->count;
    cr_assert(n >= least_count, "%s: only %zu rows", what, n);
    const double got_median = statistics_median(n, differences->values);
    const double got_p95 = statistics_quantile(n, differences->values, 0.95);
    const double got_largest = statistics_quantile(n, differences->values, 1);
    world_add("residual | %s, by the formula | %zu | %.3g | %.3g | %.3g | %.3g, %.3g |", what, n,
              world_round(got_median), world_round(got_p95), world_round(got_largest), median, p95);
    cr_log_info("%s: %zu rows, median %.3g, p95 %.3g, largest %.3g", what, n, got_median, got_p95, got_largest);
    cr_expect(got_median <= median, "%s: median %g > %g", what, got_median, median);
    cr_expect(got_p95 <= p95, "%s: p95 %g > %g", what, got_p95, p95);
    cr_expect(got_largest <= largest, "%s: largest %g > %g", what, got_largest, largest);
}

static double base(const char *unit, double value)
{
    return unit_to_base(unit_find(unit, strlen(unit)), value);
}

/* Potential temperature of the mooring at 55 m, to which its per cent and umol/kg refer: adiabatic lapse rate
 * 1.726e-4 degC/dbar at 18.1 degC and 35.79, TEOS-10 via gsw 3.6.16. */
static double at_surface(double temperature_c, double pressure_dbar)
{
    return temperature_c - 1.726e-4 * pressure_dbar;
}
