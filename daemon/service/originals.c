/* SPDX-License-Identifier: MIT */
#include "service/originals.h"

#include "archive/history.h"
#include "archive/manifest.h"
#include "base/file.h"
#include "base/timestamp.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { NAME_BEGINS = 17 /* behind 16 digits and '_': archive_original_path */ };
static const size_t largest_list = (size_t)256 << 20; /* bytes of a manifest or history */

static bool load_history(struct pipeline *p, const struct archive_owner *owner, struct arena *arena,
                         struct history *ret, const struct teller_of_findings *findings);
static bool load_manifest(struct pipeline *p, const struct archive_owner *owner, struct manifest_line **ret,
                          size_t *ret_n, const struct teller_of_findings *findings);
static bool judge(struct pipeline *p, const struct archive_owner *owner, const char *name,
                  const struct history *history, struct arena *arena, struct unknown_original *ret,
                  bool *ret_is_unknown, struct error *error);
static bool guess(struct pipeline *p, const char *name, const struct history *history, struct arena *arena,
                  struct drop_fact_row *ret, struct error *error);
static const struct history_drop *find(const struct history *history, const char *name);
static int compare_originals(const void *a, const void *b);
static bool restore_months(struct pipeline *p, const struct archive_owner *owner, const struct history *history,
                           const struct manifest_line *lines, size_t n, struct error *error);
static bool content_of(const struct archive_owner *owner, int32_t month, const struct manifest_line *lines, size_t n,
                       char ret[SHA256_HEX_SIZE]);
static bool restore_file(struct pipeline *p, const struct archive_owner *owner, const struct manifest_line *line,
                         struct error *error);

bool originals_find(struct pipeline *p, const struct archive_owner *owner, struct arena *arena,
                    struct unknown_original **list, size_t *n, const struct teller_of_findings *findings,
                    struct error *error)
{
    char folder[ARCHIVE_PATH_SIZE], full[PATH_MAX];
    struct history history = {0};
    load_history(p, owner, arena, &history, findings);
    if (history.drop_count > 0)
        qsort(history.drops, history.drop_count, sizeof *history.drops, compare_originals);
    snprintf(full, sizeof full, "%s/%s/originals", p->config->archive, originals_folder(owner, folder));
    DIR *originals = opendir(full);
    if (!originals)
        return errno == ENOENT || fail_errno(error, ERROR_SYSTEM, "cannot read '%s'", full);
    size_t capacity = *n;
    bool ok = true;
    for (struct dirent *entry = readdir(originals); ok && entry; entry = readdir(originals)) {
        struct unknown_original original;
        bool is_unknown = false;
        if (entry->d_name[0] == '.')
            continue;
        ok = judge(p, owner, entry->d_name, &history, arena, &original, &is_unknown, error);
        if (!ok || !is_unknown)
            continue;
        *list = x_grow(*list, *n, &capacity, sizeof **list);
        (*list)[(*n)++] = original;
    }
    closedir(originals);
    return ok;
}

bool originals_restore_products(struct pipeline *p, const struct archive_owner *owner,
                                const struct teller_of_findings *findings, struct error *error)
{
    struct history history = {0};
    struct manifest_line *lines = NULL;
    size_t n = 0;
    load_history(p, owner, p->arena, &history, findings);
    load_manifest(p, owner, &lines, &n, findings);
    for (size_t k = 0; k < n; k++)
        if (!restore_file(p, owner, &lines[k], error))
            return false;
    for (size_t k = 0; k < history.revision_count; k++) {
        const struct history_revision *r = &history.revisions[k];
        struct revision_fact fact = {owner->place, r->month,   r->revision, r->last_time,
                                     r->arrived,   r->changes, r->state};
        if (!store_revision_restore(p->store, &fact, error))
            return false;
    }
    return owner->kind != ARCHIVE_STATION || restore_months(p, owner, &history, lines, n, error);
}

