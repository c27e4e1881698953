/* SPDX-License-Identifier: MIT */
#include "service/figures.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>

static struct fixture f;
static struct error error;

static void open_with(const char *settings)
{
    f = fixture_open(settings);
}

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(figures, .fini = tear_down);

/* An alarm of the rule 'low' that somebody is told of at `time`; open. */
static void tell_at(int64_t time, int64_t times)
{
    const struct rule *rule = &f.config->rules[0];
    struct alarm alarm = {.station = "heron-creek",
                          .rule = rule->id,
                          .episode = {.start = time, .raised = time, .end = TIME_NONE, .last_time = time},
                          .state = ALARM_UNACKNOWLEDGED,
                          .learnt = time,
                          .changed = time,
                          .shelved_until = TIME_NONE,
                          .asked = time,
                          .told = time,
                          .escalated = TIME_NONE,
                          .times = times};
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(tell_change(&f.teller, &alarm, NOTICE_RAISED, "rillward", "raised", &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error), "%s", error.text);
}

static struct page_recipient month_of(const char *recipient)
{
    struct page_recipient ret;
    struct alarm *open;
    size_t n;
    cr_assert(store_alarms_open(f.store, f.arena, &open, &n, &error));
    cr_assert(figures_load_month(f.config, f.store, f.arena, recipient, open, n, -8 * HOUR_MS, &ret, &error), "%s",
              error.text);
    return ret;
}

static const char settings[] = "rules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk]}}\n";

Test(figures, a_month_of_one_recipient_stands_on_alarms_and_notices_alone)
{
    const int64_t day = hours_on(0); /* midnight UTC; there it is four in the afternoon */
    open_with(settings);
    struct page_recipient figures = month_of("desk");
    cr_expect(figures.raised == 0 && figures.newest == TIME_NONE && figures.active == 0 && figures.most_in_10_min == 0);
    tell_at(day - 31 * DAY_MS, 1); /* before the month that ends with the newest */
    tell_at(day - DAY_MS, 1);
    for (int k = 0; k < 4; k++)
        tell_at(day + 7 * HOUR_MS + k * 3 * MINUTE_MS, k == 3 ? 3 : 1);
    tell_at(day + 9 * HOUR_MS, 1); /* past midnight there */
    figures = month_of("desk");
    cr_expect_eq(figures.raised, 6);
    cr_expect_eq(figures.newest, day + 9 * HOUR_MS);
    cr_expect_eq(figures.on_busiest_day, 4);
    cr_expect_eq(figures.busiest_day, day - 16 * HOUR_MS, "midnight by the station's standard time");
    cr_expect_eq(figures.most_in_10_min, 4);
    cr_expect_eq(figures.chattering, 1);
    cr_expect_eq(figures.active, 7);
    cr_expect_eq(figures.active_since, day - 31 * DAY_MS);
    figures = month_of("on-call");
    cr_expect(figures.raised == 0 && figures.active == 0, "told of nothing");
}
