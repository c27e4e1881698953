/* SPDX-License-Identifier: MIT */
#include "derive/instrument.h"

#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { ROWS = 289 };

static struct arena *arena;
static struct site site;
static const struct drop_serial serials[] = {{1, "SN-1", "north/one.csv"}, {2, "SN-2", "north/two.csv"}};
static struct instrument_elsewhere elsewhere[1];
static struct instrument_input input;
static struct instrument_period *periods;
static size_t count;

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, ROWS, 5 * MINUTE_MS, 1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_TEMPERATURE);
    site_fill(&site, QUANTITY_WATER_PRESSURE, SITE_AIR + 19600);
    site_fill(&site, QUANTITY_TEMPERATURE, 12);
    for (size_t i = 0; i < ROWS; i++)
        site.readings.drop[i] = 1;
    elsewhere[0] = (struct instrument_elsewhere){"sn-2", "weir-pool", INT64_MIN, TIME_FOREVER};
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(instrument, .init = set_up, .fini = tear_down);

static void find(size_t serial_count, size_t elsewhere_count)
{
    input = (struct instrument_input){&site.readings, site.notes, site.note_count, serials,
                                      serial_count,   elsewhere,  elsewhere_count};
    count = instrument_periods(arena, &input, &periods);
}

static void name(double minute, const char *instrument)
{
    site_note(&site, NOTE_INSTRUMENT, site_minute(minute), NAN)->text = instrument;
}

static void from_drop_2(double minute)
{
    for (size_t i = (size_t)(minute / 5); i < ROWS; i++)
        site.readings.drop[i] = 2;
}

static void expect_period(size_t k, int64_t from, int64_t to, const char *instrument)
{
    cr_expect_eq(periods[k].from, from, "period %zu", k);
    cr_expect_eq(periods[k].to, to, "period %zu", k);
    cr_expect_str_eq(periods[k].name, instrument);
}

Test(instrument, nobody_named_one_so_there_is_one)
{
    find(0, 0);
    cr_assert_eq(count, 1);
    expect_period(0, INT64_MIN, INT64_MAX, "");
}

Test(instrument, notes_say_from_when_on)
{
    name(100, "SN-1");
    name(500, " sn-1 "); /* the same, written again */
    name(700, "SN-2");
    from_drop_2(300); /* files do not count where there are notes */
    find(2, 0);
    cr_assert_eq(count, 3);
    expect_period(0, INT64_MIN, site_minute(100), "");
    expect_period(1, site_minute(100), site_minute(700), "SN-1");
    expect_period(2, site_minute(700), INT64_MAX, "SN-2");
}

Test(instrument, files_say_it_where_there_are_no_notes)
{
    from_drop_2(700);
    find(2, 0);
    cr_assert_eq(count, 2);
    expect_period(0, INT64_MIN, site_minute(700), "SN-1");
    expect_period(1, site_minute(700), INT64_MAX, "SN-2");
    site_note(&site, NOTE_IN_WATER, site_minute(697), NAN);
    find(2, 0);
    expect_period(1, site_minute(697), INT64_MAX, "SN-2");
}

Test(instrument, one_row_of_another_among_them_is_no_change)
{
    site.readings.drop[100] = site.readings.drop[103] = 2; /* started in the boat, while the old one still hung */
    from_drop_2(700);
    find(2, 0);
    cr_assert_eq(count, 2);
    expect_period(1, site_minute(700), INT64_MAX, "SN-2");
}

Test(instrument, the_notes_of_a_visit_go_to_the_instrument_that_they_are_about)
{
    site_note(&site, NOTE_CHECK, site_minute(650), 1);
    site_note(&site, NOTE_OUT_OF_WATER, site_minute(700), NAN);
    site_clock_check(&site, site_minute(700), site_minute(701));
    name(700, "SN-2");
    site_note(&site, NOTE_STANDARD, site_minute(700), 1);
    site_note(&site, NOTE_IN_WATER, site_minute(700), NAN);
    find(0, 0);
    struct note *notes;
    cr_assert_eq(instrument_notes(arena, &input, &periods[0], &notes), 3);
    cr_expect(notes[0].kind == NOTE_CHECK && notes[1].kind == NOTE_OUT_OF_WATER && notes[2].kind == NOTE_CLOCK);
    cr_assert_eq(instrument_notes(arena, &input, &periods[1], &notes), 4);
    cr_expect(notes[0].kind == NOTE_IN_WATER && notes[0].time == site_minute(700),
              "it enters the water without an error");
    cr_expect(notes[1].kind == NOTE_INSTRUMENT && notes[2].kind == NOTE_STANDARD && notes[3].kind == NOTE_IN_WATER);
}

