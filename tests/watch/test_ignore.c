/* SPDX-License-Identifier: MIT */
#include "watch/ignore.h"

#include "base/memory.h"

#include <criterion/criterion.h>

static const char *const noise[] = {
    ".a.csv.eR96JC",
    ".~tmp~",
    "sallow/.~tmp~",
    "a.csv.1f2e3d4c.partial",
    ".syncthing.a.csv.tmp",
    "~syncthing~a.csv.tmp",
    ".a.csv.~1f2e",
    "a.csv.~1f2e",
    "a.csv.filepart",
    "a.csv.part",
    "a.csv.crdownload",
    "a.csv~",
    "a.csv.sbak",
    ".unison.a.csv.0123.unison.tmp",
    "a.tmp",
    "A.TMP",
    ".a.csv.swp",
    "a.csv.swp",
    "~$notes.xlsx",
    ".~lock.notes.ods#",
    "._a.csv",
    ".DS_Store",
    "Thumbs.db",
    "thumbs.db",
    ".nfs000001",
    ".fuse_hidden0001",
    ".stversions",
    ".stfolder",
    ".dropbox.cache",
    ".git",
};

static const char *const drops[] = {
    "a.csv",
    "a",
    "partial.csv",
    "tmp",
    "part",
    "a.csv (1)",
    "a.sync-conflict-20260301-101500-ABCDEFG.csv",
    "a (conflicted copy 2026-03-01 101500).csv",
    "~a.csv",
    "a.~z",
    "a.tmp.csv",
    "sallow.d/a.csv",
    "Dawn creek 5 km.csv",
};

Test(ignore, leaves_the_noise_of_other_programs_alone)
{
    const struct ignore_list none = {.count = 0};
    for (size_t i = 0; i < COUNT_OF(noise); i++)
        cr_expect_eq(ignore_judge_path(&none, noise[i]), NAME_IGNORED, "%s", noise[i]);
}

Test(ignore, keeps_everything_that_may_be_a_drop_conflict_copies_too)
{
    const struct ignore_list none = {.count = 0};
    for (size_t i = 0; i < COUNT_OF(drops); i++)
        cr_expect_eq(ignore_judge_path(&none, drops[i]), NAME_DATA, "%s", drops[i]);
}

Test(ignore, knows_placeholders)
{
    const struct ignore_list none = {.count = 0};
    cr_expect_eq(ignore_judge_path(&none, "sallow/a.csv.owncloud"), NAME_PLACEHOLDER);
    cr_expect_eq(ignore_judge_path(&none, "a.csv.nextcloud"), NAME_PLACEHOLDER);
    cr_expect_eq(ignore_judge_path(&none, "nextcloud"), NAME_DATA);
}

Test(ignore, own_patterns_look_at_the_name_or_with_a_slash_at_the_path)
{
    static const char *const patterns[] = {"*.jpg", "old/*.csv", "**/photos/**"};
    struct ignore_list list;
    ignore_init(&list, patterns, COUNT_OF(patterns));
    cr_expect_eq(ignore_judge_path(&list, "a.jpg"), NAME_IGNORED);
    cr_expect_eq(ignore_judge_path(&list, "sallow/a.jpg"), NAME_IGNORED);
    cr_expect_eq(ignore_judge_path(&list, "a.JPG"), NAME_DATA);
    cr_expect_eq(ignore_judge_path(&list, "old/a.csv"), NAME_IGNORED);
    cr_expect_eq(ignore_judge_path(&list, "sallow/old/a.csv"), NAME_DATA);
    cr_expect_eq(ignore_judge_path(&list, "sallow/photos/a/b.csv"), NAME_IGNORED);
    cr_expect_eq(ignore_judge_path(&list, "a.csv"), NAME_DATA);
    ignore_done(&list);
}
