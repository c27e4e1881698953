/* SPDX-License-Identifier: MIT */
#include "inbox.h"

#include <sched.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>

static struct inbox inbox;

static void setup(void)
{
    inbox_make(&inbox);
}

static void teardown(void)
{
    inbox_done(&inbox);
}

TestSuite(watch, .init = setup, .fini = teardown);

Test(watch, the_first_scan_reports_what_lay_there_and_settled)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    cr_expect(!watch_is_idle(inbox.watch));
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect(watch_is_idle(inbox.watch));
    cr_expect_eq(inbox.last.size, 2);
    struct stat status;
    cr_assert_eq(stat(inbox_at(&inbox, "a.csv"), &status), 0);
    cr_expect_eq(inbox.last.inode, status.st_ino);
    cr_expect_eq(inbox.last.device, status.st_dev);
    cr_expect_eq(inbox.last.modified_ns, status.st_mtim.tv_sec * 1000000000 + status.st_mtim.tv_nsec);
    cr_expect_eq(inbox.last.changed_ns, status.st_ctim.tv_sec * 1000000000 + status.st_ctim.tv_nsec);
}

Test(watch, each_scan_reports_every_file_again)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    inbox_pump(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(watch_deadline(inbox.watch), inbox.monotonic + RESCAN_MS);
    inbox_pass(&inbox, RESCAN_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    watch_rescan(inbox.watch);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_eq(inbox_report(&inbox).scans, 3);
    cr_expect_eq(inbox_report(&inbox).files_seen, 1);
}

Test(watch, order_is_by_bytes_files_before_folders_depth_first)
{
    static const char *const folders[] = {"k", "k/m", "B", "k/c"};
    static const char *const files[] = {"z.csv", "\xC3\xA9.csv", "Z.csv", "k/2",  "k/10",
                                        "k/m/x", "B/y",          "k/c/x", "a.csv"};
    for (size_t i = 0; i < COUNT_OF(folders); i++)
        inbox_mkdir(&inbox, folders[i]);
    for (size_t i = 0; i < COUNT_OF(files); i++)
        inbox_write(&inbox, files[i], "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(
        &inbox,
        "ready Z.csv\nready a.csv\nready z.csv\nready \xC3\xA9.csv\nready B/y\nready k/10\nready k/2\n"
        "ready k/c/x\nready k/m/x\n");
}

Test(watch, names_are_bytes)
{
    inbox_write(&inbox, "creek\n\xFF\x1B.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "ready creek\n\xFF\x1B.csv\n");
    int fd = watch_open_file(inbox.watch, inbox.last.path, &inbox.error);
    cr_expect(fd >= 0);
    close(fd);
}

Test(watch, one_call_reads_one_folder_at_most)
{
    inbox_mkdir(&inbox, "1");
    inbox_mkdir(&inbox, "2");
    inbox_mkdir(&inbox, "3");
    inbox_open(&inbox);
    for (int i = 0; i < 4; i++) {
        cr_expect_eq(inbox_report(&inbox).folders_watched, (size_t)i);
        cr_expect_eq(watch_deadline(inbox.watch), 0);
        cr_expect(!watch_next(inbox.watch, inbox_wall(&inbox), inbox.monotonic, &inbox.last, &inbox.error));
    }
    cr_expect(watch_is_idle(inbox.watch));
    cr_expect_eq(inbox_report(&inbox).folders_watched, 4);
}

Test(watch, a_file_renamed_in_is_ready_at_once)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, ".a.csv.x1Y2z3", "1\n");
    EXPECT_SEEN(&inbox, "");
    inbox_rename(&inbox, ".a.csv.x1Y2z3", "a.csv");
    EXPECT_SEEN(&inbox, "renamed a.csv\n");
}

Test(watch, a_late_touch_does_not_undo_a_rename)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, "../a.csv", "1\n");
    inbox_rename(&inbox, "../a.csv", "a.csv");
    cr_assert_eq(chmod(inbox_at(&inbox, "a.csv"), 0600), 0);
    EXPECT_SEEN(&inbox, "renamed a.csv\n");
}

