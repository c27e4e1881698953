/* SPDX-License-Identifier: MIT */
#include "watch/ignore.h"

#include "base/memory.h"
#include "base/text.h"
#include "watch/path.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* Hidden names carry most of the temporaries: ".a.csv.x1y2Z3", ".~tmp~", ".syncthing.a.csv.tmp", ".unison.*",
 * ".a.csv.~1f", ".~lock.a.xlsx#", "._a.csv", ".DS_Store", ".nfs*", ".fuse_hidden*", ".stversions". */
static const char *const ignored_names[] = {
    ".*",                                                                /* hidden */
    "*.partial",    "*.part",    "*.filepart",  "*.crdownload", "*.tmp", /* half a transfer */
    "~syncthing~*", "*~",        "*.sbak",      "*.swp",                 /* half a transfer, backups */
    "~$*",          "Thumbs.db", "desktop.ini",                          /* office locks, desktops */
};

static const char *const placeholder_suffixes[] = {".owncloud", ".nextcloud"};

static bool is_numbered_temporary(const char *name);
static bool is_placeholder(const char *name);

void ignore_init(struct ignore_list *list, const char *const *patterns, size_t count)
{
    *list = (struct ignore_list){.patterns = x_array(count + 1, sizeof *list->patterns), .count = count};
    for (size_t i = 0; i < count; i++)
        list->patterns[i] = x_strdup(patterns[i]);
}

void ignore_done(struct ignore_list *list)
{
    for (size_t i = 0; i < list->count; i++)
        free(list->patterns[i]);
    free(list->patterns);
    *list = (struct ignore_list){.count = 0};
}

enum name_kind ignore_judge_path(const struct ignore_list *list, const char *path)
{
    const char *name = path_base(path);
    for (size_t i = 0; i < list->count; i++)
        if (text_matches(list->patterns[i], strchr(list->patterns[i], '/') ? path : name, false))
            return NAME_IGNORED;
    for (size_t i = 0; i < COUNT_OF(ignored_names); i++)
        if (text_matches(ignored_names[i], name, true))
            return NAME_IGNORED;
    if (is_numbered_temporary(name))
        return NAME_IGNORED;
    return is_placeholder(name) ? NAME_PLACEHOLDER : NAME_DATA;
}

/* "a.csv.~1f2e": a dot, a tilde and a hexadecimal number behind the real name. */
static bool is_numbered_temporary(const char *name)
{
    for (const char *mark = strstr(name, ".~"); mark; mark = strstr(mark + 1, ".~"))
        if (isxdigit((unsigned char)mark[2]))
            return true;
    return false;
}

static bool is_placeholder(const char *name)
{
    size_t length = strlen(name);
    for (size_t i = 0; i < COUNT_OF(placeholder_suffixes); i++) {
        size_t suffix = strlen(placeholder_suffixes[i]);
        if (length > suffix && text_equal_ignoring_case(name + length - suffix, placeholder_suffixes[i]))
            return true;
    }
    return false;
}
