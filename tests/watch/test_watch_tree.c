/* SPDX-License-Identifier: MIT */
/* Folders that come, move and go, the inbox itself among them. */
#include "inbox.h"

#include <sys/socket.h>
#include <sys/un.h>

static struct inbox inbox;

static void setup(void)
{
    inbox_make(&inbox);
}

static void teardown(void)
{
    inbox_done(&inbox);
}

TestSuite(watch_tree, .init = setup, .fini = teardown);

Test(watch_tree, a_deep_new_folder_with_a_file_at_once_loses_nothing)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_mkdir(&inbox, "a");
    inbox_mkdir(&inbox, "a/b");
    inbox_mkdir(&inbox, "a/b/c");
    inbox_mkdir(&inbox, "a/b/c/d");
    inbox_write(&inbox, "a/b/c/d/f.csv", "1\n");
    EXPECT_SEEN(&inbox, "a/b/c/d/f.csv: still changing\n");
    cr_expect_eq(inbox_report(&inbox).folders_watched, 5);
    inbox_write(&inbox, "../g.csv", "1\n");
    inbox_rename(&inbox, "../g.csv", "a/b/c/d/g.csv");
    EXPECT_SEEN(&inbox, "renamed a/b/c/d/g.csv\n");
    cr_expect_eq(inbox_report(&inbox).scans, 1);
}

Test(watch_tree, a_folder_moved_in_is_read_with_all_below_it)
{
    inbox_mkdir(&inbox, "../out");
    inbox_mkdir(&inbox, "../out/deep");
    inbox_write(&inbox, "../out/deep/a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_rename(&inbox, "../out", "in");
    EXPECT_SEEN(&inbox, "ready in/deep/a.csv\n");
    inbox_write(&inbox, "../b.csv", "1\n");
    inbox_rename(&inbox, "../b.csv", "in/deep/b.csv");
    EXPECT_SEEN(&inbox, "renamed in/deep/b.csv\n");
}

Test(watch_tree, a_folder_moved_within_reports_under_its_new_name_only)
{
    inbox_mkdir(&inbox, "old");
    inbox_mkdir(&inbox, "old/deep");
    inbox_mkdir(&inbox, "new");
    inbox_write(&inbox, "old/deep/a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "ready old/deep/a.csv\n");
    inbox_rename(&inbox, "old", "new/place");
    EXPECT_SEEN(&inbox, "ready new/place/deep/a.csv\n");
    cr_expect_eq(inbox_report(&inbox).folders_watched, 4);
    inbox_write(&inbox, "../b.csv", "1\n");
    inbox_rename(&inbox, "../b.csv", "new/place/deep/b.csv");
    EXPECT_SEEN(&inbox, "renamed new/place/deep/b.csv\n");
    cr_expect_eq(inbox_report(&inbox).scans, 1);
}

Test(watch_tree, two_folders_that_change_places_are_both_read_again)
{
    inbox_mkdir(&inbox, "x");
    inbox_mkdir(&inbox, "y");
    inbox_write(&inbox, "x/a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "ready x/a.csv\n");
    cr_assert_eq(renameat2(AT_FDCWD, inbox_at(&inbox, "x"), AT_FDCWD, inbox_at(&inbox, "y"), RENAME_EXCHANGE),
                 0);
    EXPECT_SEEN(&inbox, "ready y/a.csv\n");
    inbox_write(&inbox, "x/b.csv", "1\n");
    EXPECT_SEEN(&inbox, "ready x/b.csv\n");
}

Test(watch_tree, two_files_that_change_places_are_both_looked_at)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_write(&inbox, "b.csv", "22\n");
    inbox_open(&inbox);
    inbox_pump(&inbox);
    cr_assert_eq(
        renameat2(AT_FDCWD, inbox_at(&inbox, "a.csv"), AT_FDCWD, inbox_at(&inbox, "b.csv"), RENAME_EXCHANGE),
        0);
    EXPECT_SEEN(&inbox, "renamed a.csv\nrenamed b.csv\n");
}

Test(watch_tree, a_folder_moved_out_is_forgotten)
{
    inbox_mkdir(&inbox, "in");
    inbox_mkdir(&inbox, "in/deep");
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_rename(&inbox, "in", "../out");
    inbox_write(&inbox, "../out/deep/a.csv", "1\n");
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(inbox_report(&inbox).folders_watched, 1);
    inbox_write(&inbox, "../out/deep/b.csv", "1\n");
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(inbox_report(&inbox).scans, 1);
}

Test(watch_tree, a_folder_made_again_under_its_old_name_is_watched_again)
{
    inbox_mkdir(&inbox, "in");
    inbox_open(&inbox);
    inbox_pump(&inbox);
    cr_assert_eq(rmdir(inbox_at(&inbox, "in")), 0);
    inbox_mkdir(&inbox, "in");
    inbox_pump(&inbox);
    inbox_write(&inbox, "in/a.csv", "1\n");
    EXPECT_SEEN(&inbox, "in/a.csv: still changing\n");
    cr_expect_eq(inbox_report(&inbox).folders_watched, 2);
}

Test(watch_tree, a_deleted_file_is_not_looked_at_again)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, "a.csv", "1\n");
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    cr_assert_eq(unlink(inbox_at(&inbox, "a.csv")), 0);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(watch_count_waiting(inbox.watch), 0);
}

