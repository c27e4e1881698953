/* SPDX-License-Identifier: MIT */
#include "service/dataset_load.h"

#include "base/timestamp.h"
#include "service/review.h"
#include "service/revise.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_ALARMS = 200, MONTHS_OF_A_YEAR = 12 };

static bool load(struct pipeline *p, size_t station, int32_t month, int months, struct arena *arena,
                 struct dataset *ret, struct error *error);

static bool load_notes(struct pipeline *p, uint32_t place, struct span span, struct arena *arena, struct note **ret,
                       size_t *ret_n, struct error *error);
static bool load_reviews(struct pipeline *p, uint32_t place, struct arena *arena, struct dataset *dataset,
                         struct error *error);
static bool load_history(struct pipeline *p, uint32_t place, int32_t month, struct arena *arena, const char **ret,
                         struct error *error);
static bool load_raw(struct pipeline *p, uint32_t place, struct arena *arena, struct dataset *dataset,
                     struct error *error);
static void align_raw(struct arena *arena, const struct readings *all, const struct record *record,
                      struct readings *ret);
static bool load_barometers(struct pipeline *p, struct arena *arena, struct dataset *dataset, struct error *error);
static bool add_findings_of_barometers(struct pipeline *p, struct arena *arena, struct dataset *dataset,
                                       struct error *error);
static bool load_drops(struct pipeline *p, struct arena *arena, struct dataset *dataset, struct error *error);

bool dataset_load(struct pipeline *p, size_t station, int32_t month, struct arena *arena, struct dataset *ret,
                  struct error *error)
{
    return load(p, station, month, 1, arena, ret, error) &&
           load_history(p, p->station_places[station], month, arena, &ret->history, error);
}

bool dataset_load_year(struct pipeline *p, size_t station, int32_t month, struct arena *arena, struct dataset *ret,
                       struct error *error)
{
    if (!load(p, station, month, MONTHS_OF_A_YEAR, arena, ret, error))
        return false;
    bool is_calendar = ret->month == 1;
    ret->period = arena_printf(arena, "%s%d", is_calendar ? "" : "water year ", ret->year + !is_calendar);
    return true;
}

static bool load(struct pipeline *p, size_t station, int32_t month, int months, struct arena *arena,
                 struct dataset *ret, struct error *error)
{
    const struct station *s = &p->config->stations[station];
    uint32_t place = p->station_places[station];
    struct civil first = {.year = month / 12, .month = month % 12 + 1, .day = 1};
    int64_t from = timestamp_from_civil(&first) - s->utc_offset;
    *ret = (struct dataset){
        .config = p->config, .station = s, .year = first.year, .month = first.month, .span = {from, from}};
    for (int k = 0; k < months; k++)
        ret->span.to = timestamp_next_month(ret->span.to, s->utc_offset);
    struct note *notes;
    struct check_result *checks;
    struct finding *findings;
    struct alarm *alarms;
    if (!store_record_load(p->store, place, ret->span, arena, &ret->record, error) ||
        !load_notes(p, place, ret->span, arena, &notes, &ret->note_count, error) ||
        !store_checks_load(p->store, place, ret->span, arena, &checks, &ret->check_count, error) ||
        !store_findings_load(p->store, place, ret->span, arena, &findings, &ret->finding_count, error) ||
        !store_alarms_of_station(p->store, s->id, ret->span, MOST_ALARMS, arena, &alarms, &ret->alarm_count, error))
        return false;
    ret->alarms = alarms;
    ret->notes = notes;
    ret->checks = checks;
    ret->findings = findings;
    return ret->record.n == 0 || (load_reviews(p, place, arena, ret, error) && load_raw(p, place, arena, ret, error) &&
                                  load_barometers(p, arena, ret, error) &&
                                  add_findings_of_barometers(p, arena, ret, error) && load_drops(p, arena, ret, error));
}

/* Those of the month, and decisions from before it that reach into it. */
static bool load_notes(struct pipeline *p, uint32_t place, struct span span, struct arena *arena, struct note **ret,
                       size_t *ret_n, struct error *error)
{
    uint32_t all = (1u << NOTE_KIND_COUNT) - 1;
    struct note *earlier, *inside;
    size_t earlier_count, inside_count, n = 0;
    if (!store_notes_load(p->store, place, SPAN_NOTES, (struct span){0, span.from}, arena, &earlier, &earlier_count,
                          error) ||
        !store_notes_load(p->store, place, all, span, arena, &inside, &inside_count, error))
        return false;
    *ret = arena_array(arena, earlier_count + inside_count + 1, sizeof **ret);
    for (size_t k = 0; k < earlier_count; k++)
        if (earlier[k].until > span.from)
            (*ret)[n++] = earlier[k];
    for (size_t k = 0; k < inside_count; k++)
        (*ret)[n++] = inside[k];
    *ret_n = n;
    return true;
}

