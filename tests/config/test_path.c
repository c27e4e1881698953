/* SPDX-License-Identifier: MIT */
#include "config/path.h"

#include <criterion/criterion.h>

Test(path, relative_paths_are_joined_and_normalised)
{
    static const struct {
        const char *folder, *path, *wanted;
    } cases[] = {{"/etc/rillward", "inbox", "/etc/rillward/inbox"},
                 {"/etc/rillward", "./a/../b/", "/etc/rillward/b"},
                 {"/etc/rillward", "../../../../x", "/x"},
                 {"/etc", "/srv//a/./b//", "/srv/a/b"},
                 {"/etc", "..", "/"},
                 {"/", "a", "/a"},
                 {"/etc", "...", "/etc/..."},
                 {"/etc", "", "/etc"}};
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    for (size_t i = 0; i < COUNT_OF(cases); i++)
        cr_expect_str_eq(path_absolute(arena, cases[i].folder, cases[i].path), cases[i].wanted);
}

Test(path, the_folder_of_a_file_is_what_stands_before_the_name)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    cr_expect_str_eq(path_folder(arena, "a.yaml"), "");
    cr_expect_str_eq(path_folder(arena, "x/y/a.yaml"), "x/y/");
    cr_expect_str_eq(path_folder(arena, "/a.yaml"), "/");
}

Test(path, a_folder_holds_itself_and_what_is_below)
{
    cr_expect(path_is_inside("/a/b", "/a/b"));
    cr_expect(path_is_inside("/a/b/c", "/a/b"));
    cr_expect(path_is_inside("/a", "/"));
    cr_expect_not(path_is_inside("/a/bc", "/a/b"));
    cr_expect_not(path_is_inside("/a", "/a/b"));
}
