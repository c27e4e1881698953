/* SPDX-License-Identifier: MIT */
/* Due months to records in the archive. Files first, then the facts that say so: a cut in between writes the same bytes
 * again.
 *
 * A month is read here, drawn up and written by a worker thread, and entered here. Each is a world of its own: the
 * worker has its own arena and no way to the database, so neither order nor number of the workers can show in the
 * files. Threads without a month help with the formats of another's: a lone month is drawn up by all of them. */
#include "service/publish.h"

#include "archive/archive.h"
#include "archive/daily.h"
#include "base/timestamp.h"
#include "base/workers.h"
#include "service/attempt.h"
#include "service/batch.h"
#include "service/dataset_load.h"
#include "service/kept.h"
#include "service/month_facts.h"
#include "service/publish_pages.h"
#include "service/revise.h"

#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    MONTHS_PER_WORKER = 2,
    USUAL_MOST = 2 << 20, /* bytes of a record in the store: twelve times a month at 5 min */
    RECORDS = 1,          /* formats by what they are to the revision */
    OTHERS = 2,
    CSV = 0, /* among the files of a month: it is always written, and first (archive_writers) */
};

/* A file of a month, drawn up by whichever thread has time. */
struct format_part {
    struct workers_part part;
    const struct dataset *dataset;
    const struct archive_writer *writer;
    struct archive_file *file;
};

/* A record on its way. The worker's from start to collection, the publisher's otherwise. */
struct month_job {
    size_t slot;             /* attempt.h */
    struct month_job *next;  /* of those that are on their way, or of the spare ones */
    struct workers *helpers; /* who may take parts of it; NULL: nobody */
    struct arena *arena;
    struct page_fact page; /* as it was read; then as it will be entered */
    struct dataset dataset;
    char known_sha256[ARCHIVE_WRITERS_MAX][SHA256_HEX_SIZE];
    struct batch_of_files batch;
    struct batch_of_files kept;    /* of the revision before */
    struct month_facts facts;      /* of month 0: none */
    struct revision_fact revision; /* of revision 0: nothing was published */
    bool is_written;
    struct error error;
};

struct publisher {
    struct workers *workers;
    struct known_months *known; /* what stations' pages will ask for */
    struct month_job *on_way, *spare;
    size_t jobs;                     /* ever made */
    const struct attempts *attempts; /* attempt.h */
};

static bool enter_months(struct pipeline *p, struct publisher *publisher, bool *ret_worked, struct error *error);
static bool enter_month(struct pipeline *p, const struct month_job *job, struct error *error);
static void keep_facts(const struct pipeline *p, struct publisher *publisher, const struct month_job *job);
static bool start_months(struct pipeline *p, struct publisher *publisher, bool with_dirty, bool *ret_worked,
                         struct error *error);
static bool start_month(struct pipeline *p, struct publisher *publisher, const struct page_fact *page,
                        struct error *error);
static bool note_if_large(struct pipeline *p, size_t slot, const struct page_fact *page, size_t station,
                          struct error *error);
static bool is_on_way(const struct publisher *publisher, const struct page_fact *page);
static void let_go(struct publisher *publisher, struct month_job *job);
static struct month_job *take_spare(struct publisher *publisher);
static void put_spare(struct publisher *publisher, struct month_job *job);
static void write_month(void *argument);
static void render_month(struct month_job *job);
static void compute_facts(struct month_job *job);
static void tell_changes(struct month_job *job);
static void render_records(struct month_job *job, char ret_content[SHA256_HEX_SIZE]);
static void render_formats(struct month_job *job, unsigned which);
static void render_format(void *argument);
static void content_of_records(const struct dataset *dataset, struct archive_file *files,
                               char ret_content[SHA256_HEX_SIZE]);
static bool leave_reviewed(struct pipeline *p, struct month_job *job, struct error *error);
static bool look_up_files(struct pipeline *p, struct month_job *job, struct error *error);