Test(watch, a_slow_write_waits_until_the_file_rests_and_is_closed)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    int fd = inbox_create(&inbox, "a.csv");
    EXPECT_SEEN(&inbox, "a.csv: empty\n");
    inbox_append(fd, "1\n");
    watch_rescan(inbox.watch);
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    cr_expect(inbox.last.ready_at > inbox_wall(&inbox));
    cr_expect_eq(watch_count_waiting(inbox.watch), 1);
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "a.csv: open by a writer\n");
    cr_expect_eq(inbox.last.ready_at, TIME_NONE);
    close(fd);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_eq(watch_count_waiting(inbox.watch), 0);
}

Test(watch, a_file_that_changed_since_the_last_look_settles_anew)
{
    inbox_open(&inbox);
    inbox_write(&inbox, "a.csv", "1\n");
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_write(&inbox, "a.csv", "2\n");
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS - 1);
    EXPECT_SEEN(&inbox, "");
    inbox_pass(&inbox, 1);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_eq(inbox.last.size, 4);
}

Test(watch, the_first_of_two_writers_to_close_proves_nothing)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    int first = inbox_create(&inbox, "a.csv"), second = inbox_create(&inbox, "a.csv");
    inbox_append(first, "1\n");
    inbox_append(second, "2\n");
    close(first);
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "a.csv: open by a writer\n");
    close(second);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
}

Test(watch, a_file_renamed_in_while_open_waits_like_any_other)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    int fd = inbox_create(&inbox, "a.csv.part");
    inbox_append(fd, "1\n");
    inbox_rename(&inbox, "a.csv.part", "a.csv");
    EXPECT_SEEN(&inbox, "a.csv: open by a writer\n");
    inbox_append(fd, "2\n");
    close(fd);
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
}

Test(watch, a_rename_counts_at_the_first_look_only)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    int fd = inbox_create(&inbox, "../outside");
    inbox_append(fd, "1\n");
    cr_assert_eq(link(inbox_at(&inbox, "../outside"), inbox_at(&inbox, "../a.csv")), 0);
    inbox_rename(&inbox, "../a.csv", "a.csv");
    EXPECT_SEEN(&inbox, "a.csv: open by a writer\n");
    inbox_append(fd, "2\n");
    close(fd); /* by its name outside: no event */
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
}

Test(watch, a_write_after_the_rename_takes_the_shortcut_away)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, "../a.csv", "1\n");
    inbox_rename(&inbox, "../a.csv", "a.csv");
    inbox_write(&inbox, "a.csv", "2\n");
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
}

Test(watch, a_hard_link_publishes_without_a_close)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, "a.csv.filepart", "1\n");
    EXPECT_SEEN(&inbox, "");
    cr_assert_eq(link(inbox_at(&inbox, "a.csv.filepart"), inbox_at(&inbox, "a.csv")), 0);
    cr_assert_eq(unlink(inbox_at(&inbox, "a.csv.filepart")), 0);
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
}

Test(watch, writes_through_a_link_outside_are_found_by_the_scan)
{
    inbox_write(&inbox, "../outside", "1\n");
    cr_assert_eq(link(inbox_at(&inbox, "../outside"), inbox_at(&inbox, "a.csv")), 0);
    inbox_open(&inbox);
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    inbox_write(&inbox, "../outside", "2\n");
    EXPECT_SEEN(&inbox, "");
    inbox_pass(&inbox, RESCAN_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_eq(inbox.last.size, 4);
}

Test(watch, a_deep_new_folder_with_a_file_at_once_loses_nothing)
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

Test(watch, a_folder_moved_in_is_read_with_all_below_it)
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

Test(watch, a_folder_moved_within_reports_under_its_new_name_only)
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

Test(watch, two_folders_that_change_places_are_both_read_again)
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

Test(watch, two_files_that_change_places_are_both_looked_at)
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

Test(watch, a_folder_moved_out_is_forgotten)
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

Test(watch, a_folder_made_again_under_its_old_name_is_watched_again)
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

Test(watch, a_deleted_file_is_not_looked_at_again)
{
    inbox_open(&inbox);
    inbox_pump(&inbox);
    inbox_write(&inbox, "a.csv", "1\n");
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    cr_assert_eq(unlink(inbox_at(&inbox, "a.csv")), 0);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(watch_count_waiting(inbox.watch), 0);
}

Test(watch, lost_events_make_a_scan)
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

Test(watch, an_inbox_that_is_not_there_yet_is_awaited)
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

Test(watch, an_inbox_removed_and_made_anew_is_missing_until_something_is_in_it)
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

Test(watch, an_empty_folder_in_the_place_of_the_inbox_empties_nothing)
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

Test(watch, an_inbox_that_was_emptied_is_just_empty)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_open(&inbox);
    inbox_pump(&inbox);
    cr_assert_eq(unlink(inbox_at(&inbox, "a.csv")), 0);
    watch_rescan(inbox.watch);
    EXPECT_SEEN(&inbox, "");
    cr_expect(!inbox_report(&inbox).inbox_missing);
}

