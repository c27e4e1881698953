/* SPDX-License-Identifier: MIT */
#include "archive/verify.h"

#include "archive/manifest.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <fts.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const size_t manifest_limit = (size_t)256 << 20;

/* One folder that has a manifest of its own, with what that says. */
struct folder {
    const char *root;
    const char *prefix; /* below the root, "" or ending in '/' */
    const struct manifest_line *lines;
    size_t n;
};

static void verify_folder(const char *root, const char *prefix, struct verify_report *report);
static void verify_line(const struct folder *folder, const struct manifest_line *line, struct verify_report *report);
static void look_for_foreign(const struct folder *folder, struct verify_report *report);
static void judge_entry(const struct folder *folder, FTS *walk, FTSENT *entry, const char *path,
                        struct verify_report *report);
static bool is_covered_below(const struct folder *folder, const char *path);
static bool is_nested_manifest(const char *path);
static void tell(struct verify_report *report, enum verify_kind kind, const char *prefix, const char *path,
                 const char *detail);

const char *verify_kind_word(enum verify_kind kind)
{
    static const char *const words[] = {
        [VERIFY_MISSING] = "missing",
        [VERIFY_CHANGED] = "changed",
        [VERIFY_FOREIGN] = "foreign",
        [VERIFY_UNREADABLE] = "unreadable",
    };
    assert(kind < VERIFY_KIND_COUNT);
    return words[kind];
}

bool archive_verify(const char *root, struct verify_report *report, struct error *error)
{
    *report = (struct verify_report){.tell = report->tell, .progress = report->progress, .context = report->context};
    CLEANUP(cleanup_free) char *top = x_printf("%s/%s", root, MANIFEST_NAME);
    struct stat status;
    if (lstat(top, &status) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot find '%s': expected the folder of an archive", top);
    verify_folder(root, "", report);
    return true;
}

size_t verify_report_count(const struct verify_report *report)
{
    size_t count = 0;
    for (size_t kind = 0; kind < VERIFY_KIND_COUNT; kind++)
        count += report->findings[kind];
    return count;
}

static void verify_folder(const char *root, const char *prefix, struct verify_report *report)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    CLEANUP(cleanup_free) char *bytes = NULL;
    struct error error = {0};
    size_t length, n;
    struct manifest_line *lines;
    const char *path = arena_printf(arena, "%s/%s%s", root, prefix, MANIFEST_NAME);
    if (!file_read(path, manifest_limit, &bytes, &length, &error) ||
        !manifest_read(bytes, length, arena, &lines, &n, &error)) {
        tell(report, VERIFY_UNREADABLE, prefix, MANIFEST_NAME, error.text);
        return;
    }
    struct folder folder = {.root = root, .prefix = prefix, .lines = lines, .n = n};
    for (size_t i = 0; i < n; i++)
        verify_line(&folder, &lines[i], report);
    look_for_foreign(&folder, report);
}

static void verify_line(const struct folder *folder, const struct manifest_line *line, struct verify_report *report)
{
    CLEANUP(cleanup_free) char *full = x_printf("%s/%s%s", folder->root, folder->prefix, line->path);
    struct stat status;
    report->files++;
    if (report->progress)
        report->progress(report->context, report->files);
    if (lstat(full, &status) < 0) {
        tell(report, errno == ENOENT || errno == ENOTDIR ? VERIFY_MISSING : VERIFY_UNREADABLE, folder->prefix,
             line->path, "");
        return;
    }
    if (!S_ISREG(status.st_mode)) {
        tell(report, VERIFY_CHANGED, folder->prefix, line->path, "no plain file any more");
        return;
    }
    char sha256[SHA256_HEX_SIZE];
    struct error error = {0};
    if (!file_sha256(full, sha256, &error))
        tell(report, VERIFY_UNREADABLE, folder->prefix, line->path, error.text);
    else if (strcmp(sha256, line->sha256) != 0)
        tell(report, VERIFY_CHANGED, folder->prefix, line->path, "");
    if (is_nested_manifest(line->path)) { /* also where it changed: what it lists is then named one by one */
        size_t length = strlen(line->path) - strlen(MANIFEST_NAME);
        CLEANUP(cleanup_free) char *prefix = x_printf("%s%.*s", folder->prefix, (int)length, line->path);
        verify_folder(folder->root, prefix, report);
    }
}

/* What stands in the folder, but for the folders below that have a manifest of their own. */
static void look_for_foreign(const struct folder *folder, struct verify_report *report)
{
    CLEANUP(cleanup_free) char *start = x_printf("%s/%s", folder->root, folder->prefix);
    size_t length = strlen(start);
    while (length > 1 && start[length - 1] == '/')
        start[--length] = '\0';
    char *starts[] = {start, NULL};
    FTS *walk = fts_open(starts, FTS_PHYSICAL | FTS_NOCHDIR, NULL);
    for (FTSENT *entry = walk ? fts_read(walk) : NULL; entry; entry = fts_read(walk)) {
        const char *path = entry->fts_path + length;
        while (*path == '/')
            path++;
        judge_entry(folder, walk, entry, path, report);
    }
    if (walk)
        fts_close(walk);
}

static void judge_entry(const struct folder *folder, FTS *walk, FTSENT *entry, const char *path,
                        struct verify_report *report)
{
    switch (entry->fts_info) {
    case FTS_D:
        if (entry->fts_level > 0 && is_covered_below(folder, path))
            fts_set(walk, entry, FTS_SKIP);
        return;
    case FTS_DP: return;
    case FTS_DNR:
    case FTS_ERR:
    case FTS_NS: tell(report, VERIFY_UNREADABLE, folder->prefix, path, strerror(entry->fts_errno)); return;
    default: break;
    }
    bool is_own = strcmp(path, MANIFEST_NAME) == 0 || text_starts_with(entry->fts_name, ".rillward-");
    if (!is_own && !manifest_find(folder->lines, folder->n, path))
        tell(report, VERIFY_FOREIGN, folder->prefix, path, "");
}

static bool is_covered_below(const struct folder *folder, const char *path)
{
    CLEANUP(cleanup_free) char *manifest = x_printf("%s/%s", path, MANIFEST_NAME);
    return manifest_find(folder->lines, folder->n, manifest) != NULL;
}

static bool is_nested_manifest(const char *path)
{
    return text_ends_with(path, "/" MANIFEST_NAME);
}

static void tell(struct verify_report *report, enum verify_kind kind, const char *prefix, const char *path,
                 const char *detail)
{
    report->findings[kind]++;
    if (!report->tell)
        return;
    CLEANUP(cleanup_free) char *whole = x_printf("%s%s", prefix, path);
    report->tell(report->context, &(struct verify_finding){.kind = kind, .path = whole, .detail = detail});
}
