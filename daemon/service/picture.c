/* SPDX-License-Identifier: MIT */
#include "service/picture.h"

#include "archive/chart.h"
#include "base/log.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <math.h>
#include <string.h>

enum { MOST_ALARMS = 100 };

static bool is_drawable(const struct pipeline *p, const struct notice *notice);
static bool load(struct pipeline *p, const struct notice *notice, struct dataset *ret, struct error *error);
static const char *describe(struct pipeline *p, const struct notice *notice, const struct dataset *dataset);
static void put_value(struct text *text, const struct quantity_info *info, double inside);

bool picture_draw(struct pipeline *p, const struct notice *notice, struct text *png, struct message_picture *ret)
{
    struct dataset dataset;
    struct error error;
    if (!is_drawable(p, notice))
        return false;
    if (!load(p, notice, &dataset, &error)) {
        log_warning("no chart for notice %lld: %s", (long long)notice->id, error.text);
        return false;
    }
    if (dataset.record.n == 0 || !chart_render_episode(&dataset, &notice->alarm, png) || png->is_full)
        return false;
    *ret = (struct message_picture){.png = png->bytes,
                                    .length = png->length,
                                    .width = CHART_EPISODE_WIDTH,
                                    .height = CHART_EPISODE_HEIGHT,
                                    .words = describe(p, notice, &dataset)};
    return true;
}

static bool is_drawable(const struct pipeline *p, const struct notice *notice)
{
    bool is_of_one_alarm = notice->event == NOTICE_RAISED || notice->event == NOTICE_UPDATED ||
                           notice->event == NOTICE_RETURNED || notice->event == NOTICE_REMINDED ||
                           notice->event == NOTICE_ESCALATED;
    size_t r = config_find_rule(p->config, notice->alarm.rule);
    return is_of_one_alarm && notice->alarm.state != ALARM_WITHDRAWN && r < p->config->rule_count &&
           p->config->rules[r].quantity < QUANTITY_COUNT &&
           config_find_station(p->config, notice->alarm.station) < p->config->station_count;
}

/* The line alone: what the values were before they were finished is a matter of the archive. */
static bool load(struct pipeline *p, const struct notice *notice, struct dataset *ret, struct error *error)
{
    size_t s = config_find_station(p->config, notice->alarm.station);
    uint32_t place = p->station_places[s];
    struct check_result *checks;
    struct alarm *alarms;
    *ret = (struct dataset){
        .config = p->config, .station = &p->config->stations[s], .span = chart_episode_span(&notice->alarm.episode)};
    if (!store_record_load(p->store, place, ret->span, p->arena, &ret->record, error) ||
        !store_checks_load(p->store, place, ret->span, p->arena, &checks, &ret->check_count, error) ||
        !store_alarms_of_station(p->store, ret->station->id, ret->span, MOST_ALARMS, p->arena, &alarms,
                                 &ret->alarm_count, error))
        return false;
    ret->checks = checks;
    ret->alarms = alarms;
    readings_init(&ret->raw, p->arena, ret->record.n, 0);
    if (ret->record.n > 0)
        memcpy(ret->raw.time, ret->record.raw_time, ret->record.n * sizeof *ret->raw.time);
    return true;
}

/* "Dissolved oxygen at Heron Creek from 2026-11-24T18:05:00Z to 2026-11-25T16:40:00Z: between 1.52 and 8.10 mg/L, the
 * limit is 3 mg/L" */
static const char *describe(struct pipeline *p, const struct notice *notice, const struct dataset *dataset)
{
    const struct rule *rule = &p->config->rules[config_find_rule(p->config, notice->alarm.rule)];
    const struct quantity_info *info = quantity_info(rule->quantity);
    const struct record *record = &dataset->record;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < record->n; i++) {
        double value = record->value[rule->quantity][i];
        bool is_usable = isfinite(value) && record->flag[rule->quantity][i] != FLAG_FAIL;
        low = is_usable && value < low ? value : low;
        high = is_usable && value > high ? value : high;
    }
    CLEANUP(text_done) struct text text;
    char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
    text_init(&text, 1024);
    text_printf(&text, "Chart: %s at ", info->title);
    text_puts(&text, notice->station_name);
    text_printf(&text, " from %s to %s: between ", timestamp_print(record->time[0], from),
                timestamp_print(record->time[record->n - 1], to));
    put_value(&text, info, low);
    text_puts(&text, " and ");
    put_value(&text, info, high);
    double levels[2];
    size_t level_count = rule_levels(rule, levels);
    for (size_t k = 0; k < level_count; k++) {
        text_puts(&text, k > 0 ? " and " : level_count > 1 ? ", the limits are " : ", the limit is ");
        put_value(&text, info, levels[k]);
    }
    return arena_strdup(p->arena, text.bytes);
}

static void put_value(struct text *text, const struct quantity_info *info, double inside)
{
    text_number(text, inside * info->scale, info->decimals > 2 ? 2 : info->decimals);
    if (strcmp(info->unit, "1") != 0)
        text_printf(text, " %s", info->unit);
}
