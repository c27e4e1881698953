/* SPDX-License-Identifier: MIT */
/* Of two decisions about a sample the one that was written later counts. Rules of our own: design, no
 * published source. */
#include "derive/decision.h"

#include <criterion/criterion.h>
#include <math.h>

enum { ROWS = 10 };

static struct arena *arena;
static struct record record;
static struct note notes[4];
static size_t count;

static void set_up(void)
{
    arena = arena_new();
    record_init(&record, arena, ROWS, 1u << QUANTITY_OXYGEN | 1u << QUANTITY_TEMPERATURE);
    for (size_t i = 0; i < ROWS; i++) {
        record.time[i] = (int64_t)i;
        record.value[QUANTITY_OXYGEN][i] = record.value[QUANTITY_TEMPERATURE][i] = 9;
    }
    count = 0;
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(decision, .init = set_up, .fini = tear_down);

/* Notes come ascending by time, whenever they were written. */
static void decide(enum note_kind kind, int64_t from, int64_t until, uint32_t drop, uint32_t line)
{
    notes[count++] = (struct note){.kind = kind,
                                   .time = from,
                                   .until = until,
                                   .quantity = QUANTITY_OXYGEN,
                                   .drop = drop,
                                   .line = line,
                                   .text = ""};
}

static void expect(const char *flags)
{
    struct decisions decisions = decisions_find(arena, count, notes);
    for (int twice = 0; twice < 2; twice++)
        decisions_apply(&decisions, &record);
    for (size_t i = 0; i < ROWS; i++) {
        uint32_t bits = record.tests[QUANTITY_OXYGEN][i] & (TEST_PERSON_STRUCK | TEST_PERSON_RESTORED);
        char got = record.flag[QUANTITY_OXYGEN][i] == FLAG_FAIL && bits == TEST_PERSON_STRUCK     ? 'x'
                   : record.flag[QUANTITY_OXYGEN][i] == FLAG_PASS && bits == TEST_PERSON_RESTORED ? 'o'
                   : record.flag[QUANTITY_OXYGEN][i] == FLAG_NOT_EVALUATED && bits == 0           ? '.'
                                                                                                  : '?';
        cr_expect_eq(got, flags[i], "row %zu is '%c', expected '%c'", i, got, flags[i]);
        cr_expect_eq(record.flag[QUANTITY_TEMPERATURE][i], FLAG_NOT_EVALUATED);
    }
}

Test(decision, the_later_written_counts_even_where_it_begins_earlier)
{
    decide(NOTE_RESTORE, 1, 6, 8, 1);
    decide(NOTE_STRIKE, 3, 9, 7, 1);
    expect(".ooooo"
           "xxx.");
}

Test(decision, within_a_drop_the_later_line_counts)
{
    decide(NOTE_STRIKE, 2, 5, 7, 9);
    decide(NOTE_RESTORE, 2, 5, 7, 4);
    expect("..xxx.....");
}

Test(decision, a_strike_after_a_restore_strikes)
{
    decide(NOTE_STRIKE, 0, 10, 1, 1);
    decide(NOTE_RESTORE, 2, 8, 2, 1);
    decide(NOTE_STRIKE, 4, 5, 3, 1);
    expect("xxooxoooxx");
}

Test(decision, a_value_that_is_not_there_stays_missing)
{
    record.value[QUANTITY_OXYGEN][4] = NAN;
    record.flag[QUANTITY_OXYGEN][4] = FLAG_MISSING;
    decide(NOTE_RESTORE, 0, 10, 1, 1);
    struct decisions decisions = decisions_find(arena, count, notes);
    decisions_apply(&decisions, &record);
    cr_expect_eq(record.flag[QUANTITY_OXYGEN][4], FLAG_MISSING);
}

Test(decision, the_one_in_force_is_found_by_quantity_and_time)
{
    decide(NOTE_STRIKE, 0, 10, 1, 1);
    notes[0].quantity = QUANTITY_COUNT;
    decide(NOTE_RESTORE, 2, 8, 2, 1);
    struct decisions decisions = decisions_find(arena, count, notes);
    cr_expect_eq(decision_at(&decisions, QUANTITY_OXYGEN, 2), &notes[1]);
    cr_expect_eq(decision_at(&decisions, QUANTITY_OXYGEN, 8), &notes[0]);
    cr_expect_eq(decision_at(&decisions, QUANTITY_LEVEL, 2), &notes[0]);
    cr_expect_null(decision_at(&decisions, QUANTITY_LEVEL, 10));
}
