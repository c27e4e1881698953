/* SPDX-License-Identifier: MIT */
#include "service/status.h"

#include "alarms/gather.h"
#include "alarms/supply.h"
#include "base/timestamp.h"
#include "intake/note_render.h"
#include "model/note_words.h"
#include "service/figures.h"
#include "service/out_of_service.h"
#include "service/supplies.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* What wants a hand at one place in the last RECENT of its data. */
struct place_findings {
    struct finding *list;
    size_t count;
};
#define RECENT (30 * DAY_MS)

/* Everything that is shown, read once. */
struct view {
    const struct config *config;
    struct arena *arena;
    struct place_fact *stations, *barometers;
    struct supply *supplies; /* of the stations */
    struct path_fact *paths;
    size_t path_count;
    struct unfinished *records; /* that ended the program */
    size_t record_count;
    struct waiting_span *waiting;
    size_t waiting_count;
    struct waiting_span *held;
    size_t held_count;
    struct alarm *alarms;
    size_t alarm_count;
    struct place_findings *findings; /* of each station, then each barometer */
    size_t finding_places;
    struct outbox_line *outbox;
    struct figures *figures; /* of each line of the outbox */
    size_t outbox_count;
    struct answer_fact *answers; /* that came as files lately */
    size_t answer_count;
    struct noted_fact *notes; /* that came lately */
    size_t note_count;
    struct store_counts counts;
};

/* Answers by file are told for so long: who sent one has looked by then. */
#define ANSWERS_TOLD (7 * DAY_MS)
enum { ANSWERS_SHOWN = 20 };
/* And so are field notes, for the crew to hold against the notebook; all others stand on their station's page. */
#define NOTES_TOLD (7 * DAY_MS)
enum { NOTES_SHOWN = 40 };

enum tone { TONE_PLAIN, TONE_HEAD, TONE_GOOD, TONE_BAD };

static bool load(struct view *view, struct store *store, int64_t now, struct error *error);
static bool load_supplies(struct view *view, struct store *store, struct error *error);
static bool load_findings(struct view *view, struct store *store, struct error *error);
static bool says_again(const struct finding *finding, const struct finding *next);
static bool load_figures(struct view *view, struct store *store, int64_t now, struct error *error);
static bool wants_hand(const struct view *view);
static void render_json(const struct view *view, int64_t now, struct text *ret);
static void render_text(const struct view *view, const struct status_options *options, struct text *ret);
static void text_places(const struct view *view, const struct status_options *options, struct text *ret);
static void text_supplies(const struct view *view, const struct status_options *options, struct text *ret);
static void text_held(const struct view *view, const struct status_options *options, struct text *ret);
static void text_drops(const struct view *view, const struct status_options *options, struct text *ret);
static void text_alarms(const struct view *view, const struct status_options *options, struct text *ret);
static void text_answers(const struct view *view, const struct status_options *options, struct text *ret);
static void text_notes(const struct view *view, const struct status_options *options, struct text *ret);
static void text_findings(const struct view *view, const struct status_options *options, struct text *ret);
static const char *place_id(const struct view *view, size_t i);
static void text_outbox(const struct view *view, const struct status_options *options, struct text *ret);
static void text_figures(const struct figures *figures, const struct status_options *options, struct text *ret);
static bool has_any(const struct figures *figures);
static void heading(struct text *ret, const struct status_options *options, const char *text);
static void cell(struct text *ret, const struct status_options *options, enum tone tone, const char *text,
                 size_t width);
static void json_places(const struct view *view, struct text *ret);
static void json_drops(const struct view *view, struct text *ret);
static void json_held(const struct view *view, struct text *ret);
static void json_alarms(const struct view *view, struct text *ret);
static void json_outbox(const struct view *view, struct text *ret);
static void json_answers(const struct view *view, struct text *ret);
static void json_notes(const struct view *view, struct text *ret);
static void json_findings(const struct view *view, struct text *ret);
static void json_time(struct text *ret, const char *key, int64_t time);
static size_t open_alarms(const struct view *view, const char *id);
static const char *waiting_reason(const struct view *view, const char *id);
static void alarm_value(const struct view *view, const struct alarm *alarm, char *ret, size_t size);

bool status_render(const struct config *config, struct store *store, const struct status_options *options,
                   struct text *ret, bool *ret_needs_hand, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct view view = {.config = config, .arena = arena};
    if (!load(&view, store, options->now, error))
        return false;
    *ret_needs_hand = wants_hand(&view);
    if (options->as_json)
        render_json(&view, options->now, ret);
    else
        render_text(&view, options, ret);
    return true;
}

