/* SPDX-License-Identifier: MIT */
#include "derive/rating.h"

#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

/* The worked example of science/correction.h: 5.26 % of conductance after 30 days. */
static const struct correction conductance = {.quantity = QUANTITY_SPECIFIC_CONDUCTANCE,
                                              .from = SITE_START,
                                              .to = SITE_START + 30 * DAY_MS,
                                              .is_percent = true,
                                              .size = 0.0526 * 640,
                                              .value = 640,
                                              .is_applied = true};

/* Limits 3, 10, 15 %: table of USGS TM 1-D3, from memory. */
Test(rating, a_sample_is_rated_by_its_share_of_the_correction)
{
    cr_expect_eq(rating_of_sample(&conductance, SITE_START + 30 * DAY_MS, 600), CORRECTION_GOOD);
    cr_expect_eq(rating_of_sample(&conductance, SITE_START + 10 * DAY_MS, 600), CORRECTION_EXCELLENT, "1.75 %% of it");
    struct correction large = conductance;
    large.size *= 2.5; /* 13.2 % */
    cr_expect_eq(rating_of_sample(&large, SITE_START + 30 * DAY_MS, 600), CORRECTION_FAIR);
    large.size *= 2;
    cr_expect_eq(rating_of_sample(&large, SITE_START + 30 * DAY_MS, 600), CORRECTION_POOR);
    cr_expect_eq(rating_of_sample(&large, SITE_START + 30 * DAY_MS, NAN), CORRECTION_UNRATED);
}

Test(rating, a_day_takes_its_lowest_by_the_standard_time_of_the_station)
{
    struct arena *arena = arena_new();
    struct site site;
    struct findings findings = {0};
    site_init(&site, arena, 24 * 4, HOUR_MS, 1u << QUANTITY_TEMPERATURE);
    site_fill(&site, QUANTITY_TEMPERATURE, 12);
    site.station.utc_offset = -8 * HOUR_MS;
    struct note *check = site_note(&site, NOTE_IN_WATER, SITE_START, NAN);
    check = site_note(&site, NOTE_CHECK, SITE_START + 3 * DAY_MS, NAN);
    check->quantity = QUANTITY_TEMPERATURE;
    check->reference = 12.6; /* 0.6 degC after three days; limits 0.2, 0.5, 0.8 degC */
    struct derived derived = site_derive(&site);
    for (size_t k = 0; k < derived.findings.count; k++)
        if (derived.findings.list[k].kind == FINDING_RATING)
            findings_add(&findings, arena, &derived.findings.list[k]);
    const struct {
        double day; /* when it ends, in days of UTC since the start */
        const char *word;
    } expected[] = {{1.0 / 3, "excellent"}, {4.0 / 3, "good"}, {7.0 / 3, "good"}, {10.0 / 3, "fair"}};
    cr_assert_eq(findings.count, 4, "not the rest, which no check closes");
    for (size_t k = 0; k < 4; k++) {
        const struct finding *f = &findings.list[k];
        cr_expect(strncmp(f->text, expected[k].word, strlen(expected[k].word)) == 0, "day %zu: %s", k, f->text);
        cr_expect_eq(f->span.to, SITE_START + llround(expected[k].day * (double)DAY_MS));
        cr_expect_eq(f->span.to - f->span.from, DAY_MS);
        cr_expect_eq(f->quantity, QUANTITY_TEMPERATURE);
    }
    arena_free(arena);
}
