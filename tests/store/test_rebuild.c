/* SPDX-License-Identifier: MIT */
#include "base/text.h"
#include "base/timestamp.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct state state;
static uint32_t place, other;

static void make_state(void)
{
    state_make(&state);
    place = state_place(&state, "sallow-mouth");
    other = state_place(&state, "alder-creek");
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(rebuild, .init = make_state, .fini = remove_state);

static void save_readings(uint32_t of)
{
    struct readings readings;
    readings_init(&readings, state.arena, 2, 1u << QUANTITY_TEMPERATURE);
    readings.time[0] = 1777682700000;
    readings.time[1] = readings.time[0] + DAY_MS;
    readings.value[QUANTITY_TEMPERATURE][0] = readings.value[QUANTITY_TEMPERATURE][1] = 12;
    OK(&state, store_readings_save(state.store, of, &readings, &state.error));
}

static struct readings readings_of(uint32_t of)
{
    struct readings readings;
    OK(&state, store_readings_load(state.store, of, (struct span){0, TIME_FOREVER / 2000}, state.arena, &readings,
                                   &state.error));
    return readings;
}

/* A row of the place with whatever fits into the other columns, by their types. */
static void put_row_of_place(const char *table)
{
    char *sql = x_printf("SELECT count(*) FROM pragma_table_info('%s') WHERE name = 'place'", table);
    cr_assert_eq(state_query(&state, sql), 1, "%s has no place", table);
    free(sql);
    struct text columns, values;
    text_init(&columns, 4096);
    text_init(&values, 4096);
    for (int column = 0;; column++) {
        char type[8] = "", name[32] = "";
        sql = x_printf("SELECT type FROM pragma_table_info('%s') WHERE cid = %d", table, column);
        state_query_text(&state, sql, type, sizeof type);
        free(sql);
        sql = x_printf("SELECT name FROM pragma_table_info('%s') WHERE cid = %d", table, column);
        state_query_text(&state, sql, name, sizeof name);
        free(sql);
        if (!*name)
            break;
        bool is_place = strcmp(name, "place") == 0;
        text_printf(&columns, "%s%s", column > 0 ? ", " : "", name);
        text_printf(&values, "%s", column > 0 ? ", " : "");
        if (is_place)
            text_printf(&values, "%u", place);
        else
            text_puts(&values, strcmp(type, "TEXT") == 0 ? "'x'" : strcmp(type, "BLOB") == 0 ? "x'00'" : "1");
    }
    sql = x_printf("INSERT OR REPLACE INTO %s(%s) VALUES(%s)", table, columns.bytes, values.bytes);
    state_execute(&state, sql);
    free(sql);
    text_done(&columns);
    text_done(&values);
}

static int64_t rows_of_place(const char *table)
{
    char *sql = x_printf("SELECT count(*) FROM %s WHERE place = %u", table, place);
    int64_t n = state_query(&state, sql);
    free(sql);
    return n;
}

/* Each table with a place stands in one of the two lists: a new one is thought about. */
Test(rebuild, forgets_every_table_of_a_place_but_those_that_are_to_stay)
{
    static const char *const forgotten[] = {"dirty", "waiting", "held", "check_result", "finding"};
    static const char *const kept[] = {
        "drop_",        "note",         "page", "revision", "review", "reviewed", /* permanent */
        "archive_file", "manifest_due", /* what stands in the archive stays there */
        "rebuild_due",                  /* the rebuild's own */
        "unfinished", /* what ended the program would end the rebuild, which writes no attempts down */
    };
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM sqlite_schema s JOIN pragma_table_info(s.name) c"
                                     " WHERE s.type = 'table' AND c.name = 'place'"),
                 COUNT_OF(forgotten) + COUNT_OF(kept), "a table is new: is it forgotten?");
    for (size_t i = 0; i < COUNT_OF(forgotten); i++)
        put_row_of_place(forgotten[i]);
    for (size_t i = 0; i < COUNT_OF(kept); i++)
        put_row_of_place(kept[i]);
    state_begin(&state);
    OK(&state, store_place_forget(state.store, place, &state.error));
    state_commit(&state);
    for (size_t i = 0; i < COUNT_OF(forgotten); i++)
        cr_expect_eq(rows_of_place(forgotten[i]), 0, "%s", forgotten[i]);
    for (size_t i = 0; i < COUNT_OF(kept); i++)
        cr_expect_eq(rows_of_place(kept[i]), 1, "%s", kept[i]);
}

Test(rebuild, forgets_what_can_be_made_again_of_one_place_only)
{
    struct place_fact fact;
    state_begin(&state);
    save_readings(place);
    save_readings(other);
    OK(&state, store_dirty_add(state.store, place, (struct span){1, 2}, &state.error));
    OK(&state, store_dirty_add(state.store, other, (struct span){1, 2}, &state.error));
    OK(&state, store_place_forget(state.store, place, &state.error));
    state_commit(&state);
    cr_expect_eq(readings_of(place).n, 0);
    cr_expect_eq(readings_of(other).n, 2);
    OK(&state, store_place_find(state.store, "sallow-mouth", state.arena, &fact, &state.error));
    cr_expect_eq(fact.first_time, TIME_NONE);
    cr_expect_eq(fact.last_time, TIME_NONE);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM dirty"), 1);
    cr_expect_eq(state_query(&state, "SELECT place FROM dirty"), other);
}