bool originals_read(const struct pipeline *p, const struct drop_fact_row *drop, char **ret_bytes, size_t *ret_length,
                    struct error *error)
{
    char full[PATH_MAX], sha256[SHA256_HEX_SIZE];
    snprintf(full, sizeof full, "%s/%s", p->config->archive, drop->original);
    if (!file_exists(full))
        return fail(error, ERROR_INPUT, "is missing: put it back from a copy of the archive");
    if (!file_read(full, (size_t)p->config->largest_drop, ret_bytes, ret_length, error))
        return false;
    sha256_hex(*ret_bytes, *ret_length, sha256);
    if (strcmp(sha256, drop->sha256) == 0)
        return true;
    free(*ret_bytes);
    *ret_bytes = NULL;
    return fail(error, ERROR_INPUT, "has other bytes than those that arrived: put it back from a copy of the archive");
}

char *originals_folder(const struct archive_owner *owner, char ret[ARCHIVE_PATH_SIZE])
{
    archive_manifest_path(owner->kind, owner->id, ret);
    *strrchr(ret, '/') = '\0';
    return ret;
}

/* An unsound list is told and counts as none: the originals speak for themselves. */
static bool load_history(struct pipeline *p, const struct archive_owner *owner, struct arena *arena,
                         struct history *ret, const struct teller_of_findings *findings)
{
    char path[ARCHIVE_PATH_SIZE], full[PATH_MAX];
    struct error error;
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    archive_history_path(owner->kind, owner->id, path);
    snprintf(full, sizeof full, "%s/%s", p->config->archive, path);
    if (!file_exists(full))
        return false;
    if (file_read(full, largest_list, &bytes, &length, &error) && history_read(bytes, length, arena, ret, &error))
        return true;
    *ret = (struct history){0};
    findings->tell(findings->context, path, error.text);
    return false;
}

static bool load_manifest(struct pipeline *p, const struct archive_owner *owner, struct manifest_line **ret,
                          size_t *ret_n, const struct teller_of_findings *findings)
{
    char path[ARCHIVE_PATH_SIZE] = MANIFEST_NAME, full[PATH_MAX];
    struct error error;
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    if (owner->kind != ARCHIVE_NETWORK) /* the network's files stand in the list at the top */
        archive_manifest_path(owner->kind, owner->id, path);
    snprintf(full, sizeof full, "%s/%s", p->config->archive, path);
    if (!file_exists(full))
        return false;
    if (file_read(full, largest_list, &bytes, &length, &error) &&
        manifest_read(bytes, length, p->arena, ret, ret_n, &error))
        return true;
    *ret_n = 0;
    findings->tell(findings->context, path, error.text);
    return false;
}

static bool judge(struct pipeline *p, const struct archive_owner *owner, const char *name,
                  const struct history *history, struct arena *arena, struct unknown_original *ret,
                  bool *ret_is_unknown, struct error *error)
{
    char folder[ARCHIVE_PATH_SIZE];
    const struct history_drop *listed = find(history, name);
    *ret = (struct unknown_original){.is_listed = listed != NULL};
    ret->drop.place = owner->place;
    ret->drop.original = arena_printf(arena, "%s/originals/%s", originals_folder(owner, folder), name);
    if (listed) {
        ret->drop.number = listed->number;
        ret->drop.arrived = listed->arrived;
        ret->drop.path = listed->path;
        ret->drop.sha256 = arena_strdup(arena, listed->sha256);
    } else if (!guess(p, name, history, arena, &ret->drop, error)) {
        return false;
    }
    int64_t number;
    if (!store_drop_find(p->store, ret->drop.sha256, owner->place, &number, error))
        return false;
    *ret_is_unknown = number == 0;
    return true;
}

/* Kept, and the power went before it was listed: its bytes say what they are, and it will have lain where the place's
 * others lie. */