struct publisher *publisher_open(const struct config *config, struct error *error)
{
    struct publisher *publisher = x_alloc(sizeof *publisher);
    publisher->attempts = NULL;
    long cores = sysconf(_SC_NPROCESSORS_ONLN);
    /* One more than there are cores: each waits for the disk now and then. */
    size_t threads = config->workers > 0 ? (size_t)config->workers : cores > 1 ? (size_t)cores + 1 : 2;
    publisher->workers = workers_open(threads, error);
    publisher->known = known_months_new(config->station_count);
    if (publisher->workers)
        return publisher;
    known_months_free(publisher->known);
    free(publisher);
    return NULL;
}

void publisher_close(struct publisher *publisher)
{
    if (!publisher)
        return;
    struct month_job *job;
    while ((job = workers_wait(publisher->workers)))
        let_go(publisher, job);
    workers_close(publisher->workers);
    publisher_trim(publisher);
    known_months_free(publisher->known);
    free(publisher);
}

void publisher_trim(struct publisher *publisher)
{
    while (publisher->spare) {
        struct month_job *job = publisher->spare;
        publisher->spare = job->next;
        arena_free(job->arena);
        free(job);
    }
}

int publisher_fd(const struct publisher *publisher)
{
    return workers_fd(publisher->workers);
}

bool publisher_is_busy(const struct publisher *publisher)
{
    return publisher->on_way != NULL;
}

void publisher_wait(const struct publisher *publisher)
{
    struct pollfd next = {.fd = publisher_fd(publisher), .events = POLLIN};
    if (publisher_is_busy(publisher))
        (void)poll(&next, 1, -1);
}

bool publish_months(struct pipeline *p, struct publisher *publisher, bool with_dirty, bool *ret_worked,
                    struct error *error)
{
    *ret_worked = false;
    arena_reset(p->arena);
    return (enter_months(p, publisher, ret_worked, error) &&
            start_months(p, publisher, with_dirty, ret_worked, error)) ||
           within(error, "publishing");
}

/* Stations before the network: a page links to what stands. */
bool publish_pages(struct pipeline *p, struct publisher *publisher, bool with_network, enum published *ret,
                   struct error *error)
{
    uint32_t *places;
    size_t n;
    *ret = PUBLISHED_NOTHING;
    arena_reset(p->arena);
    if (!store_manifests_due(p->store, p->arena, &places, &n, error))
        return false;
    bool is_network_alone = n == 1 && places[0] == 0;
    if (n > 0)
        *ret = !is_network_alone ? PUBLISHED_STATIONS : with_network ? PUBLISHED_NETWORK : PUBLISHED_NETWORK_LATER;
    return n == 0 || *ret == PUBLISHED_NETWORK_LATER ||
           publish_places(p, publisher->workers, publisher->known, places, n, error);
}

/* ---- from the workers ---- */

/* Those that are finished, in one transaction. One that could not be written stays due, and its error is returned after
 * the others were entered. */
static bool enter_months(struct pipeline *p, struct publisher *publisher, bool *ret_worked, struct error *error)
{
    bool ok = true, failed = false;
    struct error first;
    struct month_job *job;
    const char **revised = arena_array(p->arena, workers_running(publisher->workers) + 1, sizeof *revised);
    size_t revised_count = 0;
    while ((job = workers_collect(publisher->workers))) {
        if (job->is_written && job->revision.revision > 1)
            revised[revised_count++] = arena_strdup(p->arena, job->batch.files[CSV].path);
        if (!job->is_written && !failed) {
            failed = true;
            first = job->error;
        } else if (job->is_written && ok) {
            ok = (store_is_open_transaction(p->store) || store_begin(p->store, __func__, error)) &&
                 enter_month(p, job, error);
            keep_facts(p, publisher, job);
        }
        let_go(publisher, job);
        *ret_worked = true;
    }
    if (ok && store_is_open_transaction(p->store))
        ok = store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    for (size_t k = 0; ok && k < revised_count; k++)
        revise_forget(p->config, revised[k]);
    if (ok && failed)
        *error = first;
    return ok && !failed;
}

