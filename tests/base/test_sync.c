/* SPDX-License-Identifier: MIT */
#include "base/sync.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <unistd.h>

static int open_new_file(void)
{
    char path[] = "/tmp/rillward-sync-XXXXXX";
    int fd = mkstemp(path);
    cr_assert(fd >= 0);
    unlink(path);
    return fd;
}

Test(sync, as_many_as_there_may_be_are_synced)
{
    int fds[SYNC_MOST];
    for (size_t i = 0; i < SYNC_MOST; i++)
        fds[i] = open_new_file();
    for (size_t n = 0; n <= SYNC_MOST; n++)
        cr_expect_eq(sync_descriptors(fds, n), 0);
    for (size_t i = 0; i < SYNC_MOST; i++)
        close(fds[i]);
}

/* A pipe cannot be synced (fsync(2): EINVAL). */
Test(sync, one_that_fails_is_told_wherever_it_stands)
{
    int ends[2];
    cr_assert_eq(pipe(ends), 0);
    for (size_t bad = 0; bad < 3; bad++) {
        int fds[3];
        for (size_t i = 0; i < 3; i++)
            fds[i] = i == bad ? ends[0] : open_new_file();
        cr_expect_eq(sync_descriptors(fds, 3), EINVAL, "at %zu", bad);
        for (size_t i = 0; i < 3; i++)
            if (i != bad)
                close(fds[i]);
    }
    close(ends[0]);
    close(ends[1]);
}
