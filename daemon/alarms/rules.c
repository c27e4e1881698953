/* SPDX-License-Identifier: MIT */
#include "alarms/rules.h"

#include "base/text.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define LONGEST_PAUSE DAY_MS /* of a delay being served; see the header */
#define ROUNDING 1e-9        /* of limit and deadband */

/* Episodes as they are found. */
struct finds {
    struct arena *arena;
    struct episode *list;
    size_t count, capacity;
};

enum phase {
    AT_REST,
    PENDING,   /* condition met, on_delay not served */
    ACTIVE,    /* an episode */
    RETURNING, /* an episode still, value back, off_delay not served */
};

/* Turns a stream of values into episodes. */
struct tracker {
    const struct rule *rule;
    struct finds *finds;
    enum phase phase;
    struct episode current; /* unless at rest */
    int64_t returned;       /* RETURNING: when the value came back */
    double latest;          /* last counted value ... */
    int64_t latest_time;    /* ... and its time, TIME_NONE before the first */
};

static size_t evaluate_threshold(struct arena *arena, const struct rule_view *view, struct episode **ret);
static size_t evaluate_change(struct arena *arena, const struct rule_view *view, struct episode **ret);
static size_t evaluate_drift(struct arena *arena, const struct rule_view *view, struct episode **ret);
static size_t evaluate_silence(struct arena *arena, const struct rule_view *view, struct episode **ret);
static size_t evaluate_nothing(struct arena *arena, const struct rule_view *view, struct episode **ret);

static void track(struct tracker *tracker, int64_t time, double value);
static void track_towards(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken);
static void track_back(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken);
static void take_value(const struct rule *rule, struct episode *episode, int64_t time, double value);
static void track_end(struct tracker *tracker);
static bool does_count(const struct rule *rule, const struct record *record, size_t row);
static bool is_past_limit(const struct rule *rule, double value);
static bool is_back(const struct rule *rule, double value);
static int64_t longest_delay(const struct rule *rule);
static int64_t longest_pause(const struct rule *rule);
static void describe_change(const struct rule_view *view, struct episode *episode);
static void take_check(struct finds *finds, const struct rule *rule, const struct check_result *check);
static void describe_check(const struct check_result *check, struct episode *episode);
static void take_gap(struct finds *finds, const struct rule_view *view, int64_t last, int64_t next);
static struct episode *add_episode(struct finds *finds);
static void add_value(struct text *text, enum quantity quantity, double inside);
static void keep_detail(struct episode *episode, const char *detail);

#define RULE_USES_LIMITS (RULE_USES_QUANTITY | RULE_USES_LIMIT | RULE_USES_DEADBAND)
#define RULE_USES_DELAYS (RULE_USES_ON_DELAY | RULE_USES_OFF_DELAY)
#define RULE_USES_SERIES (RULE_USES_LIMITS | RULE_USES_DELAYS | RULE_USES_COUNTS_SUSPECT)

static const struct rule_kind_info kinds[] = {
    [RULE_BELOW] = {.word = "below",
                    .help = "a quantity is below a limit",
                    .settings = RULE_USES_SERIES,
                    .evaluate = evaluate_threshold},
    [RULE_ABOVE] = {.word = "above",
                    .help = "a quantity is above a limit",
                    .settings = RULE_USES_SERIES,
                    .evaluate = evaluate_threshold},
    [RULE_RISE] = {.word = "rise",
                   .help = "a quantity rose by more than a limit within a time window",
                   .settings = RULE_USES_SERIES | RULE_USES_WINDOW,
                   .evaluate = evaluate_change},
    [RULE_FALL] = {.word = "fall",
                   .help = "a quantity fell by more than a limit within a time window",
                   .settings = RULE_USES_SERIES | RULE_USES_WINDOW,
                   .evaluate = evaluate_change},
    [RULE_DRIFT] = {.word = "drift",
                    .help = "a hand reading or check differs from the record by more than a limit",
                    .settings = RULE_USES_LIMITS,
                    .evaluate = evaluate_drift},
    [RULE_SILENCE] = {.word = "silence",
                      .help = "no data of a station or barometer for longer than a time window",
                      .settings = RULE_USES_WINDOW,
                      .evaluate = evaluate_silence},
    [RULE_UNREADABLE_DROP] = {.word = "unreadable_drop",
                              .help = "a drop was set aside, or waits for longer than a time window",
                              .settings = RULE_USES_WINDOW,
                              .evaluate = evaluate_nothing},
};
_Static_assert(COUNT_OF(kinds) == RULE_KIND_COUNT, "every kind of rule has a row");

const struct rule_kind_info *rules_kind_info(enum rule_kind kind)
{
    assert(kind < RULE_KIND_COUNT);
    return &kinds[kind];
}

