/* SPDX-License-Identifier: MIT */
/* Pages and manifests. A page links to what stands already: records come first (publish.c), then the stations' pages,
 * then the network's. */
#include "alarms/gather.h"
#include "archive/about.h"
#include "archive/history.h"
#include "archive/manifest.h"
#include "archive/network_json.h"
#include "archive/page.h"
#include "base/timestamp.h"
#include "service/batch.h"
#include "service/figures.h"
#include "service/kept.h"
#include "service/publish_years.h"
#include "service/supplies.h"

#include <errno.h>
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    PLACES_AT_ONCE = 16,
    NEWEST_MONTHS = 24, /* in network.json and behind each station of the front page */
    MOST_LINES = 200,   /* of each list on a station's page */
    MOST_NEWS = 100,    /* entries of the feed */
};

/* Beside the files of a batch. */
struct changes {
    const char **stale; /* files that the settings ask for no more */
    size_t stale_count, stale_capacity;
    struct year_due *years;
    size_t year_count, year_capacity;
};

static bool publish_top(struct pipeline *p, struct error *error);
static bool publish_stations(struct pipeline *p, const uint32_t *places, size_t n, struct error *error);
static bool render_place(struct pipeline *p, uint32_t place, struct batch_of_files *batch, struct changes *changes,
                         struct error *error);
static bool choose_wanted(struct pipeline *p, size_t station, struct file_fact *files, size_t *n,
                          struct changes *changes, struct error *error);
static bool is_wanted(const struct config *config, const char *station, const char *path, const struct page_fact *pages,
                      size_t n);
static bool remove_stale(struct pipeline *p, const struct changes *changes, struct error *error);
static bool enter_changes(struct pipeline *p, const struct changes *changes, struct error *error);
static int compare_newest_first(const void *a, const void *b);
static bool load_years(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                       struct page_station *page, struct batch_of_files *batch, struct changes *changes,
                       struct error *error);
static bool render_station(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                           struct batch_of_files *batch, struct changes *changes, struct error *error);
static bool load_months(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                        struct page_station *page, struct error *error);
static bool load_lists(struct pipeline *p, size_t station, struct page_station *page, struct error *error);
static bool load_findings(struct pipeline *p, uint32_t place, struct page_station *page, struct error *error);
static size_t fold_clocks(struct finding *findings, size_t n);
static bool load_revisions(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                           struct page_station *page, struct error *error);
static void find_files_of(struct pipeline *p, const struct file_fact *files, size_t file_count,
                          const struct page_station *page, struct page_revision *revision);
static bool load_note_originals(struct pipeline *p, struct page_station *page, struct error *error);
static struct page_original original_of(const struct drop_fact_row *drop);
static enum archive_place kind_of(const struct pipeline *p, uint32_t place, const struct file_fact *files, size_t n);
static bool render_history(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                           struct batch_of_files *batch, struct error *error);
static void render_manifest(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                            const struct file_fact *files, size_t n, struct batch_of_files *batch);
static bool render_top(struct pipeline *p, struct batch_of_files *batch, struct page_network *ret, struct error *error);
static bool render_figures(struct pipeline *p, const struct alarm *open, size_t open_count,
                           struct batch_of_files *batch, struct error *error);
static bool load_front_page(struct pipeline *p, struct page_network *network, struct error *error);
static bool mark_pageless(struct pipeline *p, const struct page_network *network, struct error *error);
static bool load_news(struct pipeline *p, struct page_network *network, struct error *error);
static bool render_top_manifest(struct pipeline *p, struct batch_of_files *batch, struct error *error);
static bool view_station(struct pipeline *p, size_t station, const struct alarm *alarms, size_t alarm_count,
                         struct network_station *ret, struct error *error);
static bool view_records(struct pipeline *p, size_t station, struct network_station *ret, struct error *error);
static bool last_values(struct pipeline *p, uint32_t place, const struct place_fact *fact, struct network_station *ret,
                        struct error *error);
static bool is_known(struct pipeline *p, const char *path, bool *ret, struct error *error);
static const struct file_fact *find_file(const struct file_fact *files, size_t n, const char *path);
static bool is_open(const struct alarm *alarm);

