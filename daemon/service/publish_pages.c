/* SPDX-License-Identifier: MIT */
/* Pages and manifests of stations. A page links to what stands already: records come first (publish.c), then the
 * stations' pages, then the network's (publish_network.c). */
#include "archive/manifest.h"
#include "archive/page.h"
#include "base/timestamp.h"
#include "service/batch.h"
#include "service/kept.h"
#include "service/network_views.h"
#include "service/publish_history.h"
#include "service/publish_network.h"
#include "service/publish_years.h"

#include <errno.h>
#include <inttypes.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    PLACES_AT_ONCE = 16,
    MOST_LINES = 200, /* of each list on a station's page */
};

/* Beside the files of a batch. */
struct changes {
    const char **stale; /* files that the settings ask for no more */
    size_t stale_count, stale_capacity;
    struct year_due *years;
    size_t year_count, year_capacity;
};

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
                          struct page_revision *revision);
static bool load_note_originals(struct pipeline *p, struct page_station *page, struct error *error);
static struct page_original original_of(const struct drop_fact_row *drop);
static enum archive_place kind_of(const struct pipeline *p, uint32_t place, const struct file_fact *files, size_t n);
static void render_manifest(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                            const struct file_fact *files, size_t n, struct batch_of_files *batch);
static const struct file_fact *find_file(const struct file_fact *files, size_t n, const char *path);
static bool is_open(const struct alarm *alarm);

bool publish_places(struct pipeline *p, const uint32_t *places, size_t n, struct error *error)
{
    size_t first = places[0] == 0 ? 1 : 0; /* ascending: the network's own files are last to be written, not first */
    bool has_front_page, has_script;
    if (!batch_is_known(p, "index.html", &has_front_page, error) ||
        !batch_is_known(p, PAGE_SCRIPT_PATH, &has_script, error))
        return false;
    /* The very first front page links to no station: their pages link to it. */
    if (first == n || !has_front_page || !has_script)
        return publish_network(p, error);
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
    for (size_t k = 0; k < n; k++) /* also where it failed: what was read before may not be so any more */
        network_views_forget(p, places[k]);
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
    if (!publish_history(p, place, kind, id, batch, error))
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
    if (!network_view_load(p, station, p->arena, &at, error) || !load_findings(p, place, &page, error) ||
        !load_months(p, station, files, file_count, &page, error) ||
        !load_revisions(p, station, files, file_count, &page, error) ||
        !load_years(p, station, files, file_count, &page, batch, changes, error))
        return false;
    char path[ARCHIVE_PATH_SIZE];
    at.alarms = open;
    at.alarm_count = open_count;
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
        find_files_of(p, files, file_count, &list[page->revision_count++]);
    }
    page->revisions = list;
    return true;
}

/* What was kept of a former one. */
static void find_files_of(struct pipeline *p, const struct file_fact *files, size_t file_count,
                          struct page_revision *revision)
{
    size_t formats;
    const struct archive_writer *writers = archive_writers(&formats);
    struct page_file *links = arena_array(p->arena, formats, sizeof *links);
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
        years[k].label =
            arena_printf(p->arena, "%.4s, revision %" PRId64, years[k].path + strlen(years[k].path) - strlen("2026.nc"),
                         publish_years_revision(p->config, p->config->stations[station].id, years[k].path, pages, n));
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
        lines[count].path = arena_strdup(p->arena, batch->files[k].path + folder);
        memcpy(lines[count++].sha256, archive_file_sha256(&batch->files[k]), SHA256_HEX_SIZE);
    }
    if (count > 0)
        manifest_render(lines, count, &batch_add(batch, path, 0)->content);
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