size_t rules_evaluate(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    *ret = NULL;
    return rules_kind_info(view->rule->kind)->evaluate(arena, view, ret);
}

/* A delay that is still being served at the last sample before a change began less than a delay ago, and that
 * sample lies at most the longest pause back. Before that a change of value looks back over its window. */
int64_t rules_lead_in(const struct rule *rule)
{
    unsigned settings = rules_kind_info(rule->kind)->settings;
    if (!(settings & RULE_USES_DELAYS))
        return 0;
    int64_t history = settings & RULE_USES_WINDOW ? rule->window : 0;
    return history + longest_delay(rule) + longest_pause(rule);
}

/* A delay that begins anew at the first sample behind a change, one pause later, is served or broken another
 * pause after its length. A silence behind the last changed sample begins a window later. */
int64_t rules_lead_out(const struct rule *rule)
{
    if (rule->kind == RULE_SILENCE)
        return rule->window;
    int64_t lead_in = rules_lead_in(rule);
    return lead_in ? lead_in + longest_pause(rule) : 0;
}

double rules_excess(const struct rule *rule, double value)
{
    switch (rule->kind) {
    case RULE_BELOW:
        return rule->limit - value;
    case RULE_DRIFT:
        return fabs(value) - rule->limit;
    case RULE_SILENCE:
    case RULE_UNREADABLE_DROP:
        return value - (double)rule->window;
    case RULE_ABOVE:
    case RULE_RISE:
    case RULE_FALL:
    case RULE_KIND_COUNT:
        break;
    }
    return value - rule->limit;
}

size_t rules_drop_episodes(struct arena *arena, const struct rule *rule, const struct drop_fact *drops,
                           size_t n, int64_t now, struct drop_episode **ret)
{
    struct drop_episode *list = arena_array(arena, n, sizeof *list);
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        const struct drop_fact *drop = &drops[i];
        int64_t age = now - drop->since;
        bool is_set_aside = drop->state == DROP_SET_ASIDE;
        if (!is_set_aside && !(drop->state == DROP_WAITING && age > rule->window))
            continue;
        struct drop_episode *found = &list[count++];
        found->drop = i;
        found->episode = (struct episode){
            .start = drop->since,
            .raised = is_set_aside ? drop->since : drop->since + rule->window,
            .end = TIME_NONE,
            .worst = (double)age,
            .worst_time = now,
            .last = (double)age,
            .last_time = now,
        };
        keep_detail(&found->episode, drop->message ? drop->message : "");
    }
    *ret = list;
    return count;
}

static size_t evaluate_threshold(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    const struct record *record = view->record;
    if (!record || !record->value[view->rule->quantity])
        return 0;
    const double *value = record->value[view->rule->quantity];
    struct finds finds = {.arena = arena};
    struct tracker tracker = {.rule = view->rule, .finds = &finds, .latest_time = TIME_NONE};
    for (size_t i = 0; i < record->n; i++)
        if (does_count(view->rule, record, i))
            track(&tracker, record->time[i], value[i]);
    track_end(&tracker);
    *ret = finds.list;
    return finds.count;
}

/* The lowest value of the window behind each sample (highest for a fall) from a queue of rows whose values
 * only get higher (lower): each row enters and leaves once, so the sweep is linear whatever the window. */
static size_t evaluate_change(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    const struct rule *rule = view->rule;
    const struct record *record = view->record;
    if (!record || !record->value[rule->quantity])
        return 0;
    const double *value = record->value[rule->quantity];
    double sign = rule->kind == RULE_RISE ? 1 : -1;
    size_t *queue = arena_array(arena, record->n, sizeof *queue), first = 0, end = 0;
    struct finds finds = {.arena = arena};
    struct tracker tracker = {.rule = rule, .finds = &finds, .latest_time = TIME_NONE};
    for (size_t i = 0; i < record->n; i++) {
        if (!does_count(rule, record, i))
            continue;
        while (first < end && record->time[i] - record->time[queue[first]] > rule->window)
            first++;
        track(&tracker, record->time[i], first < end ? sign * (value[i] - value[queue[first]]) : 0);
        while (first < end && sign * value[queue[end - 1]] >= sign * value[i])
            end--;
        queue[end++] = i;
    }
    track_end(&tracker);
    for (size_t i = 0; i < finds.count; i++)
        describe_change(view, &finds.list[i]);
    *ret = finds.list;
    return finds.count;
}

static size_t evaluate_drift(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    struct finds finds = {.arena = arena};
    for (size_t i = 0; i < view->check_count; i++) {
        const struct check_result *check = &view->checks[i];
        if (check->quantity == view->rule->quantity && !check->is_first && isfinite(check->difference))
            take_check(&finds, view->rule, check);
    }
    *ret = finds.list;
    return finds.count;
}

