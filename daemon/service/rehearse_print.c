/* SPDX-License-Identifier: MIT */
#include "service/rehearse_stage.h"

#include "base/timestamp.h"

#include <inttypes.h>
#include <string.h>

#define FIRST_MONDAY (4 * DAY_MS) /* 1970-01-05 */
enum { MINUTE_TEXT = 17 };        /* "2026-04-22 12:00" */

static void put_scene(const struct scene *scene, const char *mark, struct text *ret);
static void put_value(const struct scene *scene, struct text *ret);
static void put_tell(const struct scene *scene, struct text *ret);
static void put_totals(const struct stage *stage, struct text *ret);
static size_t count_told(const struct stage *stage);
static void put_weeks(const struct stage *stage, struct text *ret);
static void put_week(const struct stage *stage, int64_t week, struct text *ret);
static size_t count_to(const struct stage *stage, int64_t week, const char *recipient);
static size_t count_of(const struct stage *stage, int64_t week, const char *rule);
static bool is_told_in(const struct scene *scene, int64_t week);
static void put_stored_difference(const struct stage *stage, struct text *ret);
static void put_other_difference(const struct stage *stage, struct text *ret);
static size_t count_other(const struct stage *stage);
static const char *minute(int64_t time, char *ret);
static int64_t week_of(int64_t time);
static int64_t next_week(const struct stage *stage, int64_t after);
static void json_scene(const struct scene *scene, bool is_compared, struct text *ret);
static void json_scenes(const struct stage *stage, bool only_other, struct text *ret);
static void json_weeks(const struct stage *stage, struct text *ret);
static void json_text(struct text *ret, const char *key, const char *value);
static void json_time(struct text *ret, const char *key, int64_t time);
static void put_visible(struct text *ret, const char *text);

void stage_print_text(const struct stage *stage, struct text *ret)
{
    text_puts(ret, "A rehearsal: nobody is told, nothing is written. Drops are not rehearsed; hours, gathering and\n"
                   "shelves are not applied. Times are UTC; the first is when it would have been known.\n\n");
    for (size_t k = 0; k < stage->count; k++) {
        const struct scene *scene = &stage->scenes[k];
        put_scene(scene, scene->is_new ? "  (new)" : "", ret);
    }
    text_puts(ret, stage->count ? "\n" : "");
    put_totals(stage, ret);
    put_weeks(stage, ret);
    put_stored_difference(stage, ret);
    if (stage->other)
        put_other_difference(stage, ret);
}

/* "2026-04-20 06:00  high    low-oxygen at heron-creek: worst 1.5 mg/L" and below it from when to when, and to whom. */
static void put_scene(const struct scene *scene, const char *mark, struct text *ret)
{
    char when[MINUTE_TEXT];
    const struct episode *e = &scene->episode;
    text_printf(ret, "%s  %-6s  %s at ", minute(scene->known, when), priority_word(scene->rule->priority),
                scene->rule->id);
    put_visible(ret, scene->place);
    text_puts(ret, ": ");
    put_value(scene, ret);
    text_printf(ret, "%s\n%24s  %s to ", mark, "", minute(e->start, when));
    text_printf(ret, "%s; ", e->end == TIME_NONE ? "now" : minute(e->end, when));
    put_tell(scene, ret);
    text_putc(ret, '\n');
}

