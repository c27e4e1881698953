/* SPDX-License-Identifier: MIT */
#include "archive/history.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <string.h>

#define HEADING "what,number,arrived,sha256,original,path,month,revision,last,state,changes\n"
#define A64 "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"

static struct arena *arena;
static struct text text;
static struct error error;
static struct history history;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 65536);
    error = (struct error){0};
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(history, .init = start, .fini = finish);

static bool reads(const char *bytes)
{
    return history_read(bytes, strlen(bytes), arena, &history, &error);
}

Test(history, writes_one_line_for_each_drop_and_revision)
{
    struct history_drop drops[] = {{3, 1777682700250, A64, "originals/aaaa_a.csv", "crew 1/a,b.csv"}};
    struct history_revision revisions[] = {{1777682700000, 2026 * 12 + 4, 2, TIME_NONE, "2 rows came\n", RECORD_REVIEWED}};
    history_render(&(struct history){drops, 1, revisions, 1}, &text);
    cr_expect_str_eq(text.bytes,
                     HEADING "drop,3,2026-05-02T00:45:00.250Z," A64 ",originals/aaaa_a.csv,crew%201/a%2Cb.csv,,,,,\n"
                             "revision,,2026-05-02T00:45:00Z,,,,2026-05,2,-,reviewed,2%20rows%20came%0A\n");
}

Test(history, reads_back_what_it_wrote_with_any_bytes_in_a_path)
{
    const char *path = "n\xff\n\"=%/\xc3\xa9~.csv";
    struct history_drop drops[] = {{1, 5, A64, "originals/x", path}, {2, 1777682700250, A64, "originals/y", "y"}};
    struct history_revision revisions[] = {{9, 12 * 1999, 1, 946684799000, "New: file '\xc3\xa9,\"'\n", RECORD_PARTLY_REVIEWED}};
    history_render(&(struct history){drops, 2, revisions, 1}, &text);
    cr_assert(reads(text.bytes), "%s", error.text);
    cr_assert_eq(history.drop_count, 2);
    cr_expect_str_eq(history.drops[0].path, path);
    cr_expect_eq(history.drops[1].arrived, 1777682700250);
    cr_expect_str_eq(history.drops[1].original, "originals/y");
    cr_expect_str_eq(history.drops[1].sha256, A64);
    cr_assert_eq(history.revision_count, 1);
    cr_expect_eq(history.revisions[0].month, 12 * 1999);
    cr_expect_eq(history.revisions[0].last_time, 946684799000);
    cr_expect_str_eq(history.revisions[0].changes, "New: file '\xc3\xa9,\"'\n");
    cr_expect_eq(history.revisions[0].state, RECORD_PARTLY_REVIEWED);
}

Test(history, reads_what_was_written_before_revisions_told_what_they_changed)
{
    const char *const former = "what,number,arrived,sha256,original,path,month,revision,last\n"
                               "drop,3,2026-05-02T00:45:00Z," A64 ",originals/aaaa_a.csv,crew%201/a.csv,,,\n"
                               "revision,,2026-05-02T00:45:00Z,,,,2026-05,2,2026-05-01T12:00:00Z\n";
    cr_assert(reads(former), "%s", error.text);
    cr_assert_eq(history.drop_count, 1);
    cr_expect_str_eq(history.drops[0].path, "crew 1/a.csv");
    cr_assert_eq(history.revision_count, 1);
    cr_expect_eq(history.revisions[0].revision, 2);
    cr_expect_eq(history.revisions[0].last_time, 1777636800000);
    cr_expect_str_eq(history.revisions[0].changes, "");
    cr_expect_eq(history.revisions[0].state, RECORD_PROVISIONAL);
    cr_expect_not(reads("what,number,arrived,sha256,original,path,month,revision,last\n"
                        "revision,,2026-05-02T00:45:00Z,,,,2026-05,2,-,reviewed,\n"),
                  "the cells are those of the heading");
}

Test(history, refuses_what_it_does_not_write_and_names_the_line)
{
    const char *const wrong[] = {
        "drop,1,2026-05-02T00:45:00Z," A64 ",../x,a,,,,,",      /* leads out of the place's folder */
        "drop,1,2026-05-02T00:45:00Z," A64 ",originals/x,,,,,,",  /* no path */
        "drop,1,2026-05-02T00:45:00Z," A64 ",originals/x,%0,,,,,", /* half an escape */
        "drop,1,2026-05-02T00:45:00Z," A64 ",originals/x,%00,,,,,", /* a NUL */
        "drop,0,2026-05-02T00:45:00Z," A64 ",originals/x,a,,,,,", /* numbers begin at 1 */
        "drop,1,yesterday," A64 ",originals/x,a,,,,,",
        "drop,1,2026-05-02T00:45:00Z,abc,originals/x,a,,,,,",
        "drop,1,2026-05-02T00:45:00Z," A64 ",originals/x,a,,,,,,", /* a cell too many */
        "revision,,2026-05-02T00:45:00Z,,,,2026-13,1,-,provisional,",
        "revision,,2026-05-02T00:45:00Z,,,,2026-12,0,-,provisional,",
        "revision,,2026-05-02T00:45:00Z,,,,2026-12,1,-,finished,", /* no such state */
        "note,1,2026-05-02T00:45:00Z,,,,2026-12,1,-,provisional,",
    };
    for (size_t i = 0; i < COUNT_OF(wrong); i++) {
        text_clear(&text);
        text_printf(&text, HEADING "%s\n", wrong[i]);
        cr_assert_not(reads(text.bytes), "'%s'", wrong[i]);
        cr_expect(strstr(error.text, "line 2"), "%s", error.text);
        cr_expect_eq(error.kind, ERROR_INPUT);
    }
    cr_expect_not(reads(""));
    cr_expect_not(reads(HEADING "drop,1"));
}

Test(history, stands_beside_the_manifest)
{
    char path[ARCHIVE_PATH_SIZE];
    cr_expect_str_eq(archive_history_path(ARCHIVE_STATION, "heron-creek", path), "stations/heron-creek/history.csv");
    cr_expect_str_eq(archive_history_path(ARCHIVE_BAROMETER, "mast", path), "barometers/mast/history.csv");
    cr_expect_str_eq(archive_history_path(ARCHIVE_NETWORK, "", path), "network/history.csv");
}