bool publish_places(struct pipeline *p, const uint32_t *places, size_t n, struct error *error)
{
    size_t first = places[0] == 0 ? 1 : 0; /* ascending: the network's own files are last to be written, not first */
    bool has_front_page, has_script;
    if (!is_known(p, "index.html", &has_front_page, error) || !is_known(p, PAGE_SCRIPT_PATH, &has_script, error))
        return false;
    /* The very first front page links to no station: their pages link to it. */
    if (first == n || !has_front_page || !has_script)
        return publish_top(p, error);
    size_t count = n - first < PLACES_AT_ONCE ? n - first : PLACES_AT_ONCE;
    return publish_stations(p, places + first, count, error);
}

/* ---- stations ---- */

static bool publish_stations(struct pipeline *p, const uint32_t *places, size_t n, struct error *error)
{
    struct batch_of_files batch = {0};
    struct changes changes = {0};
    bool ok = true;
    for (size_t k = 0; ok && k < n; k++)
        ok = render_place(p, places[k], &batch, &changes, error);
    ok = ok && batch_write(p, &batch, error) && remove_stale(p, &changes, error) &&
         store_begin(p->store, __func__, error) && batch_put_facts(p, &batch, error) &&
         enter_changes(p, &changes, error);
    for (size_t k = 0; ok && k < n; k++)
        ok = store_manifest_done(p->store, places[k], error);
    ok = ok && store_manifest_due(p->store, 0, error) && store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    batch_done(&batch);
    free(changes.stale);
    free(changes.years);
    return ok || within(error, "publishing stations");
}

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

/* A format that was switched off leaves nothing behind that no page tells of. */
static bool choose_wanted(struct pipeline *p, size_t station, struct file_fact *files, size_t *n,
                          struct changes *changes, struct error *error)
{
    struct page_fact *pages;
    size_t page_count, kept = 0;
    if (!store_pages_of_place(p->store, p->station_places[station], p->arena, &pages, &page_count, error))
        return false;
    for (size_t k = 0; k < *n; k++) {
        if (is_wanted(p->config, p->config->stations[station].id, files[k].path, pages, page_count)) {
            files[kept++] = files[k];
            continue;
        }
        changes->stale = x_grow(changes->stale, changes->stale_count, &changes->stale_capacity, sizeof *changes->stale);
        changes->stale[changes->stale_count++] = files[k].path;
    }
    *n = kept;
    return true;
}

static bool is_wanted(const struct config *config, const char *station, const char *path, const struct page_fact *pages,
                      size_t n)
{
    size_t formats, longest = 0;
    bool is_asked = true;
    const struct archive_writer *writers = archive_writers(&formats);
    char folder[ARCHIVE_PATH_SIZE];
    snprintf(folder, sizeof folder, "stations/%s/", station);
    const char *rest = path + strlen(folder);
    if (!text_starts_with(path, folder) || text_starts_with(rest, "originals/"))
        return true;
    if (strstr(rest, "/revisions/"))
        return kept_is_wanted(config, path, pages, n);
    if (!strchr(rest, '/')) /* beside the pages: files of years */
        return !text_ends_with(path, ".nc") || publish_years_wants(config, station, path);
    for (size_t f = 0; f < formats; f++) {
        size_t length = strlen(writers[f].extension);
        if (length <= longest || !text_ends_with(path, writers[f].extension))
            continue;
        longest = length;
        is_asked = writers[f].format == FORMAT_CSV || config->archive_formats >> writers[f].format & 1;
    }
    return is_asked;
}

static bool render_place(struct pipeline *p, uint32_t place, struct batch_of_files *batch, struct changes *changes,
                         struct error *error)
{
    struct file_fact *files;
    size_t n, station = pipeline_station_of(p, place);
    const char *id;
    if (!store_files_load(p->store, place, p->arena, &files, &n, error) ||
        !store_place_key(p->store, place, p->arena, &id, error))
        return false;
    if (station < p->config->station_count) {
        if (!choose_wanted(p, station, files, &n, changes, error) ||
            !render_station(p, station, files, n, batch, changes, error))
            return false;
    }
    enum archive_place kind = kind_of(p, place, files, n);
    if (!render_history(p, place, kind, id, batch, error))
        return false;
    render_manifest(p, place, kind, id, files, n, batch);
    return true;
}

