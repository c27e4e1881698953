/* SPDX-License-Identifier: MIT */
/* Due pages to files of the archive. Files first, then the facts that say so: a cut in between writes the same bytes again. */
#include "archive/about.h"
#include "archive/archive.h"
#include "archive/manifest.h"
#include "archive/network_json.h"
#include "base/timestamp.h"
#include "service/pipeline.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAGES_AT_ONCE = 16 };

/* Files that are written together. */
struct batch_of_files {
    struct archive_file *files;
    uint32_t *places;
    size_t count, capacity;
};

static struct archive_file *add_file(struct batch_of_files *batch, const char *path, uint32_t place);
static void batch_done(struct batch_of_files *batch);
static bool publish_pages(struct pipeline *p, struct page_fact *pages, size_t n, struct error *error);
static bool render_page(struct pipeline *p, struct page_fact *page, struct batch_of_files *batch, struct error *error);
static bool load_dataset(struct pipeline *p, size_t station, const struct page_fact *page, struct dataset *ret,
                         struct error *error);
static bool load_raw(struct pipeline *p, uint32_t place, struct dataset *dataset, struct error *error);
static void align_raw(struct arena *arena, const struct readings *all, const struct record *record, struct readings *ret);
static bool load_barometers(struct pipeline *p, struct dataset *dataset, struct error *error);
static bool load_drops(struct pipeline *p, struct dataset *dataset, struct error *error);
static bool render_formats(const struct dataset *dataset, struct archive_file *files, char content[SHA256_HEX_SIZE],
                           struct error *error);
static bool publish_network(struct pipeline *p, const uint32_t *places, size_t n, struct error *error);
static bool render_manifest(struct pipeline *p, uint32_t place, struct batch_of_files *batch, struct error *error);
static bool render_top(struct pipeline *p, struct batch_of_files *batch, struct error *error);
static bool view_station(struct pipeline *p, size_t station, const struct alarm *alarms, size_t alarm_count,
                         struct network_station *ret, struct error *error);
static bool last_values(struct pipeline *p, uint32_t place, const struct place_fact *fact, struct network_station *ret,
                        struct error *error);
static bool known_files(struct pipeline *p, struct batch_of_files *batch, struct error *error);
static bool put_file_facts(struct pipeline *p, const struct batch_of_files *batch, struct error *error);

bool pipeline_publish(struct pipeline *p, bool *ret_worked, struct error *error)
{
    struct page_fact *pages;
    uint32_t *places;
    size_t n, place_count;
    *ret_worked = false;
    arena_reset(p->arena);
    if (!store_pages_due(p->store, PAGES_AT_ONCE, p->arena, &pages, &n, error))
        return false;
    *ret_worked = n > 0;
    if (n > 0)
        return publish_pages(p, pages, n, error);
    if (!store_manifests_due(p->store, p->arena, &places, &place_count, error))
        return false;
    *ret_worked = place_count > 0;
    return place_count == 0 || publish_network(p, places, place_count, error);
}

static bool publish_pages(struct pipeline *p, struct page_fact *pages, size_t n, struct error *error)
{
    struct batch_of_files batch = {0};
    bool ok = true;
    for (size_t k = 0; ok && k < n; k++)
        ok = render_page(p, &pages[k], &batch, error);
    ok = ok && known_files(p, &batch, error) &&
         archive_write_files(p->config->archive, batch.files, batch.count, error) &&
         store_begin(p->store, __func__, error);
    for (size_t k = 0; ok && k < n; k++)
        ok = store_page_published(p->store, &pages[k], error);
    ok = ok && put_file_facts(p, &batch, error);
    for (size_t k = 0; ok && k < batch.count; k++)
        ok = batch.files[k].unchanged || store_manifest_due(p->store, batch.places[k], error);
    ok = ok && store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    batch_done(&batch);
    return ok || within(error, "publishing");
}

/* Rendered under the revision that stands; only when that is not what was published does the revision rise. */
static bool render_page(struct pipeline *p, struct page_fact *page, struct batch_of_files *batch, struct error *error)
{
    size_t station = pipeline_station_of(p, page->place), formats;
    page->due = false;
    if (station == p->config->station_count)
        return true; /* configured no more: what was published stays */
    struct dataset dataset;
    if (!load_dataset(p, station, page, &dataset, error))
        return false;
    if (dataset.record.n == 0)
        return true;
    const struct archive_writer *writers = archive_writers(&formats);
    size_t first = batch->count;
    for (size_t f = 0; f < formats; f++) {
        char path[ARCHIVE_PATH_SIZE];
        archive_month_path(dataset.station->id, dataset.year, dataset.month, writers[f].extension, path);
        add_file(batch, path, page->place);
    }
    char content[SHA256_HEX_SIZE];
    dataset.revision = page->revision > 0 ? page->revision : 1;
    if (!render_formats(&dataset, batch->files + first, content, error))
        return false;
    if (page->revision > 0 && strcmp(content, page->content) != 0) {
        dataset.revision++;
        if (!render_formats(&dataset, batch->files + first, content, error))
            return false;
    }
    page->revision = dataset.revision;
    page->content = arena_strdup(p->arena, content);
    return true;
}

