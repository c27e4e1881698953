/* SPDX-License-Identifier: MIT */
#include "alarms/tide.h"

#include "alarms/rules.h"
#include "alarms/series.h"

#include <criterion/criterion.h>
#include <math.h>

#define TIDE_PERIOD (12.42 * HOUR_MS) /* principal lunar */
#define LEVEL_STEP (10 * MINUTE_MS)

static struct arena *arena;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(tide, .init = set_up, .fini = tear_down);

typedef double level_function(double hours);

static struct record levels(level_function *level, size_t n)
{
    struct record record;
    record_init(&record, arena, n, 1u << QUANTITY_LEVEL | 1u << QUANTITY_OXYGEN);
    for (size_t i = 0; i < n; i++) {
        record.time[i] = (int64_t)i * LEVEL_STEP;
        record.value[QUANTITY_LEVEL][i] = level((double)record.time[i] / (double)HOUR_MS);
        record.value[QUANTITY_OXYGEN][i] = 5;
        record.flag[QUANTITY_LEVEL][i] = record.flag[QUANTITY_OXYGEN][i] = FLAG_PASS;
    }
    return record;
}

static double lunar(double hours)
{
    return 2 + cos(2 * M_PI * hours * (double)HOUR_MS / TIDE_PERIOD);
}

/* Once a day, 0.8 m. */
static double daily(double hours)
{
    return 2 + 0.4 * cos(2 * M_PI * hours / 24.84);
}

/* Warms and cools by the day, waves of 2 cm. */
static double pond(double hours)
{
    return 1 + 0.02 * sin(2 * M_PI * hours / 24) + 0.02 * sin(97 * hours);
}

/* A sill holds the water back at 1.4 m. */
static double sill(double hours)
{
    return fmax(lunar(hours), 1.4);
}

/* By the phase of the cosine, which the method knows nothing of: h hours behind the last high water. */
static unsigned stage_by_phase(double hours)
{
    double period = TIDE_PERIOD / (double)HOUR_MS, h = fmod(hours, period), low = period / 2;
    return h < 1 || h > period - 1 ? TIDE_HIGH : fabs(h - low) < 1 ? TIDE_LOW : h < low ? TIDE_FALLING : TIDE_RISING;
}

Test(tide, stages_agree_with_the_phase_of_a_known_tide)
{
    struct record record = levels(lunar, 600);
    const uint8_t *stages = tide_stages(arena, &record);
    size_t known = 0, seen[16] = {0};
    for (size_t i = 0; i < record.n; i++) {
        double hours = (double)record.time[i] / (double)HOUR_MS;
        if (stages[i] == 0)
            continue;
        known++;
        seen[stages[i] & 15]++;
        /* A turning point is known to a sample, and the stand of 3 cm lasts for 48 min, less than the hour. */
        bool is_at_an_edge = stage_by_phase(hours - 0.2) != stage_by_phase(hours + 0.2);
        cr_expect(is_at_an_edge || stages[i] == stage_by_phase(hours), "hour %g: %u", hours, stages[i]);
    }
    cr_expect(seen[TIDE_HIGH] > 50 && seen[TIDE_LOW] > 50 && seen[TIDE_RISING] > 100 && seen[TIDE_FALLING] > 100);
    cr_expect_gt(known, 500);
}

Test(tide, the_first_and_the_last_hours_are_not_known)
{
    struct record record = levels(lunar, 600);
    const uint8_t *stages = tide_stages(arena, &record);
    size_t hours = HOUR_MS / LEVEL_STEP;
    for (size_t i = 0; i < 4 * hours; i++)
        cr_expect(stages[record.n - 1 - i] == 0 && stages[i] == 0, "%zu", i);
    cr_expect_neq(stages[record.n - 1 - 4 * hours], 0);
    cr_expect_eq(stages[5 * hours], 0,
                 "no turning point was seen yet at hour 5: the low water of hour 6.2 is not near");
    cr_expect_eq(stages[6 * hours], TIDE_LOW);
}

Test(tide, a_pond_has_no_tide)
{
    struct record record = levels(pond, 2000);
    const uint8_t *stages = tide_stages(arena, &record);
    for (size_t i = 0; i < record.n; i++)
        cr_assert_eq(stages[i], 0, "hour %g", (double)i / 6);
}

Test(tide, a_tide_of_one_high_water_a_day_is_one)
{
    struct record record = levels(daily, 600);
    const uint8_t *stages = tide_stages(arena, &record);
    cr_expect_eq(stages[6 * 12 + 6], TIDE_LOW);
    cr_expect_eq(stages[6 * 18], TIDE_RISING);
    cr_expect_eq(stages[6 * 25], TIDE_HIGH);
    cr_expect_eq(stages[6 * 31], TIDE_FALLING);
}

Test(tide, a_creek_that_stands_behind_its_sill_is_at_low_water_until_it_rises)
{
    struct record record = levels(sill, 600);
    const uint8_t *stages = tide_stages(arena, &record);
    double period = TIDE_PERIOD / (double)HOUR_MS;
    double stands_from = acos(-0.6) / (2 * M_PI) * period, stands_to = period - stands_from; /* 4.4 h, 8.0 h */
    for (double hour = period + stands_to - 0.8; hour < period + stands_to; hour += 0.25)
        cr_expect_eq(stages[(size_t)(hour * 6)], TIDE_LOW, "hour %g", hour);
    cr_expect_eq(stages[(size_t)((period + stands_to + 1.5) * 6)], TIDE_RISING);
    cr_expect_eq(stages[(size_t)((period + 2.5) * 6)], TIDE_FALLING);
}