/* A place that is configured no more is known by where its files stand. */
static enum archive_place kind_of(const struct pipeline *p, uint32_t place, const struct file_fact *files, size_t n)
{
    bool is_barometer = pipeline_barometer_of(p, place) < p->config->barometer_count ||
                        (n > 0 && text_starts_with(files[0].path, "barometers/"));
    return place == 0 ? ARCHIVE_NETWORK : is_barometer ? ARCHIVE_BAROMETER : ARCHIVE_STATION;
}

static bool render_station(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                           struct batch_of_files *batch, struct changes *changes, struct error *error)
{
    uint32_t place = p->station_places[station];
    struct network_station at = {.last = TIME_NONE};
    struct page_station page = {.config = p->config, .at = &at};
    if (!load_lists(p, station, &page, error))
        return false;
    struct alarm *open = arena_array(p->arena, page.alarm_count + 1, sizeof *open);
    size_t open_count = 0;
    for (size_t k = 0; k < page.alarm_count; k++)
        if (is_open(&page.alarms[k]))
            open[open_count++] = page.alarms[k];
    /* Findings are those of a year up to the last row, which the view tells. */
    if (!view_station(p, station, open, open_count, &at, error) || !load_findings(p, place, &page, error) ||
        !load_months(p, station, files, file_count, &page, error) ||
        !load_revisions(p, station, files, file_count, &page, error) ||
        !load_years(p, station, files, file_count, &page, batch, changes, error))
        return false;
    char path[ARCHIVE_PATH_SIZE];
    page_station_render(&page, &batch_add(batch, page_station_path(at.station->id, path), place)->content);
    page_sheet_render(&page, &batch_add(batch, page_sheet_path(at.station->id, path), place)->content);
    return true;
}

static int compare_revisions(const void *a, const void *b)
{
    const struct revision_fact *x = a, *y = b;
    if (x->month != y->month)
        return x->month < y->month ? -1 : 1;
    return x->revision < y->revision ? -1 : x->revision > y->revision;
}

/* By month and number, whatever the clock said. */
static bool load_revisions(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                           struct page_station *page, struct error *error)
{
    struct revision_fact *facts;
    size_t n;
    if (!store_revisions_of_place(p->store, p->station_places[station], p->arena, &facts, &n, error))
        return false;
    struct page_revision *list = arena_array(p->arena, n + 1, sizeof *list);
    page->has_more_revisions = n > MOST_LINES;
    qsort(facts, n, sizeof *facts, compare_revisions);
    for (size_t k = n; k > 0 && page->revision_count < MOST_LINES; k--) {
        list[page->revision_count] = (struct page_revision){.station = &p->config->stations[station],
                                                            .year = facts[k - 1].month / 12,
                                                            .month = facts[k - 1].month % 12 + 1,
                                                            .revision = facts[k - 1].revision,
                                                            .last_time = facts[k - 1].last_time,
                                                            .arrived = facts[k - 1].arrived,
                                                            .changes = facts[k - 1].changes,
                                                            .state = facts[k - 1].state};
        find_files_of(p, files, file_count, page, &list[page->revision_count++]);
    }
    page->revisions = list;
    return true;
}

/* Of a former one what was kept, of the newest its CSV. */
static void find_files_of(struct pipeline *p, const struct file_fact *files, size_t file_count,
                          const struct page_station *page, struct page_revision *revision)
{
    size_t formats, m = 0;
    const struct archive_writer *writers = archive_writers(&formats);
    struct page_file *links = arena_array(p->arena, formats, sizeof *links);
    while (m < page->month_count &&
           (page->months[m].year != revision->year || page->months[m].month != revision->month))
        m++;
    if (m < page->month_count && page->months[m].revision == revision->revision) {
        revision->files = page->months[m].files;
        revision->file_count = 1;
        return;
    }
    for (size_t f = 0; f < formats; f++) {
        char path[ARCHIVE_PATH_SIZE];
        archive_revision_path(revision->station->id, revision->year, revision->month, revision->revision,
                              writers[f].extension, path);
        const struct file_fact *file = find_file(files, file_count, path);
        if (file)
            links[revision->file_count++] = (struct page_file){writers[f].label, file->path, file->sha256, file->bytes};
    }
    revision->files = links;
}

