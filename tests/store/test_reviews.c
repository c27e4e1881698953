/* SPDX-License-Identifier: MIT */
#include "base/text.h"
#include "state.h"

#include <criterion/criterion.h>
#include <string.h>

static struct state state;
static uint32_t place;

static void start(void)
{
    state_make(&state);
    place = state_place(&state, "heron-creek");
    state_begin(&state);
}

static void finish(void)
{
    state_done(&state);
}

TestSuite(reviews, .init = start, .fini = finish);

static void say(int64_t from, int64_t to, const char *who, bool is_reopening)
{
    struct review_fact review = {.place = place,
                                 .span = {from, to},
                                 .who = who,
                                 .why = "all checks close",
                                 .said = 99,
                                 .is_reopening = is_reopening};
    OK(&state, store_review_add(state.store, &review, &state.error));
    cr_expect_gt(review.number, 0);
}

static const char *spans(void)
{
    struct reviewed_span *list;
    size_t n;
    struct text text;
    OK(&state, store_reviewed_load(state.store, place, (struct span){0, 1000}, state.arena, &list, &n, &state.error));
    text_init(&text, 1000);
    text_puts(&text, "");
    for (size_t k = 0; k < n; k++)
        text_printf(&text, "%lld-%lld %s%s;", (long long)list[k].span.from, (long long)list[k].span.to, list[k].who,
                    list[k].is_kept ? " kept" : "");
    const char *copy = arena_strdup(state.arena, text.bytes);
    text_done(&text);
    return copy;
}

Test(reviews, the_last_word_holds_in_its_span_and_earlier_ones_around_it)
{
    say(100, 900, "ines", false);
    cr_expect_str_eq(spans(), "100-900 ines;");
    say(300, 400, "tomas", false);
    cr_expect_str_eq(spans(), "100-300 ines;300-400 tomas;400-900 ines;");
    say(350, 500, "ines", true);
    cr_expect_str_eq(spans(), "100-300 ines;300-350 tomas;500-900 ines;", "reopened: provisional again");
    struct review_fact *words;
    size_t n;
    OK(&state, store_reviews_newest(state.store, place, 2, state.arena, &words, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect(words[0].is_reopening && !words[1].is_reopening);
    cr_expect_str_eq(words[1].who, "tomas");
}

Test(reviews, a_part_is_kept_and_a_new_word_forgets_it)
{
    say(100, 900, "ines", false);
    OK(&state, store_reviewed_keep(state.store, place, (struct span){100, 500}, &state.error));
    cr_expect_str_eq(spans(), "100-500 ines kept;500-900 ines;");
    OK(&state, store_reviewed_keep(state.store, place, (struct span){500, 900}, &state.error));
    cr_expect_str_eq(spans(), "100-500 ines kept;500-900 ines kept;");
    say(100, 900, "tomas", false);
    cr_expect_str_eq(spans(), "100-900 tomas;");
}

Test(reviews, kept_rows_stand_apart_from_the_record)
{
    struct record record, got;
    record_init(&record, state.arena, 2, 1u << QUANTITY_LEVEL);
    for (size_t i = 0; i < 2; i++) {
        record.time[i] = record.raw_time[i] = 100 + (int64_t)i;
        record.value[QUANTITY_LEVEL][i] = 1.5;
    }
    struct span span = {0, 1000};
    OK(&state, store_reviewed_rows_save(state.store, place, span, &record, &state.error));
    OK(&state, store_record_load(state.store, place, span, state.arena, &got, &state.error));
    cr_expect_eq(got.n, 0);
    record.value[QUANTITY_LEVEL][1] = 2.5;
    OK(&state, store_record_save(state.store, place, span, &record, &state.error));
    OK(&state, store_reviewed_rows_load(state.store, place, span, state.arena, &got, &state.error));
    cr_assert_eq(got.n, 2);
    cr_expect_eq(got.value[QUANTITY_LEVEL][1], 1.5);
}

Test(reviews, what_is_held_is_replaced_span_by_span)
{
    struct waiting_span *list, held[] = {{.place = place, .span = {100, 200}, .reason = "2 rows: level"}};
    size_t n;
    OK(&state, store_held_replace(state.store, place, (struct span){0, 500}, held, 1, &state.error));
    OK(&state, store_held_load(state.store, 0, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_str_eq(list[0].key, "heron-creek");
    cr_expect_str_eq(list[0].reason, "2 rows: level");
    OK(&state, store_waiting_load(state.store, 0, state.arena, &list, &n, &state.error));
    cr_expect_eq(n, 0, "apart from what waits");
    OK(&state, store_held_replace(state.store, place, (struct span){0, 500}, NULL, 0, &state.error));
    OK(&state, store_held_load(state.store, 0, state.arena, &list, &n, &state.error));
    cr_expect_eq(n, 0);
}
