/* SPDX-License-Identifier: MIT */
#include "service/rehearse.h"

#include "alarms/reconcile.h"
#include "base/timestamp.h"
#include "service/rehearse_stage.h"
#include "service/subject.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STRETCH (62 * DAY_MS) /* looked at at once: bounds memory */

static bool play_all(struct stage *stage, const struct config *config, struct store *store, struct error *error);
static bool show(const struct stage *stage, size_t places);
static void strike(struct stage *stage);
static bool play(struct stage *stage, const char *id, bool is_barometer, uint32_t place, struct error *error);
static bool play_stretch(struct stage *stage, const struct subject *subject, struct span stretch, int64_t *ended,
                         struct error *error);
static bool find_known(struct stage *stage, const struct subject *subject, const struct rule_view *view,
                       struct scene *scene, struct error *error);
static bool find_arrival(struct stage *stage, const struct subject *subject, const struct record *rows, int64_t time,
                         int64_t *ret, struct error *error);
static bool find_check_arrival(struct stage *stage, const struct subject *subject, int64_t time, int64_t *ret,
                               struct error *error);
static bool compare_with_stored(struct stage *stage, const char *id, size_t first, struct error *error);
static bool was_true_then(const struct config *config, const struct alarm *alarm);
static bool overlap(const struct episode *a, const struct episode *b);
static int compare_scenes(const void *a, const void *b);
static void compare_stages(struct stage *one, const struct stage *other);

bool rehearse_render(const struct config *config, struct store *store, const struct rehearse_options *options,
                     struct text *ret, struct error *error)
{
    struct stage stage = {.options = options}, other = {.options = options};
    bool ok = play_all(&stage, config, store, error) &&
              (!options->against || play_all(&other, options->against, store, error));
    if (ok && options->against) {
        compare_stages(&stage, &other);
        compare_stages(&other, &stage);
        stage.other = &other;
    }
    if (ok)
        options->as_json ? stage_print_json(&stage, ret) : stage_print_text(&stage, ret);
    strike(&stage);
    strike(&other);
    return ok;
}

static bool play_all(struct stage *stage, const struct config *config, struct store *store, struct error *error)
{
    stage->kept = arena_new();
    bool ok = pipeline_open_to_read(&stage->pipeline, config, store, error);
    for (size_t i = 0; ok && i < config->station_count; i++)
        ok = play(stage, config->stations[i].id, false, stage->pipeline.station_places[i], error) && show(stage, i + 1);
    for (size_t i = 0; ok && i < config->barometer_count; i++)
        ok = play(stage, config->barometers[i].id, true, stage->pipeline.barometer_places[i], error) &&
             show(stage, config->station_count + i + 1);
    if (ok && stage->count > 0)
        qsort(stage->scenes, stage->count, sizeof *stage->scenes, compare_scenes);
    return ok;
}

static bool show(const struct stage *stage, size_t places)
{
    const struct config *config = stage->pipeline.config;
    if (stage->options->progress)
        stage->options->progress(stage->options->context, places, config->station_count + config->barometer_count);
    return true;
}

static void strike(struct stage *stage)
{
    if (stage->pipeline.arena)
        pipeline_close(&stage->pipeline);
    free(stage->scenes);
    free(stage->gone);
    arena_free(stage->kept);
}

/* The same rule at the same place, at a common time. */
static void compare_stages(struct stage *one, const struct stage *other)
{
    for (size_t k = 0; k < one->count; k++) {
        struct scene *scene = &one->scenes[k];
        scene->is_other = true;
        for (size_t m = 0; m < other->count && scene->is_other; m++)
            scene->is_other = strcmp(other->scenes[m].rule->id, scene->rule->id) != 0 ||
                              strcmp(other->scenes[m].place, scene->place) != 0 ||
                              !overlap(&other->scenes[m].episode, &scene->episode);
    }
}

/* ---- playing ---- */