/* Those that stand, and those that the batch is to write: a page is written behind what it links to. */
static bool load_years(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                       struct page_station *page, struct batch_of_files *batch, struct changes *changes,
                       struct error *error)
{
    struct page_fact *pages;
    struct year_due *due;
    size_t n, due_count;
    if (!store_pages_of_place(p->store, p->station_places[station], p->arena, &pages, &n, error) ||
        !publish_years(p, station, pages, n, batch, &due, &due_count, error))
        return false;
    struct page_file *years = arena_array(p->arena, file_count + due_count + 1, sizeof *years);
    for (size_t k = 0; k < due_count; k++) {
        changes->years = x_grow(changes->years, changes->year_count, &changes->year_capacity, sizeof *changes->years);
        changes->years[changes->year_count++] = due[k];
        years[page->year_count++] =
            (struct page_file){.path = due[k].path, .bytes = (int64_t)batch_find(batch, due[k].path)->content.length};
    }
    for (size_t k = file_count; k > 0; k--)
        if (publish_years_wants(p->config, p->config->stations[station].id, files[k - 1].path) &&
            !batch_find(batch, files[k - 1].path))
            years[page->year_count++] = (struct page_file){.path = files[k - 1].path, .bytes = files[k - 1].bytes};
    qsort(years, page->year_count, sizeof *years, compare_newest_first);
    for (size_t k = 0; k < page->year_count; k++)
        years[k].label = arena_printf(p->arena, "%.4s", years[k].path + strlen(years[k].path) - strlen("2026.nc"));
    page->years = years;
    return true;
}

static int compare_newest_first(const void *a, const void *b)
{
    return strcmp(((const struct page_file *)b)->path, ((const struct page_file *)a)->path);
}

/* Months whose files stand in the archive, newest first, and the finished values of the newest. */
static bool load_months(struct pipeline *p, size_t station, const struct file_fact *files, size_t file_count,
                        struct page_station *page, struct error *error)
{
    const struct station *s = &p->config->stations[station];
    uint32_t place = p->station_places[station];
    struct page_fact *facts;
    size_t n, formats;
    const struct archive_writer *writers = archive_writers(&formats);
    if (!store_pages_of_place(p->store, place, p->arena, &facts, &n, error))
        return false;
    struct page_month *months = arena_array(p->arena, n + 1, sizeof *months);
    page->months = months;
    for (size_t k = n; k > 0; k--) {
        struct page_month month = {.year = facts[k - 1].month / 12,
                                   .month = facts[k - 1].month % 12 + 1,
                                   .revision = facts[k - 1].revision,
                                   .state = facts[k - 1].state};
        struct page_file *links = arena_array(p->arena, formats, sizeof *links);
        for (size_t f = 0; f < formats; f++) {
            char path[ARCHIVE_PATH_SIZE];
            archive_month_path(s->id, month.year, month.month, writers[f].extension, path);
            const struct file_fact *file = find_file(files, file_count, path);
            if (file)
                links[month.file_count++] = (struct page_file){writers[f].label, file->path, file->sha256, file->bytes};
        }
        month.files = links;
        if (month.file_count > 0)
            months[page->month_count++] = month;
    }
    if (page->month_count == 0)
        return true;
    struct dataset *latest = arena_alloc(p->arena, sizeof *latest);
    struct civil first = {.year = months[0].year, .month = months[0].month, .day = 1};
    int64_t from = timestamp_from_civil(&first) - s->utc_offset;
    *latest = (struct dataset){.config = p->config,
                               .station = s,
                               .year = first.year,
                               .month = first.month,
                               .span = {from, timestamp_next_month(from, s->utc_offset)}};
    page->latest = latest;
    return store_record_load(p->store, place, latest->span, p->arena, &latest->record, error);
}