static bool enter_month(struct pipeline *p, const struct month_job *job, struct error *error)
{
    if (!store_page_published(p->store, &job->page, error) ||
        !attempt_succeeded(p->attempts, p->store, job->page.place, error) ||
        (job->revision.revision > 0 && !store_revision_add(p->store, &job->revision, error)) ||
        !batch_put_facts(p, &job->kept, error) || !batch_put_facts(p, &job->batch, error))
        return false;
    for (size_t k = 0; k < job->batch.count; k++)
        if (!job->batch.files[k].unchanged && !store_manifest_due(p->store, job->page.place, error))
            return false;
    return true;
}

/* A month that stays as it stands (leave_reviewed) has none. */
static void keep_facts(const struct pipeline *p, struct publisher *publisher, const struct month_job *job)
{
    size_t station = pipeline_station_of(p, job->page.place);
    if (station == p->config->station_count)
        return;
    if (job->facts.month != 0)
        known_months_put(publisher->known, station, &job->facts);
    else
        known_months_forget(publisher->known, station);
}

/* ---- to the workers ---- */

static bool start_months(struct pipeline *p, struct publisher *publisher, bool with_dirty, bool *ret_worked,
                         struct error *error)
{
    size_t running = workers_running(publisher->workers), n;
    size_t most = attempts_work_alone(p->attempts) ? 1 : MONTHS_PER_WORKER * workers_threads(publisher->workers);
    publisher->attempts = p->attempts;
    struct page_fact *pages;
    if (running >= most)
        return true;
    if (!store_pages_due(p->store, with_dirty, most + running, p->arena, &pages, &n, error))
        return false;
    for (size_t k = 0; k < n && workers_running(publisher->workers) < most; k++) {
        if (is_on_way(publisher, &pages[k]))
            continue;
        if (!start_month(p, publisher, &pages[k], error))
            return false;
        *ret_worked = true;
    }
    return true;
}

/* What changes while a month is on its way is written after it. */
static bool is_on_way(const struct publisher *publisher, const struct page_fact *page)
{
    const struct month_job *job = publisher->on_way;
    while (job && (job->page.place != page->place || job->page.month != page->month))
        job = job->next;
    return job != NULL;
}

static bool start_month(struct pipeline *p, struct publisher *publisher, const struct page_fact *page,
                        struct error *error)
{
    size_t station = pipeline_station_of(p, page->place);
    struct month_job *job = take_spare(publisher);
    if (!note_if_large(p, job->slot, page, station, error)) {
        put_spare(publisher, job);
        return false;
    }
    job->page = *page;
    job->page.content = arena_strdup(job->arena, page->content);
    job->page.facts = arena_strdup(job->arena, page->facts);
    /* A station that is configured no more: what was published stays. */
    if (station < p->config->station_count &&
        (!dataset_load(p, station, page->month, job->arena, &job->dataset, error) || !leave_reviewed(p, job, error) ||
         !look_up_files(p, job, error))) {
        put_spare(publisher, job);
        return false;
    }
    job->helpers = attempts_work_alone(p->attempts) ? NULL : publisher->workers;
    job->next = publisher->on_way;
    publisher->on_way = job;
    workers_start(publisher->workers, write_month, job);
    return true;
}

/* One of the usual size fits wherever the program starts at all: that the program was ended by something else while it
 * wrote that says nothing about it. */
static bool note_if_large(struct pipeline *p, size_t slot, const struct page_fact *page, size_t station,
                          struct error *error)
{
    if (station >= p->config->station_count)
        return true;
    const int64_t offset = p->config->stations[station].utc_offset;
    const struct civil first = {.year = page->month / 12, .month = page->month % 12 + 1, .day = 1};
    const int64_t from = timestamp_from_civil(&first) - offset;
    const struct span span = {from, timestamp_next_month(from, offset)};
    int64_t bytes;
    if (!store_record_size(p->store, page->place, span, &bytes, error))
        return false;
    if (bytes > USUAL_MOST)
        attempt_begin_record(p->attempts, slot, page->place);
    return true;
}

