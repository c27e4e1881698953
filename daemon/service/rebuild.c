/* SPDX-License-Identifier: MIT */
#include "service/rebuild.h"

#include "archive/manifest.h"
#include "base/file.h"
#include "base/timestamp.h"
#include "service/leftovers.h"
#include "service/originals.h"
#include "service/pipeline.h"
#include "service/publish.h"

#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

enum { RESTORED_AT_ONCE = 64 }; /* drops in one transaction: their waits for the disk are shared */

struct rebuild {
    const struct rebuild_options *options;
    struct pipeline pipeline;
    struct arena *arena;          /* of the whole run */
    struct archive_owner *owners; /* those asked for: the network, then barometers, then stations */
    size_t owner_count;
    struct file_fact *damaged; /* products to be written again */
    size_t damaged_count, damaged_capacity;
    struct teller_of_findings findings;
    struct rebuild_report *report;
};

static bool run(struct rebuild *r, struct error *error);
static bool choose_owners(struct rebuild *r, struct error *error);
static bool add_owner(struct rebuild *r, enum archive_place kind, const char *id, uint32_t place);
static bool is_chosen(const struct rebuild *r, const char *id);
static bool plan(struct rebuild *r, struct error *error);
static bool restore(struct rebuild *r, struct error *error);
static bool restore_drops(struct rebuild *r, struct unknown_original *list, size_t n, struct error *error);
static bool restore_drop(struct rebuild *r, struct unknown_original *original, struct error *error);
static bool give_number(struct rebuild *r, struct drop_fact_row *drop, struct error *error);
static int compare_arrivals(const void *a, const void *b);
static bool make_places_again(struct rebuild *r, struct error *error);
static bool make_place_again(struct rebuild *r, const struct archive_owner *owner, bool *ret_is_done,
                             struct error *error);
static bool read_originals_again(struct rebuild *r, uint32_t place, bool *ret_is_whole, struct error *error);
static bool forget_damaged_products(struct rebuild *r, const struct archive_owner *owner, struct error *error);
static bool finish_work(struct rebuild *r, struct error *error);
static bool publish_more(struct rebuild *r, struct publisher *publisher, bool *ret_is_busy, struct error *error);
static bool tell_damaged(struct rebuild *r, struct error *error);
static void count_finding(void *context, const char *path, const char *what);
static void show(const struct rebuild *r, const char *what, size_t done, size_t total);
static void hold_signals(void);
static bool is_asked_to_stop(struct rebuild *r);

bool rebuild_run(const struct config *config, const struct rebuild_options *options, struct rebuild_report *ret,
                 struct error *error)
{
    *ret = (struct rebuild_report){.condition = STORE_SOUND};
    struct rebuild r = {.options = options, .report = ret};
    r.findings = (struct teller_of_findings){count_finding, &r};
    for (int k = 0; k < options->place_count; k++)
        if (config_find_station(config, options->places[k]) == config->station_count &&
            config_find_barometer(config, options->places[k]) == config->barometer_count)
            return fail(error, ERROR_CONFIG, "'%s' is neither a station nor a barometer of the settings",
                        options->places[k]);
    hold_signals();
    setenv("SQLITE_TMPDIR", config->state, 1); /* as the service: its transactions can outgrow memory */
    struct store *store = store_open_to_rebuild(config->state, options->now, &ret->condition, error);
    bool ok = store && pipeline_open(&r.pipeline, config, store, error);
    if (ok) {
        r.arena = arena_new();
        leftovers_begin(config);
        ok = run(&r, error);
        store_rollback(store);
        pipeline_close(&r.pipeline);
        if (ok)
            leftovers_end(config);
        arena_free(r.arena);
        free(r.owners);
        free(r.damaged);
    }
    store_close(store);
    return ok;
}

static bool run(struct rebuild *r, struct error *error)
{
    return choose_owners(r, error) && plan(r, error) && restore(r, error) && make_places_again(r, error) &&
           finish_work(r, error) && tell_damaged(r, error);
}

/* ---- which ---- */

/* Barometers before the stations that stand on them. Notes of several stations belong to the network, which is asked
 * for with all. */