static bool load_lists(struct pipeline *p, size_t station, struct page_station *page, struct error *error)
{
    const char *id = p->config->stations[station].id;
    uint32_t place = p->station_places[station];
    const struct span always = {INT64_MIN, INT64_MAX};
    struct check_result *checks;
    struct note *notes;
    struct alarm *alarms;
    struct drop_fact_row *drops;
    size_t check_count, note_count, alarm_count, drop_count;
    if (!store_checks_newest(p->store, place, MOST_LINES + 1, p->arena, &checks, &check_count, error) ||
        !store_notes_newest(p->store, place, MOST_LINES + 1, p->arena, &notes, &note_count, error) ||
        !store_alarms_of_station(p->store, id, always, MOST_LINES + 1, p->arena, &alarms, &alarm_count, error) ||
        !store_drops_newest(p->store, place, MOST_LINES + 1, p->arena, &drops, &drop_count, error))
        return false;
    page->has_more_checks = check_count > MOST_LINES;
    page->has_more_notes = note_count > MOST_LINES;
    page->has_more_alarms = alarm_count > MOST_LINES;
    page->has_more_originals = drop_count > MOST_LINES;
    page->checks = checks;
    page->check_count = check_count - page->has_more_checks;
    page->notes = notes;
    page->note_count = note_count - page->has_more_notes;
    page->alarms = alarms;
    page->alarm_count = alarm_count - page->has_more_alarms;
    struct page_original *originals = arena_array(p->arena, drop_count + 1, sizeof *originals);
    for (size_t k = 0; k < drop_count; k++)
        originals[k] = original_of(&drops[k]);
    page->originals = originals;
    page->original_count = drop_count - page->has_more_originals;
    return load_note_originals(p, page, error);
}

static int compare_findings(const void *a, const void *b)
{
    const struct finding *x = a, *y = b;
    if (x->span.from != y->span.from)
        return x->span.from > y->span.from ? -1 : 1;
    return x->kind != y->kind ? (x->kind < y->kind ? -1 : 1) : strcmp(x->text, y->text);
}

/* What is said of a clock week by week stands once, with its last words, while it is the same lag. */
static size_t fold_clocks(struct finding *findings, size_t n)
{
    int64_t told[FINDING_KIND_COUNT] = {0};
    double lag[FINDING_KIND_COUNT] = {0};
    size_t kept = 0;
    for (size_t k = 0; k < n; k++) {
        struct finding finding = findings[k];
        bool is_clock = FINDINGS_OF_CLOCKS >> finding.kind & 1;
        bool is_again = is_clock && told[finding.kind] - finding.span.from <= 7 * DAY_MS && told[finding.kind] > 0 &&
                        lag[finding.kind] == finding.value;
        told[finding.kind] = finding.span.from;
        lag[finding.kind] = finding.value;
        if (!is_again)
            findings[kept++] = finding;
    }
    return kept;
}

/* Of the last year of data, the newest first. */
static bool load_findings(struct pipeline *p, uint32_t place, struct page_station *page, struct error *error)
{
    struct finding *findings;
    size_t n;
    if (page->at->last == TIME_NONE)
        return true;
    struct span year = {page->at->last - 366 * DAY_MS, page->at->last + DAY_MS};
    if (!store_findings_load(p->store, place, year, p->arena, &findings, &n, error))
        return false;
    if (n > 0)
        qsort(findings, n, sizeof *findings, compare_findings);
    n = fold_clocks(findings, n);
    page->has_more_findings = n > MOST_LINES;
    page->findings = findings;
    page->finding_count = n > MOST_LINES ? MOST_LINES : n;
    return true;
}

static bool load_note_originals(struct pipeline *p, struct page_station *page, struct error *error)
{
    struct page_original *list = arena_array(p->arena, page->note_count + 1, sizeof *list);
    size_t n = 0;
    for (size_t k = 0; k < page->note_count; k++) {
        size_t known = 0;
        while (known < n && list[known].number != page->notes[k].drop)
            known++;
        struct drop_fact_row drop;
        if (known < n)
            continue;
        if (!store_drop_load(p->store, page->notes[k].drop, p->arena, &drop, error))
            return false;
        if (*drop.original)
            list[n++] = original_of(&drop);
    }
    page->note_originals = list;
    page->note_original_count = n;
    return true;
}

static struct page_original original_of(const struct drop_fact_row *drop)
{
    return (struct page_original){.number = (uint32_t)drop->number,
                                  .path = drop->original,
                                  .drop = drop->path,
                                  .sha256 = drop->sha256,
                                  .layout = drop->layout,
                                  .arrived = drop->arrived,
                                  .bytes = drop->bytes,
                                  .rows = drop->rows,
                                  .refused = drop->refused};
}