static bool render_formats(const struct dataset *dataset, struct archive_file *files, char content[SHA256_HEX_SIZE],
                           struct error *error)
{
    size_t formats;
    archive_writers(&formats);
    for (size_t f = 0; f < formats; f++)
        archive_file_done(&files[f]);
    if (!archive_render_month(dataset, files, error))
        return false;
    char all[16 * SHA256_HEX_SIZE] = "";
    for (size_t f = 0; f < formats && f < 16; f++) {
        char one[SHA256_HEX_SIZE];
        sha256_hex(files[f].content.bytes ? files[f].content.bytes : "", files[f].content.length, one);
        memcpy(all + f * SHA256_HEX_SIZE, one, SHA256_HEX_SIZE);
    }
    sha256_hex(all, formats * SHA256_HEX_SIZE, content);
    return true;
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
    uint32_t all = (1u << NOTE_KIND_COUNT) - 1;
    if (!store_record_load(p->store, page->place, ret->span, p->arena, &ret->record, error) ||
        !store_notes_load(p->store, page->place, all, ret->span, p->arena, &notes, &ret->note_count, error) ||
        !store_checks_load(p->store, page->place, ret->span, p->arena, &checks, &ret->check_count, error))
        return false;
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
static void align_raw(struct arena *arena, const struct readings *all, const struct record *record, struct readings *ret)
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

/* ---- manifests and the network's own files ---- */

static bool publish_network(struct pipeline *p, const uint32_t *places, size_t n, struct error *error)
{
    struct batch_of_files batch = {0};
    bool ok = true;
    for (size_t k = 0; ok && k < n; k++)
        ok = places[k] == 0 || render_manifest(p, places[k], &batch, error);
    ok = ok && render_top(p, &batch, error) && known_files(p, &batch, error) &&
         archive_write_files(p->config->archive, batch.files, batch.count, error) &&
         store_begin(p->store, __func__, error) && put_file_facts(p, &batch, error) &&
         store_manifests_done(p->store, error) && store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    batch_done(&batch);
    return ok || within(error, "publishing the network's files");
}

static bool render_manifest(struct pipeline *p, uint32_t place, struct batch_of_files *batch, struct error *error)
{
    struct file_fact *files;
    size_t n;
    const char *id;
    if (!store_files_load(p->store, place, p->arena, &files, &n, error) ||
        !store_place_key(p->store, place, p->arena, &id, error))
        return false;
    if (n == 0)
        return true;
    bool is_barometer = strncmp(files[0].path, "barometers/", 11) == 0;
    char path[ARCHIVE_PATH_SIZE];
    archive_manifest_path(is_barometer ? ARCHIVE_BAROMETER : ARCHIVE_STATION, id, path);
    size_t folder = (size_t)(strrchr(path, '/') - path) + 1;
    struct manifest_line *lines = arena_array(p->arena, n, sizeof *lines);
    for (size_t k = 0; k < n; k++) {
        lines[k].path = files[k].path + folder;
        memcpy(lines[k].sha256, files[k].sha256, SHA256_HEX_SIZE);
    }
    manifest_render(lines, n, &add_file(batch, path, 0)->content);
    return true;
}

/* network.json, its schema, the page about the archive, and the manifest over these and all manifests. */
static bool render_top(struct pipeline *p, struct batch_of_files *batch, struct error *error)
{
    struct network_station *stations = arena_array(p->arena, p->config->station_count + 1, sizeof *stations);
    struct network_view view = {p->config, stations, p->config->station_count};
    struct alarm *alarms;
    size_t alarm_count;
    if (!store_alarms_open(p->store, p->arena, &alarms, &alarm_count, error))
        return false;
    for (size_t i = 0; i < p->config->station_count; i++)
        if (!view_station(p, i, alarms, alarm_count, &stations[i], error))
            return false;
    network_json_render(&view, &add_file(batch, "network.json", 0)->content);
    network_json_render_schema(&add_file(batch, "network.schema.json", 0)->content);
    about_render(p->config, &add_file(batch, "about.txt", 0)->content);
    struct file_fact *files;
    size_t n, count = 0;
    if (!store_files_load(p->store, 0, p->arena, &files, &n, error))
        return false;
    struct manifest_line *lines = arena_array(p->arena, n + batch->count + 1, sizeof *lines);
    for (size_t k = 0; k < batch->count; k++) {
        struct archive_file *file = &batch->files[k];
        lines[count].path = file->path;
        sha256_hex(file->content.bytes ? file->content.bytes : "", file->content.length, lines[count++].sha256);
    }
    for (size_t k = 0; k < n; k++) {
        bool is_new = strcmp(files[k].path, MANIFEST_NAME) == 0;
        for (size_t m = 0; m < batch->count && !is_new; m++)
            is_new = strcmp(batch->files[m].path, files[k].path) == 0;
        if (is_new)
            continue;
        lines[count].path = files[k].path;
        memcpy(lines[count++].sha256, files[k].sha256, SHA256_HEX_SIZE);
    }
    /* Paths of the batch live in an array that the next line moves. */
    for (size_t k = 0; k < batch->count; k++)
        lines[k].path = arena_strdup(p->arena, lines[k].path);
    manifest_render(lines, count, &add_file(batch, MANIFEST_NAME, 0)->content);
    return true;
}

static bool view_station(struct pipeline *p, size_t station, const struct alarm *alarms, size_t alarm_count,
                         struct network_station *ret, struct error *error)
{
    const struct station *s = &p->config->stations[station];
    uint32_t place = p->station_places[station];
    *ret = (struct network_station){.station = s, .first = TIME_NONE, .last = TIME_NONE};
    struct place_fact fact;
    struct page_fact *pages;
    struct waiting_span *waits;
    size_t page_count, wait_count;
    if (!store_place_find(p->store, s->id, p->arena, &fact, error) ||
        !store_pages_of_place(p->store, place, p->arena, &pages, &page_count, error) ||
        !store_waiting_load(p->store, place, p->arena, &waits, &wait_count, error) ||
        !last_values(p, place, &fact, ret, error))
        return false;
    struct network_record *records = arena_array(p->arena, page_count + 1, sizeof *records);
    for (size_t k = 0; k < page_count; k++) {
        char path[ARCHIVE_PATH_SIZE];
        struct file_fact file;
        bool found;
        archive_month_path(s->id, pages[k].month / 12, pages[k].month % 12 + 1, ".csv", path);
        if (!store_file_find(p->store, path, p->arena, &file, &found, error))
            return false;
        if (found)
            records[ret->record_count++] = (struct network_record){pages[k].month / 12, pages[k].month % 12 + 1,
                                                                   pages[k].revision, file.path, file.sha256};
    }
    struct network_waiting *waiting = arena_array(p->arena, wait_count + 1, sizeof *waiting);
    for (size_t k = 0; k < wait_count; k++)
        waiting[k] = (struct network_waiting){waits[k].span, waits[k].reason};
    for (size_t k = 0; k < alarm_count; k++) {
        if (strcmp(alarms[k].station, s->id) != 0)
            continue;
        ret->alarms = ret->alarms ? ret->alarms : &alarms[k]; /* ordered by station: one stretch */
        ret->alarm_count++;
    }
    ret->records = records;
    ret->month_count = ret->record_count;
    ret->waiting = waiting;
    ret->waiting_count = wait_count;
    return true;
}

static bool last_values(struct pipeline *p, uint32_t place, const struct place_fact *fact, struct network_station *ret,
                        struct error *error)
{
    if (fact->last_time == TIME_NONE)
        return true;
    struct record record;
    struct span day = {fact->last_time - DAY_MS, fact->last_time + 1};
    if (!store_record_load(p->store, place, day, p->arena, &record, error))
        return false;
    struct network_value *values = arena_array(p->arena, QUANTITY_COUNT, sizeof *values);
    ret->first = fact->first_time;
    ret->last = fact->last_time;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        size_t i = record.value[q] ? record.n : 0;
        while (i > 0 && (isnan(record.value[q][i - 1]) || record.flag[q][i - 1] == FLAG_FAIL))
            i--;
        if (i > 0)
            values[ret->value_count++] =
                (struct network_value){q, record.time[i - 1], record.value[q][i - 1], record.flag[q][i - 1]};
    }
    ret->values = values;
    return true;
}

