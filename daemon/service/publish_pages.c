/* SPDX-License-Identifier: MIT */
#include "service/publish_pages.h"

#include "archive/manifest.h"
#include "service/batch.h"
#include "service/kept.h"
#include "service/network_views.h"
#include "service/publish_history.h"
#include "service/publish_network.h"
#include "service/publish_station.h"
#include "service/publish_years.h"

#include <errno.h>
#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PLACES_AT_ONCE = 16 };

/* One place: loaded here, then a worker's while it is drawn, then written and entered here. What it points to is in the
 * pipeline's arena, which only this thread adds to. */
struct place_job {
    uint32_t place;
    size_t station; /* in the settings; the count where it is none of them */
    enum archive_place kind;
    const char *id;
    struct station_files stand;
    bool has_page;
    struct page_station page;
    struct history history;
    struct batch_of_files batch;
    struct workers_part part;
};

/* Beside the files of all of them. */
struct changes {
    const char **stale; /* files that the settings ask for no more */
    size_t stale_count, stale_capacity;
    struct year_due *years;
    size_t year_count, year_capacity;
};

static bool publish_stations(struct pipeline *p, struct workers *workers, struct known_months *known,
                             const uint32_t *places, size_t n, struct error *error);
static bool load_and_draw(struct pipeline *p, struct workers *workers, struct known_months *known,
                          struct place_job *jobs, size_t n, struct changes *changes, struct error *error);
static bool enter(struct pipeline *p, const struct place_job *jobs, size_t n, const struct batch_of_files *batch,
                  const struct changes *changes, struct error *error);
static bool load_place(struct pipeline *p, struct known_months *known, struct place_job *job, struct changes *changes,
                       struct error *error);
static enum archive_place kind_of(const struct pipeline *p, uint32_t place, const struct file_fact *files, size_t n);
static size_t choose_wanted(const struct pipeline *p, const struct place_job *job, struct file_fact *files, size_t n,
                            struct changes *changes);
static bool is_wanted(const struct config *config, const char *station, const char *rest, const struct file_fact *file,
                      const struct station_files *stand);
static bool load_years(struct pipeline *p, size_t station, struct place_job *job, struct changes *changes,
                       struct error *error);
static int compare_newest_first(const void *a, const void *b);
static void draw_place(void *argument);
static void draw_manifest(struct place_job *job);
static bool remove_stale(struct pipeline *p, const struct changes *changes, struct error *error);
static bool enter_changes(struct pipeline *p, const struct changes *changes, struct error *error);

bool publish_places(struct pipeline *p, struct workers *workers, struct known_months *known, const uint32_t *places,
                    size_t n, struct error *error)
{
    size_t first = places[0] == 0 ? 1 : 0; /* ascending: the network's own files are last to be written, not first */
    bool has_front_page, has_script;
    if (!batch_is_known(p, "index.html", &has_front_page, error) ||
        !batch_is_known(p, PAGE_SCRIPT_PATH, &has_script, error))
        return false;
    /* The very first front page links to no station: their pages link to it. */
    if (first == n || !has_front_page || !has_script)
        return publish_network(p, workers, error);
    size_t count = n - first < PLACES_AT_ONCE ? n - first : PLACES_AT_ONCE;
    return publish_stations(p, workers, known, places + first, count, error);
}

static bool publish_stations(struct pipeline *p, struct workers *workers, struct known_months *known,
                             const uint32_t *places, size_t n, struct error *error)
{
    struct place_job *jobs = arena_array(p->arena, n, sizeof *jobs);
    struct batch_of_files batch = {0};
    struct changes changes = {0};
    for (size_t k = 0; k < n; k++)
        jobs[k].place = places[k];
    bool ok = load_and_draw(p, workers, known, jobs, n, &changes, error);
    for (size_t k = 0; k < n; k++)
        batch_join(&batch, &jobs[k].batch);
    ok = ok && batch_write(p, &batch, error) && remove_stale(p, &changes, error) &&
         enter(p, jobs, n, &batch, &changes, error);
    if (!ok)
        store_rollback(p->store);
    for (size_t k = 0; k < n; k++) /* also where it failed: what was read before may not be so any more */
        network_views_forget(p, places[k]);
    for (size_t k = 0; ok && k < n; k++)
        if (jobs[k].has_page)
            network_views_keep(p, jobs[k].station, jobs[k].page.at);
    batch_done(&batch);
    free(changes.stale);
    free(changes.years);
    return ok || within(error, "publishing stations");
}