static bool load(struct view *view, struct store *store, int64_t now, struct error *error)
{
    const struct config *config = view->config;
    view->stations = arena_array(view->arena, config->station_count + 1, sizeof *view->stations);
    view->barometers = arena_array(view->arena, config->barometer_count + 1, sizeof *view->barometers);
    for (size_t i = 0; i < config->station_count; i++)
        if (!store_place_find(store, config->stations[i].id, view->arena, &view->stations[i], error))
            return false;
    for (size_t i = 0; i < config->barometer_count; i++)
        if (!store_place_find(store, config->barometers[i].id, view->arena, &view->barometers[i], error))
            return false;
    return store_paths_unfinished(store, view->arena, &view->paths, &view->path_count, error) &&
           store_unfinished_load(store, UNFINISHED_RECORDS, view->arena, &view->records, &view->record_count, error) &&
           store_waiting_load(store, 0, view->arena, &view->waiting, &view->waiting_count, error) &&
           store_held_load(store, 0, view->arena, &view->held, &view->held_count, error) &&
           store_alarms_open(store, view->arena, &view->alarms, &view->alarm_count, error) &&
           store_outbox_summary(store, view->arena, &view->outbox, &view->outbox_count, error) &&
           store_answers_newest(store, now - ANSWERS_TOLD, ANSWERS_SHOWN, view->arena, &view->answers,
                                &view->answer_count, error) &&
           store_notes_arrived(store, now - NOTES_TOLD, NOTES_SHOWN, view->arena, &view->notes, &view->note_count,
                               error) &&
           store_counts(store, &view->counts, error) && load_supplies(view, store, error) &&
           load_findings(view, store, error) && load_figures(view, store, now, error);
}

static bool load_supplies(struct view *view, struct store *store, struct error *error)
{
    struct pipeline pipeline;
    view->supplies = arena_array(view->arena, view->config->station_count + 1, sizeof *view->supplies);
    if (!pipeline_open_to_read(&pipeline, view->config, store, error))
        return false;
    bool ok = true;
    for (size_t i = 0; ok && i < view->config->station_count; i++)
        ok = supplies_now(&pipeline, i, &view->supplies[i], error);
    pipeline_close(&pipeline);
    return ok;
}

static bool load_findings(struct view *view, struct store *store, struct error *error)
{
    size_t stations = view->config->station_count;
    view->finding_places = stations + view->config->barometer_count;
    view->findings = arena_array(view->arena, view->finding_places + 1, sizeof *view->findings);
    for (size_t i = 0; i < view->finding_places; i++) {
        const struct place_fact *fact = i < stations ? &view->stations[i] : &view->barometers[i - stations];
        struct place_findings *found = &view->findings[i];
        if (fact->number == 0 || fact->last_time == TIME_NONE)
            continue;
        struct span recent = {fact->last_time - RECENT, fact->last_time + DAY_MS};
        size_t n;
        if (!store_findings_load(store, fact->number, recent, view->arena, &found->list, &n, error))
            return false;
        for (size_t k = 0; k < n; k++)
            if (found->list[k].wants_hand && !(k + 1 < n && says_again(&found->list[k], &found->list[k + 1])))
                found->list[found->count++] = found->list[k];
    }
    return true;
}

/* A clock that is wrong is told of each week: the last word is enough here. */
static bool says_again(const struct finding *finding, const struct finding *next)
{
    return FINDINGS_OF_CLOCKS >> finding->kind & 1 && next->kind == finding->kind;
}

static bool load_figures(struct view *view, struct store *store, int64_t now, struct error *error)
{
    view->figures = arena_array(view->arena, view->outbox_count, sizeof *view->figures);
    for (size_t k = 0; k < view->outbox_count; k++)
        if (!figures_load(view->config, store, view->arena, view->outbox[k].recipient, view->alarms, view->alarm_count,
                          now, &view->figures[k], error))
            return false;
    return true;
}

static bool wants_hand(const struct view *view)
{
    bool wants = view->path_count > 0 || view->alarm_count > 0 || view->held_count > 0 || view->counts.left_alone > 0;
    for (size_t i = 0; i < view->finding_places; i++)
        wants |= view->findings[i].count > 0;
    for (size_t k = 0; k < view->outbox_count; k++)
        wants |= view->outbox[k].given_up > 0 || (view->outbox[k].due > 0 && *view->outbox[k].last_answer);
    return wants;
}