Test(rebuild, a_place_is_written_again_as_a_whole)
{
    state_begin(&state);
    OK(&state, store_page_restore(state.store, &(struct page_fact){place, 24304, false, 3, "x", RECORD_PROVISIONAL, ""},
                                  &state.error));
    OK(&state, store_page_restore(state.store, &(struct page_fact){other, 24304, false, 1, "y", RECORD_PROVISIONAL, ""},
                                  &state.error));
    OK(&state, store_place_renew(state.store, place, &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM page WHERE due = 1"), 1);
    cr_expect_eq(state_query(&state, "SELECT revision FROM page WHERE due = 1"), 3);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM manifest_due"), 2, "its own and the network's");
}

Test(rebuild, what_the_database_knows_is_not_replaced_by_what_the_archive_says)
{
    state_begin(&state);
    OK(&state, store_page_restore(state.store, &(struct page_fact){place, 24304, false, 3, "x", RECORD_PROVISIONAL, ""},
                                  &state.error));
    OK(&state, store_page_restore(state.store, &(struct page_fact){place, 24304, false, 2, "z", RECORD_PROVISIONAL, ""},
                                  &state.error));
    struct revision_fact one = {.place = place, .month = 24304, .revision = 1, .last_time = TIME_NONE, .arrived = 5};
    struct revision_fact same = one, taken = one;
    same.arrived = taken.arrived = 6;
    taken.place = other;
    OK(&state, store_revision_restore(state.store, &one, &state.error));
    OK(&state, store_revision_restore(state.store, &same, &state.error));
    OK(&state, store_revision_restore(state.store, &taken, &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT revision FROM page"), 3);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM revision"), 2);
    cr_expect_eq(state_query(&state, "SELECT arrived FROM revision WHERE place = (SELECT min(place) FROM revision)"),
                 5);
}

Test(rebuild, an_archive_that_was_published_later_says_which_revision_stands)
{
    state_begin(&state);
    OK(&state, store_page_restore(state.store, &(struct page_fact){place, 24304, false, 3, "x", RECORD_PROVISIONAL, ""},
                                  &state.error));
    OK(&state, store_page_restore(state.store, &(struct page_fact){place, 24304, true, 5, "z", RECORD_PROVISIONAL, ""},
                                  &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT revision FROM page WHERE content = 'z'"), 5);
}

Test(rebuild, an_older_drop_that_comes_back_does_not_undo_a_correction)
{
    struct note note = {.drop = 9,
                        .line = 2,
                        .kind = NOTE_LEVEL,
                        .time = 5,
                        .until = TIME_NONE,
                        .quantity = QUANTITY_COUNT,
                        .value = 1.5,
                        .reference = 0,
                        .text = ""};
    bool changed;
    state_begin(&state);
    OK(&state, store_note_put(state.store, place, &note, &changed, &state.error));
    note.drop = 4;
    note.value = 1.2;
    OK(&state, store_note_put(state.store, place, &note, &changed, &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM note WHERE value = 1.5 AND drop_ = 9"), 1);
}

Test(rebuild, its_list_outlives_the_program)
{
    uint32_t *due;
    size_t n;
    state_begin(&state);
    OK(&state, store_rebuild_add(state.store, place, &state.error));
    OK(&state, store_rebuild_add(state.store, other, &state.error));
    OK(&state, store_rebuild_add(state.store, other, &state.error));
    OK(&state, store_rebuild_done(state.store, place, &state.error));
    state_commit(&state);
    state_close(&state);
    state_open(&state);
    OK(&state, store_rebuild_load(state.store, state.arena, &due, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_eq(due[0], other);
}

Test(rebuild, a_damaged_database_is_moved_aside_and_a_new_one_begun)
{
    enum store_condition condition;
    char aside[600];
    state_close(&state);
    FILE *file = fopen(state.database, "wb");
    fputs("these were the days of the database, long enough to look at", file);
    fclose(file);
    state.store = store_open_to_rebuild(state.folder, 77, &condition, &state.error);
    OK(&state, state.store);
    cr_expect_eq(condition, STORE_DAMAGED);
    snprintf(aside, sizeof aside, "%s/rillward.db.damaged-77", state.folder);
    cr_expect_eq(access(aside, F_OK), 0);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM place"), 0);
    unlink(aside);
}

Test(rebuild, a_sound_database_is_opened_as_it_is_and_a_missing_one_is_new)
{
    enum store_condition condition;
    state_close(&state);
    state.store = store_open_to_rebuild(state.folder, 77, &condition, &state.error);
    OK(&state, state.store);
    cr_expect_eq(condition, STORE_SOUND);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM place"), 2);
    state_close(&state);
    unlink(state.database);
    state.store = store_open_to_rebuild(state.folder, 77, &condition, &state.error);
    OK(&state, state.store);
    cr_expect_eq(condition, STORE_NEW);
}

Test(rebuild, beside_another_service_it_is_refused)
{
    enum store_condition condition;
    cr_expect_null(store_open_to_rebuild(state.folder, 77, &condition, &state.error));
    cr_expect_eq(state.error.kind, ERROR_CONFIG);
    cr_expect(strstr(state.error.text, "'lock'"), "%s", state.error.text);
}