/* What a lost database would take along. A place without drops has none. */
static bool render_history(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                           struct batch_of_files *batch, struct error *error)
{
    struct drop_fact_row *drops;
    struct revision_fact *revisions;
    struct history history = {0};
    if (!store_drops_of_place(p->store, place, p->arena, &drops, &history.drop_count, error) ||
        !store_revisions_of_place(p->store, place, p->arena, &revisions, &history.revision_count, error))
        return false;
    if (history.drop_count == 0)
        return true;
    char path[ARCHIVE_PATH_SIZE];
    archive_history_path(kind, id, path);
    size_t folder = (size_t)(strrchr(path, '/') - path) + 1;
    history.drops = arena_array(p->arena, history.drop_count, sizeof *history.drops);
    history.revisions = arena_array(p->arena, history.revision_count + 1, sizeof *history.revisions);
    for (size_t k = 0; k < history.drop_count; k++) {
        struct history_drop *drop = &history.drops[k];
        *drop = (struct history_drop){.number = drops[k].number,
                                      .arrived = drops[k].arrived,
                                      .original = drops[k].original + folder,
                                      .path = drops[k].path};
        memcpy(drop->sha256, drops[k].sha256, SHA256_HEX_SIZE);
    }
    for (size_t k = 0; k < history.revision_count; k++)
        history.revisions[k] =
            (struct history_revision){revisions[k].arrived,   revisions[k].month,   revisions[k].revision,
                                      revisions[k].last_time, revisions[k].changes, revisions[k].state};
    history_render(&history, &batch_add(batch, path, place)->content);
    return true;
}

/* Of what stood there before and of what the batch puts there now. */
static void render_manifest(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                            const struct file_fact *files, size_t n, struct batch_of_files *batch)
{
    char path[ARCHIVE_PATH_SIZE];
    archive_manifest_path(kind, id, path);
    size_t folder = (size_t)(strrchr(path, '/') - path) + 1, count = 0;
    struct manifest_line *lines = arena_array(p->arena, n + batch->count + 1, sizeof *lines);
    for (size_t k = 0; k < n; k++) {
        if (batch_find(batch, files[k].path))
            continue;
        lines[count].path = files[k].path + folder;
        memcpy(lines[count++].sha256, files[k].sha256, SHA256_HEX_SIZE);
    }
    for (size_t k = 0; k < batch->count; k++) {
        if (batch->places[k] != place)
            continue;
        const struct text *content = &batch->files[k].content;
        lines[count].path = arena_strdup(p->arena, batch->files[k].path + folder);
        sha256_hex(content->bytes ? content->bytes : "", content->length, lines[count++].sha256);
    }
    if (count > 0)
        manifest_render(lines, count, &batch_add(batch, path, 0)->content);
}

/* ---- the network's own files ---- */

static bool publish_top(struct pipeline *p, struct error *error)
{
    struct batch_of_files batch = {0};
    struct page_network network;
    bool ok = render_top(p, &batch, &network, error) && batch_write(p, &batch, error) &&
              store_begin(p->store, __func__, error) && batch_put_facts(p, &batch, error) &&
              store_manifest_done(p->store, 0, error) && mark_pageless(p, &network, error) &&
              store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    batch_done(&batch);
    return ok || within(error, "publishing the network's files");
}

/* The front page and what it stands on, and the manifest over these and all manifests. */
static bool render_top(struct pipeline *p, struct batch_of_files *batch, struct page_network *ret, struct error *error)
{
    struct network_station *stations = arena_array(p->arena, p->config->station_count + 1, sizeof *stations);
    struct network_view *view = arena_alloc(p->arena, sizeof *view);
    struct alarm *alarms;
    *view = (struct network_view){p->config, stations, p->config->station_count};
    *ret = (struct page_network){.view = view};
    if (!store_alarms_open(p->store, p->arena, &alarms, &ret->alarm_count, error))
        return false;
    ret->alarms = alarms;
    for (size_t i = 0; i < p->config->station_count; i++)
        if (!view_station(p, i, alarms, ret->alarm_count, &stations[i], error))
            return false;
    if (!load_front_page(p, ret, error) || !render_history(p, 0, ARCHIVE_NETWORK, "", batch, error))
        return false;
    page_style_render(&batch_add(batch, PAGE_STYLE_PATH, 0)->content);
    page_script_render(&batch_add(batch, PAGE_SCRIPT_PATH, 0)->content);
    network_json_render(view, &batch_add(batch, "network.json", 0)->content);
    network_json_render_schema(&batch_add(batch, "network.schema.json", 0)->content);
    about_render(p->config, &batch_add(batch, "about.txt", 0)->content);
    page_feed_render(ret, &batch_add(batch, PAGE_FEED_PATH, 0)->content);
    if (!render_figures(p, alarms, ret->alarm_count, batch, error))
        return false;
    page_network_render(ret, &batch_add(batch, "index.html", 0)->content);
    return render_top_manifest(p, batch, error);
}

