/* SPDX-License-Identifier: MIT */
#include "watch/scan.h"

#include "inbox.h"

static struct inbox inbox;
static struct scan *scan;
static const struct ignore_list nothing;

static void setup(void)
{
    inbox_make(&inbox);
    scan = scan_new();
}

static void teardown(void)
{
    scan_free(scan);
    inbox_done(&inbox);
}

TestSuite(scan, .init = setup, .fini = teardown);

static void enter(const char *path)
{
    struct listing listing;
    int fd = open(inbox_at(&inbox, path), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    listing_read(fd, path, &nothing, &listing);
    cr_expect_not(listing.is_torn);
    scan_enter(scan, path, fd, &listing);
}

static void expect_item(enum scan_item item, const char *expected)
{
    char path[PATH_MAX];
    int fd;
    const char *name;
    cr_assert_eq(scan_peek(scan), item, "%s", expected);
    scan_take(scan, path, &fd, &name);
    cr_expect_str_eq(path, expected);
    cr_expect_eq(fd >= 0, item == SCAN_FILE);
    if (item == SCAN_FILE)
        cr_expect_eq(faccessat(fd, name, F_OK, 0), 0);
}

Test(scan, walks_files_first_and_each_folder_to_its_end)
{
    inbox_mkdir(&inbox, "a");
    inbox_mkdir(&inbox, "a/deep");
    inbox_mkdir(&inbox, "b");
    inbox_write(&inbox, "z", "1");
    inbox_write(&inbox, "a/y", "1");
    inbox_write(&inbox, "a/deep/x", "1");
    cr_expect_eq(scan_peek(scan), SCAN_END);
    scan_start(scan, "");
    cr_expect(scan_is_running(scan));
    expect_item(SCAN_FOLDER, "");
    enter("");
    expect_item(SCAN_FILE, "z");
    expect_item(SCAN_FOLDER, "a");
    enter("a");
    expect_item(SCAN_FILE, "a/y");
    expect_item(SCAN_FOLDER, "a/deep");
    enter("a/deep");
    expect_item(SCAN_FILE, "a/deep/x");
    expect_item(SCAN_FOLDER, "b");
    cr_expect_eq(scan_peek(scan), SCAN_END);
    cr_expect_not(scan_is_running(scan));
}

Test(scan, can_be_stopped_and_started_anywhere)
{
    inbox_mkdir(&inbox, "a");
    inbox_write(&inbox, "a/y", "1");
    scan_start(scan, "");
    expect_item(SCAN_FOLDER, "");
    enter("");
    scan_stop(scan);
    cr_expect_not(scan_is_running(scan));
    scan_start(scan, "a");
    expect_item(SCAN_FOLDER, "a");
    enter("a");
    expect_item(SCAN_FILE, "a/y");
    scan_stop(scan);
    cr_expect_eq(scan_peek(scan), SCAN_END);
}

Test(scan, a_listing_sorts_and_counts)
{
    inbox_write(&inbox, "b", "1");
    inbox_write(&inbox, "\xFF", "1");
    inbox_write(&inbox, "B", "1");
    inbox_write(&inbox, "c.part", "1");
    inbox_mkdir(&inbox, "d");
    cr_assert_eq(symlink("b", inbox_at(&inbox, "e")), 0);
    struct listing listing;
    int fd = open(inbox.root, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    listing_read(fd, "", &nothing, &listing);
    close(fd);
    cr_assert_eq(listing.files.count, 3);
    cr_expect_str_eq(listing.files.names[0], "B");
    cr_expect_str_eq(listing.files.names[1], "b");
    cr_expect_str_eq(listing.files.names[2], "\xFF");
    cr_assert_eq(listing.folders.count, 1);
    cr_expect_eq(listing.ignored, 1);
    cr_expect_eq(listing.special, 1);
    listing_done(&listing);
}

Test(scan, what_is_no_folder_makes_a_torn_listing)
{
    inbox_write(&inbox, "b", "1");
    struct listing listing;
    int fd = open(inbox_at(&inbox, "b"), O_RDONLY | O_CLOEXEC);
    listing_read(fd, "b", &nothing, &listing);
    close(fd);
    cr_expect(listing.is_torn);
    listing_done(&listing);
}