/* ---- for people ---- */

static void render_text(const struct view *view, const struct status_options *options, struct text *ret)
{
    char network[1024], now[TIMESTAMP_SIZE];
    text_make_visible(view->config->network_name, network, sizeof network);
    text_printf(ret, "%s   %s\n", network, timestamp_print(options->now, now));
    text_printf(ret,
                "%" PRId64 " drops taken (%" PRId64 " rows, %" PRId64 " repeated), %" PRId64 " notes; %" PRId64
                " spans to derive, %" PRId64 " records to write\n",
                view->counts.drops, view->counts.rows, view->counts.repeated_rows, view->counts.notes,
                view->counts.dirty, view->counts.pages_due);
    text_places(view, options, ret);
    text_supplies(view, options, ret);
    text_alarms(view, options, ret);
    text_findings(view, options, ret);
    text_held(view, options, ret);
    text_drops(view, options, ret);
    text_notes(view, options, ret);
    text_answers(view, options, ret);
    text_outbox(view, options, ret);
}

static void text_places(const struct view *view, const struct status_options *options, struct text *ret)
{
    const struct config *config = view->config;
    heading(ret, options, "Stations and barometers");
    text_printf(ret, "  %-22s %-20s %13s  %-7s %s\n", "place", "last data", "age", "alarms", "waits for");
    for (size_t i = 0; i < config->station_count + config->barometer_count; i++) {
        bool is_station = i < config->station_count;
        size_t b = is_station ? 0 : i - config->station_count;
        const char *id = is_station ? config->stations[i].id : config->barometers[b].id;
        const struct place_fact *fact = is_station ? &view->stations[i] : &view->barometers[b];
        char last[TIMESTAMP_SIZE], age[TIMESTAMP_SIZE] = "never", alarms[32] = "-";
        size_t open = open_alarms(view, id);
        if (fact->last_time != TIME_NONE && fact->number)
            duration_print(options->now - fact->last_time, age);
        if (open > 0)
            snprintf(alarms, sizeof alarms, "%zu open", open);
        timestamp_print(fact->number ? fact->last_time : TIME_NONE, last);
        text_printf(ret, "  %-22s %-20s %13s  ", id, last, age);
        cell(ret, options, open ? TONE_BAD : TONE_PLAIN, alarms, 7);
        text_printf(ret, " %s\n", waiting_reason(view, id));
    }
}

static void text_supplies(const struct view *view, const struct status_options *options, struct text *ret)
{
    bool has_heading = false;
    for (size_t i = 0; i < view->config->station_count; i++) {
        if (supply_first(&view->supplies[i]) == TIME_FOREVER)
            continue;
        if (!has_heading)
            heading(ret, options, "What loggers run out of");
        has_heading = true;
        text_printf(ret, "  %-22s ", view->config->stations[i].id);
        supply_describe(&view->supplies[i], view->config->stations[i].utc_offset, ret);
        text_putc(ret, '\n');
    }
}

static void text_alarms(const struct view *view, const struct status_options *options, struct text *ret)
{
    if (view->alarm_count == 0)
        return;
    heading(ret, options, "Alarms");
    for (size_t k = 0; k < view->alarm_count; k++) {
        const struct alarm *alarm = &view->alarms[k];
        char start[TIMESTAMP_SIZE], end[TIMESTAMP_SIZE], value[256], place[256];
        alarm_value(view, alarm, value, sizeof value);
        text_make_visible(alarm->station, place, sizeof place);
        text_printf(ret, "  %4" PRId64 "  %-22s %-14s %s to %s  ", alarm->id, place, alarm->rule,
                    timestamp_print(alarm->episode.start, start),
                    alarm->episode.end == TIME_NONE ? "now" : timestamp_print(alarm->episode.end, end));
        cell(ret, options, alarm->episode.end == TIME_NONE ? TONE_BAD : TONE_PLAIN, alarm_state_word(alarm->state), 0);
        text_printf(ret, "%s%s\n", *value ? "; " : "", value);
    }
}

static const char *place_id(const struct view *view, size_t i)
{
    size_t stations = view->config->station_count;
    return i < stations ? view->config->stations[i].id : view->config->barometers[i - stations].id;
}

