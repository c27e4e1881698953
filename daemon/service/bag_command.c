/* SPDX-License-Identifier: MIT */
#include "service/bag_command.h"

#include "archive/archive.h"
#include "archive/bag.h"
#include "base/timestamp.h"
#include "service/dataset_load.h"
#include "service/month_word.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct job {
    struct pipeline pipeline;
    const struct bag_options *options;
    size_t station;
    int32_t month;
    struct page_fact page;
    struct dataset dataset;
    struct bag_file *files;
    size_t count, capacity;
};

static bool make(struct job *job, struct text *ret, struct error *error);
static bool find_page(struct job *job, struct error *error);
static bool add_files(struct job *job, struct error *error);
static bool add_originals(struct job *job, struct error *error);
static void add(struct job *job, const char *path, const char *sha256);
static bool write(struct job *job, struct text *ret, struct error *error);

bool bag_command_run(const struct config *config, const struct bag_options *options, struct text *ret,
                     struct error *error)
{
    struct job job = {.options = options, .station = config_find_station(config, options->station)};
    struct span span;
    if (job.station == config->station_count)
        return fail(error, ERROR_INPUT, "there is no station '%.60s' in the settings", options->station);
    const struct station *station = &config->stations[job.station];
    if (!month_word_read(options->month, station->utc_offset, &span))
        return fail(error, ERROR_INPUT, "'%.40s' is no month: expected one such as 2026-03", options->month);
    if (span.to > options->now)
        return fail(error, ERROR_INPUT, "the month %s is not over at '%s': a bag is of a finished month",
                    options->month, station->id);
    struct civil first = timestamp_to_civil(span.from + station->utc_offset);
    job.month = first.year * 12 + first.month - 1;
    struct store *store = store_open_to_read(config->state, error);
    bool ok = store && pipeline_open_to_read(&job.pipeline, config, store, error);
    if (ok) {
        ok = make(&job, ret, error);
        free(job.files);
        pipeline_close(&job.pipeline);
    }
    store_close(store);
    return ok;
}

static bool make(struct job *job, struct text *ret, struct error *error)
{
    struct pipeline *p = &job->pipeline;
    bool ok = find_page(job, error) && dataset_load(p, job->station, job->month, p->arena, &job->dataset, error) &&
              add_files(job, error) && add_originals(job, error);
    return ok && write(job, ret, error);
}

static bool find_page(struct job *job, struct error *error)
{
    struct pipeline *p = &job->pipeline;
    struct page_fact *pages;
    size_t n, k = 0;
    if (!store_pages_of_place(p->store, p->station_places[job->station], p->arena, &pages, &n, error))
        return false;
    while (k < n && pages[k].month != job->month)
        k++;
    if (k == n || pages[k].revision == 0)
        return fail(error, ERROR_INPUT, "station '%s' has no record of %s", job->options->station, job->options->month);
    if (pages[k].due)
        return fail(error, ERROR_INPUT,
                    "the record of %s is still to be written: let the service, or 'rillward once', "
                    "come to its end",
                    job->options->month);
    job->page = pages[k];
    return true;
}

/* The month's own files, and what tells how to read them. */
static bool add_files(struct job *job, struct error *error)
{
    struct pipeline *p = &job->pipeline;
    struct file_fact *files, about;
    size_t n;
    bool has_about;
    char begin[ARCHIVE_PATH_SIZE];
    archive_month_path(job->options->station, job->dataset.year, job->dataset.month, "", begin);
    if (!store_files_load(p->store, p->station_places[job->station], p->arena, &files, &n, error) ||
        !store_file_find(p->store, "about.txt", p->arena, &about, &has_about, error))
        return false;
    for (size_t k = 0; k < n; k++)
        if (text_starts_with(files[k].path, begin))
            add(job, files[k].path, files[k].sha256);
    if (has_about)
        add(job, about.path, about.sha256);
    return true;
}

static bool add_originals(struct job *job, struct error *error)
{
    const struct dataset *dataset = &job->dataset;
    for (size_t k = 0; k < dataset->drop_count; k++)
        add(job, dataset->drops[k].original, dataset->drops[k].sha256);
    for (size_t k = 0; k < dataset->note_count; k++) {
        struct drop_fact_row drop;
        if (!store_drop_load(job->pipeline.store, dataset->notes[k].drop, job->pipeline.arena, &drop, error))
            return false;
        add(job, drop.original, drop.sha256);
    }
    return true;
}

/* Each once: many notes stand in one drop. */
static void add(struct job *job, const char *path, const char *sha256)
{
    for (size_t k = 0; k < job->count; k++)
        if (strcmp(job->files[k].path, path) == 0)
            return;
    job->files = x_grow(job->files, job->count, &job->capacity, sizeof *job->files);
    job->files[job->count++] = (struct bag_file){path, sha256};
}

static bool write(struct job *job, struct text *ret, struct error *error)
{
    const struct config *config = job->pipeline.config;
    const struct dataset *dataset = &job->dataset;
    char identifier[512], description[1024], date[TIMESTAMP_SIZE], revision[32];
    snprintf(identifier, sizeof identifier, "%s/%s/%s/%" PRId64, config->network_id, dataset->station->id,
             job->options->month, job->page.revision);
    snprintf(description, sizeof description, "%.400s, %.400s, %s: finished record, with the files it came from",
             config->network_name, dataset->station->name, job->options->month);
    snprintf(revision, sizeof revision, "%" PRId64, job->page.revision);
    timestamp_print(job->options->now, date);
    date[strlen("2026-03-01")] = '\0';
    bool has_mail = config->contact && strchr(config->contact, '@');
    const struct bag_label labels[] = {
        {"Source-Organization", config->operator_name},
        {has_mail ? "Contact-Email" : "Contact-Name", config->contact},
        {"External-Description", description},
        {"External-Identifier", identifier},
        {"Bagging-Date", date},
        {"Record-Revision", revision},
        {"Record-State", record_state_word(job->page.state)},
    };
    int64_t bytes;
    if (!bag_write(config->archive, job->files, job->count, labels, COUNT_OF(labels), job->options->target, &bytes,
                   error))
        return false;
    text_printf(ret, "'%s' is a bag of %zu files, %" PRId64 " bytes: revision %" PRId64 ", %s\n", job->options->target,
                job->count, bytes, job->page.revision, record_state_word(job->page.state));
    return true;
}
