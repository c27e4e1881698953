/* SPDX-License-Identifier: MIT */
#include "service/try_recipient.h"

#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct fixture f;

static void set_up(void)
{
    f = fixture_open("");
}

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(try_recipient, .init = set_up, .fini = tear_down);

Test(try_recipient, says_that_nobody_sends_where_no_service_runs)
{
    char *ids[] = {"desk", "on-call"};
    struct text text;
    struct error error = {0};
    bool needs_hand = false;
    text_init(&text, 4096);
    cr_assert(try_recipients(f.config, f.store, ids, 2, hours_on(1), 0, &text, &needs_hand, &error), "%s", error.text);
    cr_expect(needs_hand);
    cr_expect(strstr(text.bytes, "desk: waits: no service has sent it yet"), "%s", text.bytes);
    cr_expect(strstr(text.bytes, "on-call: waits:"), "%s", text.bytes);
    struct notice *due;
    size_t n;
    cr_assert(store_notices_due(f.store, hours_on(1), 10, f.arena, &due, &n, &error));
    cr_assert_eq(n, 2);
    cr_expect(due[0].event == NOTICE_TEST && due[1].event == NOTICE_TEST);
    text_done(&text);
}

Test(try_recipient, knows_who_is_there)
{
    char *ids[] = {"desk", "nobody"};
    struct text text;
    struct error error = {0};
    bool needs_hand = false;
    text_init(&text, 4096);
    cr_expect_not(try_recipients(f.config, f.store, ids, 2, hours_on(1), 0, &text, &needs_hand, &error));
    cr_expect(strstr(error.text, "'nobody' is no recipient"), "%s", error.text);
    cr_expect_not(try_recipients(f.config, f.store, ids, 0, hours_on(1), 0, &text, &needs_hand, &error));
    struct notice *due;
    size_t n;
    cr_assert(store_notices_due(f.store, hours_on(1), 10, f.arena, &due, &n, &error));
    cr_expect_eq(n, 0, "nobody was told");
    text_done(&text);
}
