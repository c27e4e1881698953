/* SPDX-License-Identifier: MIT */
#include "service/publish_station.h"

#include "archive/archive.h"
#include "base/timestamp.h"
#include "service/network_views.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_LINES = 200 /* of each list on a station's page */ };

static bool load_months(struct pipeline *p, size_t station, const struct station_files *stand,
                        struct known_months *known, struct page_station *page, struct error *error);
static bool load_latest(struct pipeline *p, size_t station, struct known_months *known, struct page_station *page,
                        struct error *error);
static bool load_revisions(struct pipeline *p, size_t station, const struct station_files *stand,
                           struct page_station *page, struct error *error);
static const struct page_file *link_files(struct pipeline *p, const struct station_files *stand, const char *prefix,
                                          size_t *ret_n);
static size_t first_file(const struct station_files *stand, const char *prefix);
static bool load_lists(struct pipeline *p, size_t station, struct page_station *page, struct error *error);
static bool load_findings(struct pipeline *p, uint32_t place, struct page_station *page, struct error *error);
static size_t fold_clocks(struct finding *findings, size_t n);
static bool load_note_originals(struct pipeline *p, struct page_station *page, struct error *error);
static struct page_original original_of(const struct drop_fact_row *drop);
static bool is_open(const struct alarm *alarm);

bool publish_station_load(struct pipeline *p, size_t station, const struct station_files *stand,
                          struct known_months *known, struct page_station *ret, struct error *error)
{
    struct network_station *at = arena_alloc(p->arena, sizeof *at);
    *ret = (struct page_station){.config = p->config, .at = at};
    if (!load_lists(p, station, ret, error))
        return false;
    struct alarm *open = arena_array(p->arena, ret->alarm_count + 1, sizeof *open);
    size_t open_count = 0;
    for (size_t k = 0; k < ret->alarm_count; k++)
        if (is_open(&ret->alarms[k]))
            open[open_count++] = ret->alarms[k];
    /* Findings are those of a year up to the last row, which the view tells. */
    if (!network_view_load(p, station, p->arena, at, error) ||
        !load_findings(p, p->station_places[station], ret, error) ||
        !load_months(p, station, stand, known, ret, error) || !load_revisions(p, station, stand, ret, error))
        return false;
    at->alarms = open;
    at->alarm_count = open_count;
    return true;
}

/* ---- records ---- */

/* Months whose files stand in the archive, newest first, and the finished values of the newest. */
static bool load_months(struct pipeline *p, size_t station, const struct station_files *stand,
                        struct known_months *known, struct page_station *page, struct error *error)
{
    const char *id = p->config->stations[station].id;
    struct page_month *months = arena_array(p->arena, stand->month_count + 1, sizeof *months);
    page->months = months;
    for (size_t k = stand->month_count; k > 0; k--) {
        const struct page_fact *fact = &stand->months[k - 1];
        struct page_month month = {
            .year = fact->month / 12, .month = fact->month % 12 + 1, .revision = fact->revision, .state = fact->state};
        char prefix[ARCHIVE_PATH_SIZE];
        archive_month_path(id, month.year, month.month, "", prefix);
        month.files = link_files(p, stand, prefix, &month.file_count);
        if (month.file_count > 0)
            months[page->month_count++] = month;
    }
    return page->month_count == 0 || load_latest(p, station, known, page, error);
}

static bool load_latest(struct pipeline *p, size_t station, struct known_months *known, struct page_station *page,
                        struct error *error)
{
    const struct station *s = &p->config->stations[station];
    struct dataset *latest = arena_alloc(p->arena, sizeof *latest);
    struct month_facts *facts = arena_alloc(p->arena, sizeof *facts);
    struct civil first = {.year = page->months[0].year, .month = page->months[0].month, .day = 1};
    int64_t from = timestamp_from_civil(&first) - s->utc_offset;
    *latest = (struct dataset){.config = p->config,
                               .station = s,
                               .year = first.year,
                               .month = first.month,
                               .span = {from, timestamp_next_month(from, s->utc_offset)}};
    page->latest = latest;
    if (!known_months_take(known, station, first.year * 12 + first.month - 1, facts))
        return store_record_load(p->store, p->station_places[station], latest->span, p->arena, &latest->record, error);
    latest->summaries = facts->summaries;
    latest->hours = &facts->hours;
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
static bool load_revisions(struct pipeline *p, size_t station, const struct station_files *stand,
                           struct page_station *page, struct error *error)
{
    const struct station *s = &p->config->stations[station];
    struct revision_fact *facts;
    size_t n;
    if (!store_revisions_of_place(p->store, p->station_places[station], p->arena, &facts, &n, error))
        return false;
    struct page_revision *list = arena_array(p->arena, n + 1, sizeof *list);
    page->has_more_revisions = n > MOST_LINES;
    qsort(facts, n, sizeof *facts, compare_revisions);
    for (size_t k = n; k > 0 && page->revision_count < MOST_LINES; k--) {
        struct page_revision *revision = &list[page->revision_count++];
        *revision = (struct page_revision){.station = s,
                                           .year = facts[k - 1].month / 12,
                                           .month = facts[k - 1].month % 12 + 1,
                                           .revision = facts[k - 1].revision,
                                           .last_time = facts[k - 1].last_time,
                                           .arrived = facts[k - 1].arrived,
                                           .changes = facts[k - 1].changes,
                                           .state = facts[k - 1].state};
        char prefix[ARCHIVE_PATH_SIZE];
        if (p->config->keep_revisions == 0) /* else what was kept of a former one */
            continue;
        archive_revision_path(s->id, revision->year, revision->month, revision->revision, "", prefix);
        revision->files = link_files(p, stand, prefix, &revision->file_count);
    }
    page->revisions = list;
    return true;
}

/* Files of one record, in the order of the writers: all that begin like it and end as one of them writes. */
static const struct page_file *link_files(struct pipeline *p, const struct station_files *stand, const char *prefix,
                                          size_t *ret_n)
{
    size_t formats, length = strlen(prefix), first = first_file(stand, prefix), behind = first, n = 0;
    const struct archive_writer *writers = archive_writers(&formats);
    struct page_file *links = arena_array(p->arena, formats, sizeof *links);
    while (behind < stand->file_count && strncmp(stand->files[behind].path, prefix, length) == 0)
        behind++;
    for (size_t f = 0; f < formats; f++)
        for (size_t k = first; k < behind; k++) {
            const struct file_fact *file = &stand->files[k];
            if (strcmp(file->path + length, writers[f].extension) == 0)
                links[n++] = (struct page_file){writers[f].label, file->path, file->sha256, file->bytes};
        }
    *ret_n = n;
    return links;
}

/* The first that does not come before the prefix. */
static size_t first_file(const struct station_files *stand, const char *prefix)
{
    size_t low = 0, high = stand->file_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(stand->files[middle].path, prefix) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* ---- what stands behind them ---- */

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

static bool is_open(const struct alarm *alarm)
{
    return alarm->state != ALARM_NORMAL && alarm->state != ALARM_WITHDRAWN;
}