Test(watch, links_and_special_files_are_counted_and_left_alone)
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

Test(watch, only_regular_files_inside_can_be_opened)
{
    inbox_mkdir(&inbox, "in");
    inbox_write(&inbox, "in/a.csv", "1\n");
    inbox_write(&inbox, "../secret.csv", "1\n");
    cr_assert_eq(symlink("../secret.csv", inbox_at(&inbox, "file.csv")), 0);
    cr_assert_eq(symlink("in", inbox_at(&inbox, "folder")), 0);
    cr_assert_eq(mkfifo(inbox_at(&inbox, "pipe.csv"), 0644), 0);
    inbox_open(&inbox);
    int fd = watch_open_file(inbox.watch, "in/a.csv", &inbox.error);
    cr_expect(fd >= 0);
    close(fd);
    static const struct {
        const char *path;
        enum error_kind kind;
    } refused[] = {
        {"file.csv", ERROR_INPUT},     {"folder/a.csv", ERROR_INPUT},  {"pipe.csv", ERROR_INPUT},
        {"in", ERROR_INPUT},           {"../secret.csv", ERROR_INPUT}, {"/etc/hostname", ERROR_INPUT},
        {"in/gone.csv", ERROR_SYSTEM}, {"in/..", ERROR_INPUT},
    };
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        struct error error = {.kind = ERROR_NONE};
        cr_expect_eq(watch_open_file(inbox.watch, refused[i].path, &error), -1, "%s", refused[i].path);
        cr_expect_eq(error.kind, refused[i].kind, "%s: %s", refused[i].path, error.text);
    }
}

Test(watch, ignored_names_are_counted_and_ignored_folders_not_entered)
{
    static const char *const patterns[] = {"*.jpg", "trash/**"};
    inbox_mkdir(&inbox, ".stversions");
    inbox_write(&inbox, ".stversions/a.csv", "1\n");
    inbox_mkdir(&inbox, "trash");
    inbox_write(&inbox, "trash/b.csv", "1\n");
    inbox_write(&inbox, "c.csv.part", "1\n");
    inbox_write(&inbox, "d.jpg", "1\n");
    inbox_write(&inbox, "e.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open_with(&inbox, patterns, COUNT_OF(patterns));
    EXPECT_SEEN(&inbox, "ready e.csv\n");
    cr_expect_eq(inbox_report(&inbox).ignored, 4);
    cr_expect_eq(inbox_report(&inbox).folders_watched, 2);
    inbox_write(&inbox, "trash/f.csv", "1\n");
    inbox_write(&inbox, "g.jpg", "1\n");
    EXPECT_SEEN(&inbox, "");
}

Test(watch, placeholders_and_empty_files_wait_for_a_change_without_a_timer)
{
    inbox_write(&inbox, "a.csv.nextcloud", "1");
    inbox_write(&inbox, "b.csv", "");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "a.csv.nextcloud: placeholder: the file is not downloaded\nb.csv: empty\n");
    cr_expect_eq(watch_count_waiting(inbox.watch), 0);
    cr_expect_eq(watch_deadline(inbox.watch), inbox.monotonic + RESCAN_MS);
    inbox_write(&inbox, "b.csv", "1\n");
    EXPECT_SEEN(&inbox, "ready b.csv\n");
}