static bool render_figures(struct pipeline *p, const struct alarm *open, size_t open_count,
                           struct batch_of_files *batch, struct error *error)
{
    const struct config *config = p->config;
    struct page_recipient *recipients = arena_array(p->arena, config->recipient_count + 1, sizeof *recipients);
    const struct page_figures figures = {
        .config = config,
        .days = FIGURES_DAYS,
        .utc_offset = config->station_count > 0 ? config->stations[0].utc_offset : 0,
        .recipients = recipients,
        .recipient_count = config->recipient_count,
        .a_day_acceptable = ALARMS_A_DAY_ACCEPTABLE,
        .in_10_min_acceptable = FLOOD_BEGINS,
        .standing_below = ALARMS_STANDING_BELOW,
    };
    for (size_t k = 0; k < config->recipient_count; k++)
        if (!figures_load_month(config, p->store, p->arena, config->recipients[k].id, open, open_count,
                                figures.utc_offset, &recipients[k], error))
            return false;
    page_alarms_render(&figures, &batch_add(batch, PAGE_ALARMS_PATH, 0)->content);
    return true;
}

static bool load_front_page(struct pipeline *p, struct page_network *network, struct error *error)
{
    const struct config *config = p->config;
    bool *has_page = arena_array(p->arena, config->station_count + 1, sizeof *has_page);
    struct page_barometer *barometers = arena_array(p->arena, config->barometer_count + 1, sizeof *barometers);
    for (size_t i = 0; i < config->station_count; i++) {
        char path[ARCHIVE_PATH_SIZE];
        if (!is_known(p, page_station_path(config->stations[i].id, path), &has_page[i], error))
            return false;
    }
    for (size_t i = 0; i < config->barometer_count; i++) {
        struct place_fact fact;
        if (!store_place_find(p->store, config->barometers[i].id, p->arena, &fact, error))
            return false;
        barometers[i] = (struct page_barometer){&config->barometers[i], fact.number ? fact.last_time : TIME_NONE};
    }
    network->has_page = has_page;
    network->barometers = barometers;
    network->barometer_count = config->barometer_count;
    return load_news(p, network, error);
}

/* Stations with data get a page also where nothing changes them: the archive may be older than its pages. */
static bool mark_pageless(struct pipeline *p, const struct page_network *network, struct error *error)
{
    for (size_t i = 0; i < network->view->station_count; i++)
        if (!network->has_page[i] && network->view->stations[i].last != TIME_NONE &&
            !store_manifest_due(p->store, p->station_places[i], error))
            return false;
    return true;
}

static bool load_news(struct pipeline *p, struct page_network *network, struct error *error)
{
    struct revision_fact *facts;
    size_t n;
    if (!store_revisions_newest(p->store, MOST_NEWS, p->arena, &facts, &n, error))
        return false;
    struct page_revision *list = arena_array(p->arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        size_t station = pipeline_station_of(p, facts[k].place);
        if (station == p->config->station_count || !network->has_page[station])
            continue; /* configured no more, or told when its page stands */
        char path[ARCHIVE_PATH_SIZE];
        bool stands;
        int year = facts[k].month / 12, month = facts[k].month % 12 + 1;
        archive_month_path(p->config->stations[station].id, year, month, ".csv", path);
        if (!is_known(p, path, &stands, error))
            return false;
        list[network->revision_count++] = (struct page_revision){.station = &p->config->stations[station],
                                                                 .year = year,
                                                                 .month = month,
                                                                 .revision = facts[k].revision,
                                                                 .last_time = facts[k].last_time,
                                                                 .arrived = facts[k].arrived,
                                                                 .changes = facts[k].changes,
                                                                 .state = facts[k].state,
                                                                 .path = stands ? arena_strdup(p->arena, path) : NULL};
    }
    network->revisions = list;
    return true;
}