static bool guess(struct pipeline *p, const char *name, const struct history *history, struct arena *arena,
                  struct drop_fact_row *ret, struct error *error)
{
    char full[PATH_MAX], sha256[SHA256_HEX_SIZE];
    struct stat status;
    snprintf(full, sizeof full, "%s/%s", p->config->archive, ret->original);
    if (stat(full, &status) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot look at '%s'", full);
    if (!file_sha256(full, sha256, error))
        return false;
    const char *beside = "";
    int64_t newest = 0;
    for (size_t k = 0; k < history->drop_count; k++)
        if (history->drops[k].number > newest) {
            newest = history->drops[k].number;
            beside = history->drops[k].path;
        }
    const char *slash = strrchr(beside, '/'), *kept = strlen(name) > NAME_BEGINS ? name + NAME_BEGINS : name;
    ret->path = arena_printf(arena, "%.*s%s", slash ? (int)(slash - beside) + 1 : 0, beside, kept);
    ret->arrived = (int64_t)status.st_mtim.tv_sec * 1000 + status.st_mtim.tv_nsec / 1000000;
    ret->sha256 = arena_strdup(arena, sha256);
    return true;
}

static const struct history_drop *find(const struct history *history, const char *name)
{
    size_t low = 0, high = history->drop_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const char *original = history->drops[middle].original, *slash = strrchr(original, '/');
        int order = strcmp(slash ? slash + 1 : original, name);
        if (order == 0)
            return &history->drops[middle];
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return NULL;
}

/* All of one folder, so the whole path orders them as their names do. */
static int compare_originals(const void *a, const void *b)
{
    const struct history_drop *x = a, *y = b;
    return strcmp(x->original, y->original);
}

static bool restore_months(struct pipeline *p, const struct archive_owner *owner, const struct history *history,
                           const struct manifest_line *lines, size_t n, struct error *error)
{
    for (size_t k = 0; k < history->revision_count; k++) {
        const struct history_revision *r = &history->revisions[k];
        bool is_last = true;
        for (size_t j = 0; j < history->revision_count; j++)
            is_last &= history->revisions[j].month != r->month || history->revisions[j].revision <= r->revision;
        char content[SHA256_HEX_SIZE];
        if (!is_last || !content_of(owner, r->month, lines, n, content))
            continue;
        struct page_fact page = {owner->place, r->month, true, r->revision, content, RECORD_PROVISIONAL, ""};
        if (!store_page_restore(p->store, &page, error))
            return false;
    }
    return true;
}

/* As publish.c makes it, of the fingerprints in the manifest: what stands in the archive may be damaged. */
static bool content_of(const struct archive_owner *owner, int32_t month, const struct manifest_line *lines, size_t n,
                       char ret[SHA256_HEX_SIZE])
{
    char folder[ARCHIVE_PATH_SIZE], all[ARCHIVE_WRITERS_MAX * SHA256_HEX_SIZE] = "";
    size_t formats, count = 0, skip = strlen(originals_folder(owner, folder)) + 1;
    const struct archive_writer *writers = archive_writers(&formats);
    for (size_t f = 0; f < formats; f++) {
        char path[ARCHIVE_PATH_SIZE];
        if (!writers[f].is_record)
            continue;
        archive_month_path(owner->id, month / 12, month % 12 + 1, writers[f].extension, path);
        const struct manifest_line *line = manifest_find(lines, n, path + skip);
        if (!line)
            return false;
        memcpy(all + count++ * SHA256_HEX_SIZE, line->sha256, SHA256_HEX_SIZE);
    }
    sha256_hex(all, count * SHA256_HEX_SIZE, ret);
    return true;
}

/* Originals come back with their drops; a file with other bytes is written again, or is no file of ours any more. */
static bool restore_file(struct pipeline *p, const struct archive_owner *owner, const struct manifest_line *line,
                         struct error *error)
{
    char path[2 * ARCHIVE_PATH_SIZE], folder[ARCHIVE_PATH_SIZE], full[PATH_MAX], sha256[SHA256_HEX_SIZE];
    struct stat status;
    struct file_fact known;
    bool found;
    if (owner->kind == ARCHIVE_NETWORK)
        snprintf(path, sizeof path, "%s", line->path);
    else
        snprintf(path, sizeof path, "%s/%s", originals_folder(owner, folder), line->path);
    if (strstr(path, "/originals/"))
        return true;
    if (!store_file_find(p->store, path, p->arena, &known, &found, error))
        return false;
    snprintf(full, sizeof full, "%s/%s", p->config->archive, path);
    if (found && strcmp(known.sha256, line->sha256) == 0)
        return true;
    /* Where the archive is newer than the database, what it says of itself and holds counts. */
    if (stat(full, &status) < 0 || !file_sha256(full, sha256, error) || strcmp(sha256, line->sha256) != 0)
        return true;
    return store_file_put(p->store, &(struct file_fact){path, sha256, owner->place, status.st_size}, error);
}