Test(watch, a_touch_is_a_reason_to_look)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_open(&inbox);
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    const struct timespec times[2] = {{.tv_sec = 1000}, {.tv_sec = 1000}};
    cr_assert_eq(utimensat(AT_FDCWD, inbox_at(&inbox, "a.csv"), times, 0), 0);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_eq(inbox.last.modified_ns, 1000000000000);
}

Test(watch, the_wall_clock_may_jump_back)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox.added = -365 * DAY_MS;
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "a.csv: still changing\n");
    inbox_pass(&inbox, SETTLE_MS - 1);
    EXPECT_SEEN(&inbox, "");
    inbox_pass(&inbox, 1);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
}

Test(watch, looking_leaves_access_times_alone)
{
    inbox_write(&inbox, "a.csv", "1\n");
    const struct timespec times[2] = {{.tv_sec = 1000}, {.tv_sec = 2000}};
    cr_assert_eq(utimensat(AT_FDCWD, inbox_at(&inbox, "a.csv"), times, 0), 0);
    cr_assert_eq(utimensat(AT_FDCWD, inbox.root, times, 0), 0);
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    int fd = watch_open_file(inbox.watch, "a.csv", &inbox.error);
    char byte;
    cr_assert_eq(read(fd, &byte, 1), 1);
    close(fd);
    struct stat file, folder;
    cr_assert_eq(stat(inbox_at(&inbox, "a.csv"), &file), 0);
    cr_assert_eq(stat(inbox.root, &folder), 0);
    cr_expect_eq(file.st_atim.tv_sec, 1000);
    cr_expect_eq(folder.st_atim.tv_sec, 1000);
    cr_expect_eq(folder.st_mtim.tv_sec, 2000);
}

/* A user whom permissions bind, and who may write in the inbox. Leak checkers cannot attach to a process that
 * changed its user unless it says so. */
static bool become_nobody(void)
{
    enum { NOBODY = 65534 };
    if (chown(inbox.base, NOBODY, NOBODY) < 0 || chown(inbox.root, NOBODY, NOBODY) < 0 || seteuid(NOBODY) < 0)
        return false;
    prctl(PR_SET_DUMPABLE, 1);
    return true;
}

static void become_ourselves(void)
{
    cr_assert_eq(seteuid(getuid()), 0);
    prctl(PR_SET_DUMPABLE, 1);
}

Test(watch, folders_that_may_not_be_read_are_counted_and_tried_when_opened_up)
{
    if (geteuid() == 0 && !become_nobody())
        cr_skip_test("the super-user reads everything");
    inbox_mkdir(&inbox, "closed");
    inbox_write(&inbox, "closed/a.csv", "1\n");
    inbox_mkdir(&inbox, "listed");
    inbox_write(&inbox, "listed/b.csv", "1\n");
    chmod(inbox_at(&inbox, "closed"), 0);
    chmod(inbox_at(&inbox, "listed"), 0400);
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(inbox_report(&inbox).unreadable, 2);
    cr_expect_not_null(strstr(inbox_report(&inbox).note, "Permission denied"));
    chmod(inbox_at(&inbox, "closed"), 0700);
    chmod(inbox_at(&inbox, "listed"), 0700);
    EXPECT_SEEN(&inbox, "ready closed/a.csv\nready listed/b.csv\n");
    watch_rescan(inbox.watch);
    inbox_pump(&inbox);
    cr_expect_eq(inbox_report(&inbox).unreadable, 0);
    cr_expect_str_empty(inbox_report(&inbox).note);
    become_ourselves();
}

Test(watch, an_inbox_that_is_opened_up_is_read_again)
{
    inbox_write(&inbox, "a.csv", "1\n");
    if (geteuid() == 0 && !become_nobody())
        cr_skip_test("the super-user reads everything");
    chmod(inbox.root, 0400);
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    chmod(inbox.root, 0700);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    become_ourselves();
}