/* A collected one. */
static void let_go(struct publisher *publisher, struct month_job *job)
{
    struct month_job **link = &publisher->on_way;
    while (*link != job)
        link = &(*link)->next;
    *link = job->next;
    attempt_end_record(publisher->attempts, job->slot);
    put_spare(publisher, job);
}

static struct month_job *take_spare(struct publisher *publisher)
{
    struct month_job *job = publisher->spare;
    if (!job) {
        job = x_alloc(sizeof *job);
        job->arena = arena_new();
        job->slot = ++publisher->jobs;
        return job;
    }
    publisher->spare = job->next;
    job->next = NULL;
    return job;
}

static void put_spare(struct publisher *publisher, struct month_job *job)
{
    struct arena *arena = job->arena;
    batch_done(&job->batch);
    batch_done(&job->kept);
    arena_reset(arena);
    *job = (struct month_job){.next = publisher->spare, .slot = job->slot, .arena = arena};
    publisher->spare = job;
}

/* ---- on a worker's thread ---- */

static void write_month(void *argument)
{
    struct month_job *job = argument;
    job->is_written = true;
    if (job->dataset.record.n == 0)
        return;
    render_month(job);
    const char *archive = job->dataset.config->archive;
    job->is_written = archive_write_files(archive, job->kept.files, job->kept.count, &job->error) &&
                      archive_write_files(archive, job->batch.files, job->batch.count, &job->error);
}

/* Drawn up under the revision that stands; only when that is not what was published does the revision rise. The records
 * decide about it, and what else there is tells of it: where it is known, all are drawn up side by side. */
static void render_month(struct month_job *job)
{
    struct dataset *dataset = &job->dataset;
    struct archive_file *files = job->batch.files;
    char content[SHA256_HEX_SIZE];
    bool is_first = job->page.revision == 0;
    dataset->revision = is_first ? 1 : job->page.revision;
    if (!is_first)
        render_records(job, content);
    if (!is_first && strcmp(content, job->page.content) != 0) {
        dataset->revision++;
        tell_changes(job);
        kept_collect(dataset, job->page.place, job->page.revision, job->known_sha256, &job->kept);
        render_records(job, content);
    }
    compute_facts(job);
    if (is_first) {
        archive_files_init(dataset, files);
        render_formats(job, RECORDS | OTHERS);
        content_of_records(dataset, files, content);
    } else {
        render_formats(job, OTHERS);
    }
    for (size_t f = 0; f < job->batch.count; f++)
        memcpy(files[f].known_sha256, job->known_sha256[f], SHA256_HEX_SIZE);
    job->revision = (struct revision_fact){.place = job->page.place,
                                           .month = job->page.month,
                                           .revision = dataset->revision,
                                           .last_time = dataset->record.time[dataset->record.n - 1],
                                           .changes = job->revision.changes,
                                           .state = dataset->state};
    job->page.revision = dataset->revision;
    job->page.state = dataset->state;
    job->page.content = arena_strdup(job->arena, content);
    job->page.facts = revise_facts(dataset, job->arena);
}

/* Once for all that tell of them: the writers, and the station's page behind this. */
static void compute_facts(struct month_job *job)
{
    struct dataset *dataset = &job->dataset;
    job->facts.month = job->page.month;
    dataset->daily = daily_of(dataset, job->arena);
    daily_hours(dataset->daily, &job->facts.hours);
    summarize_all(&dataset->record, job->facts.summaries);
    dataset->summaries = job->facts.summaries;
}

/* Of a revision alone: what a first one has is all new. The table does not tell of revisions, so it is final here. */
static void tell_changes(struct month_job *job)
{
    job->revision.changes =
        revise_changes(&job->dataset, &job->page, &job->batch.files[CSV], job->known_sha256[CSV], job->arena);
    job->dataset.history =
        revise_history(job->dataset.history, job->dataset.revision, job->revision.changes, job->arena);
}

