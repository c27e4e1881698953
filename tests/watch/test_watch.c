/* SPDX-License-Identifier: MIT */
#include "inbox.h"

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

Test(watch, a_file_that_was_ready_is_reported_again_when_asked_for)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_open(&inbox);
    inbox_pass(&inbox, SETTLE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    watch_look_again(inbox.watch, &inbox.last, inbox.monotonic + MINUTE_MS);
    cr_expect_eq(watch_deadline(inbox.watch), inbox.monotonic + MINUTE_MS);
    EXPECT_SEEN(&inbox, "");
    inbox_pass(&inbox, MINUTE_MS);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    inbox_pass(&inbox, MINUTE_MS);
    EXPECT_SEEN(&inbox, "");
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