Test(watch_tree, lost_events_make_a_scan)
{
    FILE *limit = fopen("/proc/sys/fs/inotify/max_queued_events", "re");
    int queued = 0;
    if (!limit || fscanf(limit, "%d", &queued) != 1 || queued > 100000)
        cr_skip_test("the event queue cannot be filled here");
    fclose(limit);
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, "noise", "1\n");
    for (int i = 0; i <= queued / 4; i++) {
        inbox_rename(&inbox, "noise", "noise2");
        inbox_rename(&inbox, "noise2", "noise");
    }
    inbox_mkdir(&inbox, "late");
    inbox_write(&inbox, "late/a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    const char *seen = inbox_pump(&inbox);
    cr_expect_not_null(strstr(seen, "ready late/a.csv\n"));
    cr_expect_eq(inbox_report(&inbox).overflows, 1);
    cr_expect_eq(inbox_report(&inbox).scans, 2);
    inbox_write(&inbox, "late/b.csv", "1\n");
    EXPECT_SEEN(&inbox, "ready late/b.csv\n");
}

Test(watch_tree, an_inbox_that_is_not_there_yet_is_awaited)
{
    cr_assert_eq(rmdir(inbox.root), 0);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect(inbox_report(&inbox).inbox_missing);
    cr_expect_not_null(strstr(inbox_report(&inbox).note, inbox.root));
    cr_expect_eq(inbox_report(&inbox).scans, 0);
    inbox_mkdir(&inbox, "");
    inbox_pass(&inbox, watch_deadline(inbox.watch) - inbox.monotonic);
    EXPECT_SEEN(&inbox, "");
    cr_expect(!inbox_report(&inbox).inbox_missing);
    inbox_write(&inbox, "a.csv", "1\n");
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
}

Test(watch_tree, an_inbox_removed_and_made_anew_is_missing_until_something_is_in_it)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_open(&inbox);
    inbox_pass(&inbox, SETTLE_MS);
    inbox_pump(&inbox);
    inbox_remove_tree(inbox.root);
    EXPECT_SEEN(&inbox, "");
    cr_expect(inbox_report(&inbox).inbox_missing);
    cr_expect_eq(inbox_report(&inbox).folders_watched, 0);
    cr_expect_eq(inbox_report(&inbox).files_seen, 1);

    inbox_mkdir(&inbox, "");
    inbox_mkdir(&inbox, ".hidden");
    inbox_pass(&inbox, MINUTE_MS); /* the new folder is looked for by the clock, and then watched */
    EXPECT_SEEN(&inbox, "");
    cr_expect(inbox_report(&inbox).inbox_missing);

    inbox_write(&inbox, "b.csv", "1\n");
    cr_expect_not_null(strstr(inbox_pump(&inbox), "ready b.csv\n"));
    cr_expect(!inbox_report(&inbox).inbox_missing);
    cr_expect_str_empty(inbox_report(&inbox).note);
}

Test(watch_tree, an_empty_folder_in_the_place_of_the_inbox_empties_nothing)
{
    inbox_mkdir(&inbox, "in");
    inbox_write(&inbox, "in/a.csv", "1\n");
    inbox_open(&inbox);
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready in/a.csv\n");
    inbox_rename(&inbox, "", "../aside");
    inbox_mkdir(&inbox, "");
    EXPECT_SEEN(&inbox, "");
    cr_expect(inbox_report(&inbox).inbox_missing);
    cr_expect_not_null(strstr(inbox_report(&inbox).note, "mounted"));

    cr_assert_eq(rmdir(inbox.root), 0);
    inbox_rename(&inbox, "../aside", "");
    inbox_pass(&inbox, MINUTE_MS);
    EXPECT_SEEN(&inbox, "ready in/a.csv\n");
    cr_expect(!inbox_report(&inbox).inbox_missing);
    inbox_write(&inbox, "in/b.csv", "1\n");
    EXPECT_SEEN(&inbox, "ready in/b.csv\n");
}

Test(watch_tree, an_inbox_that_was_emptied_is_just_empty)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_open(&inbox);
    inbox_pump(&inbox);
    cr_assert_eq(unlink(inbox_at(&inbox, "a.csv")), 0);
    watch_rescan(inbox.watch);
    EXPECT_SEEN(&inbox, "");
    cr_expect(!inbox_report(&inbox).inbox_missing);
}