static void text_findings(const struct view *view, const struct status_options *options, struct text *ret)
{
    bool has_heading = false;
    for (size_t i = 0; i < view->finding_places; i++)
        for (size_t k = 0; k < view->findings[i].count; k++) {
            const struct finding *finding = &view->findings[i].list[k];
            char when[TIMESTAMP_SIZE], visible[1024];
            text_make_visible(finding->text, visible, sizeof visible);
            if (!has_heading)
                heading(ret, options, "Findings that want a look");
            has_heading = true;
            text_printf(ret, "  %-22s %-20s %s\n", place_id(view, i), timestamp_print(finding->span.from, when),
                        visible);
        }
}

static void text_held(const struct view *view, const struct status_options *options, struct text *ret)
{
    if (view->held_count == 0)
        return;
    heading(ret, options, "Reviewed, and held: later facts would change it, until a person says so (rillward review)");
    for (size_t k = 0; k < view->held_count; k++) {
        const struct waiting_span *held = &view->held[k];
        char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
        text_printf(ret, "  %-22s %s to %s  ", held->key, timestamp_print(held->span.from, from),
                    timestamp_print(held->span.to, to));
        cell(ret, options, TONE_BAD, held->reason, 0);
        text_putc(ret, '\n');
    }
}

static void text_drops(const struct view *view, const struct status_options *options, struct text *ret)
{
    if (view->path_count == 0)
        return;
    heading(ret, options, "Drops that wait or were set aside");
    for (size_t k = 0; k < view->path_count; k++) {
        const struct path_fact *path = &view->paths[k];
        char visible[1024], message[2048], since[TIMESTAMP_SIZE];
        text_make_visible(path->path, visible, sizeof visible);
        text_make_visible(path->message, message, sizeof message);
        text_puts(ret, "  ");
        cell(ret, options, path->state == DROP_SET_ASIDE ? TONE_BAD : TONE_PLAIN, drop_state_word(path->state), 10);
        text_printf(ret, " %s  since %s\n             %s\n", visible, timestamp_print(path->since, since), message);
    }
}

/* The same words as on the station's page. */
static void text_notes(const struct view *view, const struct status_options *options, struct text *ret)
{
    const char *path = "";
    if (view->note_count == 0)
        return;
    heading(ret, options, "Field notes of the last seven days, as they were understood");
    for (size_t k = 0; k < view->note_count; k++) {
        const struct noted_fact *noted = &view->notes[k];
        size_t s = config_find_station(view->config, noted->note.station);
        if (s == view->config->station_count)
            continue; /* configured no more: its clock is not known */
        if (strcmp(path, noted->path) != 0) {
            char visible[1024];
            path = noted->path;
            text_make_visible(path, visible, sizeof visible);
            text_printf(ret, "  %s\n", visible);
        }
        text_printf(ret, "    line %-5" PRIu32 " ", noted->note.line);
        note_render(&noted->note, &view->config->stations[s], ret);
        text_putc(ret, '\n');
    }
    if (view->note_count == NOTES_SHOWN)
        text_puts(ret, "  and maybe more: the stations' pages hold all\n");
}

/* For whoever sent the file, and has no other way to learn what became of it. */
static void text_answers(const struct view *view, const struct status_options *options, struct text *ret)
{
    if (view->answer_count == 0)
        return;
    heading(ret, options, "Answers that came as files");
    for (size_t k = 0; k < view->answer_count; k++) {
        const struct answer_fact *answer = &view->answers[k];
        char path[1024], who[512], said[2048], at[TIMESTAMP_SIZE];
        text_make_visible(answer->path, path, sizeof path);
        text_make_visible(answer->who, who, sizeof who);
        text_make_visible(answer->said, said, sizeof said);
        text_printf(ret, "  %s  %s line %" PRId64 ", %s: ", timestamp_print(answer->at, at), path, answer->line,
                    *who ? who : "nobody named");
        cell(ret, options, answer->is_given ? TONE_PLAIN : TONE_BAD, answer->is_given ? "given" : "not given", 0);
        text_printf(ret, "; %s\n", said);
    }
}

