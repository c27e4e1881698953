/* SPDX-License-Identifier: MIT */
#include "watch/path.h"

#include <criterion/criterion.h>

struct sample {
    const char *path, *base, *folder;
    size_t depth;
};

static const struct sample samples[] = {
    {"", "", "", 0},
    {"a.csv", "a.csv", "", 1},
    {"sallow/a.csv", "a.csv", "sallow", 2},
    {"sallow/dawn creek/a.csv", "a.csv", "sallow/dawn creek", 3},
};

Test(path, parts_by_the_table)
{
    for (size_t i = 0; i < sizeof samples / sizeof samples[0]; i++) {
        char folder[PATH_MAX];
        cr_expect_str_eq(path_base(samples[i].path), samples[i].base);
        cr_expect_str_eq(path_parent(samples[i].path, folder), samples[i].folder);
        cr_expect_eq(path_depth(samples[i].path), samples[i].depth);
    }
}