static void render_records(struct month_job *job, char ret_content[SHA256_HEX_SIZE])
{
    struct archive_file *files = job->batch.files;
    for (size_t f = 0; f < job->batch.count; f++)
        archive_file_done(&files[f]);
    archive_files_init(&job->dataset, files);
    render_formats(job, RECORDS);
    content_of_records(&job->dataset, files, ret_content);
}

/* Helpers take from the first on, this thread from the last on, and each does the next that nobody has. */
static void render_formats(struct month_job *job, unsigned which)
{
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    struct format_part parts[ARCHIVE_WRITERS_MAX];
    size_t formats = archive_writers_wanted(job->dataset.config, writers), n = 0;
    for (size_t f = 0; f < formats; f++) {
        if (!((writers[f]->is_record ? RECORDS : OTHERS) & which))
            continue;
        parts[n] = (struct format_part){.dataset = &job->dataset, .writer = writers[f], .file = &job->batch.files[f]};
        parts[n].part = (struct workers_part){.run = render_format, .argument = &parts[n]};
        n++;
    }
    for (size_t k = 0; k < n; k++)
        if (job->helpers)
            workers_offer(job->helpers, &parts[k].part);
        else
            render_format(&parts[k]);
    for (size_t k = n; job->helpers && k > 0; k--)
        workers_join(job->helpers, &parts[k - 1].part);
}

static void render_format(void *argument)
{
    struct format_part *part = argument;
    part->writer->render(part->dataset, &part->file->content);
    (void)archive_file_sha256(part->file); /* here, where it is as many threads' work */
}

/* One fingerprint of all that a change of makes a new revision. */
static void content_of_records(const struct dataset *dataset, struct archive_file *files,
                               char ret_content[SHA256_HEX_SIZE])
{
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    size_t formats = archive_writers_wanted(dataset->config, writers), count = 0;
    char all[ARCHIVE_WRITERS_MAX * SHA256_HEX_SIZE] = "";
    for (size_t f = 0; f < formats; f++) {
        if (!writers[f]->is_record)
            continue;
        memcpy(all + count++ * SHA256_HEX_SIZE, archive_file_sha256(&files[f]), SHA256_HEX_SIZE);
    }
    sha256_hex(all, count * SHA256_HEX_SIZE, ret_content);
}

/* A month that was reviewed as a whole stays as it stands while later facts would change it: until a person says so
 * again there is nothing to write. */
static bool leave_reviewed(struct pipeline *p, struct month_job *job, struct error *error)
{
    struct dataset *dataset = &job->dataset;
    struct waiting_span *held;
    size_t n = 0;
    char path[ARCHIVE_PATH_SIZE], known[SHA256_HEX_SIZE] = "";
    if (dataset->state != RECORD_REVIEWED || job->page.revision == 0)
        return true;
    archive_month_path(dataset->station->id, dataset->year, dataset->month, ".csv", path);
    if (!batch_look_up(p, path, known, error) ||
        !store_held_load(p->store, job->page.place, job->arena, &held, &n, error))
        return false;
    for (size_t k = 0; k < n && *known; k++)
        if (held[k].span.from < dataset->span.to && held[k].span.to > dataset->span.from)
            dataset->record.n = 0;
    return true;
}

static bool look_up_files(struct pipeline *p, struct month_job *job, struct error *error)
{
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    const struct dataset *dataset = &job->dataset;
    size_t formats = dataset->record.n > 0 ? archive_writers_wanted(p->config, writers) : 0;
    for (size_t f = 0; f < formats; f++) {
        char path[ARCHIVE_PATH_SIZE];
        archive_month_path(dataset->station->id, dataset->year, dataset->month, writers[f]->extension, path);
        batch_add(&job->batch, path, job->page.place);
        if (!batch_look_up(p, path, job->known_sha256[f], error))
            return false;
    }
    return true;
}
