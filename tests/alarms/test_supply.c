/* SPDX-License-Identifier: MIT */
#include "alarms/supply.h"

#include "base/text.h"

#include <criterion/criterion.h>
#include <math.h>

static struct arena *arena;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(supply, .init = set_up, .fini = tear_down);

/* So many days from day `first` on, four samples each: `volts` at noon of day 0, falling by `a_day`, and by night a bit
 * less, as the cold does it. */
static struct record battery(int first, int days, double volts, double a_day)
{
    struct record record;
    record_init(&record, arena, (size_t)days * 4, 1u << QUANTITY_BATTERY);
    for (size_t i = 0; i < record.n; i++) {
        record.time[i] = first * DAY_MS + (int64_t)i * 6 * HOUR_MS;
        double day = (double)record.time[i] / (double)DAY_MS;
        record.value[QUANTITY_BATTERY][i] = volts - a_day * day - (i % 4 == 0 ? 0.02 : 0);
        record.flag[QUANTITY_BATTERY][i] = FLAG_PASS;
    }
    return record;
}

static struct supply_stock stock_of(const struct record *record)
{
    return (struct supply_stock){
        .memory_since = TIME_NONE, .battery_since = TIME_NONE, .battery_limit = 3.3, .record = record};
}

static double days_of(int64_t time)
{
    return (double)time / (double)DAY_MS;
}

Test(supply, memory_is_full_when_all_its_samples_are_taken)
{
    struct supply_stock stock = stock_of(NULL);
    cr_expect(supply_reckon(&stock).memory_full == TIME_FOREVER);
    stock.memory_since = 10 * DAY_MS;
    cr_expect(supply_reckon(&stock).memory_full == TIME_FOREVER, "its size is not known");
    stock.memory_lasts = 75 * DAY_MS;
    cr_expect(supply_reckon(&stock).memory_full == 85 * DAY_MS);
    cr_expect(supply_reckon(&stock).battery_empty == TIME_FOREVER);
}

Test(supply, a_falling_battery_is_drawn_out_to_its_limit)
{
    struct record record = battery(0, 30, 3.9, 0.01); /* 3.3 V on day 60 */
    struct supply_stock stock = stock_of(&record);
    double empty = days_of(supply_reckon(&stock).battery_empty);
    cr_expect(fabs(empty - 60) < 1, "day %.2f", empty);
    for (size_t i = 40; i < 48; i++)
        record.value[QUANTITY_BATTERY][i] = 2.1; /* two days of a bad contact do not move it */
    empty = days_of(supply_reckon(&stock).battery_empty);
    cr_expect(fabs(empty - 60) < 2, "day %.2f", empty);
    for (size_t i = 40; i < 48; i++)
        record.flag[QUANTITY_BATTERY][i] = FLAG_FAIL;
    cr_expect(fabs(days_of(supply_reckon(&stock).battery_empty) - 60) < 1);
}

Test(supply, what_does_not_fall_or_is_too_short_or_too_far_tells_nothing)
{
    struct record steady = battery(0, 30, 3.6, 0), rising = battery(0, 30, 3.4, -0.001),
                  brief = battery(0, 4, 3.9, 0.01), slow = battery(0, 30, 3.9, 0.001), none;
    record_init(&none, arena, 3, 1u << QUANTITY_LEVEL);
    const struct record *const all[] = {&steady, &rising, &brief, &slow, &none, NULL};
    for (size_t k = 0; k < COUNT_OF(all); k++) {
        struct supply_stock stock = stock_of(all[k]);
        cr_expect(supply_reckon(&stock).battery_empty == TIME_FOREVER, "case %zu", k);
    }
    struct record record = battery(0, 30, 3.9, 0.01);
    struct supply_stock stock = stock_of(&record);
    stock.battery_limit = 0;
    cr_expect(supply_reckon(&stock).battery_empty == TIME_FOREVER, "its limit is not known");
}

Test(supply, new_batteries_begin_a_new_line)
{
    struct record record = battery(0, 30, 3.9, 0.01);
    struct supply_stock stock = stock_of(&record);
    stock.battery_since = 27 * DAY_MS;
    cr_expect(supply_reckon(&stock).battery_empty == TIME_FOREVER, "of three days");
    stock.battery_lasts = 100 * DAY_MS;
    cr_expect(supply_reckon(&stock).battery_empty == 127 * DAY_MS, "but their age is known");
    stock.battery_since = 2 * DAY_MS;
    stock.battery_lasts = 40 * DAY_MS;
    cr_expect(supply_reckon(&stock).battery_empty == 42 * DAY_MS, "the earlier of the two");
    stock.battery_lasts = 200 * DAY_MS;
    cr_expect(fabs(days_of(supply_reckon(&stock).battery_empty) - 60) < 1);
}

Test(supply, a_battery_below_its_limit_is_empty_since_the_last_sample)
{
    struct record record = battery(0, 2, 3.2, 0);
    struct supply_stock stock = stock_of(&record);
    cr_expect(supply_reckon(&stock).battery_empty == record.time[record.n - 1]);
}

Test(supply, only_the_last_month_counts)
{
    struct record record = battery(0, 90, 3.9, 0.01); /* 3.0 V at its end, so lift what is old */
    struct supply_stock stock = stock_of(&record);
    for (size_t i = 0; i < record.n; i++)
        record.value[QUANTITY_BATTERY][i] =
            i < 59 * 4 ? 3.9 - 0.01 * (double)i / 4 : 3.7 - 0.002 * ((double)i / 4 - 59);
    double empty = days_of(supply_reckon(&stock).battery_empty);
    cr_expect(fabs(empty - (59 + 200)) < 5, "day %.1f", empty);
}

Test(supply, the_interval_is_the_middle_step)
{
    struct record record = battery(0, 3, 3.9, 0);
    cr_expect(supply_interval(arena, &record) == 6 * HOUR_MS);
    record.n = 1;
    cr_expect(supply_interval(arena, &record) == 0);
}

Test(supply, words_name_the_first_first)
{
    struct text text;
    text_init(&text, 256);
    supply_describe(&(struct supply){TIME_FOREVER, TIME_FOREVER}, 0, &text);
    cr_expect(text.length == 0);
    supply_describe(&(struct supply){20 * DAY_MS, 10 * DAY_MS}, 0, &text);
    cr_expect_str_eq(text.bytes, "battery empty about 1970-01-11, memory full about 1970-01-21");
    text_clear(&text);
    supply_describe(&(struct supply){10 * DAY_MS, 20 * DAY_MS}, 0, &text);
    cr_expect_str_eq(text.bytes, "memory full about 1970-01-11, battery empty about 1970-01-21");
    text_clear(&text);
    supply_describe(&(struct supply){10 * DAY_MS, TIME_FOREVER}, 0, &text);
    cr_expect_str_eq(text.bytes, "memory full about 1970-01-11");
    text_clear(&text);
    supply_describe(&(struct supply){TIME_FOREVER, 10 * DAY_MS}, 0, &text);
    cr_expect_str_eq(text.bytes, "battery empty about 1970-01-11");
    text_clear(&text);
    supply_describe(&(struct supply){TIME_FOREVER, 10 * DAY_MS}, -8 * HOUR_MS, &text);
    cr_expect_str_eq(text.bytes, "battery empty about 1970-01-10", "by the day there");
    text_done(&text);
}
