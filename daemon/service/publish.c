/* SPDX-License-Identifier: MIT */
/* Due months to records in the archive. Files first, then the facts that say so: a cut in between writes the same bytes
 * again. */
#include "archive/archive.h"
#include "base/timestamp.h"
#include "service/batch.h"
#include "service/pipeline.h"

#include <stdlib.h>
#include <string.h>

enum { MONTHS_AT_ONCE = 16, MOST_ALARMS = 200 };

static bool publish_months(struct pipeline *p, struct page_fact *pages, size_t n, struct error *error);
static bool render_month(struct pipeline *p, struct page_fact *page, struct revision_fact *revision,
                         struct batch_of_files *batch, struct error *error);
static bool load_dataset(struct pipeline *p, size_t station, const struct page_fact *page, struct dataset *ret,
                         struct error *error);
static bool load_raw(struct pipeline *p, uint32_t place, struct dataset *dataset, struct error *error);
static void align_raw(struct arena *arena, const struct readings *all, const struct record *record,
                      struct readings *ret);
static bool load_barometers(struct pipeline *p, struct dataset *dataset, struct error *error);
static bool load_drops(struct pipeline *p, struct dataset *dataset, struct error *error);
static void render_records(const struct dataset *dataset, struct archive_file *files,
                           char ret_content[SHA256_HEX_SIZE]);

/* Records before the pages that link to them, stations before the network. */
bool pipeline_publish(struct pipeline *p, bool *ret_worked, struct error *error)
{
    struct page_fact *months;
    uint32_t *places;
    size_t n, place_count;
    *ret_worked = false;
    arena_reset(p->arena);
    if (!store_pages_due(p->store, MONTHS_AT_ONCE, p->arena, &months, &n, error))
        return false;
    *ret_worked = n > 0;
    if (n > 0)
        return publish_months(p, months, n, error);
    if (!store_manifests_due(p->store, p->arena, &places, &place_count, error))
        return false;
    *ret_worked = place_count > 0;
    return place_count == 0 || publish_places(p, places, place_count, error);
}

static bool publish_months(struct pipeline *p, struct page_fact *months, size_t n, struct error *error)
{
    struct batch_of_files batch = {0};
    struct revision_fact *revisions = arena_array(p->arena, n + 1, sizeof *revisions);
    bool ok = true;
    for (size_t k = 0; ok && k < n; k++)
        ok = render_month(p, &months[k], &revisions[k], &batch, error);
    ok = ok && batch_write(p, &batch, error) && store_begin(p->store, __func__, error);
    for (size_t k = 0; ok && k < n; k++)
        ok = store_page_published(p->store, &months[k], error) &&
             (revisions[k].revision == 0 || store_revision_add(p->store, &revisions[k], error));
    ok = ok && batch_put_facts(p, &batch, error);
    for (size_t k = 0; ok && k < batch.count; k++)
        ok = batch.files[k].unchanged || store_manifest_due(p->store, batch.places[k], error);
    ok = ok && store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    batch_done(&batch);
    return ok || within(error, "publishing");
}

/* Rendered under the revision that stands; only when that is not what was published does the revision rise. */
static bool render_month(struct pipeline *p, struct page_fact *page, struct revision_fact *revision,
                         struct batch_of_files *batch, struct error *error)
{
    size_t station = pipeline_station_of(p, page->place);
    page->due = false;
    if (station == p->config->station_count)
        return true; /* configured no more: what was published stays */
    struct dataset dataset;
    if (!load_dataset(p, station, page, &dataset, error))
        return false;
    if (dataset.record.n == 0)
        return true;
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    size_t first = batch->count, formats = archive_writers_wanted(p->config, writers);
    for (size_t f = 0; f < formats; f++) {
        char path[ARCHIVE_PATH_SIZE];
        archive_month_path(dataset.station->id, dataset.year, dataset.month, writers[f]->extension, path);
        batch_add(batch, path, page->place);
    }
    char content[SHA256_HEX_SIZE];
    dataset.revision = page->revision > 0 ? page->revision : 1;
    render_records(&dataset, batch->files + first, content);
    if (page->revision > 0 && strcmp(content, page->content) != 0) {
        dataset.revision++;
        render_records(&dataset, batch->files + first, content);
    }
    archive_render_others(&dataset, batch->files + first);
    *revision = (struct revision_fact){.place = page->place,
                                       .month = page->month,
                                       .revision = dataset.revision,
                                       .last_time = dataset.record.time[dataset.record.n - 1]};
    page->revision = dataset.revision;
    page->content = arena_strdup(p->arena, content);
    return true;
}

static void render_records(const struct dataset *dataset, struct archive_file *files, char ret_content[SHA256_HEX_SIZE])
{
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    size_t formats = archive_writers_wanted(dataset->config, writers), count = 0;
    for (size_t f = 0; f < formats; f++)
        archive_file_done(&files[f]);
    archive_render_records(dataset, files);
    char all[ARCHIVE_WRITERS_MAX * SHA256_HEX_SIZE] = "";
    for (size_t f = 0; f < formats; f++) {
        if (!writers[f]->is_record)
            continue;
        const struct text *content = &files[f].content;
        sha256_hex(content->bytes ? content->bytes : "", content->length, all + count++ * SHA256_HEX_SIZE);
    }
    sha256_hex(all, count * SHA256_HEX_SIZE, ret_content);
}

