/* SPDX-License-Identifier: MIT */
#include "service/rehearse.h"

#include "alarms/reconcile.h"
#include "base/timestamp.h"
#include "service/subject.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STRETCH (62 * DAY_MS)     /* looked at at once: bounds memory */
#define FIRST_MONDAY (4 * DAY_MS) /* 1970-01-05 */

/* One episode that the rules find. */
struct scene {
    const struct rule *rule;
    const char *place;
    struct episode episode;
    int64_t known;
    bool is_old_news;
    bool is_new; /* no stored alarm is about it */
};

struct stage {
    struct pipeline pipeline;
    const struct rehearse_options *options;
    struct scene *scenes;
    size_t count, capacity;
    struct alarm *gone; /* stored, and found no more; texts in `kept` */
    size_t gone_count, gone_capacity, same_count;
    struct arena *kept;
};

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
static void put_text(const struct stage *stage, struct text *ret);
static void put_scene(const struct stage *stage, const struct scene *scene, struct text *ret);
static void put_value(const struct scene *scene, struct text *ret);
static void put_weeks(const struct stage *stage, struct text *ret);
static void put_difference(const struct stage *stage, struct text *ret);
static size_t count_in_week(const struct stage *stage, int64_t week, const struct rule *rule);
static int64_t week_of(int64_t time);
static int64_t next_week(const struct stage *stage, int64_t after);
static void put_json(const struct stage *stage, struct text *ret);
static void json_text(struct text *ret, const char *key, const char *value);
static void json_time(struct text *ret, const char *key, int64_t time);
static void put_visible(struct text *ret, const char *text);