static bool choose_owners(struct rebuild *r, struct error *error)
{
    const struct config *config = r->pipeline.config;
    r->owners = x_array(config->station_count + config->barometer_count + 1, sizeof *r->owners);
    if (r->options->place_count == 0)
        add_owner(r, ARCHIVE_NETWORK, "", 0);
    for (size_t i = 0; i < config->barometer_count; i++)
        if (is_chosen(r, config->barometers[i].id))
            add_owner(r, ARCHIVE_BAROMETER, config->barometers[i].id, r->pipeline.barometer_places[i]);
    for (size_t i = 0; i < config->station_count; i++)
        if (is_chosen(r, config->stations[i].id))
            add_owner(r, ARCHIVE_STATION, config->stations[i].id, r->pipeline.station_places[i]);
    return r->owner_count > 0 || fail(error, ERROR_CONFIG, "there is nothing to make again: no station is configured");
}

static bool add_owner(struct rebuild *r, enum archive_place kind, const char *id, uint32_t place)
{
    r->owners[r->owner_count++] = (struct archive_owner){kind, id, place};
    return true;
}

static bool is_chosen(const struct rebuild *r, const char *id)
{
    bool is_named = r->options->place_count == 0;
    for (int k = 0; k < r->options->place_count; k++)
        is_named |= strcmp(r->options->places[k], id) == 0;
    return is_named;
}

/* Where an earlier run was cut off its list stands, and only what is on it is left to do. */
static bool plan(struct rebuild *r, struct error *error)
{
    uint32_t *due;
    size_t n;
    if (!store_rebuild_load(r->pipeline.store, r->arena, &due, &n, error))
        return false;
    bool ok = store_begin(r->pipeline.store, __func__, error);
    for (size_t k = 0; ok && k < r->owner_count; k++)
        if (r->owners[k].place != 0 && (n == 0 || r->options->place_count > 0))
            ok = store_rebuild_add(r->pipeline.store, r->owners[k].place, error);
    return ok && store_commit(r->pipeline.store, error);
}

/* ---- what only the archive knows ---- */

static bool restore(struct rebuild *r, struct error *error)
{
    struct unknown_original *list = NULL;
    size_t n = 0;
    bool ok = true;
    for (size_t k = 0; ok && k < r->owner_count; k++) {
        arena_reset(r->pipeline.arena);
        ok = store_begin(r->pipeline.store, __func__, error) &&
             originals_restore_products(&r->pipeline, &r->owners[k], &r->findings, error) &&
             store_commit(r->pipeline.store, error) &&
             originals_find(&r->pipeline, &r->owners[k], r->arena, &list, &n, &r->findings, error);
    }
    if (n > 0)
        qsort(list, n, sizeof *list, compare_arrivals);
    ok = ok && restore_drops(r, list, n, error);
    free(list);
    return ok;
}

static bool restore_drops(struct rebuild *r, struct unknown_original *list, size_t n, struct error *error)
{
    for (size_t k = 0; k < n; k++) {
        if (!store_is_open_transaction(r->pipeline.store)) {
            if (is_asked_to_stop(r))
                return true;
            if (!store_begin(r->pipeline.store, __func__, error))
                return false;
        }
        show(r, "originals of the archive", k, n);
        if (!restore_drop(r, &list[k], error) ||
            ((k % RESTORED_AT_ONCE == RESTORED_AT_ONCE - 1 || k == n - 1) && !store_commit(r->pipeline.store, error)))
            return false;
    }
    show(r, "originals of the archive", n, n);
    return true;
}

static bool restore_drop(struct rebuild *r, struct unknown_original *original, struct error *error)
{
    struct drop_fact_row *drop = &original->drop;
    struct error why;
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    arena_reset(r->pipeline.arena);
    if (!give_number(r, drop, error))
        return false;
    bool is_read = originals_read(&r->pipeline, drop, &bytes, &length, &why);
    if (is_read) {
        drop->bytes = (int64_t)length;
        is_read = pipeline_take_again(&r->pipeline, drop, bytes, length, AGAIN_FACTS, &why);
    }
    if (!is_read) {
        count_finding(r, drop->original, why.text);
        return why.kind == ERROR_INPUT || why.kind == ERROR_CONFIG || fail(error, why.kind, "%s", why.text);
    }
    if (!original->is_listed)
        count_finding(r, drop->original, "was in no list: it is taken under a guessed name, with the time of the file");
    r->report->restored++;
    struct file_fact file = {drop->original, drop->sha256, drop->place, drop->bytes};
    return store_file_put(r->pipeline.store, &file, error);
}