Test(watch_tree, links_and_special_files_are_counted_and_left_alone)
{
    inbox_mkdir(&inbox, "../outside");
    inbox_write(&inbox, "../outside/secret.csv", "1\n");
    cr_assert_eq(symlink("../outside/secret.csv", inbox_at(&inbox, "file.csv")), 0);
    cr_assert_eq(symlink("../outside", inbox_at(&inbox, "folder")), 0);
    cr_assert_eq(mkfifo(inbox_at(&inbox, "pipe.csv"), 0644), 0);
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    snprintf(address.sun_path, sizeof address.sun_path, "%s/s.csv", inbox.root);
    int server = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    cr_assert_eq(bind(server, (const void *)&address, sizeof address), 0);
    close(server);
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(inbox_report(&inbox).special, 4);
    cr_expect_eq(inbox_report(&inbox).files_seen, 0);
    cr_assert_eq(symlink("../outside/secret.csv", inbox_at(&inbox, "late.csv")), 0);
    EXPECT_SEEN(&inbox, "");
}

/* A history of the inbox by chance: files written, renamed, exchanged and deleted, folders made, moved and
 * removed, with looks in between that stop half-way. What fails on the way (a name that is not there) is part
 * of it. */
enum { NAMES = 5 };

static uint32_t chance(uint64_t *state, uint32_t below)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (uint32_t)(*state >> 33) % below;
}

static void choose_path(uint64_t *state, char letter, char *ret)
{
    char *end = ret;
    for (uint32_t depth = chance(state, 4); depth > 0; depth--)
        end += sprintf(end, "d%u/", (unsigned)chance(state, NAMES));
    sprintf(end, "%c%u", letter, (unsigned)chance(state, NAMES));
}

static void change_something(uint64_t *state)
{
    char from[64], to[64];
    uint32_t kind = chance(state, 8);
    char letter = kind < 4 ? 'f' : 'd';
    choose_path(state, letter, from);
    choose_path(state, letter, to);
    if (kind < 2) {
        int fd = open(inbox_at(&inbox, from), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
        if (fd >= 0)
            inbox_append(fd, "1\n");
        close(fd);
    } else if (kind == 2 || kind == 4) {
        rename(inbox_at(&inbox, from), inbox_at(&inbox, to));
    } else if (kind == 3 || kind == 5) {
        renameat2(AT_FDCWD, inbox_at(&inbox, from), AT_FDCWD, inbox_at(&inbox, to), RENAME_EXCHANGE);
    } else if (kind < 7) {
        mkdir(inbox_at(&inbox, from), 0755);
    } else {
        remove(inbox_at(&inbox, from));
    }
}

/* The last ready reports, by path. */
static struct {
    char path[256];
    int64_t changed_ns;
} reports[4000];
static size_t report_count;

static void look_a_little(uint32_t calls)
{
    struct candidate *last = &inbox.last;
    watch_receive(inbox.watch, inbox.monotonic);
    for (; calls > 0; calls--) {
        if (!watch_next(inbox.watch, inbox_wall(&inbox), inbox.monotonic, last, &inbox.error))
            continue;
        size_t i = 0;
        while (i < report_count && strcmp(reports[i].path, last->path) != 0)
            i++;
        cr_assert(i < COUNT_OF(reports));
        report_count += i == report_count;
        cr_assert(strlen(last->path) < sizeof reports[i].path);
        strcpy(reports[i].path, last->path);
        reports[i].changed_ns = last->state == CANDIDATE_READY ? last->changed_ns : 0;
    }
}

static int expect_reported(const char *path, const struct stat *status, int kind, struct FTW *place)
{
    (void)place;
    size_t i = 0;
    const char *relative = path + strlen(inbox.root) + 1;
    while (kind == FTW_F && i < report_count && strcmp(reports[i].path, relative) != 0)
        i++;
    if (kind == FTW_F)
        cr_expect(i < report_count &&
                      reports[i].changed_ns == status->st_ctim.tv_sec * 1000000000 + status->st_ctim.tv_nsec,
                  "%s", path);
    return 0;
}

Test(watch_tree, no_history_loses_a_file_without_a_second_scan)
{
    inbox_open(&inbox);
    uint64_t state = 20260301;
    for (int round = 0; round < 40; round++) {
        for (int i = 0; i < 150; i++) {
            change_something(&state);
            look_a_little(chance(&state, 4));
        }
        for (int settled = 0; settled < 2; settled++) { /* what changed since the last look settles anew */
            inbox_pass(&inbox, SETTLE_MS);
            while (watch_deadline(inbox.watch) <= inbox.monotonic)
                look_a_little(10);
        }
        nftw(inbox.root, expect_reported, 16, FTW_PHYS);
    }
    cr_expect_eq(inbox_report(&inbox).scans, 1);
}