static size_t evaluate_silence(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    struct finds finds = {.arena = arena};
    int64_t last = view->before;
    for (size_t i = 0; view->record && i < view->record->n; i++) {
        take_gap(&finds, view, last, view->record->time[i]);
        last = view->record->time[i];
    }
    take_gap(&finds, view, last, view->after);
    *ret = finds.list;
    return finds.count;
}

static size_t evaluate_nothing(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    (void)arena, (void)view, (void)ret; /* same shape as its siblings: a drop is no part of a record */
    return 0;
}

static void track(struct tracker *tracker, int64_t time, double value)
{
    bool is_broken =
        tracker->latest_time != TIME_NONE && time - tracker->latest_time > longest_pause(tracker->rule);
    bool is_met = is_past_limit(tracker->rule, value);
    if (tracker->phase == AT_REST || tracker->phase == PENDING)
        track_towards(tracker, time, value, is_met, is_broken);
    else
        track_back(tracker, time, value, is_met, is_broken);
    tracker->latest = value;
    tracker->latest_time = time;
}

static void track_towards(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken)
{
    if (!is_met) {
        tracker->phase = AT_REST;
        return;
    }
    struct episode *current = &tracker->current;
    if (tracker->phase == AT_REST || is_broken)
        *current = (struct episode){.start = time, .end = TIME_NONE, .worst = value, .worst_time = time};
    tracker->phase = PENDING;
    take_value(tracker->rule, current, time, value);
    if (time - current->start < tracker->rule->on_delay)
        return;
    current->raised = time;
    tracker->phase = ACTIVE;
}

static void track_back(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken)
{
    bool begins_return = tracker->phase == ACTIVE ? is_back(tracker->rule, value) : is_broken && !is_met;
    if (begins_return) {
        tracker->phase = RETURNING;
        tracker->returned = time;
    } else if (is_met) {
        tracker->phase = ACTIVE;
    }
    if (tracker->phase == ACTIVE) {
        take_value(tracker->rule, &tracker->current, time, value);
    } else if (time - tracker->returned >= tracker->rule->off_delay) {
        tracker->current.end = tracker->returned;
        *add_episode(tracker->finds) = tracker->current;
        tracker->phase = AT_REST;
    }
}

static void take_value(const struct rule *rule, struct episode *episode, int64_t time, double value)
{
    if (rules_excess(rule, value) > rules_excess(rule, episode->worst)) {
        episode->worst = value;
        episode->worst_time = time;
    }
    episode->last = value;
    episode->last_time = time;
}

static void track_end(struct tracker *tracker)
{
    if (tracker->phase != ACTIVE && tracker->phase != RETURNING)
        return;
    tracker->current.last = tracker->latest;
    tracker->current.last_time = tracker->latest_time;
    *add_episode(tracker->finds) = tracker->current;
}

static bool does_count(const struct rule *rule, const struct record *record, size_t row)
{
    uint8_t flag = record->flag[rule->quantity][row];
    return isfinite(record->value[rule->quantity][row]) && flag != FLAG_FAIL && flag != FLAG_MISSING &&
           (flag != FLAG_SUSPECT || rule->counts_suspect);
}

static bool is_past_limit(const struct rule *rule, double value)
{
    return rules_excess(rule, value) > ROUNDING * (fabs(rule->limit) + rule->deadband);
}

static bool is_back(const struct rule *rule, double value)
{
    return rules_excess(rule, value) <= ROUNDING * (fabs(rule->limit) + rule->deadband) - rule->deadband;
}

static int64_t longest_delay(const struct rule *rule)
{
    return rule->on_delay > rule->off_delay ? rule->on_delay : rule->off_delay;
}

static int64_t longest_pause(const struct rule *rule)
{
    int64_t delay = longest_delay(rule);
    return delay > LONGEST_PAUSE ? delay : LONGEST_PAUSE;
}

/* "rose 0.84 m in 45 min, from 1.02 m to 1.86 m": the sweep keeps only sizes, so the row that the worst
 * change is counted from is looked up here, once an episode. */
static void describe_change(const struct rule_view *view, struct episode *episode)
{
    const struct rule *rule = view->rule;
    const struct record *record = view->record;
    const double *value = record->value[rule->quantity];
    double sign = rule->kind == RULE_RISE ? 1 : -1;
    size_t worst = record_at_or_after(record, episode->worst_time), from = worst;
    for (size_t i = worst; i > 0 && episode->worst_time - record->time[i - 1] <= rule->window; i--)
        if (does_count(rule, record, i - 1) && sign * value[i - 1] < sign * value[from])
            from = i - 1;
    struct text text;
    text_init(&text, sizeof episode->detail - 1);
    text_puts(&text, rule->kind == RULE_RISE ? "rose " : "fell ");
    add_value(&text, rule->quantity, episode->worst);
    char duration[TIMESTAMP_SIZE];
    text_printf(&text, " in %s, from ", duration_print(episode->worst_time - record->time[from], duration));
    add_value(&text, rule->quantity, value[from]);
    text_puts(&text, " to ");
    add_value(&text, rule->quantity, value[worst]);
    keep_detail(episode, text.bytes);
    text_done(&text);
}