static void text_outbox(const struct view *view, const struct status_options *options, struct text *ret)
{
    if (view->outbox_count == 0)
        return;
    bool has_figures = false;
    heading(ret, options, "Notices");
    for (size_t k = 0; k < view->outbox_count; k++) {
        const struct outbox_line *line = &view->outbox[k];
        char answer[512];
        text_make_visible(line->last_answer, answer, sizeof answer);
        text_printf(ret, "  %-22s %" PRId64 " delivered, %" PRId64 " due, ", line->recipient, line->delivered,
                    line->due);
        char given_up[48];
        snprintf(given_up, sizeof given_up, "%" PRId64 " given up", line->given_up);
        cell(ret, options, line->given_up ? TONE_BAD : TONE_PLAIN, given_up, 0);
        text_printf(ret, "%s%s\n", *answer ? "; " : "", answer);
        text_figures(&view->figures[k], options, ret);
        has_figures = has_figures || has_any(&view->figures[k]);
    }
    if (has_figures)
        text_printf(ret,
                    "  %-22s ISA-18.2 accepts up to %d a day, %d in 10 min, none chattering, fewer than %d standing\n",
                    "for one person", ALARMS_A_DAY_ACCEPTABLE, FLOOD_BEGINS, ALARMS_STANDING_BELOW);
}

/* Whether a person can still answer what they are told. */
static void text_figures(const struct figures *figures, const struct status_options *options, struct text *ret)
{
    if (!has_any(figures))
        return;
    text_printf(ret,
                "  %-22s %" PRId64 " new alarms in 24 h, at most %" PRId64 " in 10 min, %.0f %% chattering, %" PRId64
                " standing longer than a day",
                "", figures->day, figures->most_in_10_min,
                figures->day ? 100.0 * (double)figures->chattering / (double)figures->day : 0.0, figures->standing);
    if (figures->is_flood) {
        text_puts(ret, "; ");
        cell(ret, options, TONE_BAD, "flood: only summaries are sent", 0);
    }
    text_putc(ret, '\n');
}

static bool has_any(const struct figures *figures)
{
    return figures->day > 0 || figures->standing > 0;
}

static void heading(struct text *ret, const struct status_options *options, const char *text)
{
    text_putc(ret, '\n');
    cell(ret, options, TONE_HEAD, text, 0);
    text_putc(ret, '\n');
}

/* Colour only adds to the words: without it nothing is lost. */
static void cell(struct text *ret, const struct status_options *options, enum tone tone, const char *text, size_t width)
{
    static const char *const codes[] = {
        [TONE_PLAIN] = "", [TONE_HEAD] = "\033[1m", [TONE_GOOD] = "\033[34m", [TONE_BAD] = "\033[1;35m"};
    bool paints = options->in_colour && *codes[tone];
    text_printf(ret, "%s%-*s%s", paints ? codes[tone] : "", (int)width, text, paints ? "\033[0m" : "");
}

static void alarm_value(const struct view *view, const struct alarm *alarm, char *ret, size_t size)
{
    size_t r = config_find_rule(view->config, alarm->rule);
    char detail[256];
    text_make_visible(alarm->episode.detail, detail, sizeof detail);
    snprintf(ret, size, "%s", detail);
    if (*detail || r == view->config->rule_count || view->config->rules[r].quantity >= QUANTITY_COUNT)
        return;
    const struct quantity_info *info = quantity_info(view->config->rules[r].quantity);
    snprintf(ret, size, "worst %.*f %s, last %.*f %s", info->decimals > 2 ? 2 : info->decimals,
             alarm->episode.worst * info->scale, info->unit, info->decimals > 2 ? 2 : info->decimals,
             alarm->episode.last * info->scale, info->unit);
}

static size_t open_alarms(const struct view *view, const char *id)
{
    size_t n = 0;
    for (size_t k = 0; k < view->alarm_count; k++)
        n += strcmp(view->alarms[k].station, id) == 0;
    return n;
}

static const char *waiting_reason(const struct view *view, const char *id)
{
    for (size_t k = 0; k < view->record_count; k++)
        if (strcmp(view->records[k].key, id) == 0 && view->records[k].is_left_alone) {
            char from[TIMESTAMP_SIZE];
            return arena_printf(
                view->arena,
                "records left alone since %s: the program ended each time it wrote one, perhaps for want of "
                "memory; 'rillward retry', other settings or another version try again",
                timestamp_print(view->records[k].since, from));
        }
    const char *why = out_of_service_why(view->config, id);
    if (why)
        return arena_printf(view->arena, "out of service: %s", why);
    for (size_t k = view->waiting_count; k > 0; k--)
        if (strcmp(view->waiting[k - 1].key, id) == 0) {
            char from[TIMESTAMP_SIZE];
            return arena_printf(view->arena, "%s (since %s)", view->waiting[k - 1].reason,
                                timestamp_print(view->waiting[k - 1].span.from, from));
        }
    return "";
}