/* What no worker took is drawn here, the last one at any rate: this thread would only wait for it. */
static bool load_and_draw(struct pipeline *p, struct workers *workers, struct known_months *known,
                          struct place_job *jobs, size_t n, struct changes *changes, struct error *error)
{
    size_t loaded = 0;
    bool ok = store_begin_to_read(p->store, __func__, error);
    while (ok && loaded < n && (ok = load_place(p, known, &jobs[loaded], changes, error))) {
        struct place_job *job = &jobs[loaded++];
        job->part = (struct workers_part){.run = draw_place, .argument = job};
        if (loaded < n)
            workers_offer(workers, &job->part);
    }
    store_rollback(p->store);
    if (ok)
        draw_place(&jobs[n - 1]);
    for (size_t k = 0; k < loaded && k + 1 < n; k++) /* also where it failed: they must not outlive this */
        workers_join(workers, &jobs[k].part);
    return ok;
}

static bool enter(struct pipeline *p, const struct place_job *jobs, size_t n, const struct batch_of_files *batch,
                  const struct changes *changes, struct error *error)
{
    if (!store_begin(p->store, __func__, error) || !batch_put_facts(p, batch, error) ||
        !enter_changes(p, changes, error))
        return false;
    for (size_t k = 0; k < n; k++)
        if (!store_manifest_done(p->store, jobs[k].place, error))
            return false;
    return store_manifest_due(p->store, 0, error) && store_commit(p->store, error);
}

/* ---- what is to be drawn ---- */

static bool load_place(struct pipeline *p, struct known_months *known, struct place_job *job, struct changes *changes,
                       struct error *error)
{
    struct file_fact *files;
    struct page_fact *months;
    size_t n;
    job->station = pipeline_station_of(p, job->place);
    job->has_page = job->station < p->config->station_count;
    if (!store_files_load(p->store, job->place, p->arena, &files, &n, error) ||
        !store_pages_of_place(p->store, job->place, p->arena, &months, &job->stand.month_count, error) ||
        !store_place_key(p->store, job->place, p->arena, &job->id, error))
        return false;
    job->kind = kind_of(p, job->place, files, n);
    job->stand.months = months;
    job->stand.files = files;
    job->stand.file_count = job->has_page ? choose_wanted(p, job, files, n, changes) : n;
    if (job->has_page && (!publish_station_load(p, job->station, &job->stand, known, &job->page, error) ||
                          !load_years(p, job->station, job, changes, error)))
        return false;
    return publish_history_load(p, job->place, job->kind, job->id, &job->history, error);
}

/* A place that is configured no more is known by where its files stand. */
static enum archive_place kind_of(const struct pipeline *p, uint32_t place, const struct file_fact *files, size_t n)
{
    bool is_barometer = pipeline_barometer_of(p, place) < p->config->barometer_count ||
                        (n > 0 && text_starts_with(files[0].path, "barometers/"));
    return place == 0 ? ARCHIVE_NETWORK : is_barometer ? ARCHIVE_BAROMETER : ARCHIVE_STATION;
}

/* A format that was switched off leaves nothing behind that no page tells of. Returns how many stay, first of all. */
static size_t choose_wanted(const struct pipeline *p, const struct place_job *job, struct file_fact *files, size_t n,
                            struct changes *changes)
{
    char folder[ARCHIVE_PATH_SIZE];
    const char *station = p->config->stations[job->station].id;
    size_t length = (size_t)snprintf(folder, sizeof folder, "stations/%s/", station), kept = 0;
    for (size_t k = 0; k < n; k++) {
        if (strncmp(files[k].path, folder, length) != 0 ||
            is_wanted(p->config, station, files[k].path + length, &files[k], &job->stand)) {
            files[kept++] = files[k];
            continue;
        }
        changes->stale = x_grow(changes->stale, changes->stale_count, &changes->stale_capacity, sizeof *changes->stale);
        changes->stale[changes->stale_count++] = files[k].path;
    }
    return kept;
}

/* `rest`: its path in the station's folder. */
static bool is_wanted(const struct config *config, const char *station, const char *rest, const struct file_fact *file,
                      const struct station_files *stand)
{
    const size_t year = strlen("2026/"), month = strlen("_2026-03");
    size_t formats, id = strlen(station), length = strlen(rest);
    const struct archive_writer *writers = archive_writers(&formats);
    if (text_starts_with(rest, "originals/"))
        return true;
    if (strstr(rest, "/revisions/"))
        return kept_is_wanted(config, file->path, stand->months, stand->month_count);
    if (!strchr(rest, '/')) /* beside the pages: files of years */
        return !text_ends_with(rest, ".nc") || publish_years_wants(config, station, file->path);
    if (length < year + id + month || strncmp(rest + year, station, id) != 0)
        return true;
    for (size_t f = 0; f < formats; f++)
        if (strcmp(rest + year + id + month, writers[f].extension) == 0)
            return writers[f].format == FORMAT_CSV || config->archive_formats >> writers[f].format & 1;
    return true;
}

