/* SPDX-License-Identifier: MIT */
#include "base/error.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <string.h>

static bool read_line(struct error *error)
{
    return fail(error, ERROR_INPUT, "column '%s' has no unit", "temp");
}

Test(error, a_failure_reads_from_the_outside_to_the_inside)
{
    struct error error = {0};
    cr_expect(!read_line(&error));
    cr_expect(!within(&error, "line %d", 14));
    cr_expect(!within(&error, "reading '%s'", "a.csv"));
    cr_expect_str_eq(error.text, "reading 'a.csv': line 14: column 'temp' has no unit");
    cr_expect_eq(error.kind, ERROR_INPUT);
}

Test(error, the_text_of_errno_is_that_of_the_call_before)
{
    struct error error = {0};
    errno = ENOSPC;
    cr_expect(!fail_errno(&error, ERROR_SYSTEM, "cannot write '%s'", "x"));
    cr_expect_str_eq(error.text, "cannot write 'x': No space left on device");
    cr_expect_eq(error.kind, ERROR_SYSTEM);
}

Test(error, a_caller_may_not_care)
{
    cr_expect(!fail(NULL, ERROR_INPUT, "nobody reads %d", 1));
    cr_expect(!fail_errno(NULL, ERROR_INPUT, "nobody reads %d", 1));
    cr_expect(!within(NULL, "nobody reads %d", 1));
}

Test(error, a_new_failure_replaces_the_one_before)
{
    struct error error = {0};
    fail(&error, ERROR_STORAGE, "the first, which is long");
    fail(&error, ERROR_CONFIG, "second");
    cr_expect_str_eq(error.text, "second");
    cr_expect_eq(error.kind, ERROR_CONFIG);
}

/* A text of `length` letters comes out whole, or with three points at its end. */
static void expect_cut(const struct error *error, size_t wanted, const char *what)
{
    size_t room = sizeof error->text - 1;
    cr_expect_eq(strlen(error->text), wanted < room ? wanted : room, "%s of %zu: %zu", what, wanted,
                 strlen(error->text));
    bool has_points = strcmp(error->text + strlen(error->text) - 3, "...") == 0;
    cr_expect_eq(has_points, wanted > room, "%s of %zu", what, wanted);
}

Test(error, a_long_story_is_cut_with_three_points)
{
    char letters[2100];
    memset(letters, 'x', sizeof letters);
    const size_t lengths[] = {1000, 1020, 1021, 1022, 1023, 1024, 1025, 2000};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++) {
        int length = (int)lengths[i];
        struct error error = {0};
        fail(&error, ERROR_INPUT, "%.*s", length, letters);
        expect_cut(&error, lengths[i], "fail");

        fail(&error, ERROR_INPUT, "inner");
        within(&error, "%.*s", length, letters);
        expect_cut(&error, lengths[i] + strlen(": inner"), "within");

        fail(&error, ERROR_INPUT, "%.*s", length < 1023 ? length : 1023, letters);
        within(&error, "outer");
        expect_cut(&error, strlen("outer: ") + (lengths[i] < 1023 ? lengths[i] : 1023), "within a long one");

        errno = EIO;
        fail_errno(&error, ERROR_SYSTEM, "%.*s", length, letters);
        expect_cut(&error, lengths[i] + 2 + strlen(strerror(EIO)), "fail_errno");
    }
}

Test(error, many_prefixes_keep_the_outermost)
{
    struct error error = {0};
    fail(&error, ERROR_INPUT, "inner");
    for (int i = 0; i < 500; i++)
        within(&error, "step %d", i);
    cr_expect(strncmp(error.text, "step 499: step 498: ", 20) == 0, "%s", error.text);
    cr_expect_eq(strlen(error.text), sizeof error.text - 1);
    cr_expect_eq(error.kind, ERROR_INPUT);
}