Test(tide, what_follows_a_pause_or_bad_levels_waits_for_the_next_turning_point)
{
    static const uint8_t flags[] = {FLAG_FAIL, FLAG_SUSPECT, FLAG_MISSING};
    for (size_t f = 0; f < sizeof flags; f++) {
        struct record record = levels(lunar, 600);
        for (size_t i = 200; i < 207; i++) /* an hour and 20 min without a level that counts: hours 33.3 to 34.5 */
            record.flag[QUANTITY_LEVEL][i] = flags[f];
        const uint8_t *stages = tide_stages(arena, &record);
        cr_expect_neq(stages[199 - 24], 0);
        for (size_t i = 199 - 23; i < 207 + 24; i++)
            cr_expect_eq(stages[i], 0, "flag %d, row %zu", flags[f], i);
        cr_expect_eq(stages[6 * 44], TIDE_LOW, "that of hour 43.5 is the first one seen");
    }
    struct record short_pause = levels(lunar, 600);
    for (size_t i = 200; i < 205; i++) /* 60 min from 199 to 205 */
        short_pause.flag[QUANTITY_LEVEL][i] = FLAG_FAIL;
    cr_expect_neq(tide_stages(arena, &short_pause)[199], 0);
}

Test(tide, a_window_with_its_margins_gives_the_stages_of_the_whole)
{
    uint64_t random = 17;
    size_t known = 0;
    for (int round = 0; round < 200; round++) {
        arena_reset(arena);
        struct record whole = series_tidal(arena, 400, &random);
        const uint8_t *all = tide_stages(arena, &whole);
        size_t first = random_below(&random, 300), end = first + 1 + random_below(&random, 99);
        struct record around =
            record_between(&whole, whole.time[first] - TIDE_BEHIND, whole.time[end - 1] + TIDE_AHEAD_OF_ALL + 1);
        const uint8_t *some = tide_stages(arena, &around);
        size_t offset = record_at_or_after(&around, whole.time[first]);
        for (size_t i = first; i < end; i++) {
            cr_assert_eq(all[i], some[offset + i - first], "round %d, row %zu", round, i);
            known += all[i] != 0;
        }
    }
    cr_expect_gt(known, 4000);
}

Test(tide, without_a_level_nothing_is_known)
{
    struct record record;
    record_init(&record, arena, 3, 1u << QUANTITY_OXYGEN);
    const uint8_t *stages = tide_stages(arena, &record);
    cr_expect(stages[0] == 0 && stages[1] == 0 && stages[2] == 0);
    struct record empty;
    record_init(&empty, arena, 0, 0);
    tide_stages(arena, &empty);
}

static const char *episodes_while(unsigned stages, struct record record)
{
    struct rule rule = {.kind = RULE_BELOW,
                        .quantity = QUANTITY_OXYGEN,
                        .limit = 3,
                        .conditions = {{.quantity = QUANTITY_COUNT, .below = NAN, .above = NAN, .stages = stages}},
                        .condition_count = 1};
    struct rule_view view = {.rule = &rule, .record = &record, .before = TIME_NONE, .after = TIME_NONE};
    view.stages = tide_stages(arena, &record);
    struct episode *found;
    size_t count = rules_evaluate(arena, &view, &found);
    return series_print(arena, found, count);
}

/* Oxygen is low all the time from minute 720 on; high water is at minutes 745 and 1490, low at 1118 and 1863, to a
 * sample; near is an hour, and what is known ends four hours before the data, at minute 1920.
 */
Test(tide, a_rule_counts_only_at_its_stage_and_waits_for_what_is_not_known)
{
    struct record record = levels(lunar, 6 * 36 + 1);
    for (size_t i = 6 * 12; i < record.n; i++)
        record.value[QUANTITY_OXYGEN][i] = 2;
    cr_expect_str_eq(episodes_while(TIDE_FALLING, record),
                     "820..1060 raised 820 worst 2@820 last 2@1050; 1560..1800 raised 1560 worst 2@1560 last 2@1790");
    cr_expect_str_eq(
        episodes_while(TIDE_LOW, record),
        "1060..1190 raised 1060 worst 2@1060 last 2@1180; 1800..open raised 1800 worst 2@1800 last 2@1920");
    /* Two hours less of data: the second low water is not told yet, and the ebb before it is still so. */
    struct record sooner = record_between(&record, 0, INT64_C(2040) * MINUTE_MS);
    cr_expect_str_eq(episodes_while(TIDE_LOW, sooner), "1060..1190 raised 1060 worst 2@1060 last 2@1180");
    cr_expect_str_eq(episodes_while(TIDE_FALLING, sooner),
                     "820..1060 raised 820 worst 2@820 last 2@1050; 1560..open raised 1560 worst 2@1560 last 2@1790");
}