/* ---- for machines: keys only get added ---- */

static void render_json(const struct view *view, int64_t now, struct text *ret)
{
    text_puts(ret, "{\"network\":");
    text_json(ret, view->config->network_id);
    json_time(ret, "now", now);
    text_printf(ret,
                ",\"counts\":{\"drops\":%" PRId64 ",\"rows\":%" PRId64 ",\"repeated_rows\":%" PRId64
                ",\"notes\":%" PRId64 ",\"dirty_spans\":%" PRId64 ",\"due_records\":%" PRId64 "},\"stations\":[",
                view->counts.drops, view->counts.rows, view->counts.repeated_rows, view->counts.notes,
                view->counts.dirty, view->counts.pages_due);
    json_places(view, ret);
    text_puts(ret, view->config->barometer_count ? "],\"drops\":[" : "],\"barometers\":[],\"drops\":[");
    json_drops(view, ret);
    text_puts(ret, "],\"held\":[");
    json_held(view, ret);
    text_puts(ret, "],\"alarms\":[");
    json_alarms(view, ret);
    json_findings(view, ret);
    text_puts(ret, "],\"outbox\":[");
    json_outbox(view, ret);
    text_putc(ret, ']');
    json_answers(view, ret);
    json_notes(view, ret);
    text_puts(ret, "}\n");
}

static void json_places(const struct view *view, struct text *ret)
{
    const struct config *config = view->config;
    for (size_t i = 0; i < config->station_count + config->barometer_count; i++) {
        bool is_station = i < config->station_count;
        size_t b = is_station ? 0 : i - config->station_count;
        const struct place_fact *fact = is_station ? &view->stations[i] : &view->barometers[b];
        const char *id = is_station ? config->stations[i].id : config->barometers[b].id;
        if (i == config->station_count)
            text_puts(ret, "],\"barometers\":[");
        text_puts(ret, i == 0 || i == config->station_count ? "{\"id\":" : ",{\"id\":");
        text_json(ret, id);
        json_time(ret, "first", fact->number ? fact->first_time : TIME_NONE);
        json_time(ret, "last", fact->number ? fact->last_time : TIME_NONE);
        text_printf(ret, ",\"alarms_open\":%zu", open_alarms(view, id));
        const char *reason = waiting_reason(view, id);
        text_puts(ret, ",\"waits_for\":");
        text_json(ret, *reason ? reason : NULL);
        if (is_station) {
            json_time(ret, "memory_full", view->supplies[i].memory_full);
            json_time(ret, "battery_empty", view->supplies[i].battery_empty);
        }
        text_putc(ret, '}');
    }
}

static void json_drops(const struct view *view, struct text *ret)
{
    for (size_t k = 0; k < view->path_count; k++) {
        text_puts(ret, k ? ",{\"path\":" : "{\"path\":");
        text_json(ret, view->paths[k].path);
        text_puts(ret, ",\"state\":");
        text_json(ret, drop_state_word(view->paths[k].state));
        json_time(ret, "since", view->paths[k].since);
        text_puts(ret, ",\"message\":");
        text_json(ret, view->paths[k].message);
        text_putc(ret, '}');
    }
}

static void json_held(const struct view *view, struct text *ret)
{
    for (size_t k = 0; k < view->held_count; k++) {
        text_puts(ret, k ? ",{\"station\":" : "{\"station\":");
        text_json(ret, view->held[k].key);
        json_time(ret, "from", view->held[k].span.from);
        json_time(ret, "to", view->held[k].span.to);
        text_puts(ret, ",\"would_change\":");
        text_json(ret, view->held[k].reason);
        text_putc(ret, '}');
    }
}

static void json_alarms(const struct view *view, struct text *ret)
{
    for (size_t k = 0; k < view->alarm_count; k++) {
        const struct alarm *alarm = &view->alarms[k];
        text_printf(ret, "%s{\"alarm\":%" PRId64 ",\"place\":", k ? "," : "", alarm->id);
        text_json(ret, alarm->station);
        text_puts(ret, ",\"rule\":");
        text_json(ret, alarm->rule);
        text_puts(ret, ",\"state\":");
        text_json(ret, alarm_state_word(alarm->state));
        json_time(ret, "start", alarm->episode.start);
        json_time(ret, "end", alarm->episode.end);
        json_time(ret, "learnt", alarm->learnt);
        text_puts(ret, ",\"detail\":");
        text_json(ret, alarm->episode.detail);
        text_putc(ret, '}');
    }
}

