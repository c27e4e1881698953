/* SPDX-License-Identifier: MIT */
/* What happens where permissions, paths, descriptors, watches and memory end. */
#include "inbox.h"

#include <sched.h>
#include <sys/prctl.h>
#include <sys/resource.h>
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

TestSuite(watch_limits, .init = setup, .fini = teardown);

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

Test(watch_limits, folders_that_may_not_be_read_are_counted_and_tried_when_opened_up)
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

Test(watch_limits, an_inbox_that_may_not_be_entered_is_missing_until_it_is_opened_up)
{
    inbox_write(&inbox, "a.csv", "1\n");
    if (geteuid() == 0 && !become_nobody())
        cr_skip_test("the super-user reads everything");
    chmod(inbox.root, 0400);
    inbox_pass(&inbox, SETTLE_MS);
    inbox_open(&inbox);
    EXPECT_SEEN(&inbox, "");
    cr_expect(inbox_report(&inbox).inbox_missing);
    cr_expect_not_null(strstr(inbox_report(&inbox).note, "Permission denied"));
    chmod(inbox.root, 0700);
    inbox_pass(&inbox, watch_deadline(inbox.watch) - inbox.monotonic);
    EXPECT_SEEN(&inbox, "ready a.csv\n");
    cr_expect_not(inbox_report(&inbox).inbox_missing);
    become_ourselves();
}

Test(watch_limits, an_unreadable_file_is_reported_and_opening_it_tells_the_cure)
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

Test(watch_limits, a_tree_deeper_than_any_sane_one_is_cut_off)
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

Test(watch_limits, a_path_too_long_to_name_is_counted)
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

Test(watch_limits, more_waiting_files_than_can_be_kept_all_come_through)
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

Test(watch_limits, lack_of_descriptors_is_an_error_that_passes)
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

Test(watch_limits, without_inotify_scans_do_all_and_come_each_minute)
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

Test(watch_limits, folders_beyond_the_limit_of_watches_are_found_by_scans)
{
    int step = run_with_limit("/proc/sys/user/max_inotify_watches", "2", scan_beyond_the_limit);
    if (step == STEP_SKIPPED)
        cr_skip_test("no user namespaces here");
    cr_expect_eq(step, 0, "step %d", step);
}
