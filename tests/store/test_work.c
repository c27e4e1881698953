/* SPDX-License-Identifier: MIT */
#include "base/random.h"
#include "base/timestamp.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct state state;
static uint32_t place, other;

static void make_state(void)
{
    state_make(&state);
    place = state_place(&state, "sallow-mouth");
    other = state_place(&state, "alder-creek");
    state_begin(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(work, .init = make_state, .fini = remove_state);

/* ---- dirty spans ---- */

static void add_dirty(uint32_t of, int64_t from, int64_t to)
{
    OK(&state, store_dirty_add(state.store, of, (struct span){from, to}, &state.error));
}

static struct span next_dirty(uint32_t *ret_place)
{
    struct span span = {0};
    OK(&state, store_dirty_next(state.store, ret_place, &span, &state.error));
    return span;
}

static int64_t count_dirty(void)
{
    int64_t count;
    OK(&state, store_dirty_count(state.store, &count, &state.error));
    return count;
}

Test(work, the_freshest_dirty_span_comes_first_until_it_is_removed)
{
    add_dirty(place, 0, 10);
    add_dirty(other, 20, 30);
    add_dirty(place, 40, 50);
    uint32_t of;
    struct span span = next_dirty(&of);
    cr_expect(of == place && span.from == 40 && span.to == 50);
    OK(&state, store_dirty_remove(state.store, of, (struct span){40, 49}, &state.error));
    cr_expect_eq(count_dirty(), 3, "one that has grown since is not removed");
    OK(&state, store_dirty_remove(state.store, of, span, &state.error));
    span = next_dirty(&of);
    cr_expect(of == other && span.from == 20 && span.to == 30);
    OK(&state, store_dirty_remove(state.store, of, span, &state.error));
    span = next_dirty(&of);
    cr_expect(of == place && span.to == 10);
    OK(&state, store_dirty_remove(state.store, of, span, &state.error));
    next_dirty(&of);
    cr_expect_eq(of, 0);
}

Test(work, an_empty_span_makes_nothing_dirty)
{
    add_dirty(place, 5, 5);
    add_dirty(place, 9, 2);
    cr_expect_eq(count_dirty(), 0);
}

enum { SLOTS = 60 };

/* Runs of dirty slots; spans that only touch are one. */
static int64_t count_runs(const bool *dirty)
{
    int64_t runs = 0;
    for (size_t i = 0; i < SLOTS; i++)
        runs += dirty[i] && (i == 0 || !dirty[i - 1]);
    return runs;
}

Test(work, dirty_spans_cover_what_was_added_and_are_as_few_as_can_be)
{
    uint64_t random = 1;
    for (int round = 0; round < 60; round++) {
        bool dirty[2][SLOTS] = {{false}}, got[2][SLOTS] = {{false}};
        for (size_t k = 1 + random_index(&random, 25); k-- > 0;) {
            size_t which = random_index(&random, 2), from = random_index(&random, SLOTS),
                   to = from + random_index(&random, random_index(&random, 4) ? 5 : 30);
            to = to < SLOTS ? to : SLOTS;
            add_dirty(which ? other : place, (int64_t)from, (int64_t)to);
            for (size_t i = from; i < to; i++)
                dirty[which][i] = true;
        }
        cr_assert_eq(count_dirty(), count_runs(dirty[0]) + count_runs(dirty[1]));
        int64_t last = INT64_MAX;
        for (;;) {
            uint32_t of;
            struct span span = next_dirty(&of);
            if (of == 0)
                break;
            cr_assert_leq(span.to, last, "the freshest first");
            last = span.to;
            for (int64_t i = span.from; i < span.to; i++)
                got[of == other][i] = true;
            OK(&state, store_dirty_remove(state.store, of, span, &state.error));
        }
        cr_assert_eq(memcmp(got, dirty, sizeof got), 0);
    }
}

/* ---- waiting spans ---- */

static void replace_waiting(int64_t from, int64_t to, const struct waiting_span *list, size_t n)
{
    OK(&state, store_waiting_replace(state.store, place, (struct span){from, to}, list, n, &state.error));
}

static struct waiting_span *load_waiting(uint32_t of, size_t *ret_n)
{
    struct waiting_span *list;
    OK(&state, store_waiting_load(state.store, of, state.arena, &list, ret_n, &state.error));
    return list;
}

Test(work, waiting_spans_come_with_their_place_and_reason)
{
    const struct waiting_span one = {.span = {10, 20}, .reason = "air pressure"},
                              two = {.span = {5, 9}, .reason = "level"};
    replace_waiting(0, 100, &one, 1);
    OK(&state, store_waiting_replace(state.store, other, (struct span){0, 100}, &two, 1, &state.error));
    size_t n;
    struct waiting_span *got = load_waiting(0, &n);
    cr_assert_eq(n, 2);
    cr_expect(got[0].place == other && got[0].span.from == 5 && got[0].span.to == 9, "by key");
    cr_expect_str_eq(got[0].key, "alder-creek");
    cr_expect_str_eq(got[1].reason, "air pressure");
    got = load_waiting(place, &n);
    cr_assert_eq(n, 1);
    cr_expect(got[0].span.from == 10 && got[0].span.to == 20);
}

Test(work, what_reaches_over_both_edges_keeps_both_parts)
{
    const struct waiting_span whole = {.span = {0, 100}, .reason = "air pressure"};
    replace_waiting(0, 100, &whole, 1);
    replace_waiting(40, 60, NULL, 0);
    size_t n;
    struct waiting_span *got = load_waiting(place, &n);
    cr_assert_eq(n, 2);
    cr_expect(got[0].span.from == 0 && got[0].span.to == 40 && got[1].span.from == 60 && got[1].span.to == 100);
    cr_expect_str_eq(got[1].reason, "air pressure");
}

Test(work, an_empty_span_replaces_nothing_that_waits)
{
    const struct waiting_span whole = {.span = {0, 100}, .reason = "air pressure"};
    replace_waiting(0, 100, &whole, 1);
    replace_waiting(50, 50, NULL, 0);
    size_t n;
    struct waiting_span *got = load_waiting(place, &n);
    cr_expect(n == 1 && got[0].span.from == 0 && got[0].span.to == 100);
}

/* Each slot waits for a reason, or does not. */
Test(work, replacing_what_waits_changes_its_span_and_nothing_outside)
{
    static const char *const reasons[] = {"", "air pressure", "level"};
    uint64_t random = 2;
    size_t oracle[SLOTS] = {0};
    for (int round = 0; round < 300; round++) {
        size_t from = random_index(&random, SLOTS), to = from + random_index(&random, SLOTS + 1 - from);
        struct waiting_span list[SLOTS];
        size_t n = 0;
        for (size_t i = from; i < to;) {
            size_t end = i + 1 + random_index(&random, 8), reason = random_index(&random, COUNT_OF(reasons));
            end = end < to ? end : to;
            if (reason)
                list[n++] = (struct waiting_span){.span = {(int64_t)i, (int64_t)end}, .reason = reasons[reason]};
            for (; i < end; i++)
                oracle[i] = reason;
        }
        replace_waiting((int64_t)from, (int64_t)to, list, n);
        size_t got[SLOTS] = {0}, count;
        struct waiting_span *all = load_waiting(place, &count);
        for (size_t k = 0; k < count; k++) {
            cr_assert_lt(all[k].span.from, all[k].span.to);
            for (int64_t i = all[k].span.from; i < all[k].span.to; i++) {
                cr_assert_eq(got[i], 0, "two spans at %lld", (long long)i);
                got[i] = strcmp(all[k].reason, reasons[1]) == 0 ? 1 : 2;
            }
        }
        cr_assert_eq(memcmp(got, oracle, sizeof got), 0, "round %d", round);
    }
    size_t n;
    cr_expect(load_waiting(other, &n) && n == 0, "another place is not touched");
}

/* ---- checks ---- */

static struct check_result a_check(int64_t time)
{
    return (struct check_result){.time = time,
                                 .quantity = QUANTITY_OXYGEN,
                                 .kind = CHECK_AS_FOUND,
                                 .note = 7,
                                 .sensor = 6.1,
                                 .reference = 7.9,
                                 .difference = -1.8,
                                 .is_first = true};
}

Test(work, trends_are_kept_beside_the_checks)
{
    struct check_result check = a_check(10), trend = a_check(20), *got;
    trend.kind = CHECK_NIGHT_VALUES;
    const struct span all = {0, 100};
    size_t n;
    OK(&state, store_trends_replace(state.store, place, all, &trend, 1, &state.error));
    OK(&state, store_checks_replace(state.store, place, all, &check, 1, &state.error));
    OK(&state, store_checks_load(state.store, place, all, state.arena, &got, &n, &state.error));
    cr_expect_eq(n, 2, "a new list of checks leaves the trends");
    OK(&state, store_trends_load(state.store, place, all, state.arena, &got, &n, &state.error));
    cr_expect(n == 1 && got[0].kind == CHECK_NIGHT_VALUES);
    OK(&state, store_checks_newest(state.store, place, 5, state.arena, &got, &n, &state.error));
    cr_expect(n == 1 && got[0].kind == CHECK_AS_FOUND);
    OK(&state, store_trends_replace(state.store, place, all, NULL, 0, &state.error));
    OK(&state, store_checks_load(state.store, place, all, state.arena, &got, &n, &state.error));
    cr_expect(n == 1 && got[0].kind == CHECK_AS_FOUND);
}

Test(work, checks_of_a_span_are_replaced_and_come_back_by_time)
{
    struct check_result checks[] = {a_check(30), a_check(10), a_check(20)}, *got;
    checks[0].sensor = checks[0].difference = NAN;
    checks[0].is_first = false;
    const struct span all = {0, 100}, middle = {10, 30};
    size_t n;
    OK(&state, store_checks_replace(state.store, place, all, checks, 3, &state.error));
    OK(&state, store_checks_load(state.store, place, all, state.arena, &got, &n, &state.error));
    cr_assert_eq(n, 3);
    cr_expect(got[0].time == 10 && got[1].time == 20 && got[2].time == 30);
    cr_expect(got[0].quantity == QUANTITY_OXYGEN && got[0].kind == CHECK_AS_FOUND && got[0].note == 7 &&
              got[0].is_first);
    cr_expect(got[0].sensor == 6.1 && got[0].reference == 7.9 && got[0].difference == -1.8);
    cr_expect(isnan(got[2].sensor) && isnan(got[2].difference) && !got[2].is_first && got[2].reference == 7.9);
    OK(&state, store_checks_load(state.store, place, middle, state.arena, &got, &n, &state.error));
    cr_expect_eq(n, 2, "without its end");
    OK(&state, store_checks_replace(state.store, place, middle, NULL, 0, &state.error));
    OK(&state, store_checks_load(state.store, place, all, state.arena, &got, &n, &state.error));
    cr_expect(n == 1 && got[0].time == 30);
    OK(&state, store_checks_load(state.store, other, all, state.arena, &got, &n, &state.error));
    cr_expect_eq(n, 0);
}

Test(work, the_newest_checks_come_first_as_many_as_asked)
{
    const struct check_result checks[] = {a_check(30), a_check(10), a_check(20)};
    struct check_result *got;
    size_t n;
    OK(&state, store_checks_replace(state.store, place, (struct span){0, 100}, checks, 3, &state.error));
    OK(&state, store_checks_newest(state.store, place, 2, state.arena, &got, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect(got[0].time == 30 && got[1].time == 20 && got[1].reference == 7.9);
    OK(&state, store_checks_newest(state.store, other, 2, state.arena, &got, &n, &state.error));
    cr_expect_eq(n, 0);
}

/* ---- findings ---- */

static const uint32_t readings_aside = 1u << FINDING_READING_SET_ASIDE;

static struct finding a_finding(int64_t from, const char *text)
{
    return (struct finding){.kind = FINDING_READING_SET_ASIDE,
                            .span = {from, from + 1},
                            .quantity = QUANTITY_LEVEL,
                            .value = 0.46,
                            .uncertainty = NAN,
                            .wants_hand = true,
                            .text = text};
}

static size_t load_findings(struct span span, struct finding **ret)
{
    size_t n;
    OK(&state, store_findings_load(state.store, place, span, state.arena, ret, &n, &state.error));
    return n;
}

Test(work, findings_of_a_span_and_kind_are_replaced_and_come_back_by_time)
{
    const struct span all = {0, 100}, middle = {20, 40};
    struct finding list[] = {a_finding(30, "b"), a_finding(10, "a"), a_finding(200, "outside")}, *got;
    OK(&state, store_findings_replace(state.store, place, readings_aside, all, list, 3, &state.error));
    cr_assert_eq(load_findings((struct span){0, 1000}, &got), 2, "what lies outside the span is not taken");
    cr_expect(got[0].span.from == 10 && got[0].span.to == 11 && got[1].span.from == 30);
    cr_expect(got[0].quantity == QUANTITY_LEVEL && got[0].value == 0.46 && isnan(got[0].uncertainty));
    cr_expect(got[0].wants_hand && strcmp(got[0].text, "a") == 0);
    OK(&state, store_findings_replace(state.store, place, 0, all, NULL, 0, &state.error));
    cr_expect_eq(load_findings(all, &got), 2, "other kinds are left alone");
    OK(&state, store_findings_replace(state.store, place, readings_aside, middle, NULL, 0, &state.error));
    cr_assert_eq(load_findings(all, &got), 1);
    cr_expect_eq(got[0].span.from, 10);
}

/* The next quantity will have the number that is the count of them now. */
Test(work, a_finding_about_all_quantities_does_not_become_one_about_the_next)
{
    const struct span all = {0, 100};
    struct finding list[] = {a_finding(10, "of all"), a_finding(20, "of level")}, *got;
    list[0].quantity = QUANTITY_COUNT;
    OK(&state, store_findings_replace(state.store, place, readings_aside, all, list, 2, &state.error));
    cr_assert_eq(load_findings(all, &got), 2);
    cr_expect(got[0].quantity == QUANTITY_LEVEL && got[1].quantity == QUANTITY_COUNT);
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT quantity FROM finding WHERE text = 'of all'"), -1);
}

/* ---- pages ---- */

static struct page_fact *load_pages(size_t most, size_t *ret_n)
{
    struct page_fact *list;
    OK(&state, store_pages_due(state.store, true, most, state.arena, &list, ret_n, &state.error));
    return list;
}

Test(work, a_page_is_due_until_it_is_published_and_keeps_its_revision)
{
    OK(&state, store_page_due(state.store, place, 2026 * 12, &state.error));
    OK(&state, store_page_due(state.store, place, 2026 * 12, &state.error));
    size_t n;
    struct page_fact *pages = load_pages(10, &n);
    cr_assert_eq(n, 1);
    cr_expect(pages[0].place == place && pages[0].month == 2026 * 12 && pages[0].due && pages[0].revision == 0);
    cr_expect_str_eq(pages[0].content, "");
    struct page_fact published = {.place = place, .month = 2026 * 12, .due = 2, .revision = 1, .content = "abc"};
    OK(&state, store_page_published(state.store, &published, &state.error));
    load_pages(10, &n);
    cr_expect_eq(n, 0);
    OK(&state, store_page_due(state.store, place, 2026 * 12, &state.error));
    pages = load_pages(10, &n);
    cr_assert_eq(n, 1);
    cr_expect_eq(pages[0].revision, 1, "what was published is known when it is due again");
    cr_expect_str_eq(pages[0].content, "abc");
}

Test(work, a_page_that_changes_while_it_is_written_stays_due)
{
    OK(&state, store_page_due(state.store, place, 2026 * 12, &state.error));
    size_t n;
    struct page_fact page = load_pages(10, &n)[0];
    OK(&state, store_page_due(state.store, place, 2026 * 12, &state.error));
    page.revision = 1;
    page.content = "abc";
    OK(&state, store_page_published(state.store, &page, &state.error));
    struct page_fact *pages = load_pages(10, &n);
    cr_assert_eq(n, 1);
    cr_expect(pages[0].due == 1 && pages[0].revision == 1);
    OK(&state, store_page_published(state.store, &pages[0], &state.error));
    load_pages(10, &n);
    cr_expect_eq(n, 0);
}

Test(work, pages_of_a_place_with_dirty_spans_wait_unless_they_are_asked_for)
{
    struct page_fact *pages;
    size_t n;
    OK(&state, store_page_due(state.store, place, 24300, &state.error));
    OK(&state, store_page_due(state.store, other, 24300, &state.error));
    OK(&state, store_dirty_add(state.store, place, (struct span){1000, 2000}, &state.error));
    OK(&state, store_pages_due(state.store, false, 10, state.arena, &pages, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_eq(pages[0].place, other);
    load_pages(10, &n);
    cr_expect_eq(n, 2);
}

Test(work, the_newest_pages_come_first_as_many_as_asked)
{
    const int32_t months[] = {24300, 24298, 24299};
    for (size_t i = 0; i < COUNT_OF(months); i++) {
        OK(&state, store_page_due(state.store, other, months[i], &state.error));
        OK(&state, store_page_due(state.store, place, months[i], &state.error));
    }
    size_t n;
    struct page_fact *pages = load_pages(4, &n);
    cr_assert_eq(n, 4);
    for (size_t i = 0; i < 4; i++)
        cr_expect(pages[i].place == (i % 2 ? other : place) && pages[i].month == 24300 - (int32_t)i / 2);
    struct page_fact published = {.place = place, .month = 24299, .due = 1, .revision = 1, .content = "x"};
    OK(&state, store_page_published(state.store, &published, &state.error));
    OK(&state, store_pages_of_place(state.store, place, state.arena, &pages, &n, &state.error));
    cr_assert_eq(n, 3);
    cr_expect(pages[0].due && !pages[1].due && pages[1].month == 24299 && pages[2].due);
}

Test(work, revisions_known_at_the_same_time_are_in_the_order_of_their_places)
{
    const struct revision_fact facts[] = {{.place = place, .month = 24298, .revision = 1, .last_time = 500},
                                          {.place = other, .month = 24298, .revision = 1, .last_time = TIME_NONE},
                                          {.place = place, .month = 24298, .revision = 2, .last_time = 600},
                                          {.place = place, .month = 24298, .revision = 1, .last_time = 700}};
    for (size_t i = 0; i < COUNT_OF(facts); i++)
        OK(&state, store_revision_add(state.store, &facts[i], &state.error));
    struct revision_fact *got;
    size_t n;
    OK(&state, store_revisions_newest(state.store, 10, state.arena, &got, &n, &state.error));
    cr_assert_eq(n, 3);
    cr_expect(got[0].place == place && got[0].revision == 2 && got[0].month == 24298 && got[0].last_time == 600);
    cr_expect(got[1].place == place && got[1].revision == 1 && got[1].last_time == 500, "as it was told first");
    cr_expect(got[2].place == other && got[2].last_time == TIME_NONE);
    cr_expect_eq(got[0].arrived, 0, "no drop was known");
    OK(&state, store_revisions_newest(state.store, 1, state.arena, &got, &n, &state.error));
    cr_expect(n == 1 && got[0].revision == 2);
}

Test(work, a_revision_keeps_what_it_changed_and_its_state)
{
    for (int64_t r = 1; r <= 3; r++) {
        const struct revision_fact fact = {.place = place,
                                           .month = 24298,
                                           .revision = r,
                                           .last_time = r,
                                           .changes = r == 2 ? "2 rows came\n" : NULL,
                                           .state = r == 2 ? RECORD_REVIEWED : RECORD_PROVISIONAL};
        OK(&state, store_revision_add(state.store, &fact, &state.error));
    }
    struct revision_fact *got;
    size_t n;
    OK(&state, store_revisions_of_month(state.store, place, 24298, 2, state.arena, &got, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect(got[0].revision == 3 && got[1].revision == 2 && got[1].state == RECORD_REVIEWED);
    cr_expect_str_eq(got[0].changes, "");
    cr_expect_str_eq(got[1].changes, "2 rows came\n");
    OK(&state, store_revisions_of_month(state.store, place, 24299, 2, state.arena, &got, &n, &state.error));
    cr_expect_eq(n, 0);
}

Test(work, a_revision_carries_the_arrival_of_the_newest_drop)
{
    struct drop_fact_row drop = {.number = 1,
                                 .sha256 = "a",
                                 .path = "p",
                                 .original = "",
                                 .layout = "",
                                 .evidence = "",
                                 .complaints = "",
                                 .arrived = 4321,
                                 .place = place};
    OK(&state, store_drop_add(state.store, &drop, &state.error));
    const struct revision_fact fact = {.place = place, .month = 24298, .revision = 1, .last_time = 1, .arrived = 99};
    OK(&state, store_revision_add(state.store, &fact, &state.error));
    struct revision_fact *got;
    size_t n;
    OK(&state, store_revisions_newest(state.store, 10, state.arena, &got, &n, &state.error));
    cr_expect(n == 1 && got[0].arrived == 4321);
}

/* ---- files ---- */

Test(work, files_are_known_by_path_and_place)
{
    const struct file_fact files[] = {
        {"b.csv", "22", place, 20}, {"a.csv", "11", place, 10}, {"network.json", "33", 0, 30}};
    for (size_t i = 0; i < COUNT_OF(files); i++)
        OK(&state, store_file_put(state.store, &files[i], &state.error));
    struct file_fact got, *list;
    bool found;
    size_t n;
    OK(&state, store_file_find(state.store, "b.csv", state.arena, &got, &found, &state.error));
    cr_assert(found);
    cr_expect(got.place == place && got.bytes == 20);
    cr_expect_str_eq(got.sha256, "22");
    OK(&state, store_file_find(state.store, "c.csv", state.arena, &got, &found, &state.error));
    cr_expect(!found);
    OK(&state, store_files_load(state.store, place, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect_str_eq(list[0].path, "a.csv");
    OK(&state, store_files_load(state.store, 0, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_str_eq(list[0].path, "network.json");
    OK(&state, store_files_load(state.store, UINT32_MAX, state.arena, &list, &n, &state.error));
    cr_expect_eq(n, 3);
}

Test(work, a_file_written_again_is_replaced)
{
    struct file_fact file = {"a.csv", "11", place, 10}, got;
    OK(&state, store_file_put(state.store, &file, &state.error));
    file.sha256 = "99";
    file.bytes = 12;
    file.place = other;
    OK(&state, store_file_put(state.store, &file, &state.error));
    bool found;
    OK(&state, store_file_find(state.store, "a.csv", state.arena, &got, &found, &state.error));
    cr_expect(found && got.place == other && got.bytes == 12);
    cr_expect_str_eq(got.sha256, "99");
}

Test(work, manifests_are_due_once_each_until_they_are_done)
{
    uint32_t *list;
    size_t n;
    const uint32_t due[] = {other, place, 0, other};
    for (size_t i = 0; i < COUNT_OF(due); i++)
        OK(&state, store_manifest_due(state.store, due[i], &state.error));
    OK(&state, store_manifests_due(state.store, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 3);
    cr_expect(list[0] == 0 && list[1] == place && list[2] == other);
    OK(&state, store_manifest_done(state.store, place, &state.error));
    OK(&state, store_manifests_due(state.store, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect(list[0] == 0 && list[1] == other);
}
