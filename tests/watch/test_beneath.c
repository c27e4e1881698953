/* SPDX-License-Identifier: MIT */
#include "watch/beneath.h"

#include "inbox.h"

#include <errno.h>

static struct inbox inbox;
static int root;

static void setup(void)
{
    inbox_make(&inbox);
    inbox_mkdir(&inbox, "a");
    inbox_mkdir(&inbox, "a/b");
    inbox_write(&inbox, "a/b/c.csv", "1\n");
    cr_assert_eq(symlink("a", inbox_at(&inbox, "link")), 0);
    root = open(inbox.root, O_PATH | O_DIRECTORY | O_CLOEXEC);
}

static void teardown(void)
{
    close(root);
    inbox_done(&inbox);
}

TestSuite(beneath, .init = setup, .fini = teardown);

static int open_both_ways(const char *path)
{
    int fd = beneath_open_folder(root, path);
    int number = errno;
    int stepwise = beneath_open_stepwise(root, path[0] ? path : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    cr_expect_eq(fd >= 0, stepwise >= 0, "'%s': %s", path, strerror(errno));
    if (stepwise >= 0)
        close(stepwise);
    errno = number;
    return fd;
}

Test(beneath, folders_open_with_and_without_openat2)
{
    static const char *const paths[] = {"", "a", "a/b"};
    for (size_t i = 0; i < COUNT_OF(paths); i++) {
        int fd = open_both_ways(paths[i]);
        struct stat opened, named;
        cr_assert(fd >= 0, "%s", paths[i]);
        cr_assert_eq(fstat(fd, &opened), 0);
        cr_assert_eq(stat(inbox_at(&inbox, paths[i]), &named), 0);
        cr_expect_eq(opened.st_ino, named.st_ino);
        close(fd);
    }
}

Test(beneath, nothing_leads_out_or_through_a_link)
{
    static const char *const paths[] = {"..", "a/../..", "/", "/tmp", "link", "link/b", "a/b/c.csv", "gone"};
    for (size_t i = 0; i < COUNT_OF(paths); i++)
        cr_expect_eq(open_both_ways(paths[i]), -1, "%s", paths[i]);
}

Test(beneath, stepwise_opens_no_link_at_the_end)
{
    cr_assert_eq(symlink("c.csv", inbox_at(&inbox, "a/b/d.csv")), 0);
    int fd = beneath_open_stepwise(root, "a/b/c.csv", O_RDONLY | O_CLOEXEC);
    cr_expect(fd >= 0);
    close(fd);
    cr_expect_eq(beneath_open_stepwise(root, "a/b/d.csv", O_RDONLY | O_CLOEXEC), -1);
    cr_expect_eq(errno, ELOOP);
    cr_expect_eq(beneath_open_stepwise(root, "a//b", O_RDONLY | O_CLOEXEC), -1);
}

Test(beneath, a_lease_tells_of_writers_and_is_given_back)
{
    int folder = beneath_open_folder(root, "a/b");
    cr_expect_eq(beneath_probe_writer(folder, "c.csv"), WRITER_NONE);
    int fd = open(inbox_at(&inbox, "a/b/c.csv"), O_WRONLY | O_NONBLOCK | O_CLOEXEC);
    cr_assert(fd >= 0, "no lease is in the way");
    cr_expect_eq(beneath_probe_writer(folder, "c.csv"), WRITER_OPEN);
    close(fd);
    cr_expect_eq(beneath_probe_writer(folder, "c.csv"), WRITER_NONE);
    cr_expect_eq(beneath_probe_writer(folder, "gone.csv"), WRITER_UNKNOWN);
    close(folder);
}

Test(beneath, a_filesystem_of_this_machine_is_not_remote)
{
    int proc = open("/proc", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    cr_expect_not(beneath_is_remote(proc));
    close(proc);
}
