/* SPDX-License-Identifier: MIT */
#include "watch/folders.h"

#include "inbox.h"

#include <errno.h>
#include <sys/inotify.h>

static struct inbox inbox;
static struct folders *folders;
static int inotify;

static void setup(void)
{
    inbox_make(&inbox);
    inotify = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    folders = folders_new(inotify);
}

static void teardown(void)
{
    folders_free(folders);
    close(inotify);
    inbox_done(&inbox);
}

TestSuite(folders, .init = setup, .fini = teardown);

static struct folder *watch_path(const char *path, uint32_t generation)
{
    struct folder *folder = folders_touch(folders, path, generation);
    int fd = open(inbox_at(&inbox, path), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    cr_assert(folders_add_watch(folders, folder, fd));
    close(fd);
    return folder;
}

Test(folders, paths_are_built_from_names)
{
    struct folder *deep = folders_touch(folders, "a/bc/d", 1);
    char path[PATH_MAX];
    cr_assert(folders_print_path(deep, path));
    cr_expect_str_eq(path, "a/bc/d");
    cr_expect_eq(folders_find(folders, "a/bc/d"), deep);
    cr_expect_eq(folders_find(folders, "a/bc"), deep->parent);
    cr_expect_null(folders_find(folders, "a/b"));
    cr_assert(folders_print_path(folders_find(folders, ""), path));
    cr_expect_str_empty(path);
}

Test(folders, a_path_that_grew_too_long_is_not_printed)
{
    char name[201], path[PATH_MAX + 1000] = "";
    memset(name, 'n', 200);
    name[200] = '\0';
    for (int i = 0; i < 21; i++) {
        strcat(path, i > 0 ? "/" : "");
        strcat(path, name);
    }
    char printed[PATH_MAX];
    cr_expect_not(folders_print_path(folders_touch(folders, path, 1), printed));
}

Test(folders, a_folder_at_a_new_place_takes_its_watch_along)
{
    inbox_mkdir(&inbox, "old");
    struct folder *old = watch_path("old", 1);
    int wd = old->wd;
    inbox_rename(&inbox, "old", "new");
    struct folder *moved = watch_path("new", 1);
    cr_expect_eq(moved->wd, wd);
    cr_expect_eq(old->wd, -1);
    cr_expect_eq(folders_count_watched(folders), 1);
    folders_drop(folders, old);
    struct folder *owner;
    cr_expect_eq(folders_identify(folders, wd, &owner), OWNER_FOLDER);
    cr_expect_eq(owner, moved);
}

Test(folders, another_folder_under_the_same_name_gets_a_watch_of_its_own)
{
    inbox_mkdir(&inbox, "a");
    int first = watch_path("a", 1)->wd;
    inbox_rename(&inbox, "a", "../aside");
    inbox_mkdir(&inbox, "a");
    struct folder *folder = watch_path("a", 1), *owner;
    cr_expect_neq(folder->wd, first);
    cr_expect_eq(folders_identify(folders, first, &owner), OWNER_LEAVING);
    cr_expect_eq(folders_count_watched(folders), 1);
}

Test(folders, dropped_watches_are_leaving_until_the_kernel_agrees)
{
    inbox_mkdir(&inbox, "a");
    inbox_mkdir(&inbox, "a/b");
    int outer = watch_path("a", 1)->wd, inner = watch_path("a/b", 1)->wd;
    folders_drop(folders, folders_find(folders, "a"));
    cr_expect_null(folders_find(folders, "a"));
    cr_expect_eq(folders_count_watched(folders), 0);
    struct folder *owner;
    cr_expect_eq(folders_identify(folders, outer, &owner), OWNER_LEAVING);
    cr_expect_eq(folders_identify(folders, inner, &owner), OWNER_LEAVING);
    folders_forget_watch(folders, inner);
    cr_expect_eq(folders_identify(folders, inner, &owner), OWNER_UNKNOWN);
    folders_sweep(folders, 1);
    cr_expect_eq(folders_identify(folders, outer, &owner), OWNER_UNKNOWN);
}

Test(folders, a_sweep_drops_what_the_generation_did_not_see)
{
    char name[32];
    for (int i = 0; i < 500; i++) {
        snprintf(name, sizeof name, "%d/x", i);
        folders_touch(folders, name, 1);
    }
    for (int i = 0; i < 500; i += 3) {
        snprintf(name, sizeof name, "%d", i);
        folders_touch(folders, name, 2);
    }
    folders_touch(folders, "0/x", 2);
    folders_sweep(folders, 2);
    for (int i = 0; i < 500; i++) {
        snprintf(name, sizeof name, "%d", i);
        cr_expect_eq(folders_find(folders, name) != NULL, i % 3 == 0, "%d", i);
        strcat(name, "/x");
        cr_expect_eq(folders_find(folders, name) != NULL, i == 0, "%d", i);
    }
}

Test(folders, many_watches_are_found_by_number)
{
    enum { COUNT = 300 };
    int wds[COUNT];
    char name[16];
    for (int i = 0; i < COUNT; i++) {
        snprintf(name, sizeof name, "%d", i);
        inbox_mkdir(&inbox, name);
        wds[i] = watch_path(name, 1)->wd;
    }
    for (int i = 0; i < COUNT; i++) {
        struct folder *owner;
        snprintf(name, sizeof name, "%d", i);
        cr_expect_eq(folders_identify(folders, wds[i], &owner), OWNER_FOLDER);
        cr_expect_str_eq(owner->name, name);
    }
}

Test(folders, without_inotify_there_are_no_watches)
{
    struct folders *bare = folders_new(-1);
    cr_expect_not(folders_add_watch(bare, folders_touch(bare, "a", 1), 0));
    cr_expect_eq(errno, EBADF);
    folders_free(bare);
}