Test(watch, an_unreadable_file_is_reported_and_opening_it_tells_the_cure)
{
    inbox_write(&inbox, "a.csv", "1\n");
    chmod(inbox_at(&inbox, "a.csv"), 0600);
    if (geteuid() != 0 || !become_nobody())
        cr_skip_test("another user is needed");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_eq(watch_open_file(inbox.watch, "a.csv", &inbox.error), -1);
    cr_expect_eq(inbox.error.kind, ERROR_SYSTEM);
    cr_expect_not_null(strstr(inbox.error.text, "permission"));
    become_ourselves();
}

Test(watch, a_tree_deeper_than_any_sane_one_is_cut_off)
{
    char path[512] = "d";
    for (int depth = 1; depth < 140; depth++) {
        inbox_mkdir(&inbox, path);
        strcat(path, "/d");
    }
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(inbox_report(&inbox).unreadable, 1);
    cr_expect_eq(inbox_report(&inbox).folders_watched, 129);
    cr_expect_not_null(strstr(inbox_report(&inbox).note, "too deep"));
}

Test(watch, a_path_too_long_to_name_is_counted)
{
    char name[251];
    memset(name, 'n', 250);
    name[250] = '\0';
    int here = open(inbox.root, O_PATH | O_DIRECTORY | O_CLOEXEC), middle = -1;
    for (int depth = 0; depth < 17; depth++) {
        cr_assert_eq(mkdirat(here, name, 0755), 0);
        int next = openat(here, name, O_PATH | O_DIRECTORY | O_CLOEXEC);
        if (depth == 8)
            middle = here;
        else
            close(here);
        here = next;
    }
    close(here);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect_eq(inbox_report(&inbox).unreadable, 1);
    cr_expect_not_null(strstr(inbox_report(&inbox).note, "too long"));
    cr_expect_eq(renameat(middle, name, AT_FDCWD, inbox_at(&inbox, "../half")), 0); /* to remove it by name */
    close(middle);
}

Test(watch, more_waiting_files_than_can_be_kept_all_come_through)
{
    enum { FILES = 4200, KEPT = 4096 };
    static bool is_ready[FILES];
    inbox_open(&inbox);
    inbox_pump(&inbox);
    char name[16];
    for (int i = 0; i < FILES; i++) {
        snprintf(name, sizeof name, "%04d.csv", i);
        inbox_write(&inbox, name, "1\n");
    }
    inbox_pump(&inbox);
    cr_expect_eq(watch_count_waiting(inbox.watch), KEPT);
    cr_expect(watch_deadline(inbox.watch) <= inbox.monotonic + SETTLE_MS);
    inbox_pass(&inbox, SETTLE_MS);
    const char *seen = inbox_pump(&inbox);
    for (int number; sscanf(seen, "ready %d.csv", &number) == 1; seen = strchr(seen, '\n') + 1)
        is_ready[number] = true;
    for (int i = 0; i < FILES; i++)
        cr_expect(is_ready[i], "%d", i);
    cr_expect_eq(watch_count_waiting(inbox.watch), 0);
}

Test(watch, lack_of_descriptors_is_an_error_that_passes)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    struct rlimit limit;
    cr_assert_eq(getrlimit(RLIMIT_NOFILE, &limit), 0);
    const struct rlimit none = {.rlim_cur = 3, .rlim_max = limit.rlim_max};
    cr_assert_eq(setrlimit(RLIMIT_NOFILE, &none), 0);
    bool was_reported =
        watch_next(inbox.watch, inbox_wall(&inbox), inbox.monotonic, &inbox.last, &inbox.error);
    cr_assert_eq(setrlimit(RLIMIT_NOFILE, &limit), 0);
    cr_expect(!was_reported);
    cr_expect_eq(inbox.error.kind, ERROR_SYSTEM);
    cr_expect(!inbox_report(&inbox).inbox_missing);
    inbox.error.kind = ERROR_NONE;
    inbox_pass(&inbox, watch_deadline(inbox.watch) - inbox.monotonic);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
}

/* Run `scenario` in a process with limits of its own: a user namespace, which only a process of one thread
 * can make. The scenario returns 0, or which of its steps failed. */