bool rehearse_render(const struct config *config, struct store *store, const struct rehearse_options *options,
                     struct text *ret, struct error *error)
{
    struct stage stage = {.options = options, .kept = arena_new()};
    bool is_open = pipeline_open_to_read(&stage.pipeline, config, store, error), ok = is_open;
    for (size_t i = 0; ok && i < config->station_count; i++)
        ok = play(&stage, config->stations[i].id, false, stage.pipeline.station_places[i], error);
    for (size_t i = 0; ok && i < config->barometer_count; i++)
        ok = play(&stage, config->barometers[i].id, true, stage.pipeline.barometer_places[i], error);
    if (ok && stage.count > 0)
        qsort(stage.scenes, stage.count, sizeof *stage.scenes, compare_scenes);
    if (ok)
        options->as_json ? put_json(&stage, ret) : put_text(&stage, ret);
    if (is_open)
        pipeline_close(&stage.pipeline);
    free(stage.scenes);
    free(stage.gone);
    arena_free(stage.kept);
    return ok;
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
    switch (scene->rule->kind) {
    case RULE_SILENCE:
    case RULE_VISIT_DUE: break;
    case RULE_DRIFT: ok = find_check_arrival(stage, subject, e->raised, &arrived, error); break;
    case RULE_GAP: ok = find_arrival(stage, subject, view->record, e->end, &arrived, error); break;
    default: ok = find_arrival(stage, subject, view->record, e->raised, &arrived, error); break;
    }
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

static int compare_scenes(const void *a, const void *b)
{
    const struct scene *one = a, *other = b;
    if (one->known != other->known)
        return one->known < other->known ? -1 : 1;
    int order = strcmp(one->place, other->place);
    return order ? order : strcmp(one->rule->id, other->rule->id);
}

/* ---- for people ---- */

static void put_text(const struct stage *stage, struct text *ret)
{
    size_t told = 0;
    text_puts(
        ret,
        "A rehearsal: nobody is told, nothing is written. Drops are not rehearsed; hours, gathering and shelves are "
        "not applied.\n\n");
    for (size_t k = 0; k < stage->count; k++) {
        told += !stage->scenes[k].is_old_news;
        put_scene(stage, &stage->scenes[k], ret);
    }
    text_printf(ret, "%s%zu episodes, %zu would have been announced, %zu were old news\n", stage->count ? "\n" : "",
                stage->count, told, stage->count - told);
    put_weeks(stage, ret);
    put_difference(stage, ret);
}

/* "known 2026-04-20T06:00:00Z  high    low-oxygen at heron-creek, 2026-04-19T22:00:00Z to now: worst 1.5 mg/L; to desk"
 */
static void put_scene(const struct stage *stage, const struct scene *scene, struct text *ret)
{
    char when[TIMESTAMP_SIZE];
    const struct episode *e = &scene->episode;
    const struct word_list *tell = &scene->rule->tell;
    (void)stage; /* as its siblings */
    text_printf(ret, "known %s  %-6s  %s at %s, ", timestamp_print(scene->known, when),
                priority_word(scene->rule->priority), scene->rule->id, scene->place);
    text_printf(ret, "%s to ", timestamp_print(e->start, when));
    text_printf(ret, "%s: ", e->end == TIME_NONE ? "now" : timestamp_print(e->end, when));
    put_value(scene, ret);
    text_puts(ret, scene->is_old_news ? "; old news, nobody" : tell->count ? "; to " : "; nobody is told");
    for (size_t k = 0; k < tell->count && !scene->is_old_news; k++)
        text_printf(ret, "%s%s", k ? ", " : "", tell->words[k]);
    text_puts(ret, scene->is_new ? " (new)\n" : "\n");
}

static void put_value(const struct scene *scene, struct text *ret)
{
    const struct rule *rule = scene->rule;
    if (*scene->episode.detail || rule->quantity >= QUANTITY_COUNT) {
        put_visible(ret, scene->episode.detail);
        return;
    }
    const struct quantity_info *info = quantity_info(rule->quantity);
    text_printf(ret, "worst %.*f%s%s", info->decimals > 2 ? 2 : info->decimals, scene->episode.worst * info->scale,
                strcmp(info->unit, "1") ? " " : "", strcmp(info->unit, "1") ? info->unit : "");
}

/* "week of 2026-04-20: low-oxygen 2, warm 1" */
static void put_weeks(const struct stage *stage, struct text *ret)
{
    const struct config *config = stage->pipeline.config;
    for (int64_t week = next_week(stage, TIME_NONE); week != TIME_FOREVER; week = next_week(stage, week)) {
        struct civil day = timestamp_to_civil(week);
        text_printf(ret, "week of %04d-%02d-%02d:", day.year, day.month, day.day);
        bool is_first = true;
        for (size_t r = 0; r < config->rule_count; r++) {
            size_t count = count_in_week(stage, week, &config->rules[r]);
            if (count > 0)
                text_printf(ret, "%s %s %zu", is_first ? "" : ",", config->rules[r].id, count);
            is_first = is_first && count == 0;
        }
        text_putc(ret, '\n');
    }
}

static void put_difference(const struct stage *stage, struct text *ret)
{
    char when[TIMESTAMP_SIZE];
    size_t new_count = 0;
    for (size_t k = 0; k < stage->count; k++)
        new_count += stage->scenes[k].is_new;
    text_printf(ret, "against the alarms stored now: %zu new, %zu gone, %zu the same\n", new_count, stage->gone_count,
                stage->same_count);
    for (size_t k = 0; k < stage->gone_count; k++) {
        const struct alarm *alarm = &stage->gone[k];
        text_printf(ret, "gone: alarm %" PRId64 ", %s at ", alarm->id, alarm->rule);
        put_visible(ret, alarm->station);
        text_printf(ret, ", %s\n", timestamp_print(alarm->episode.start, when));
    }
}

/* Announced ones, by when they would have been known. */
static size_t count_in_week(const struct stage *stage, int64_t week, const struct rule *rule)
{
    size_t count = 0;
    for (size_t k = 0; k < stage->count; k++)
        count +=
            stage->scenes[k].rule == rule && !stage->scenes[k].is_old_news && week_of(stage->scenes[k].known) == week;
    return count;
}

/* Its Monday, UTC. */
static int64_t week_of(int64_t time)
{
    return timestamp_floor(time - FIRST_MONDAY, 7 * DAY_MS) + FIRST_MONDAY;
}

/* The next week in which anything would have been announced. */
static int64_t next_week(const struct stage *stage, int64_t after)
{
    for (size_t k = 0; k < stage->count; k++)
        if (!stage->scenes[k].is_old_news && week_of(stage->scenes[k].known) > after)
            return week_of(stage->scenes[k].known);
    return TIME_FOREVER;
}

/* ---- for machines: keys only get added ---- */

static void put_json(const struct stage *stage, struct text *ret)
{
    size_t new_count = 0;
    text_puts(ret, "{\"episodes\":[");
    for (size_t k = 0; k < stage->count; k++) {
        const struct scene *scene = &stage->scenes[k];
        const struct episode *e = &scene->episode;
        new_count += scene->is_new;
        text_puts(ret, k ? ",{\"place\":" : "{\"place\":");
        text_json(ret, scene->place);
        json_text(ret, "rule", scene->rule->id);
        json_text(ret, "priority", priority_word(scene->rule->priority));
        json_time(ret, "happened_at", e->start);
        json_time(ret, "raised_at", e->raised);
        json_time(ret, "ended_at", e->end);
        json_time(ret, "known_at", scene->known);
        struct text value;
        text_init(&value, 1024);
        text_puts(&value, "");
        put_value(scene, &value);
        json_text(ret, "seen", value.bytes);
        text_done(&value);
        text_printf(ret, ",\"old_news\":%s,\"new\":%s,\"to\":[", scene->is_old_news ? "true" : "false",
                    scene->is_new ? "true" : "false");
        for (size_t t = 0; t < scene->rule->tell.count && !scene->is_old_news; t++) {
            text_puts(ret, t ? "," : "");
            text_json(ret, scene->rule->tell.words[t]);
        }
        text_puts(ret, "]}");
    }
    text_printf(ret, "],\"difference\":{\"new\":%zu,\"gone\":%zu,\"same\":%zu,\"gone_alarms\":[", new_count,
                stage->gone_count, stage->same_count);
    for (size_t k = 0; k < stage->gone_count; k++)
        text_printf(ret, "%s%" PRId64, k ? "," : "", stage->gone[k].id);
    text_puts(ret, "]}}\n");
}

static void json_text(struct text *ret, const char *key, const char *value)
{
    text_printf(ret, ",\"%s\":", key);
    text_json(ret, value);
}

static void json_time(struct text *ret, const char *key, int64_t time)
{
    char when[TIMESTAMP_SIZE];
    json_text(ret, key, time == TIME_NONE ? NULL : timestamp_print(time, when));
}

static void put_visible(struct text *ret, const char *text)
{
    char shown[1024];
    text_make_visible(text, shown, sizeof shown);
    text_puts(ret, shown);
}
