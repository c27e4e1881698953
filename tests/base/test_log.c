/* SPDX-License-Identifier: MIT */
#include "base/log.h"

#include <criterion/criterion.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

/* What the line came out as. Criterion's own output stays away from it. */
static char written[8192];

static void log_and_read(enum log_level level, const char *line)
{
    int to = memfd_create("log", MFD_CLOEXEC), kept = dup(STDERR_FILENO);
    cr_assert(to >= 0 && kept >= 0);
    dup2(to, STDERR_FILENO);
    log_line(level, "%s", line);
    dup2(kept, STDERR_FILENO);
    close(kept);
    ssize_t got = pread(to, written, sizeof written - 1, 0);
    close(to);
    cr_assert_geq(got, 0);
    written[got] = '\0';
}

Test(log, under_the_journal_a_line_begins_with_its_priority)
{
    setenv("JOURNAL_STREAM", "8:1", 1);
    log_and_read(LOG_LEVEL_ERROR, "database: disk full");
    cr_expect_str_eq(written, "<3>database: disk full\n");
    log_and_read(LOG_LEVEL_INFO, "started");
    cr_expect_str_eq(written, "<6>started\n");
}

Test(log, elsewhere_a_line_begins_with_the_time_and_how_bad_it_is)
{
    unsetenv("JOURNAL_STREAM");
    log_and_read(LOG_LEVEL_WARNING, "late");
    int year, month, day, hour, minute, second, used = 0;
    sscanf(written, "%4d-%2d-%2dT%2d:%2d:%2dZ warning: %n", &year, &month, &day, &hour, &minute, &second, &used);
    cr_assert_gt(used, 0, "%s", written);
    cr_expect_str_eq(written + used, "late\n");
    log_and_read(LOG_LEVEL_INFO, "started");
    cr_expect_null(strstr(written, "warning"));
    log_and_read(LOG_LEVEL_ERROR, "broken");
    cr_expect_not_null(strstr(written, "Z error: broken\n"), "%s", written);
}

Test(log, lines_above_the_level_are_dropped)
{
    setenv("JOURNAL_STREAM", "8:1", 1);
    log_and_read(LOG_LEVEL_DEBUG, "detail");
    cr_expect_str_eq(written, "");
    log_set_level(LOG_LEVEL_DEBUG);
    log_and_read(LOG_LEVEL_DEBUG, "detail");
    cr_expect_str_eq(written, "<7>detail\n");
    log_set_level(LOG_LEVEL_ERROR);
    log_and_read(LOG_LEVEL_WARNING, "warning");
    cr_expect_str_eq(written, "");
}

Test(log, a_name_from_outside_cannot_forge_a_line_or_move_the_cursor)
{
    setenv("JOURNAL_STREAM", "8:1", 1);
    log_and_read(LOG_LEVEL_INFO, "took 'a\n<3>forged\r\x1b[2J\xff.csv'");
    cr_expect_str_eq(written, "<6>took 'a\\x0A<3>forged\\x0D\\x1B[2J\\xFF.csv'\n");
    log_and_read(LOG_LEVEL_INFO, "\xE2\x80\xAE"
                                 "vsc.exe");
    cr_expect_str_eq(written, "<6>\\u{202E}vsc.exe\n");
}

Test(log, a_line_too_long_is_cut_and_still_ended_once)
{
    setenv("JOURNAL_STREAM", "8:1", 1);
    char line[5000];
    const char fill[] = {'x', '\x01'};
    for (size_t k = 0; k < sizeof fill; k++) {
        memset(line, fill[k], sizeof line - 1);
        line[sizeof line - 1] = '\0';
        log_and_read(LOG_LEVEL_INFO, line);
        size_t length = strlen(written);
        cr_expect(length > 2000 && length < 4200, "%zu", length);
        cr_expect_eq(strchr(written, '\n'), written + length - 1);
    }
}

Test(log, a_closed_log_does_not_stop_the_work)
{
    int kept = dup(STDERR_FILENO);
    close(STDERR_FILENO);
    log_error("nobody hears %d", 1);
    dup2(kept, STDERR_FILENO);
    log_and_read(LOG_LEVEL_ERROR, "again");
    cr_expect_not_null(strstr(written, "again\n"));
}

/* A journal of our own: its socket, and standard error as the stream that JOURNAL_STREAM names. */
static int open_journal(char *ret_path, size_t size)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    struct stat status;
    char stream[64], folder[] = "/tmp/rillward-journal-XXXXXX";
    cr_assert_not_null(mkdtemp(folder));
    snprintf(ret_path, size, "%s/socket", folder);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", ret_path);
    int heard = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    cr_assert_eq(bind(heard, (const struct sockaddr *)&address, sizeof address), 0);
    cr_assert_eq(fstat(STDERR_FILENO, &status), 0);
    snprintf(stream, sizeof stream, "%ju:%ju", (uintmax_t)status.st_dev, (uintmax_t)status.st_ino);
    setenv("JOURNAL_STREAM", stream, 1);
    log_open(ret_path);
    return heard;
}

static void close_journal(int heard, char *path)
{
    close(heard);
    unlink(path);
    *strrchr(path, '/') = '\0';
    rmdir(path);
}

Test(log, an_entry_reaches_the_journal_with_its_fields)
{
    char path[64], heard[4096];
    int journal = open_journal(path, sizeof path);
    log_entry(LOG_LEVEL_WARNING,
              LOG_FIELDS({"RILLWARD_DROP", "creek/a\nMESSAGE=forged"}, {"RILLWARD_EMPTY", ""}, {"RILLWARD_NONE", NULL},
                         {"RILLWARD_OUTCOME", "waiting"}),
              "'%s' waits", "creek/a\nMESSAGE=forged");
    ssize_t got = recv(journal, heard, sizeof heard, MSG_DONTWAIT);
    /* A value with line ends is told by its length (systemd's "Native Journal Protocol"): it cannot become a field. */
    static const char expected[] =
        "MESSAGE='creek/a\\x0AMESSAGE=forged' waits\nPRIORITY=4\nSYSLOG_IDENTIFIER=rillward\n"
        "RILLWARD_DROP\n\x16\0\0\0\0\0\0\0creek/a\nMESSAGE=forged\nRILLWARD_OUTCOME=waiting\n";
    cr_assert_eq((size_t)got, sizeof expected - 1, "%zd", got);
    cr_expect_arr_eq(heard, expected, sizeof expected - 1);
    close_journal(journal, path);
}

Test(log, a_journal_that_is_gone_leaves_the_line_to_standard_error)
{
    char path[64];
    int journal = open_journal(path, sizeof path);
    close_journal(journal, path);
    log_and_read(LOG_LEVEL_ERROR, "alone");
    cr_expect_str_eq(written, "<3>alone\n");
}

Test(log, output_that_was_sent_elsewhere_is_not_the_journals)
{
    char path[64], heard[64];
    int journal = open_journal(path, sizeof path);
    setenv("JOURNAL_STREAM", "8:1", 1);
    log_open(path);
    log_and_read(LOG_LEVEL_INFO, "here");
    cr_expect_str_eq(written, "<6>here\n");
    cr_expect_lt(recv(journal, heard, sizeof heard, MSG_DONTWAIT), 0);
    close_journal(journal, path);
}