static bool load_dataset(struct pipeline *p, size_t station, const struct page_fact *page, struct dataset *ret,
                         struct error *error)
{
    const struct station *s = &p->config->stations[station];
    struct civil first = {.year = page->month / 12, .month = page->month % 12 + 1, .day = 1};
    int64_t from = timestamp_from_civil(&first) - s->utc_offset;
    *ret = (struct dataset){.config = p->config,
                            .station = s,
                            .year = first.year,
                            .month = first.month,
                            .span = {from, timestamp_next_month(from, s->utc_offset)}};
    struct note *notes;
    struct check_result *checks;
    struct alarm *alarms;
    uint32_t all = (1u << NOTE_KIND_COUNT) - 1;
    if (!store_record_load(p->store, page->place, ret->span, p->arena, &ret->record, error) ||
        !store_notes_load(p->store, page->place, all, ret->span, p->arena, &notes, &ret->note_count, error) ||
        !store_checks_load(p->store, page->place, ret->span, p->arena, &checks, &ret->check_count, error) ||
        !store_alarms_of_station(p->store, s->id, ret->span, MOST_ALARMS, p->arena, &alarms, &ret->alarm_count, error))
        return false;
    ret->alarms = alarms;
    ret->notes = notes;
    ret->checks = checks;
    return ret->record.n == 0 ||
           (load_raw(p, page->place, ret, error) && load_barometers(p, ret, error) && load_drops(p, ret, error));
}

static bool load_raw(struct pipeline *p, uint32_t place, struct dataset *dataset, struct error *error)
{
    const struct record *record = &dataset->record;
    struct span span = {record->raw_time[0], record->raw_time[0] + 1};
    for (size_t i = 0; i < record->n; i++) {
        span.from = record->raw_time[i] < span.from ? record->raw_time[i] : span.from;
        span.to = record->raw_time[i] >= span.to ? record->raw_time[i] + 1 : span.to;
    }
    struct readings all;
    if (!store_readings_load(p->store, place, span, p->arena, &all, error))
        return false;
    align_raw(p->arena, &all, record, &dataset->raw);
    return true;
}

/* Row i of ret is the reading that row i of the record came from. Both ascend. */
static void align_raw(struct arena *arena, const struct readings *all, const struct record *record,
                      struct readings *ret)
{
    readings_init(ret, arena, record->n, readings_columns(all));
    size_t j = 0;
    for (size_t i = 0; i < record->n; i++) {
        while (j < all->n && all->time[j] < record->raw_time[i])
            j++;
        ret->time[i] = record->raw_time[i];
        if (j == all->n || all->time[j] != record->raw_time[i])
            continue;
        ret->drop[i] = all->drop[j];
        ret->line[i] = all->line[j];
        for (unsigned q = 0; q < QUANTITY_COUNT; q++)
            if (ret->value[q])
                ret->value[q][i] = all->value[q][j];
    }
}

static int compare_numbers(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return x < y ? -1 : x > y;
}

/* The distinct values but 0, ascending; masks and numbers change rarely, so most repeats are neighbours. */
static size_t distinct(struct arena *arena, const uint32_t *values, size_t n, uint32_t **ret)
{
    uint32_t *list = arena_array(arena, n + 1, sizeof *list);
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        if (values[i] != 0 && (count == 0 || list[count - 1] != values[i]))
            list[count++] = values[i];
    qsort(list, count, sizeof *list, compare_numbers);
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (kept == 0 || list[kept - 1] != list[i])
            list[kept++] = list[i];
    *ret = list;
    return kept;
}

static bool load_barometers(struct pipeline *p, struct dataset *dataset, struct error *error)
{
    uint32_t *numbers;
    size_t n = distinct(p->arena, dataset->record.barometer, dataset->record.n, &numbers);
    struct dataset_barometer *list = arena_array(p->arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        list[k].number = numbers[k];
        if (!store_place_key(p->store, numbers[k], p->arena, &list[k].id, error))
            return false;
    }
    dataset->barometers = list;
    dataset->barometer_count = n;
    return true;
}

static bool load_drops(struct pipeline *p, struct dataset *dataset, struct error *error)
{
    uint32_t *numbers;
    size_t n = distinct(p->arena, dataset->raw.drop, dataset->raw.n, &numbers);
    struct dataset_drop *list = arena_array(p->arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        struct drop_fact_row drop;
        if (!store_drop_load(p->store, numbers[k], p->arena, &drop, error))
            return false;
        list[k] = (struct dataset_drop){numbers[k], drop.path, drop.sha256, drop.original, drop.layout};
    }
    dataset->drops = list;
    dataset->drop_count = n;
    return true;
}