Test(instrument, a_file_of_another_than_noted_is_named_with_both)
{
    name(0, "SN-1");
    from_drop_2(700);
    find(2, 1);
    struct instrument_stranger *list;
    cr_assert_eq(instrument_strangers(arena, &input, count, periods, &list), 1);
    cr_expect(list[0].span.from == site_minute(700) && list[0].span.to == site_minute(1440) + 1);
    cr_expect_str_eq(list[0].serial, "SN-2");
    cr_expect_str_eq(list[0].noted, "SN-1");
    cr_expect_str_eq(list[0].place, "weir-pool");
    struct derive_input whole = site_input(&site);
    whole.serials = serials;
    whole.serial_count = 2;
    whole.elsewhere = elsewhere;
    whole.elsewhere_count = 1;
    struct derived derived = site_derive_input(arena, &whole);
    const struct finding *found = NULL;
    for (size_t k = 0; k < derived.findings.count; k++)
        if (derived.findings.list[k].kind == FINDING_STRANGE_INSTRUMENT)
            found = &derived.findings.list[k];
    cr_assert(found && found->wants_hand);
    cr_expect(strstr(found->text,
                     "file 'north/two.csv' is of 'SN-2', but the field notes have 'SN-1' here and 'SN-2' at "
                     "'weir-pool': swapped or mislabelled"),
              "%s", found->text);
}

Test(instrument, one_that_is_noted_elsewhere_only_later_is_no_stranger)
{
    from_drop_2(700);
    elsewhere[0].from = site_minute(1500);
    find(2, 1);
    struct instrument_stranger *list;
    cr_expect_eq(instrument_strangers(arena, &input, count, periods, &list), 0);
    elsewhere[0].from = site_minute(1000);
    cr_assert_eq(instrument_strangers(arena, &input, count, periods, &list), 1);
    cr_expect_eq(list[0].span.from, site_minute(1000));
    cr_expect_str_eq(list[0].noted, "");
}

/* ---- nothing reaches across a change ---- */

Test(instrument, clock_drift_does_not_reach_across_a_change)
{
    site_clock_check(&site, site_minute(10), site_minute(10));
    site_clock_check(&site, site_minute(1400), site_minute(1409)); /* 9 minutes fast */
    struct derived one = site_derive(&site);
    cr_expect_lt(one.record.time[60], site_row(&site, 60), "one clock drifts all the time");
    name(700, "SN-2");
    struct derived two = site_derive(&site);
    cr_expect_eq(two.record.time[60], site_row(&site, 60), "the first one's was right");
    cr_expect_eq(two.record.time[139], site_row(&site, 139), "to its last row");
    cr_expect_lt(site_row(&site, 270) - two.record.time[270], 9 * MINUTE_MS);
    cr_expect_gt(site_row(&site, 270) - two.record.time[270], 8 * MINUTE_MS, "the second one's was set when it came");
}

Test(instrument, drift_of_a_sensor_does_not_reach_across_a_change)
{
    site_note(&site, NOTE_IN_WATER, site_minute(0), NAN);
    struct note *check = site_note(&site, NOTE_CHECK, site_minute(1400), NAN);
    check->quantity = QUANTITY_TEMPERATURE;
    check->reference = 13;
    struct derived one = site_derive(&site);
    cr_expect_gt(one.record.value[QUANTITY_TEMPERATURE][100], 12.2);
    name(700, "SN-2");
    struct derived two = site_derive(&site);
    cr_expect_eq(two.record.value[QUANTITY_TEMPERATURE][100], 12, "another sensor measured then");
    cr_expect_float_eq(two.record.value[QUANTITY_TEMPERATURE][210], 12.5, 0.01,
                       "half way from the change to the check");
}

Test(instrument, a_level_is_not_tied_across_a_change)
{
    site_note(&site, NOTE_LEVEL, site_minute(300), 2.5);
    site_note(&site, NOTE_LEVEL, site_minute(1100), 2.9);
    struct derived one = site_derive(&site);
    cr_expect_float_eq(one.record.value[QUANTITY_LEVEL][140], 2.7, 1e-6);
    name(700, "SN-2");
    struct derived two = site_derive(&site);
    cr_expect_float_eq(two.record.value[QUANTITY_LEVEL][139], 2.5, 1e-6, "it hung differently");
    cr_expect_float_eq(two.record.value[QUANTITY_LEVEL][141], 2.9, 1e-6);
}

Test(instrument, the_record_says_which_one_it_was)
{
    name(0, "SN-1");
    name(700, "SN-2");
    struct derived derived = site_derive(&site);
    cr_assert_geq(derived.findings.count, 2);
    cr_expect_eq(derived.findings.list[0].kind, FINDING_INSTRUMENT);
    cr_expect_str_eq(derived.findings.list[0].text, "'SN-1', by the field notes");
    cr_expect_eq(derived.findings.list[0].span.to, site_minute(695) + 1);
    cr_expect_eq(derived.findings.list[1].span.from, site_minute(700));
}