enum { STEP_SKIPPED = 255 };

static bool write_text(const char *path, const char *text)
{
    int fd = open(path, O_WRONLY | O_CLOEXEC);
    bool is_written = fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text);
    if (fd >= 0)
        close(fd);
    return is_written;
}

static int run_with_limit(const char *limit, const char *value, int (*scenario)(void))
{
    char map[32];
    snprintf(map, sizeof map, "0 %u 1", (unsigned)geteuid());
    pid_t child = fork();
    if (child == 0) {
        bool is_limited =
            unshare(CLONE_NEWUSER) == 0 && write_text("/proc/self/uid_map", map) && write_text(limit, value);
        _exit(is_limited ? scenario() : STEP_SKIPPED);
    }
    int status;
    cr_assert_eq(waitpid(child, &status, 0), child);
    cr_assert(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static int scan_without_inotify(void)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    if (watch_fd(inbox.watch) != -1 || strcmp(inbox_pump(&inbox), "ready a.csv\n") != 0)
        return 1;
    if (!inbox_report(&inbox).scan_only || !strstr(inbox_report(&inbox).note, "inotify"))
        return 2;
    inbox_write(&inbox, "b.csv", "1\n");
    if (strcmp(inbox_pump(&inbox), "") != 0 || watch_deadline(inbox.watch) != inbox.monotonic + MINUTE_MS)
        return 3;
    inbox_pass(&inbox, SETTLE_MS);
    if (strcmp(inbox_pump(&inbox), "ready a.csv\nready b.csv\n") != 0)
        return 4;
    return watch_deadline(inbox.watch) == inbox.monotonic + MINUTE_MS ? 0 : 5;
}

Test(watch, without_inotify_scans_do_all_and_come_each_minute)
{
    int step = run_with_limit("/proc/sys/user/max_inotify_instances", "0", scan_without_inotify);
    if (step == STEP_SKIPPED)
        cr_skip_test("no user namespaces here");
    cr_expect_eq(step, 0, "step %d", step);
}

static int scan_beyond_the_limit(void)
{
    inbox_mkdir(&inbox, "1");
    inbox_mkdir(&inbox, "2");
    inbox_open(&inbox);
    if (strcmp(inbox_pump(&inbox), "") != 0 || inbox_report(&inbox).folders_watched != 2)
        return 1;
    if (!inbox_report(&inbox).watch_limit_reached || !strstr(inbox_report(&inbox).note, "max_user_watches"))
        return 2;
    inbox_write(&inbox, "2/a.csv", "1\n");
    if (strcmp(inbox_pump(&inbox), "") != 0)
        return 3;
    inbox_pass(&inbox, MINUTE_MS);
    if (strcmp(inbox_pump(&inbox), "2/a.csv: still changing\n") != 0 || rmdir(inbox_at(&inbox, "1")) < 0)
        return 4;
    inbox_pass(&inbox, MINUTE_MS);
    inbox_pump(&inbox);
    return inbox_report(&inbox).watch_limit_reached || inbox_report(&inbox).folders_watched != 2 ? 5 : 0;
}

Test(watch, folders_beyond_the_limit_of_watches_are_found_by_scans)
{
    int step = run_with_limit("/proc/sys/user/max_inotify_watches", "2", scan_beyond_the_limit);
    if (step == STEP_SKIPPED)
        cr_skip_test("no user namespaces here");
    cr_expect_eq(step, 0, "step %d", step);
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

Test(watch, no_history_loses_a_file_without_a_second_scan)
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

Test(watch, settings_out_of_range_are_refused)
{
    const struct watch_settings refused[] = {
        {.root = NULL, .settle_ms = 1, .rescan_ms = 1},
        {.root = "", .settle_ms = 1, .rescan_ms = 1},
        {.root = "/tmp", .settle_ms = -1, .rescan_ms = 1},
        {.root = "/tmp", .settle_ms = 1, .rescan_ms = 0},
    };
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        struct error error = {.kind = ERROR_NONE};
        cr_expect_null(watch_open(&refused[i], &error));
        cr_expect_eq(error.kind, ERROR_CONFIG);
    }
}
