/* SPDX-License-Identifier: MIT */
/* Work that ended the program: counted, derivations over smaller pieces, and left alone at last. */
#include "base/timestamp.h"
#include "store/state.h"
#include "store/store.h"

#include <criterion/criterion.h>

enum { PLACE = 3, SETTINGS = 77, MONTH = 24315 };

static struct state state;

static void set_up(void)
{
    state_make(&state);
    state_begin(&state);
}

static void tear_down(void)
{
    store_rollback(state.store);
    state_done(&state);
}

TestSuite(unfinished, .init = set_up, .fini = tear_down);

static int64_t add(int64_t from, int64_t to)
{
    struct error error;
    int64_t attempts;
    cr_assert(store_dirty_add(state.store, PLACE, (struct span){0, 1000}, &error));
    cr_assert(store_unfinished_add(state.store, UNFINISHED_SPAN, PLACE, (struct span){from, to}, 0, SETTINGS, &attempts,
                                   &error),
              "%s", error.text);
    return attempts;
}

static struct unfinished found(int64_t from, int64_t to)
{
    struct error error;
    struct unfinished ret;
    cr_assert(store_unfinished_find(state.store, UNFINISHED_SPAN, PLACE, (struct span){from, to}, &ret, &error), "%s",
              error.text);
    return ret;
}

static void done(int64_t from, int64_t to)
{
    struct error error;
    cr_assert(store_unfinished_done(state.store, UNFINISHED_SPAN, PLACE, (struct span){from, to}, &error), "%s",
              error.text);
}

Test(unfinished, attempts_go_on_over_smaller_pieces_and_the_last_alone_is_set_aside)
{
    cr_expect_eq(add(0, 800), 1);
    cr_expect_eq(add(700, 800), 2);
    cr_expect_eq(found(0, 10).attempts, 2, "what is before belongs to it until it is derived");
    for (int64_t attempts = 3; attempts <= UNFINISHED_SPAN_MOST; attempts++)
        cr_expect_eq(add(790, 800), attempts);
    cr_expect(found(795, 900).attempts == UNFINISHED_SPAN_MOST && found(795, 900).is_left_alone &&
              found(795, 900).span.from == 790);
    cr_expect(found(0, 790).attempts == UNFINISHED_SPAN_MOST - 1 && !found(0, 790).is_left_alone &&
              found(0, 790).span.to == 790);
    cr_expect_eq(found(800, 900).attempts, 0);
}

Test(unfinished, what_ended_right_behind_its_commit_is_not_counted)
{
    struct error error;
    int64_t attempts;
    cr_assert(store_unfinished_add(state.store, UNFINISHED_SPAN, PLACE, (struct span){0, 10}, 0, SETTINGS, &attempts,
                                   &error));
    cr_expect(attempts == 0 && found(0, 10).attempts == 0);
}

Test(unfinished, what_was_derived_is_no_more_to_blame)
{
    add(0, 800);
    add(700, 800);
    done(700, 800);
    cr_expect(found(0, 900).attempts == 2 && found(0, 900).span.to == 700);
    done(0, 700);
    cr_expect_eq(found(0, 900).attempts, 0);
}

Test(unfinished, what_is_set_aside_stays_until_it_is_asked_for_or_the_settings_change)
{
    struct error error;
    int64_t left_alone[UNFINISHED_KIND_COUNT], dirty;
    struct store_counts counts;
    for (int i = 0; i < UNFINISHED_SPAN_MOST; i++)
        add(10, 20);
    done(0, 100);
    cr_assert(store_counts(state.store, &counts, &error));
    cr_expect_eq(counts.left_alone, 1);
    cr_assert(store_unfinished_retry(state.store, SETTINGS, left_alone, &error));
    cr_expect_eq(left_alone[UNFINISHED_SPAN], 0, "the settings are as they were");
    cr_assert(store_unfinished_retry(state.store, SETTINGS + 1, left_alone, &error));
    cr_expect_eq(left_alone[UNFINISHED_SPAN], 1);
    cr_assert(store_dirty_count(state.store, &dirty, &error));
    cr_expect(dirty == 1 && found(0, 100).attempts == 0);
}

/* ---- records ---- */

static uint32_t numbered(const char *key)
{
    uint32_t number;
    struct error error;
    cr_assert(store_place_number(state.store, key, &number, &error), "%s", error.text);
    return number;
}

static int64_t add_records(uint32_t place, int64_t now)
{
    struct error error;
    int64_t attempts;
    cr_assert(
        store_unfinished_add(state.store, UNFINISHED_RECORDS, place, UNFINISHED_ALL, now, SETTINGS, &attempts, &error),
        "%s", error.text);
    return attempts;
}

