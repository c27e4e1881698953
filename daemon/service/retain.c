/* SPDX-License-Identifier: MIT */
#include "service/retain.h"

#include "base/log.h"
#include "base/timestamp.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { AT_ONCE = 500, LEAST_FREE = 16 << 20 /* bytes: below, writing the database anew is not worth it */ };

static bool forget_notices(struct pipeline *p, int64_t wall, bool *ret_worked, struct error *error);
static bool forget_names(struct retainer *r, struct pipeline *p, int64_t wall, bool *ret_worked, struct error *error);
static bool is_gone(const struct config *config, const char *path);

bool retain_some(struct retainer *r, struct pipeline *p, bool inbox_is_there, int64_t wall, int64_t monotonic,
                 bool *ret_worked, struct error *error)
{
    bool worked = false;
    if (monotonic < r->due)
        return true;
    arena_reset(p->arena);
    if (!store_begin(p->store, __func__, error))
        return false;
    bool ok = p->config->keep_notices == 0 || forget_notices(p, wall, &worked, error);
    ok = ok && (p->config->keep_names == 0 || !inbox_is_there || forget_names(r, p, wall, &worked, error));
    if (!ok || !store_commit(p->store, error)) {
        store_rollback(p->store);
        return within(error, "forgetting what is old");
    }
    if (!worked) {
        r->due = monotonic + DAY_MS;
        *r->after = '\0';
    }
    *ret_worked |= worked;
    return true;
}

bool retain_compact(const struct config *config, struct store *store, struct error *error)
{
    bool did = false;
    if (!config->compacts)
        return true;
    if (!store_compact(store, LEAST_FREE, &did, error))
        return within(error, "writing the database anew ('retention: {compact: false}' leaves it as it is)");
    if (did)
        log_notice("the database was written anew: more than a third of it was empty");
    return true;
}

static bool forget_notices(struct pipeline *p, int64_t wall, bool *ret_worked, struct error *error)
{
    size_t n;
    if (!store_notices_forget(p->store, wall - p->config->keep_notices, AT_ONCE, &n, error))
        return false;
    *ret_worked |= n > 0;
    return n == 0 || store_manifest_due(p->store, 0, error); /* the figures of recipients stand on them */
}

/* A file that is still there keeps its name: else a scan would read it again. */
static bool forget_names(struct retainer *r, struct pipeline *p, int64_t wall, bool *ret_worked, struct error *error)
{
    const char **names;
    size_t n;
    if (!store_names_before(p->store, wall - p->config->keep_names, r->after, AT_ONCE, p->arena, &names, &n, error))
        return false;
    for (size_t i = 0; i < n; i++)
        if (is_gone(p->config, names[i]) && !store_name_forget(p->store, names[i], error))
            return false;
    if (n > 0)
        snprintf(r->after, sizeof r->after, "%s", names[n - 1]);
    *ret_worked |= n > 0;
    return true;
}

static bool is_gone(const struct config *config, const char *path)
{
    char full[2 * PATH_MAX];
    struct stat ignored;
    snprintf(full, sizeof full, "%s/%s", config->inbox, path);
    return lstat(full, &ignored) != 0 && (errno == ENOENT || errno == ENOTDIR);
}
