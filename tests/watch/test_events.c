/* SPDX-License-Identifier: MIT */
#include "watch/events.h"

#include "inbox.h"

#include <sys/inotify.h>

static struct inbox inbox;
static struct events events;
static const struct ignore_list nothing;
static char path[PATH_MAX];
static struct sighting sighting;

static void watch_path(const char *folder)
{
    int fd = open(inbox_at(&inbox, folder), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    cr_assert(folders_add_watch(events.folders, folders_touch(events.folders, folder, 1), fd));
    close(fd);
}

static void setup(void)
{
    inbox_make(&inbox);
    int inotify = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    events = (struct events){
        .inotify = inotify,
        .folders = folders_new(inotify),
        .hints = hints_new(),
        .ignore = &nothing,
    };
    watch_path("");
}

static void teardown(void)
{
    folders_free(events.folders);
    hints_free(events.hints);
    close(events.inotify);
    inbox_done(&inbox);
}

TestSuite(events, .init = setup, .fini = teardown);

Test(events, many_events_of_one_file_are_one_hint)
{
    inbox_write(&inbox, "a.csv", "1\n");
    inbox_write(&inbox, "a.csv", "2\n");
    cr_expect_gt(events_receive(&events, 7).count, 1);
    cr_expect(hints_take_file(events.hints, 7, path, &sighting));
    cr_expect_str_eq(path, "a.csv");
    cr_expect_not(hints_take_file(events.hints, 7, path, &sighting));
    cr_expect_eq(events_receive(&events, 8).count, 0);
}

Test(events, temporary_names_are_no_hints)
{
    inbox_write(&inbox, "a.csv.part", "1\n");
    inbox_mkdir(&inbox, ".stfolder");
    events_receive(&events, 7);
    cr_expect_not(hints_are_pending(events.hints));
}

Test(events, events_of_a_watch_that_is_not_ours_want_a_scan)
{
    inbox_mkdir(&inbox, "../other");
    cr_assert(inotify_add_watch(events.inotify, inbox_at(&inbox, "../other"), IN_CREATE) >= 0);
    inbox_write(&inbox, "../other/a.csv", "1\n");
    events_receive(&events, 7);
    cr_expect(hints_take_scan(events.hints));
}

Test(events, events_of_a_leaving_watch_want_nothing)
{
    inbox_mkdir(&inbox, "in");
    watch_path("in");
    inbox_rename(&inbox, "in", "../out");
    inbox_write(&inbox, "../out/a.csv", "1\n");
    hints_take_folder(events.hints, path);
    events_receive(&events, 7);
    cr_expect_null(folders_find(events.folders, "in"));
    cr_expect_not(hints_are_pending(events.hints));
    events_receive(&events, 8);
    cr_expect_not(hints_are_pending(events.hints));
    cr_expect_eq(folders_count_watched(events.folders), 1);
}

Test(events, a_new_folder_is_read_unless_a_scan_was_there_before)
{
    inbox_mkdir(&inbox, "new");
    inbox_mkdir(&inbox, "known");
    watch_path("known");
    events_receive(&events, 7);
    cr_expect(hints_take_folder(events.hints, path));
    cr_expect_str_eq(path, "new");
    cr_expect_not(hints_take_folder(events.hints, path));
}

Test(events, the_end_of_the_inbox_wants_a_scan)
{
    inbox_remove_tree(inbox.root);
    events_receive(&events, 7);
    cr_expect(hints_take_scan(events.hints));
    cr_expect_eq(folders_count_watched(events.folders), 0);
}

Test(events, the_inbox_renamed_wants_a_scan)
{
    cr_assert_eq(rename(inbox.root, inbox_at(&inbox, "../elsewhere")), 0);
    events_receive(&events, 7);
    cr_expect(hints_take_scan(events.hints));
}