/* Numbers tell which of two drops that disagree was later, so the old one is kept wherever it is free. */
static bool give_number(struct rebuild *r, struct drop_fact_row *drop, struct error *error)
{
    struct drop_fact_row other = {.number = 0};
    if (drop->number > 0 && !store_drop_load(r->pipeline.store, drop->number, r->pipeline.arena, &other, error))
        return false;
    return (drop->number > 0 && other.number == 0) || store_drop_next_number(r->pipeline.store, &drop->number, error);
}

/* By number where both have one; what no list holds came last. */
static int compare_arrivals(const void *a, const void *b)
{
    const struct drop_fact_row *x = &((const struct unknown_original *)a)->drop;
    const struct drop_fact_row *y = &((const struct unknown_original *)b)->drop;
    if ((x->number == 0) != (y->number == 0))
        return x->number == 0 ? 1 : -1;
    int64_t left = x->number ? x->number : x->arrived, right = y->number ? y->number : y->arrived;
    return left != right ? (left < right ? -1 : 1) : strcmp(x->original, y->original);
}

/* ---- one place after the other ---- */

static bool make_places_again(struct rebuild *r, struct error *error)
{
    uint32_t *due;
    size_t n, done = 0;
    if (!store_rebuild_load(r->pipeline.store, r->arena, &due, &n, error))
        return false;
    for (size_t k = 0; k < r->owner_count; k++) {
        bool is_due = r->owners[k].place == 0;
        for (size_t j = 0; j < n; j++)
            is_due |= due[j] == r->owners[k].place;
        if (!is_due)
            continue;
        if (is_asked_to_stop(r))
            return true;
        bool is_done = true;
        show(r, "places made again", done++, n);
        if (!forget_damaged_products(r, &r->owners[k], error) ||
            (r->owners[k].place != 0 && !make_place_again(r, &r->owners[k], &is_done, error)))
            return false;
        r->report->places += is_done && r->owners[k].place != 0;
        r->report->kept += !is_done;
    }
    return true;
}

/* All or nothing: with an original that cannot be read the place stays as it is. */
static bool make_place_again(struct rebuild *r, const struct archive_owner *owner, bool *ret_is_done,
                             struct error *error)
{
    struct store *store = r->pipeline.store;
    *ret_is_done = false;
    if (!store_begin(store, __func__, error) || !store_place_forget(store, owner->place, error) ||
        !read_originals_again(r, owner->place, ret_is_done, error))
        return false;
    if (!*ret_is_done) {
        store_rollback(store);
        return store_begin(store, __func__, error) && store_rebuild_done(store, owner->place, error) &&
               store_commit(store, error);
    }
    arena_reset(r->pipeline.arena);
    if (owner->kind == ARCHIVE_BAROMETER) { /* stations that are not asked for stand on it, too */
        struct place_fact fact;
        size_t barometer = pipeline_barometer_of(&r->pipeline, owner->place);
        if (!store_place_find(store, owner->id, r->pipeline.arena, &fact, error))
            return false;
        struct span all = {fact.first_time, fact.last_time + 1};
        if (fact.first_time != TIME_NONE && (!spans_dirty_by_air(&r->pipeline, barometer, all, error) ||
                                             !store_dirty_remove(store, owner->place, all, error)))
            return false;
    }
    return pipeline_derive_again(&r->pipeline, owner->place, r->options->now, error) &&
           store_place_renew(store, owner->place, error) && store_rebuild_done(store, owner->place, error) &&
           store_commit(store, error);
}

