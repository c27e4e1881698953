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

/* Water of 1 m over the sensor for four days, hand readings at the start and after three days that disagree by 4 mm:
 * 0.01 ft (3.048 mm: USGS OSW memorandum 96.05) is passed after 2.286 days. */
static void expect_level_ratings(double utc_offset_hours, double depth, const char *const *words, size_t count)
{
    struct arena *arena = arena_new();
    struct site site;
    site_init(&site, arena, 24 * 4, HOUR_MS, 1u << QUANTITY_WATER_PRESSURE);
    site_fill(&site, QUANTITY_WATER_PRESSURE, SITE_AIR + depth * 9797.5);
    site.station.utc_offset = (int64_t)(utc_offset_hours * (double)HOUR_MS);
    site_note(&site, NOTE_LEVEL, SITE_START, 1.25);
    site_note(&site, NOTE_LEVEL, SITE_START + 3 * DAY_MS, 1.254);
    struct derived derived = site_derive(&site);
    size_t found = 0;
    for (size_t k = 0; k < derived.findings.count; k++) {
        const struct finding *f = &derived.findings.list[k];
        if (f->kind != FINDING_RATING)
            continue;
        cr_assert_lt(found, count, "not the last day, which no reading closes");
        cr_expect(strncmp(f->text, words[found], strlen(words[found])) == 0, "day %zu: %s", found, f->text);
        cr_expect_eq(f->quantity, QUANTITY_LEVEL);
        cr_expect_eq(f->span.to - f->span.from, DAY_MS);
        found++;
    }
    cr_expect_eq(found, count);
    arena_free(arena);
}

Test(rating, a_day_of_levels_is_within_or_beyond_what_is_asked_of_a_stage_record)
{
    static const char *const utc[] = {"within 0.01 ft", "within", "beyond", "beyond"};
    expect_level_ratings(0, 1, utc, 4); /* the reading itself stands at the first moment of the fourth day */
    static const char *const west[] = {"within", "within", "within", "beyond"};
    expect_level_ratings(-6, 1, west, 4); /* its third day ends after 2.25 days, before the limit is passed */
}

Test(rating, deep_water_is_held_against_two_permille_of_its_depth)
{
    static const char *const words[] = {"within", "within", "within", "within"};
    expect_level_ratings(0, 3, words, 4);
}