/* ---- batches ---- */

static struct archive_file *add_file(struct batch_of_files *batch, const char *path, uint32_t place)
{
    if (batch->count == batch->capacity) {
        batch->capacity = batch->capacity ? batch->capacity * 2 : 16;
        batch->files = x_resize(batch->files, batch->capacity, sizeof *batch->files);
        batch->places = x_resize(batch->places, batch->capacity, sizeof *batch->places);
    }
    struct archive_file *file = &batch->files[batch->count];
    archive_file_init(file, path);
    batch->places[batch->count++] = place;
    return file;
}

static void batch_done(struct batch_of_files *batch)
{
    for (size_t k = 0; k < batch->count; k++)
        archive_file_done(&batch->files[k]);
    free(batch->files);
    free(batch->places);
    *batch = (struct batch_of_files){0};
}

static bool known_files(struct pipeline *p, struct batch_of_files *batch, struct error *error)
{
    for (size_t k = 0; k < batch->count; k++) {
        struct file_fact known;
        bool found;
        if (!store_file_find(p->store, batch->files[k].path, p->arena, &known, &found, error))
            return false;
        if (found)
            memcpy(batch->files[k].known_sha256, known.sha256, SHA256_HEX_SIZE);
    }
    return true;
}

static bool put_file_facts(struct pipeline *p, const struct batch_of_files *batch, struct error *error)
{
    for (size_t k = 0; k < batch->count; k++) {
        const struct archive_file *file = &batch->files[k];
        struct file_fact fact = {file->path, file->sha256, batch->places[k], (int64_t)file->content.length};
        if (!file->unchanged && !store_file_put(p->store, &fact, error))
            return false;
    }
    return true;
}
