/* SPDX-License-Identifier: MIT */
/* The whole chain on data that others measured and published, end to end: readings in, finished values and flags out,
 * held against what they computed or decided. Where the data are absent: 'skipped, no open data'. */
#include "derive/sheet.h"
#include "derive/site.h"
#include "science/density.h"
#include "science/statistics.h"

#include "support/world.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BIT(quantity) (1u << (quantity))
#define LOCAL (-5 * HOUR_MS)    /* Apalachicola keeps Eastern Standard Time */
#define MOUNTAIN (-7 * HOUR_MS) /* Logan River keeps Mountain Standard Time */

static struct arena *arena;
static struct site site;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(open_data, .init = set_up, .fini = tear_down);

/* Columns that others published, row by row. */
struct published {
    size_t n;
    double *value[8];
};

static void published_init(struct published *published, size_t n)
{
    published->n = n;
    for (size_t k = 0; k < COUNT_OF(published->value); k++)
        published->value[k] = arena_array(arena, n, sizeof(double));
}

/* Median, 95th percentile and largest of |ours - theirs|; a value that only we lack counts as infinite. */
static void expect_agreement(const char *what, size_t n, const double *ours, const double *theirs, size_t least_count,
                             double median, double p95, double largest)
{
    double *difference = arena_array(arena, n, sizeof *difference);
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        if (!isnan(theirs[i]))
            difference[count++] = isnan(ours[i]) ? INFINITY : fabs(ours[i] - theirs[i]);
    cr_assert_geq(count, least_count, "%s: only %zu rows", what, count);
    double got_median = statistics_median(count, difference), got_p95 = statistics_quantile(count, difference, 0.95);
    double got_largest = statistics_quantile(count, difference, 1);
    world_add("residual | %s, by the whole chain | %zu | %.3g | %.3g | %.3g | %.3g, %.3g |", what, count,
              world_round(got_median), world_round(got_p95), world_round(got_largest), median, p95);
    printf("%s: %zu rows, median %.3g, p95 %.3g, largest %.3g\n", what, count, got_median, got_p95, got_largest);
    cr_expect(got_median <= median && got_p95 <= p95 && got_largest <= largest, "%s: median %g, p95 %g, largest %g",
              what, got_median, got_p95, got_largest);
}

/* ---- NOAA National Estuarine Research Reserve System, Apalachicola Bay, Cat Point, 2012 (public data, CC0) ---- */

enum { CDEPTH, SALINITY, PERCENT, MG_L };

/* "<0>" is passed. */
static bool is_flagged_good(const struct sheet *sheet, const char *column)
{
    char name[64];
    snprintf(name, sizeof name, "f_%s", column);
    return strncmp(sheet_text(sheet, name), "<0>", 3) == 0;
}

static double good_number(const struct sheet *sheet, const char *column)
{
    return is_flagged_good(sheet, column) ? sheet_number(sheet, column) : NAN;
}

static size_t read_estuary(struct published *published)
{
    enum { MOST = 36000 };
    struct sheet *sheet = sheet_open("nerrs-apalachicola/apacpwq_2012.csv");
    site_init(&site, arena, MOST, 15 * MINUTE_MS,
              BIT(QUANTITY_WATER_PRESSURE) | BIT(QUANTITY_TEMPERATURE) | BIT(QUANTITY_SPECIFIC_CONDUCTANCE) |
                  BIT(QUANTITY_OXYGEN_SATURATION));
    published_init(published, MOST);
    struct readings *r = &site.readings;
    size_t n = 0;
    for (; n < MOST && sheet_next(sheet); n++) {
        r->time[n] = sheet_time(sheet, "datetimestamp", LOCAL);
        /* An unvented logger that takes off 1013 mbar, and 100 mbar for a metre. */
        r->value[QUANTITY_WATER_PRESSURE][n] = 100 * (1013 + 100 * sheet_number(sheet, "depth"));
        r->value[QUANTITY_TEMPERATURE][n] = good_number(sheet, "temp");
        r->value[QUANTITY_SPECIFIC_CONDUCTANCE][n] = good_number(sheet, "spcond");
        r->value[QUANTITY_OXYGEN_SATURATION][n] = good_number(sheet, "do_pct");
        bool has_salinity = is_flagged_good(sheet, "temp") && is_flagged_good(sheet, "spcond");
        published->value[CDEPTH][n] = has_salinity ? sheet_number(sheet, "cdepth") : NAN;
        published->value[SALINITY][n] = has_salinity ? good_number(sheet, "sal") : NAN;
        bool has_oxygen = has_salinity && is_flagged_good(sheet, "sal") && is_flagged_good(sheet, "do_pct");
        published->value[PERCENT][n] = has_oxygen ? sheet_number(sheet, "do_pct") : NAN;
        published->value[MG_L][n] = has_oxygen ? good_number(sheet, "do_mgl") : NAN;
    }
    sheet_close(sheet);
    r->n = published->n = n;
    sheet = sheet_open("nerrs-apalachicola/apaebmet_2012.csv");
    struct readings *air = &site.sources[0].readings;
    *air = site_air(arena, 0, MOST, 1, 0);
    air->n = 0;
    while (air->n < MOST && sheet_next(sheet)) {
        air->time[air->n] = sheet_time(sheet, "datetimestamp", LOCAL);
        air->value[QUANTITY_AIR_PRESSURE][air->n++] = 100 * sheet_number(sheet, "bp");
    }
    sheet_close(sheet);
    return n;
}