static bool load_reviews(struct pipeline *p, uint32_t place, struct arena *arena, struct dataset *dataset,
                         struct error *error)
{
    struct reviewed_span *spans;
    size_t n;
    if (!store_reviewed_load(p->store, place, dataset->span, arena, &spans, &n, error))
        return false;
    struct dataset_review *list = arena_array(arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        struct dataset_review *last = dataset->review_count > 0 ? &list[dataset->review_count - 1] : NULL;
        if (last && spans[k].review == spans[k - 1].review && spans[k].span.from == last->span.to)
            last->span.to = spans[k].span.to; /* one word, kept in pieces */
        else
            list[dataset->review_count++] =
                (struct dataset_review){spans[k].span, spans[k].who, spans[k].why, spans[k].said};
    }
    dataset->reviews = list;
    dataset->state = review_state(&dataset->record, spans, n);
    return true;
}

static bool load_raw(struct pipeline *p, uint32_t place, struct arena *arena, struct dataset *dataset,
                     struct error *error)
{
    const struct record *record = &dataset->record;
    struct span span = {record->raw_time[0], record->raw_time[0] + 1};
    for (size_t i = 0; i < record->n; i++) {
        span.from = record->raw_time[i] < span.from ? record->raw_time[i] : span.from;
        span.to = record->raw_time[i] >= span.to ? record->raw_time[i] + 1 : span.to;
    }
    struct readings all;
    if (!store_readings_load(p->store, place, span, arena, &all, error))
        return false;
    align_raw(arena, &all, record, &dataset->raw);
    return true;
}

/* What readers were told up to now. */
static bool load_history(struct pipeline *p, uint32_t place, int32_t month, struct arena *arena, const char **ret,
                         struct error *error)
{
    struct revision_fact *told;
    size_t n;
    *ret = "";
    if (!store_revisions_of_month(p->store, place, month, REVISE_HISTORY_MAX, arena, &told, &n, error))
        return false;
    for (size_t k = n; k > 0; k--)
        *ret = revise_history(*ret, told[k - 1].revision, told[k - 1].changes, arena);
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

static bool load_barometers(struct pipeline *p, struct arena *arena, struct dataset *dataset, struct error *error)
{
    uint32_t *numbers;
    size_t n = distinct(arena, dataset->record.barometer, dataset->record.n, &numbers);
    struct dataset_barometer *list = arena_array(arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        list[k].number = numbers[k];
        if (!store_place_key(p->store, numbers[k], arena, &list[k].id, error))
            return false;
    }
    dataset->barometers = list;
    dataset->barometer_count = n;
    return true;
}

/* A barometer has no record of its own: what is wrong with it stands in those that it was used for. */
static bool add_findings_of_barometers(struct pipeline *p, struct arena *arena, struct dataset *dataset,
                                       struct error *error)
{
    for (size_t b = 0; b < dataset->barometer_count; b++) {
        struct finding *more, *all;
        size_t n;
        if (!store_findings_load(p->store, dataset->barometers[b].number, dataset->span, arena, &more, &n, error))
            return false;
        all = arena_array(arena, dataset->finding_count + n + 1, sizeof *all);
        if (dataset->finding_count > 0)
            memcpy(all, dataset->findings, dataset->finding_count * sizeof *all);
        for (size_t k = 0; k < n; k++) {
            all[dataset->finding_count] = more[k];
            all[dataset->finding_count++].text =
                arena_printf(arena, "barometer '%s': %s", dataset->barometers[b].id, more[k].text);
        }
        dataset->findings = all;
    }
    return true;
}

static bool load_drops(struct pipeline *p, struct arena *arena, struct dataset *dataset, struct error *error)
{
    uint32_t *numbers;
    size_t n = distinct(arena, dataset->raw.drop, dataset->raw.n, &numbers);
    struct dataset_drop *list = arena_array(arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        struct drop_fact_row drop;
        if (!store_drop_load(p->store, numbers[k], arena, &drop, error))
            return false;
        list[k] = (struct dataset_drop){numbers[k], drop.path, drop.sha256, drop.original, drop.layout};
    }
    dataset->drops = list;
    dataset->drop_count = n;
    return true;
}