static bool play(struct stage *stage, const char *id, bool is_barometer, uint32_t place, struct error *error)
{
    struct pipeline *p = &stage->pipeline;
    struct subject subject;
    struct place_fact fact;
    size_t first = stage->count;
    arena_reset(p->arena);
    if (!store_place_find(p->store, id, p->arena, &fact, error))
        return false;
    bool has_data = place != 0 && fact.first_time != TIME_NONE;
    int64_t *ended = x_array(p->config->rule_count + 1, sizeof *ended);
    for (size_t r = 0; r < p->config->rule_count; r++)
        ended[r] = TIME_NONE;
    int64_t from = !has_data || stage->options->from > fact.first_time ? stage->options->from : fact.first_time;
    int64_t to = stage->options->to < stage->options->now + 1 ? stage->options->to : stage->options->now + 1;
    bool ok = true;
    for (int64_t at = from; ok && has_data && at < to; at += STRETCH) {
        int64_t end = at + STRETCH < to ? at + STRETCH : to;
        arena_reset(p->arena);
        ok = subject_find(p, id, is_barometer, place, &subject, error) &&
             play_stretch(stage, &subject, (struct span){at, end}, ended, error);
    }
    free(ended);
    return ok && compare_with_stored(stage, id, first, error);
}

/* Episodes that begin in the stretch, each to its end. What an earlier stretch saw begin is not seen again. */
static bool play_stretch(struct stage *stage, const struct subject *subject, struct span stretch, int64_t *ended,
                         struct error *error)
{
    struct pipeline *p = &stage->pipeline;
    struct row_cache cache = {0};
    for (size_t r = 0; r < p->config->rule_count; r++) {
        const struct rule *rule = &p->config->rules[r];
        if (!subject_suits(rule, subject->is_barometer) || !rule_watches(rule, subject->id))
            continue;
        struct span window = {stretch.from - rules_lead_in(rule), stretch.to + rules_lead_out(rule)};
        struct rule_view view;
        struct record rows;
        struct episode *found;
        size_t n;
        do {
            if (!subject_view(p, subject, rule, stretch, stage->options->now, &window, &cache, &rows, &view, error))
                return false;
            n = rules_evaluate(p->arena, &view, &found);
        } while (reconcile_widen(rule, NULL, 0, found, n, view.after, &window));
        for (size_t k = 0; k < n; k++) {
            if (found[k].start < stretch.from || found[k].start >= stretch.to || found[k].start <= ended[r])
                continue;
            ended[r] = found[k].end == TIME_NONE ? TIME_FOREVER : found[k].end;
            struct scene scene = {.rule = rule, .place = subject->id, .episode = found[k], .is_new = true};
            if (!find_known(stage, subject, &view, &scene, error))
                return false;
            stage->scenes = x_grow(stage->scenes, stage->count, &stage->capacity, sizeof scene);
            stage->scenes[stage->count++] = scene;
        }
    }
    return true;
}

static bool find_known(struct stage *stage, const struct subject *subject, const struct rule_view *view,
                       struct scene *scene, struct error *error)
{
    const struct episode *e = &scene->episode;
    int64_t arrived = TIME_NONE;
    bool ok = true;
    enum rule_measure measure = rule_measure(scene->rule->kind);
    if (scene->rule->kind == RULE_DRIFT)
        ok = find_check_arrival(stage, subject, e->raised, &arrived, error);
    else if (measure != MEASURE_WAITING)
        ok = find_arrival(stage, subject, view->record, measure == MEASURE_PAUSE ? e->end : e->raised, &arrived, error);
    scene->known = arrived > e->raised ? arrived : e->raised;
    int64_t last = e->end != TIME_NONE ? e->end : e->last_time;
    last = last < scene->known ? last : scene->known;
    scene->is_old_news = scene->known - last > stage->pipeline.config->news_age;
    return ok;
}