static bool read_originals_again(struct rebuild *r, uint32_t place, bool *ret_is_whole, struct error *error)
{
    struct drop_fact_row *drops;
    size_t n;
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    *ret_is_whole = true;
    if (!store_drops_of_place(r->pipeline.store, place, arena, &drops, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        struct error why;
        size_t length;
        CLEANUP(cleanup_free) char *bytes = NULL;
        arena_reset(r->pipeline.arena);
        bool is_read =
            originals_read(&r->pipeline, &drops[k], &bytes, &length, &why) &&
            (!*ret_is_whole || pipeline_take_again(&r->pipeline, &drops[k], bytes, length, AGAIN_READINGS, &why));
        if (is_read)
            continue;
        if (why.kind != ERROR_INPUT && why.kind != ERROR_CONFIG)
            return fail(error, why.kind, "%s", why.text);
        count_finding(r, drops[k].original, why.text);
        *ret_is_whole = false;
    }
    return true;
}

/* What stands in the archive is compared byte for byte: publishing looks at sizes only. */
static bool forget_damaged_products(struct rebuild *r, const struct archive_owner *owner, struct error *error)
{
    struct file_fact *files;
    size_t n;
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    if (!store_files_load(r->pipeline.store, owner->place, arena, &files, &n, error) ||
        !store_begin(r->pipeline.store, __func__, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        char full[PATH_MAX], sha256[SHA256_HEX_SIZE] = "";
        struct error ignored; /* what cannot be read has no fingerprint */
        snprintf(full, sizeof full, "%s/%s", r->pipeline.config->archive, files[k].path);
        if (strstr(files[k].path, "/originals/") ||
            (file_exists(full) && file_sha256(full, sha256, &ignored) && strcmp(sha256, files[k].sha256) == 0))
            continue;
        if (!store_file_forget(r->pipeline.store, files[k].path, error))
            return false;
        if (strcmp(files[k].path, MANIFEST_NAME) == 0)
            continue; /* the list of lists stands in none: verify alone judges it, and it is written again */
        r->damaged = x_grow(r->damaged, r->damaged_count, &r->damaged_capacity, sizeof *r->damaged);
        r->damaged[r->damaged_count++] = (struct file_fact){.path = arena_strdup(r->arena, files[k].path)};
    }
    return store_manifest_due(r->pipeline.store, owner->place, error) && store_commit(r->pipeline.store, error);
}

/* ---- the rest is what the service does ---- */

static bool finish_work(struct rebuild *r, struct error *error)
{
    bool worked = true;
    size_t pieces = 0;
    while (worked && !is_asked_to_stop(r))
        if (!pipeline_derive(&r->pipeline, r->options->now, &worked, error))
            return false;
    struct publisher *publisher = publisher_open(r->pipeline.config, error);
    bool ok = publisher != NULL, is_busy = ok;
    while (ok && is_busy && !is_asked_to_stop(r)) {
        show(r, "files of the archive, in pieces", pieces++, 0);
        ok = publish_more(r, publisher, &is_busy, error);
    }
    publisher_close(publisher);
    return ok;
}

static bool publish_more(struct rebuild *r, struct publisher *publisher, bool *ret_is_busy, struct error *error)
{
    bool worked;
    if (!publish_months(&r->pipeline, publisher, false, &worked, error))
        return false;
    if (!worked && publisher_is_busy(publisher)) {
        publisher_wait(publisher);
        worked = true;
    }
    enum published published = PUBLISHED_NOTHING;
    if (!worked && !publish_pages(&r->pipeline, publisher, true, &published, error))
        return false;
    *ret_is_busy = worked || published != PUBLISHED_NOTHING;
    return true;
}

static bool tell_damaged(struct rebuild *r, struct error *error)
{
    for (size_t k = 0; k < r->damaged_count; k++) {
        struct file_fact fact;
        bool is_again;
        if (!store_file_find(r->pipeline.store, r->damaged[k].path, r->arena, &fact, &is_again, error))
            return false;
        if (!r->report->was_stopped)
            r->findings.tell(r, r->damaged[k].path,
                             is_again ? "was missing or changed: it was written again"
                                      : "was missing or changed, and nothing makes it any more");
    }
    return true;
}

static void count_finding(void *context, const char *path, const char *what)
{
    struct rebuild *r = context;
    r->report->findings++;
    r->options->tell(r->options->context, path, what);
}

static void show(const struct rebuild *r, const char *what, size_t done, size_t total)
{
    if (r->options->progress)
        r->options->progress(r->options->context, what, done, total);
}

static void hold_signals(void)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    sigprocmask(SIG_BLOCK, &set, NULL);
}

static bool is_asked_to_stop(struct rebuild *r)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    r->report->was_stopped |= sigtimedwait(&set, NULL, &(struct timespec){0}) > 0;
    return r->report->was_stopped;
}
