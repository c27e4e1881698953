/* SPDX-License-Identifier: MIT */
/* Derivations that ended the program: counted over smaller pieces, one piece set aside, the rest tried. */
#include "store/state.h"
#include "store/store.h"

#include <criterion/criterion.h>

enum { PLACE = 3, SETTINGS = 77 };

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

TestSuite(ended, .init = set_up, .fini = tear_down);

static int64_t add(int64_t from, int64_t to)
{
    struct error error;
    int64_t attempts;
    cr_assert(store_dirty_add(state.store, PLACE, (struct span){0, 1000}, &error));
    cr_assert(store_ended_add(state.store, PLACE, (struct span){from, to}, 0, SETTINGS, &attempts, &error), "%s",
              error.text);
    return attempts;
}

static struct ended_span found(int64_t from, int64_t to)
{
    struct error error;
    struct ended_span ret;
    cr_assert(store_ended_find(state.store, PLACE, (struct span){from, to}, &ret, &error), "%s", error.text);
    return ret;
}

static void done(int64_t from, int64_t to)
{
    struct error error;
    cr_assert(store_ended_done(state.store, PLACE, (struct span){from, to}, &error), "%s", error.text);
}

Test(ended, attempts_go_on_over_smaller_pieces_and_the_last_alone_is_set_aside)
{
    cr_expect_eq(add(0, 800), 1);
    cr_expect_eq(add(700, 800), 2);
    cr_expect_eq(found(0, 10).attempts, 2, "what is before belongs to it until it is derived");
    for (int64_t attempts = 3; attempts <= ENDED_MOST; attempts++)
        cr_expect_eq(add(790, 800), attempts);
    cr_expect(found(795, 900).attempts == ENDED_MOST && found(795, 900).span.from == 790);
    cr_expect(found(0, 790).attempts == ENDED_MOST - 1 && found(0, 790).span.to == 790);
    cr_expect_eq(found(800, 900).attempts, 0);
}

Test(ended, what_ended_right_behind_its_commit_is_not_counted)
{
    struct error error;
    int64_t attempts;
    cr_assert(store_ended_add(state.store, PLACE, (struct span){0, 10}, 0, SETTINGS, &attempts, &error));
    cr_expect(attempts == 0 && found(0, 10).attempts == 0);
}

Test(ended, what_was_derived_is_no_more_to_blame)
{
    add(0, 800);
    add(700, 800);
    done(700, 800);
    cr_expect(found(0, 900).attempts == 2 && found(0, 900).span.to == 700);
    done(0, 700);
    cr_expect_eq(found(0, 900).attempts, 0);
}

Test(ended, what_is_set_aside_stays_until_it_is_asked_for_or_the_settings_change)
{
    struct error error;
    int64_t count, dirty;
    struct store_counts counts;
    for (int i = 0; i < ENDED_MOST; i++)
        add(10, 20);
    done(0, 100);
    cr_assert(store_counts(state.store, &counts, &error));
    cr_expect_eq(counts.left_alone, 1);
    cr_assert(store_ended_retry(state.store, SETTINGS, &count, &error));
    cr_expect_eq(count, 0, "the settings are as they were");
    cr_assert(store_ended_retry(state.store, SETTINGS + 1, &count, &error));
    cr_expect_eq(count, 1);
    cr_assert(store_dirty_count(state.store, &dirty, &error));
    cr_expect(dirty == 1 && found(0, 100).attempts == 0);
}