static void put_tell(const struct scene *scene, struct text *ret)
{
    const struct word_list *tell = &scene->rule->tell;
    text_puts(ret, scene->is_old_news ? "old news, nobody" : tell->count ? "to " : "nobody is told");
    for (size_t k = 0; k < tell->count && !scene->is_old_news; k++)
        text_printf(ret, "%s%s", k ? ", " : "", tell->words[k]);
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

static void put_totals(const struct stage *stage, struct text *ret)
{
    size_t told = count_told(stage);
    text_printf(ret, "%zu episode%s, %zu would have been announced, %zu %s old news\n", stage->count,
                stage->count == 1 ? "" : "s", told, stage->count - told, stage->count - told == 1 ? "was" : "were");
}

static size_t count_told(const struct stage *stage)
{
    size_t told = 0;
    for (size_t k = 0; k < stage->count; k++)
        told += !stage->scenes[k].is_old_news && stage->scenes[k].rule->tell.count > 0;
    return told;
}

/* ---- by week and recipient ---- */

/* In brackets what the other rules would have said. */
static void put_weeks(const struct stage *stage, struct text *ret)
{
    int64_t week = next_week(stage, TIME_NONE);
    if (week != TIME_FOREVER)
        text_printf(ret, "\nAnnounced, by the week (Monday) in which it would have been known%s\n",
                    stage->other ? "; in brackets by the other rules" : "");
    for (; week != TIME_FOREVER; week = next_week(stage, week))
        put_week(stage, week, ret);
}

/* "  2026-04-20  to desk 4, on-call 3; low-oxygen 2, quick-rise 1" */
static void put_week(const struct stage *stage, int64_t week, struct text *ret)
{
    const struct config *config = stage->pipeline.config;
    struct civil day = timestamp_to_civil(week);
    bool is_first = true;
    text_printf(ret, "  %04d-%02d-%02d  to", day.year, day.month, day.day);
    for (size_t r = 0; r < config->recipient_count; r++) {
        const char *id = config->recipients[r].id;
        size_t here = count_to(stage, week, id), there = stage->other ? count_to(stage->other, week, id) : 0;
        if (here == 0 && there == 0)
            continue;
        text_printf(ret, "%s %s %zu", is_first ? "" : ",", id, here);
        if (stage->other)
            text_printf(ret, " (%zu)", there);
        is_first = false;
    }
    text_puts(ret, is_first ? " nobody" : "");
    is_first = true;
    for (size_t r = 0; r < config->rule_count; r++) {
        const char *id = config->rules[r].id;
        size_t here = count_of(stage, week, id), there = stage->other ? count_of(stage->other, week, id) : 0;
        if (here == 0 && there == 0)
            continue;
        text_printf(ret, "%s %s %zu", is_first ? ";" : ",", id, here);
        if (stage->other)
            text_printf(ret, " (%zu)", there);
        is_first = false;
    }
    text_putc(ret, '\n');
}

static size_t count_to(const struct stage *stage, int64_t week, const char *recipient)
{
    size_t count = 0;
    for (size_t k = 0; k < stage->count; k++) {
        const struct word_list *tell = &stage->scenes[k].rule->tell;
        for (size_t t = 0; t < tell->count && is_told_in(&stage->scenes[k], week); t++)
            count += strcmp(tell->words[t], recipient) == 0;
    }
    return count;
}

static size_t count_of(const struct stage *stage, int64_t week, const char *rule)
{
    size_t count = 0;
    for (size_t k = 0; k < stage->count; k++)
        count += is_told_in(&stage->scenes[k], week) && strcmp(stage->scenes[k].rule->id, rule) == 0;
    return count;
}

static bool is_told_in(const struct scene *scene, int64_t week)
{
    return !scene->is_old_news && scene->rule->tell.count > 0 && week_of(scene->known) == week;
}

/* Its Monday, UTC. */
static int64_t week_of(int64_t time)
{
    return timestamp_floor(time - FIRST_MONDAY, 7 * DAY_MS) + FIRST_MONDAY;
}

/* The next week in which anything would have been announced, by these rules or the others. */
static int64_t next_week(const struct stage *stage, int64_t after)
{
    int64_t next = TIME_FOREVER;
    for (const struct stage *s = stage; s; s = s->other)
        for (size_t k = 0; k < s->count; k++) {
            int64_t week = week_of(s->scenes[k].known);
            if (is_told_in(&s->scenes[k], week) && week > after && week < next)
                next = week;
        }
    return next;
}

/* ---- what differs ---- */

static void put_stored_difference(const struct stage *stage, struct text *ret)
{
    char when[MINUTE_TEXT];
    size_t new_count = 0;
    for (size_t k = 0; k < stage->count; k++)
        new_count += stage->scenes[k].is_new;
    text_printf(ret, "\nAgainst the alarms stored now: %zu new, %zu gone, %zu the same\n", new_count, stage->gone_count,
                stage->same_count);
    for (size_t k = 0; k < stage->gone_count; k++) {
        const struct alarm *alarm = &stage->gone[k];
        text_printf(ret, "  gone: alarm %" PRId64 ", %s at ", alarm->id, alarm->rule);
        put_visible(ret, alarm->station);
        text_printf(ret, ", %s\n", minute(alarm->episode.start, when));
    }
}

static void put_other_difference(const struct stage *stage, struct text *ret)
{
    const struct stage *other = stage->other;
    size_t here = count_other(stage), there = count_other(other);
    text_puts(ret, "\nAgainst the rules of '");
    put_visible(ret, stage->options->against_name);
    text_printf(ret, "': %zu only here, %zu only there, %zu in both; announced %zu here, %zu there\n", here, there,
                stage->count - here, count_told(stage), count_told(other));
    text_puts(ret, here ? "Only here:\n" : "");
    for (size_t k = 0; k < stage->count; k++)
        if (stage->scenes[k].is_other)
            put_scene(&stage->scenes[k], "", ret);
    text_puts(ret, there ? "Only there:\n" : "");
    for (size_t k = 0; k < other->count; k++)
        if (other->scenes[k].is_other)
            put_scene(&other->scenes[k], "", ret);
}

static size_t count_other(const struct stage *stage)
{
    size_t count = 0;
    for (size_t k = 0; k < stage->count; k++)
        count += stage->scenes[k].is_other;
    return count;
}

/* ---- for machines: keys only get added ---- */

void stage_print_json(const struct stage *stage, struct text *ret)
{
    size_t new_count = 0;
    text_puts(ret, "{\"episodes\":[");
    json_scenes(stage, false, ret);
    for (size_t k = 0; k < stage->count; k++)
        new_count += stage->scenes[k].is_new;
    text_puts(ret, "],\"weeks\":[");
    json_weeks(stage, ret);
    text_printf(ret, "],\"difference\":{\"new\":%zu,\"gone\":%zu,\"same\":%zu,\"gone_alarms\":[", new_count,
                stage->gone_count, stage->same_count);
    for (size_t k = 0; k < stage->gone_count; k++)
        text_printf(ret, "%s%" PRId64, k ? "," : "", stage->gone[k].id);
    text_puts(ret, "]}");
    if (stage->other) {
        size_t here = count_other(stage);
        text_printf(ret, ",\"against\":{\"only_here\":%zu,\"only_there\":%zu,\"both\":%zu,\"episodes_only_there\":[",
                    here, count_other(stage->other), stage->count - here);
        json_scenes(stage->other, true, ret);
        text_puts(ret, "],\"weeks\":[");
        json_weeks(stage->other, ret);
        text_puts(ret, "]}");
    }
    text_puts(ret, "}\n");
}

static void json_scenes(const struct stage *stage, bool only_other, struct text *ret)
{
    bool is_first = true;
    for (size_t k = 0; k < stage->count; k++) {
        if (only_other && !stage->scenes[k].is_other)
            continue;
        text_puts(ret, is_first ? "" : ",");
        json_scene(&stage->scenes[k], stage->other != NULL, ret);
        is_first = false;
    }
}

static void json_scene(const struct scene *scene, bool is_compared, struct text *ret)
{
    const struct episode *e = &scene->episode;
    CLEANUP(text_done) struct text value;
    text_init(&value, 1024);
    text_puts(&value, "");
    put_value(scene, &value);
    text_puts(ret, "{\"place\":");
    text_json(ret, scene->place);
    json_text(ret, "rule", scene->rule->id);
    json_text(ret, "priority", priority_word(scene->rule->priority));
    json_time(ret, "happened_at", e->start);
    json_time(ret, "raised_at", e->raised);
    json_time(ret, "ended_at", e->end);
    json_time(ret, "known_at", scene->known);
    json_text(ret, "seen", value.bytes);
    text_printf(ret, ",\"old_news\":%s,\"new\":%s,\"to\":[", scene->is_old_news ? "true" : "false",
                scene->is_new ? "true" : "false");
    for (size_t t = 0; t < scene->rule->tell.count && !scene->is_old_news; t++) {
        text_puts(ret, t ? "," : "");
        text_json(ret, scene->rule->tell.words[t]);
    }
    text_putc(ret, ']');
    if (is_compared)
        text_printf(ret, ",\"only_here\":%s", scene->is_other ? "true" : "false");
    text_putc(ret, '}');
}

static void json_weeks(const struct stage *stage, struct text *ret)
{
    const struct config *config = stage->pipeline.config;
    const struct stage alone = {.scenes = stage->scenes, .count = stage->count};
    bool is_first_week = true;
    for (int64_t week = next_week(&alone, TIME_NONE); week != TIME_FOREVER; week = next_week(&alone, week)) {
        char printed[TIMESTAMP_SIZE];
        bool is_first = true;
        text_printf(ret, "%s{\"monday\":\"%.10s\",\"to\":{", is_first_week ? "" : ",", timestamp_print(week, printed));
        for (size_t r = 0; r < config->recipient_count; r++) {
            size_t count = count_to(stage, week, config->recipients[r].id);
            if (count == 0)
                continue;
            text_puts(ret, is_first ? "" : ",");
            text_json(ret, config->recipients[r].id);
            text_printf(ret, ":%zu", count);
            is_first = false;
        }
        text_puts(ret, "}}");
        is_first_week = false;
    }
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

static const char *minute(int64_t time, char *ret)
{
    struct civil c = timestamp_to_civil(time);
    struct text text;
    text_init(&text, MINUTE_TEXT);
    text_printf(&text, "%04d-%02d-%02d %02d:%02d", c.year, c.month, c.day, c.hour, c.minute);
    memcpy(ret, text.bytes, text.length + 1);
    text_done(&text);
    return ret;
}

static void put_visible(struct text *ret, const char *text)
{
    char shown[1024];
    text_make_visible(text, shown, sizeof shown);
    text_puts(ret, shown);
}