static bool render_top_manifest(struct pipeline *p, struct batch_of_files *batch, struct error *error)
{
    struct file_fact *files;
    size_t n, count = 0;
    if (!store_files_load(p->store, 0, p->arena, &files, &n, error))
        return false;
    struct manifest_line *lines = arena_array(p->arena, n + batch->count + 1, sizeof *lines);
    for (size_t k = 0; k < batch->count; k++) {
        const struct archive_file *file = &batch->files[k];
        lines[count].path = arena_strdup(p->arena, file->path);
        sha256_hex(file->content.bytes ? file->content.bytes : "", file->content.length, lines[count++].sha256);
    }
    for (size_t k = 0; k < n; k++) {
        if (strcmp(files[k].path, MANIFEST_NAME) == 0 || batch_find(batch, files[k].path))
            continue;
        lines[count].path = files[k].path;
        memcpy(lines[count++].sha256, files[k].sha256, SHA256_HEX_SIZE);
    }
    manifest_render(lines, count, &batch_add(batch, MANIFEST_NAME, 0)->content);
    return true;
}

/* ---- one station as the network sees it ---- */

/* `alarms`: open ones, those of one station in one stretch. */
static bool view_station(struct pipeline *p, size_t station, const struct alarm *alarms, size_t alarm_count,
                         struct network_station *ret, struct error *error)
{
    const struct station *s = &p->config->stations[station];
    uint32_t place = p->station_places[station];
    *ret = (struct network_station){.station = s, .first = TIME_NONE, .last = TIME_NONE};
    struct place_fact fact;
    struct waiting_span *waits, *held;
    size_t wait_count, held_count;
    if (!store_place_find(p->store, s->id, p->arena, &fact, error) ||
        !store_waiting_load(p->store, place, p->arena, &waits, &wait_count, error) ||
        !store_held_load(p->store, place, p->arena, &held, &held_count, error) ||
        !view_records(p, station, ret, error) || !last_values(p, place, &fact, ret, error))
        return false;
    struct network_waiting *waiting = arena_array(p->arena, wait_count + held_count + 1, sizeof *waiting);
    for (size_t k = 0; k < held_count; k++)
        waiting[k] = (struct network_waiting){held[k].span, held[k].reason, true};
    for (size_t k = 0; k < wait_count; k++)
        waiting[held_count + k] = (struct network_waiting){waits[k].span, waits[k].reason, false};
    ret->waiting = waiting;
    ret->waiting_count = held_count + wait_count;
    if (!supplies_now(p, station, &ret->supply, error))
        return false;
    for (size_t k = 0; k < alarm_count; k++) {
        if (strcmp(alarms[k].station, s->id) != 0)
            continue;
        ret->alarms = ret->alarms ? ret->alarms : &alarms[k];
        ret->alarm_count++;
    }
    return true;
}

/* The newest months: the work for a change must not grow with the years behind it. */
static bool view_records(struct pipeline *p, size_t station, struct network_station *ret, struct error *error)
{
    const char *id = p->config->stations[station].id;
    struct page_fact *pages;
    size_t n;
    if (!store_pages_of_place(p->store, p->station_places[station], p->arena, &pages, &n, error))
        return false;
    size_t first = n > NEWEST_MONTHS ? n - NEWEST_MONTHS : 0;
    struct network_record *records = arena_array(p->arena, n - first + 1, sizeof *records);
    ret->records = records;
    for (size_t k = 0; k < n; k++) {
        ret->month_count += pages[k].revision > 0;
        if (k < first || pages[k].revision == 0)
            continue;
        char path[ARCHIVE_PATH_SIZE];
        struct file_fact file;
        bool found;
        int year = pages[k].month / 12, month = pages[k].month % 12 + 1;
        archive_month_path(id, year, month, ".csv", path);
        if (!store_file_find(p->store, path, p->arena, &file, &found, error))
            return false;
        if (found)
            records[ret->record_count++] =
                (struct network_record){year, month, pages[k].revision, file.path, file.sha256, pages[k].state};
    }
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

static bool is_known(struct pipeline *p, const char *path, bool *ret, struct error *error)
{
    struct file_fact file;
    return store_file_find(p->store, path, p->arena, &file, ret, error);
}

/* `files` by path. */
static const struct file_fact *find_file(const struct file_fact *files, size_t n, const char *path)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = strcmp(files[middle].path, path);
        if (order == 0)
            return &files[middle];
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return NULL;
}

static bool is_open(const struct alarm *alarm)
{
    return alarm->state != ALARM_NORMAL && alarm->state != ALARM_WITHDRAWN;
}