/* Where the published depth is missing for want of the barometer's, ours bridges short pauses. */
static void keep_exact_air_only(const struct derived *derived, double *depth)
{
    for (size_t i = 0; i < derived->record.n; i++)
        if (derived->air_gap[i] != 0 || isnan(derived->record.value[QUANTITY_DEPTH][i]))
            depth[i] = NAN;
}

/* Tolerances of the description of the data: depth of the true hydrostatic form median 0.004..0.013 m, p95 0.015..0.030
 * m from the published one, which takes 100 mbar for a metre; salinity 0.025 / 0.053 and oxygen 0.025 / 0.052 mg/L,
 * which is their rounding to 0.1. Their per cent refers to 1 atm. */
Test(open_data, an_estuary_from_absolute_pressure_conductance_and_per_cent)
{
    struct published published;
    size_t n = read_estuary(&published);
    site.station.latitude = 29.7;
    site.station.salinity_source = SALINITY_MEASURED;
    struct derived derived = site_derive(&site);
    const struct record *r = &derived.record;
    keep_exact_air_only(&derived, published.value[CDEPTH]);
    expect_agreement("estuary, depth with a barometer, m", n, r->value[QUANTITY_DEPTH], published.value[CDEPTH], 20000,
                     0.013, 0.030, 0.2);
    expect_agreement("estuary, salinity", n, r->value[QUANTITY_SALINITY], published.value[SALINITY], 20000, 0.0255,
                     0.0535, 0.2);
    expect_agreement("estuary, oxygen, mg/L", n, r->value[QUANTITY_OXYGEN], published.value[MG_L], 20000, 0.0255,
                     0.0525, 0.2);
    /* What the sensor said comes back: from per cent of 1 atm to mg/L and to per cent of 1 atm. */
    expect_agreement("estuary, per cent of 1 atm", n, r->value[QUANTITY_OXYGEN_SATURATION_STANDARD],
                     published.value[PERCENT], 20000, 1e-9, 1e-9, 1e-9);
}

/* ---- IMOS mooring NRSROT-1804 at 24 m, CC BY 4.0: "Data was sourced from Australia's Integrated Marine Observing
 * System" ---- */

/* The chain leaves out what the pressure of the water does to conductivity (0.0004 a metre, see the chain), which is
 * 0.009 at 24 m by the description of the data. Its depth takes a standard ocean, salinity 35 and 0 degC (UNESCO 44),
 * ours the water that is there, 22 degC warmer: 0.1 m at 26 m. Scaled by both densities they agree. */
Test(open_data, a_marine_mooring_gives_its_salinity_and_depth)
{
    enum { MOST = 1200 };
    struct sheet *sheet = sheet_open("imos-rottnest-ctd/imos_nrsrot_1804_24m_15min.csv");
    site_init(&site, arena, MOST, 15 * MINUTE_MS,
              BIT(QUANTITY_WATER_PRESSURE) | BIT(QUANTITY_TEMPERATURE) | BIT(QUANTITY_CONDUCTIVITY));
    struct published published;
    published_init(&published, MOST);
    struct readings *r = &site.readings;
    size_t n = 0;
    for (; n < MOST && sheet_next(sheet); n++) {
        r->time[n] = sheet_time(sheet, "TIME", 0);
        r->value[QUANTITY_WATER_PRESSURE][n] = SITE_AIR + 1e4 * sheet_number(sheet, "PRES_REL");
        r->value[QUANTITY_TEMPERATURE][n] = sheet_number(sheet, "TEMP");
        r->value[QUANTITY_CONDUCTIVITY][n] = 10 * sheet_number(sheet, "CNDC");
        published.value[0][n] = sheet_number(sheet, "PSAL");
        published.value[1][n] = sheet_number(sheet, "DEPTH");
    }
    sheet_close(sheet);
    r->n = n;
    site.sources[0].readings = site_air(arena, r->time[0] - HOUR_MS, 300, HOUR_MS, SITE_AIR);
    site.station.latitude = -31.9896;
    site.station.salinity_source = SALINITY_MEASURED;
    struct derived derived = site_derive(&site);
    expect_agreement("mooring, salinity without the pressure of 24 m", n, derived.record.value[QUANTITY_SALINITY],
                     published.value[0], 1001, 0.011, 0.012, 0.013);
    double *scaled = arena_array(arena, n, sizeof *scaled);
    for (size_t i = 0; i < n; i++) {
        double half = (r->value[QUANTITY_WATER_PRESSURE][i] - SITE_AIR) / 2, t = r->value[QUANTITY_TEMPERATURE][i];
        scaled[i] = derived.record.value[QUANTITY_DEPTH][i] * density_eos80(published.value[0][i], t, half) /
                    density_eos80(35, 0, half);
    }
    expect_agreement("mooring, depth as in a standard ocean, m", n, scaled, published.value[1], 1001, 0.001, 0.002,
                     0.003);
    for (size_t i = 0; i < n; i++)
        cr_assert(derived.record.flag[QUANTITY_SALINITY][i] == FLAG_PASS, "row %zu", i);
}