/* Those that stand, and those that the batch is to write: a page is written behind what it links to. */
static bool load_years(struct pipeline *p, size_t station, struct place_job *job, struct changes *changes,
                       struct error *error)
{
    const struct station_files *stand = &job->stand;
    const char *id = p->config->stations[station].id;
    struct batch_of_files *batch = &job->batch;
    struct page_station *page = &job->page;
    struct year_due *due;
    size_t due_count;
    if (p->config->netcdf_year_begins == 0)
        return true;
    if (!publish_years(p, station, stand->months, stand->month_count, batch, &due, &due_count, error))
        return false;
    struct page_file *years = arena_array(p->arena, stand->file_count + due_count + 1, sizeof *years);
    for (size_t k = 0; k < due_count; k++) {
        changes->years = x_grow(changes->years, changes->year_count, &changes->year_capacity, sizeof *changes->years);
        changes->years[changes->year_count++] = due[k];
        years[page->year_count++] =
            (struct page_file){.path = due[k].path, .bytes = (int64_t)batch_find(batch, due[k].path)->content.length};
    }
    for (size_t k = 0; k < stand->file_count; k++) {
        const struct file_fact *file = &stand->files[k];
        if (publish_years_wants(p->config, id, file->path) && !batch_find(batch, file->path))
            years[page->year_count++] = (struct page_file){.path = file->path, .bytes = file->bytes};
    }
    qsort(years, page->year_count, sizeof *years, compare_newest_first);
    for (size_t k = 0; k < page->year_count; k++)
        years[k].label =
            arena_printf(p->arena, "%.4s, revision %" PRId64, years[k].path + strlen(years[k].path) - strlen("2026.nc"),
                         publish_years_revision(p->config, id, years[k].path, stand->months, stand->month_count));
    page->years = years;
    return true;
}

static int compare_newest_first(const void *a, const void *b)
{
    return strcmp(((const struct page_file *)b)->path, ((const struct page_file *)a)->path);
}

/* ---- on a worker's thread, but for the last ---- */

static void draw_place(void *argument)
{
    struct place_job *job = argument;
    char path[ARCHIVE_PATH_SIZE];
    if (job->has_page) {
        const char *id = job->page.at->station->id;
        page_station_render(&job->page, &batch_add(&job->batch, page_station_path(id, path), job->place)->content);
        page_sheet_render(&job->page, &batch_add(&job->batch, page_sheet_path(id, path), job->place)->content);
    }
    if (job->history.drop_count > 0) {
        archive_history_path(job->kind, job->id, path);
        history_render(&job->history, &batch_add(&job->batch, path, job->place)->content);
    }
    draw_manifest(job);
    for (size_t k = 0; k < job->batch.count; k++)
        archive_file_sha256(&job->batch.files[k]);
}

static void draw_manifest(struct place_job *job)
{
    char path[ARCHIVE_PATH_SIZE];
    struct archive_file manifest;
    archive_manifest_path(job->kind, job->id, path);
    archive_file_init(&manifest, path);
    batch_list(&job->batch, job->stand.files, job->stand.file_count, path, &manifest.content);
    if (manifest.content.length > 0)
        *batch_add(&job->batch, path, 0) = manifest;
}

/* ---- what they stand for ---- */

/* Behind the pages and manifests that name them no more, before the facts: cut off in between, it is done again. */
static bool remove_stale(struct pipeline *p, const struct changes *changes, struct error *error)
{
    for (size_t k = 0; k < changes->stale_count; k++) {
        char full[PATH_MAX];
        snprintf(full, sizeof full, "%s/%s", p->config->archive, changes->stale[k]);
        if (unlink(full) != 0 && errno != ENOENT)
            return fail(error, ERROR_SYSTEM, "'%s' cannot be removed: %s", full, strerror(errno));
        if (strstr(changes->stale[k], "/revisions/")) { /* each has a folder: gone when it was the last */
            *strrchr(full, '/') = '\0';
            (void)rmdir(full);
        }
    }
    return true;
}

static bool enter_changes(struct pipeline *p, const struct changes *changes, struct error *error)
{
    for (size_t k = 0; k < changes->stale_count; k++)
        if (!store_file_forget(p->store, changes->stale[k], error))
            return false;
    for (size_t k = 0; k < changes->year_count; k++)
        if (!store_year_put(p->store, changes->years[k].path, changes->years[k].records, error))
            return false;
    return true;
}