static size_t list_records(struct unfinished **ret)
{
    size_t n;
    OK(&state, store_unfinished_load(state.store, UNFINISHED_RECORDS, state.arena, ret, &n, &state.error));
    return n;
}

static size_t pages_due(struct page_fact **ret)
{
    size_t n;
    OK(&state, store_pages_due(state.store, true, 9, state.arena, ret, &n, &state.error));
    return n;
}

Test(unfinished, a_place_whose_record_ends_the_program_is_left_alone_after_its_last_attempt_and_all_that_is_due_stays)
{
    uint32_t place = numbered("sallow-mouth"), other = numbered("weir"), of, *manifests;
    struct page_fact *pages;
    struct unfinished *list;
    struct store_counts counts;
    struct span dirty;
    size_t n;
    OK(&state, store_dirty_add(state.store, place, (struct span){40, 50}, &state.error));
    OK(&state, store_page_due(state.store, place, MONTH, &state.error));
    OK(&state, store_page_due(state.store, other, MONTH - 1, &state.error));
    OK(&state, store_manifest_due(state.store, place, &state.error));
    for (int attempt = 1; attempt <= UNFINISHED_RECORDS_MOST; attempt++) {
        cr_assert_eq(pages_due(&pages), 2, "before attempt %d", attempt);
        cr_expect_eq(add_records(place, 1000 * attempt), attempt);
    }
    cr_expect(pages_due(&pages) == 1 && pages[0].place == other);
    OK(&state, store_manifests_due(state.store, state.arena, &manifests, &n, &state.error));
    cr_expect_eq(n, 0);
    OK(&state, store_counts(state.store, &counts, &state.error));
    cr_expect_eq(counts.left_alone, 1);
    cr_assert_eq(list_records(&list), 1);
    cr_expect(list->place == place && list->is_left_alone && list->attempts == UNFINISHED_RECORDS_MOST);
    cr_expect_eq(list->since, 1000, "the first of them");
    cr_expect_str_eq(list->key, "sallow-mouth");
    OK(&state, store_dirty_next(state.store, &of, &dirty, &state.error));
    cr_expect_eq(of, place, "its values and alarms go on");
}

Test(unfinished, records_that_were_left_alone_come_back_with_other_settings_or_when_one_got_through)
{
    uint32_t place = numbered("sallow-mouth"), other = numbered("weir");
    int64_t left_alone[UNFINISHED_KIND_COUNT];
    struct page_fact *pages;
    struct unfinished *list;
    OK(&state, store_page_due(state.store, place, MONTH, &state.error));
    for (int attempt = 0; attempt < UNFINISHED_RECORDS_MOST; attempt++)
        add_records(place, 1000);
    add_records(other, 1000);
    OK(&state, store_unfinished_retry(state.store, SETTINGS, left_alone, &state.error));
    cr_expect_eq(left_alone[UNFINISHED_RECORDS], 0);
    cr_expect_eq(list_records(&list), 2);
    OK(&state, store_unfinished_done(state.store, UNFINISHED_RECORDS, other, UNFINISHED_ALL, &state.error));
    cr_expect_eq(list_records(&list), 1);
    OK(&state, store_unfinished_retry(state.store, SETTINGS + 1, left_alone, &state.error));
    cr_expect_eq(left_alone[UNFINISHED_RECORDS], 1);
    cr_expect_eq(list_records(&list), 0);
    cr_expect_eq(pages_due(&pages), 1);
}

Test(unfinished, kinds_of_one_place_know_nothing_of_each_other)
{
    uint32_t place = numbered("sallow-mouth");
    int64_t attempts, left_alone[UNFINISHED_KIND_COUNT], dirty;
    struct unfinished *list;
    add_records(place, 1000);
    OK(&state, store_dirty_add(state.store, place, (struct span){0, 10}, &state.error));
    for (int k = 0; k < UNFINISHED_SPAN_MOST; k++)
        OK(&state, store_unfinished_add(state.store, UNFINISHED_SPAN, place, (struct span){0, 10}, 2000, SETTINGS,
                                        &attempts, &state.error));
    OK(&state, store_dirty_remove(state.store, place, (struct span){0, 10}, &state.error));
    cr_assert_eq(list_records(&list), 1);
    cr_expect(list->attempts == 1 && !list->is_left_alone);
    OK(&state, store_unfinished_done(state.store, UNFINISHED_RECORDS, place, UNFINISHED_ALL, &state.error));
    cr_expect_eq(list_records(&list), 0);
    OK(&state, store_unfinished_retry(state.store, 0, left_alone, &state.error));
    cr_expect(left_alone[UNFINISHED_SPAN] == 1 && left_alone[UNFINISHED_RECORDS] == 0);
    OK(&state, store_dirty_count(state.store, &dirty, &state.error));
    cr_expect_eq(dirty, 1);
}