/* Of the drop whose row stands at this time. */
static bool find_arrival(struct stage *stage, const struct subject *subject, const struct record *rows, int64_t time,
                         int64_t *ret, struct error *error)
{
    struct pipeline *p = &stage->pipeline;
    struct readings readings;
    struct drop_fact_row drop;
    int64_t raw = time;
    size_t row = rows ? record_at_or_after(rows, time) : 0;
    if (rows && row < rows->n && rows->time[row] == time && !subject->is_barometer)
        raw = rows->raw_time[row];
    if (!store_readings_load(p->store, subject->place, (struct span){raw, raw + 1}, p->arena, &readings, error))
        return false;
    if (readings.n == 0)
        return true;
    if (!store_drop_load(p->store, readings.drop[0], p->arena, &drop, error))
        return false;
    *ret = drop.arrived;
    return true;
}

static bool find_check_arrival(struct stage *stage, const struct subject *subject, int64_t time, int64_t *ret,
                               struct error *error)
{
    struct pipeline *p = &stage->pipeline;
    struct note *notes;
    size_t n;
    struct drop_fact_row drop;
    uint32_t kinds = LEVEL_NOTES | 1u << NOTE_CHECK | 1u << NOTE_CHECK_CLEANED | 1u << NOTE_STANDARD;
    if (!store_notes_load(p->store, subject->place, kinds, (struct span){time, time + 1}, p->arena, &notes, &n, error))
        return false;
    if (n == 0)
        return true;
    if (!store_drop_load(p->store, notes[0].drop, p->arena, &drop, error))
        return false;
    *ret = drop.arrived;
    return true;
}

/* Each stored alarm of the place against the scenes from `first` on. */
static bool compare_with_stored(struct stage *stage, const char *id, size_t first, struct error *error)
{
    struct pipeline *p = &stage->pipeline;
    const struct rehearse_options *o = stage->options;
    struct alarm *stored;
    size_t n;
    if (!store_alarms_of_station(p->store, id, (struct span){o->from, o->to}, SIZE_MAX >> 1, p->arena, &stored, &n,
                                 error))
        return false;
    for (size_t k = 0; k < n; k++) {
        struct alarm alarm = stored[k];
        if (alarm.state == ALARM_WITHDRAWN || alarm.episode.start < o->from || alarm.episode.start >= o->to ||
            was_true_then(p->config, &alarm))
            continue;
        bool is_same = false;
        for (size_t s = first; s < stage->count; s++)
            if (strcmp(stage->scenes[s].rule->id, alarm.rule) == 0 &&
                overlap(&stage->scenes[s].episode, &alarm.episode)) {
                stage->scenes[s].is_new = false;
                is_same = true;
            }
        stage->same_count += is_same;
        if (is_same)
            continue;
        alarm.station = arena_strdup(stage->kept, alarm.station);
        alarm.rule = arena_strdup(stage->kept, alarm.rule);
        stage->gone = x_grow(stage->gone, stage->gone_count, &stage->gone_capacity, sizeof alarm);
        stage->gone[stage->gone_count++] = alarm;
    }
    return true;
}

/* A silence that a late file filled, or a visit that was noted late: the history does not show it any more, and it was
 * true when it was told. */
static bool was_true_then(const struct config *config, const struct alarm *alarm)
{
    size_t r = config_find_rule(config, alarm->rule);
    bool is_waiting =
        r < config->rule_count && (config->rules[r].kind == RULE_SILENCE || config->rules[r].kind == RULE_VISIT_DUE);
    return is_waiting && alarm->episode.end != TIME_NONE;
}

static bool overlap(const struct episode *a, const struct episode *b)
{
    int64_t a_end = a->end == TIME_NONE ? TIME_FOREVER : a->end, b_end = b->end == TIME_NONE ? TIME_FOREVER : b->end;
    return a->start <= b_end && b->start <= a_end;
}

/* By the minutes that are shown: in which order files of one minute were read tells nobody anything. */
static int compare_scenes(const void *a, const void *b)
{
    const struct scene *one = a, *other = b;
    int64_t known = timestamp_floor(one->known, MINUTE_MS), other_known = timestamp_floor(other->known, MINUTE_MS);
    if (known != other_known)
        return known < other_known ? -1 : 1;
    int order = strcmp(one->place, other->place);
    return order ? order : strcmp(one->rule->id, other->rule->id);
}