/* ---- labels of experts: how often we object where they did, and where they did not ---- */

struct rates {
    size_t labelled, found, clean, false_alarms;
};

static void count_rate(struct rates *rates, bool is_labelled, bool is_found)
{
    rates->labelled += is_labelled;
    rates->found += is_labelled && is_found;
    rates->clean += !is_labelled;
    rates->false_alarms += !is_labelled && is_found;
}

static double share_of(size_t part, size_t whole)
{
    return whole > 0 ? 100 * (double)part / (double)whole : 0;
}

static void print_rates(const char *what, const struct rates *r)
{
    world_add("rate | %s | %zu of %zu (%.1f %%) | %zu of %zu (%.2f %%) |", what, r->found, r->labelled,
              share_of(r->found, r->labelled), r->false_alarms, r->clean, share_of(r->false_alarms, r->clean));
    printf("%s: found %zu of %zu labelled (%.1f %%), false alarms %zu of %zu (%.2f %%)\n", what, r->found, r->labelled,
           share_of(r->found, r->labelled), r->false_alarms, r->clean, share_of(r->false_alarms, r->clean));
}

/* IMOS mooring PH100, Port Hacking, CC BY 4.0: on deck, then hung at 96 m. Its depth, in dbar within 1 %, is turned
 * back into pressure. There is no conductivity, so what lies in air is doubted, not failed; and on deck this sensor,
 * made for more than 100 m, reads up to 11 cm, where the limit is 3. */
Test(open_data, a_logger_on_deck_is_told_from_one_in_the_water)
{
    enum { MOST = 800 };
    struct sheet *sheet = sheet_open("imos-porthacking-inout/imos_ph100_2020-07_5min.csv");
    site_init(&site, arena, MOST, 5 * MINUTE_MS, BIT(QUANTITY_WATER_PRESSURE) | BIT(QUANTITY_TEMPERATURE));
    bool is_on_deck[MOST];
    struct readings *r = &site.readings;
    size_t n = 0;
    for (; n < MOST && sheet_next(sheet); n++) {
        r->time[n] = sheet_time(sheet, "TIME", 0);
        r->value[QUANTITY_WATER_PRESSURE][n] = SITE_AIR + 1.01e4 * sheet_number(sheet, "DEPTH");
        r->value[QUANTITY_TEMPERATURE][n] = sheet_number(sheet, "TEMP");
        is_on_deck[n] = sheet_number(sheet, "DEPTH_quality_control") == 4;
    }
    sheet_close(sheet);
    r->n = n;
    site.sources[0].readings = site_air(arena, r->time[0] - HOUR_MS, 100, HOUR_MS, SITE_AIR);
    struct derived derived = site_derive(&site);
    struct rates rates = {0};
    for (size_t i = 0; i < n; i++) {
        bool is_found = derived.record.tests[QUANTITY_TEMPERATURE][i] & TEST_IN_AIR;
        count_rate(&rates, is_on_deck[i], is_found);
        cr_assert(!is_found || derived.record.flag[QUANTITY_TEMPERATURE][i] >= FLAG_SUSPECT);
    }
    print_rates("on deck, by pressure alone", &rates);
    cr_expect_eq(rates.labelled, 423);
    cr_expect_geq(share_of(rates.found, rates.labelled), 70);
    cr_expect_eq(rates.false_alarms, 0);
}