static void take_check(struct finds *finds, const struct rule *rule, const struct check_result *check)
{
    struct episode *open = finds->count ? &finds->list[finds->count - 1] : NULL;
    if (open && open->end != TIME_NONE)
        open = NULL;
    if (open && is_back(rule, check->difference)) {
        open->end = check->time;
        return;
    }
    if (!open && !is_past_limit(rule, check->difference))
        return;
    if (!open) {
        open = add_episode(finds);
        *open = (struct episode){.start = check->time,
                                 .raised = check->time,
                                 .end = TIME_NONE,
                                 .worst = check->difference,
                                 .worst_time = check->time};
        describe_check(check, open);
    }
    int64_t worst_time = open->worst_time;
    take_value(rule, open, check->time, check->difference);
    if (open->worst_time != worst_time)
        describe_check(check, open);
}

/* "hand reading 1.342 m, record 1.391 m: 0.049 m apart" */
static void describe_check(const struct check_result *check, struct episode *episode)
{
    const char *reference = "field meter ", *sensor = ", sensor ";
    if (check->kind == NOTE_LEVEL || check->kind == NOTE_TAPE_DOWN) {
        reference = "hand reading ";
        sensor = ", record ";
    } else if (check->kind == NOTE_STANDARD) {
        reference = "standard ";
    } else if (check->kind == NOTE_CHECK_CLEANED) {
        sensor = ", cleaned sensor ";
    }
    struct text text;
    text_init(&text, sizeof episode->detail - 1);
    text_puts(&text, reference);
    add_value(&text, check->quantity, check->reference);
    text_puts(&text, sensor);
    add_value(&text, check->quantity, check->sensor);
    text_puts(&text, ": ");
    add_value(&text, check->quantity, fabs(check->difference));
    text_puts(&text, " apart");
    keep_detail(episode, text.bytes);
    text_done(&text);
}

/* `next` TIME_NONE: the data end here, and the silence lasts until now. */
static void take_gap(struct finds *finds, const struct rule_view *view, int64_t last, int64_t next)
{
    int64_t until = next == TIME_NONE ? view->now : next;
    if (last == TIME_NONE || until - last <= view->rule->window)
        return;
    struct episode *episode = add_episode(finds);
    *episode = (struct episode){
        .start = last + view->rule->window,
        .raised = last + view->rule->window,
        .end = next,
        .worst = (double)(until - last),
        .worst_time = until,
        .last = (double)(until - last),
        .last_time = until,
    };
    char detail[2 * TIMESTAMP_SIZE] = "no data since ";
    if (next == TIME_NONE)
        timestamp_print(last, detail + strlen(detail));
    else
        duration_print(until - last, strcpy(detail, "no data for ") + strlen("no data for "));
    keep_detail(episode, detail);
}

static struct episode *add_episode(struct finds *finds)
{
    if (finds->count == finds->capacity) {
        finds->capacity = finds->capacity ? 2 * finds->capacity : 4;
        struct episode *moved = arena_array(finds->arena, finds->capacity, sizeof *moved);
        if (finds->count)
            memcpy(moved, finds->list, finds->count * sizeof *moved);
        finds->list = moved;
    }
    return &finds->list[finds->count++];
}

/* In the written unit, without the zeros at the end that a file's fixed columns carry: "0.84 m". */
static void add_value(struct text *text, enum quantity quantity, double inside)
{
    const struct quantity_info *info = quantity_info(quantity);
    text_number(text, quantity_to_written(quantity, inside), info->decimals);
    if (info->decimals > 0 && !text->is_full) {
        while (text->length > 0 && text->bytes[text->length - 1] == '0')
            text->length--;
        if (text->length > 0 && text->bytes[text->length - 1] == '.')
            text->length--;
        text->bytes[text->length] = '\0';
    }
    if (strcmp(info->unit, "1") != 0)
        text_printf(text, " %s", info->unit);
}

/* Cut where it is too long, at the start of a character. */
static void keep_detail(struct episode *episode, const char *detail)
{
    size_t length = strlen(detail), room = sizeof episode->detail - 1;
    if (length > room) {
        length = room;
        while (length > 0 && ((unsigned char)detail[length] & 0xC0) == 0x80)
            length--;
    }
    memcpy(episode->detail, detail, length);
    episode->detail[length] = '\0';
}