static void json_outbox(const struct view *view, struct text *ret)
{
    for (size_t k = 0; k < view->outbox_count; k++) {
        const struct outbox_line *line = &view->outbox[k];
        text_puts(ret, k ? ",{\"recipient\":" : "{\"recipient\":");
        text_json(ret, line->recipient);
        text_printf(ret, ",\"delivered\":%" PRId64 ",\"due\":%" PRId64 ",\"given_up\":%" PRId64, line->delivered,
                    line->due, line->given_up);
        json_time(ret, "oldest_due", line->oldest_due);
        text_puts(ret, ",\"last_answer\":");
        text_json(ret, line->last_answer);
        const struct figures *figures = &view->figures[k];
        text_printf(ret,
                    ",\"new_alarms_24_h\":%" PRId64 ",\"most_in_10_min\":%" PRId64 ",\"chattering_24_h\":%" PRId64
                    ",\"standing_over_24_h\":%" PRId64 ",\"flood\":%s}",
                    figures->day, figures->most_in_10_min, figures->chattering, figures->standing,
                    figures->is_flood ? "true" : "false");
    }
}

static void json_answers(const struct view *view, struct text *ret)
{
    text_puts(ret, ",\"answers\":[");
    for (size_t k = 0; k < view->answer_count; k++) {
        const struct answer_fact *answer = &view->answers[k];
        text_puts(ret, k ? ",{\"path\":" : "{\"path\":");
        text_json(ret, answer->path);
        text_printf(ret, ",\"line\":%" PRId64, answer->line);
        json_time(ret, "at", answer->at);
        text_puts(ret, ",\"who\":");
        text_json(ret, answer->who);
        text_printf(ret, ",\"given\":%s,\"said\":", answer->is_given ? "true" : "false");
        text_json(ret, answer->said);
        text_putc(ret, '}');
    }
    text_putc(ret, ']');
}

static void json_notes(const struct view *view, struct text *ret)
{
    struct text words;
    size_t written = 0;
    text_init(&words, 8192);
    text_puts(ret, ",\"notes\":[");
    for (size_t k = 0; k < view->note_count; k++) {
        const struct note *note = &view->notes[k].note;
        size_t s = config_find_station(view->config, note->station);
        if (s == view->config->station_count)
            continue;
        text_clear(&words);
        note_words(note, view->config->stations[s].utc_offset, &words);
        text_puts(ret, written++ ? ",{\"station\":" : "{\"station\":");
        text_json(ret, note->station);
        json_time(ret, "time", note->time);
        text_puts(ret, ",\"kind\":");
        text_json(ret, note_kind_word(note->kind));
        text_puts(ret, ",\"understood\":");
        text_json(ret, words.bytes);
        text_puts(ret, ",\"remark\":");
        text_json(ret, note->text);
        text_puts(ret, ",\"path\":");
        text_json(ret, view->notes[k].path);
        text_printf(ret, ",\"line\":%" PRIu32 "}", note->line);
    }
    text_putc(ret, ']');
    text_done(&words);
}

static void json_findings(const struct view *view, struct text *ret)
{
    size_t written = 0;
    text_puts(ret, "],\"findings\":[");
    for (size_t i = 0; i < view->finding_places; i++)
        for (size_t k = 0; k < view->findings[i].count; k++) {
            const struct finding *finding = &view->findings[i].list[k];
            text_puts(ret, written++ ? ",{\"place\":" : "{\"place\":");
            text_json(ret, place_id(view, i));
            text_puts(ret, ",\"kind\":");
            text_json(ret, finding_kind_word(finding->kind));
            json_time(ret, "from", finding->span.from);
            json_time(ret, "to", finding->span.to);
            text_puts(ret, ",\"text\":");
            text_json(ret, finding->text);
            text_putc(ret, '}');
        }
}

static void json_time(struct text *ret, const char *key, int64_t time)
{
    char when[TIMESTAMP_SIZE];
    text_printf(ret, ",\"%s\":", key);
    text_json(ret, time == TIME_NONE || time == TIME_FOREVER ? NULL : timestamp_print(time, when));
}