/* Logan River Observatory, Utah State University, Main Street 2019 (Jones, Jones and Horsburgh 2022,
 * doi 10.1016/j.envsoft.2022.105364): any label of a technician counts. Most of their labels are drift, which no test
 * of single samples can see; the bounds below were measured with this program and guard against regressions. */
struct labelled_column {
    const char *name;
    enum quantity quantity;
    double scale;
};

static const struct labelled_column columns[] = {{"temp", QUANTITY_TEMPERATURE, 1},
                                                 {"cond", QUANTITY_SPECIFIC_CONDUCTANCE, 0.001},
                                                 {"do", QUANTITY_OXYGEN, 1},
                                                 {"stage", QUANTITY_WATER_PRESSURE, 1}};

/* Stage in cm becomes the pressure of as much fresh water; -9999 and NULL are missing, as a layout would say. */
static size_t read_river(bool *is_labelled[COUNT_OF(columns)])
{
    enum { MOST = 36000 };
    struct sheet *sheet = sheet_open("lro-utah-labelled/MainStreet2019.csv");
    uint32_t mask = 0;
    for (size_t k = 0; k < COUNT_OF(columns); k++) {
        mask |= BIT(columns[k].quantity);
        is_labelled[k] = arena_array(arena, MOST, sizeof(bool));
    }
    site_init(&site, arena, MOST, 15 * MINUTE_MS, mask);
    struct readings *r = &site.readings;
    size_t n = 0;
    while (n < MOST && sheet_next(sheet)) {
        int64_t time = sheet_time(sheet, "datetime", MOUNTAIN);
        if (n > 0 && time <= r->time[n - 1])
            continue;
        r->time[n] = time;
        for (size_t k = 0; k < COUNT_OF(columns); k++) {
            char label[32];
            snprintf(label, sizeof label, "%s_qual", columns[k].name);
            double value = sheet_number(sheet, columns[k].name);
            value = value == -9999 ? NAN : value * columns[k].scale;
            bool is_stage = columns[k].quantity == QUANTITY_WATER_PRESSURE;
            r->value[columns[k].quantity][n] = is_stage ? SITE_AIR + value / 100 * 998.2 * 9.8062 : value;
            is_labelled[k][n] = strcmp(sheet_text(sheet, label), "NULL") != 0;
        }
        n++;
    }
    sheet_close(sheet);
    r->n = n;
    site.sources[0].readings = site_air(arena, r->time[0] - HOUR_MS, 9000, HOUR_MS, SITE_AIR);
    site.station.sensor_elevation = 0;
    return n;
}

Test(open_data, the_tests_find_a_part_of_what_technicians_labelled_and_disturb_little_else)
{
    static const struct {
        uint32_t test;
        const char *name;
    } tests[] = {{TEST_GROSS_RANGE, "range"}, {TEST_SPIKE, "spike"}, {TEST_RATE, "rate"}, {TEST_FLAT, "flat"}};
    /* Regression bounds, in per cent: least found of labelled, most false alarms; all tests together. */
    static const double bounds[COUNT_OF(columns)][2] = {{62, 0.05}, {19, 0.01}, {12, 0.09}, {0.5, 0.12}};
    bool *is_labelled[COUNT_OF(columns)];
    size_t n = read_river(is_labelled);
    struct derived derived = site_derive(&site);
    for (size_t k = 0; k < COUNT_OF(columns); k++) {
        enum quantity q = columns[k].quantity == QUANTITY_WATER_PRESSURE ? QUANTITY_LEVEL : columns[k].quantity;
        const struct record *r = &derived.record;
        struct rates all = {0};
        for (size_t t = 0; t < COUNT_OF(tests); t++) {
            struct rates rates = {0};
            for (size_t i = 0; i < n; i++)
                if (!isnan(r->value[q][i]))
                    count_rate(&rates, is_labelled[k][i], r->tests[q][i] & tests[t].test);
            char what[64];
            snprintf(what, sizeof what, "%s, %s", quantity_info(q)->key, tests[t].name);
            print_rates(what, &rates);
        }
        for (size_t i = 0; i < n; i++)
            if (!isnan(r->value[q][i]) && !(r->tests[q][i] & TEST_NO_TEMPERATURE)) /* no test of the value itself */
                count_rate(&all, is_labelled[k][i], r->flag[q][i] == FLAG_SUSPECT || r->flag[q][i] == FLAG_FAIL);
        char all_what[64];
        snprintf(all_what, sizeof all_what, "%s, all tests", quantity_info(q)->key);
        print_rates(all_what, &all);
        cr_expect_geq(share_of(all.found, all.labelled), bounds[k][0], "%s", columns[k].name);
        cr_expect_leq(share_of(all.false_alarms, all.clean), bounds[k][1], "%s", columns[k].name);
    }
}
