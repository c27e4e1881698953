/* SPDX-License-Identifier: MIT */
#include "archive/original.h"

#include "base/file.h"
#include "base/memory.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

struct kept { /* written or found there, not yet durable for certain */
    char *path;
    char sha256[SHA256_HEX_SIZE];
};

struct original_keeper {
    char *root;
    struct kept kept[SYNC_MOST];
    struct file_fresh fresh[SYNC_MOST]; /* {0}: was there already */
    size_t count;
};

static bool refuse_other_bytes(const struct original_keeper *keeper, const char *full, const char *sha256,
                               struct error *error);
static const struct kept *find(const struct original_keeper *keeper, const char *full);
static bool place_all(struct original_keeper *keeper, struct error *error);
static void forget(struct original_keeper *keeper);

struct original_keeper *original_keeper_new(const char *root)
{
    struct original_keeper *keeper = x_alloc(sizeof *keeper);
    keeper->root = x_strdup(root);
    return keeper;
}

void original_keeper_free(struct original_keeper *keeper)
{
    if (!keeper)
        return;
    forget(keeper);
    free(keeper->root);
    free(keeper);
}

bool original_keep(struct original_keeper *keeper, const char *path, const void *bytes, size_t n, const char *sha256,
                   struct error *error)
{
    CLEANUP(cleanup_free) char *full = x_printf("%s/%s", keeper->root, path);
    bool is_there = find(keeper, full) || file_exists(full);
    if (is_there && !refuse_other_bytes(keeper, full, sha256, error))
        return false;
    if (find(keeper, full))
        return true;
    if (keeper->count == SYNC_MOST && !original_settle(keeper, error))
        return false;
    /* What is there may be so since a run that was cut off between the rename and the folder's fsync: it settles too.
     */
    struct file_fresh *fresh = &keeper->fresh[keeper->count];
    if (!is_there && (!file_make_folders_of(full, error) || !file_fresh_write(fresh, full, bytes, n, error))) {
        file_fresh_drop(fresh);
        return false;
    }
    struct kept *kept = &keeper->kept[keeper->count++];
    memcpy(kept->sha256, sha256, SHA256_HEX_SIZE);
    kept->path = full;
    full = NULL;
    return true;
}

static bool refuse_other_bytes(const struct original_keeper *keeper, const char *full, const char *sha256,
                               struct error *error)
{
    char known[SHA256_HEX_SIZE];
    const struct kept *kept = find(keeper, full);
    if (kept)
        memcpy(known, kept->sha256, sizeof known);
    else if (!file_sha256(full, known, error))
        return false;
    return strcmp(known, sha256) == 0 ||
           fail(error, ERROR_SYSTEM,
                "'%s' was changed since it was kept: move it away, and the untouched bytes are kept anew", full);
}

static const struct kept *find(const struct original_keeper *keeper, const char *full)
{
    for (size_t k = 0; k < keeper->count; k++)
        if (strcmp(keeper->kept[k].path, full) == 0)
            return &keeper->kept[k];
    return NULL;
}

bool original_settle(struct original_keeper *keeper, struct error *error)
{
    if (keeper->count == 0)
        return true;
    const char *paths[SYNC_MOST];
    for (size_t k = 0; k < keeper->count; k++)
        paths[k] = keeper->kept[k].path;
    bool ok = file_fresh_sync(keeper->fresh, keeper->count, error) && place_all(keeper, error) &&
              file_sync_folders_of(paths, keeper->count, error);
    forget(keeper);
    return ok;
}

static bool place_all(struct original_keeper *keeper, struct error *error)
{
    for (size_t k = 0; k < keeper->count; k++)
        if (keeper->fresh[k].temporary && !file_fresh_place(&keeper->fresh[k], keeper->kept[k].path, error))
            return false;
    return true;
}

static void forget(struct original_keeper *keeper)
{
    while (keeper->count > 0) {
        keeper->count--;
        file_fresh_drop(&keeper->fresh[keeper->count]);
        free(keeper->kept[keeper->count].path);
    }
}
