/* SPDX-License-Identifier: MIT */
#include "service/held.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <stdio.h>

static struct held held;
static bool is_new;

static void finish(void)
{
    held_done(&held);
}

TestSuite(held, .fini = finish);

Test(held, the_pause_of_a_drop_grows_to_ten_minutes)
{
    int64_t pauses[] = {1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 600, 600};
    for (size_t k = 0; k < sizeof pauses / sizeof *pauses; k++) {
        cr_expect_eq(held_add(&held, "a", 1000000, &is_new), pauses[k] * SECOND_MS);
        cr_expect_eq(is_new, k == 0);
        int64_t until = 1000000 + pauses[k] * SECOND_MS;
        cr_expect_eq(held_until(&held, "a", until - 1), until);
        cr_expect_eq(held_until(&held, "a", until), 0);
    }
}

Test(held, others_do_not_wait_for_it)
{
    held_add(&held, "a", 0, &is_new);
    held_add(&held, "b", 0, &is_new);
    cr_expect(is_new);
    cr_expect_not(held_until(&held, "c", 0));
    held_remove(&held, "a");
    held_remove(&held, "never there");
    cr_expect_not(held_until(&held, "a", 0));
    cr_expect(held_until(&held, "b", 0));
    cr_expect_eq(held_add(&held, "a", 0, &is_new), SECOND_MS, "it begins anew");
}

Test(held, when_there_are_too_many_it_says_so)
{
    char path[16];
    for (int k = 0; k < HELD_MOST; k++) {
        snprintf(path, sizeof path, "%d", k);
        cr_assert_gt(held_add(&held, path, 0, &is_new), 0);
    }
    cr_expect_eq(held_add(&held, "one more", 0, &is_new), 0);
    cr_expect_eq(held_add(&held, "7", 0, &is_new), 2 * SECOND_MS, "who is known has room");
}
