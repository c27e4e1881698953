/* SPDX-License-Identifier: MIT */
#include "archive/network_json.h"

#include "archive/about.h"
#include "archive/json.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "model/flags.h"

#include <math.h>
#include <stdio.h>

static void add_network(struct json *json, const struct config *config);
static void add_flags(struct json *json);
static void add_quantities(struct json *json, const struct network_view *view);
static void add_barometers(struct json *json, const struct config *config);
static void add_station(struct json *json, const struct config *config, const struct network_station *at);
static void add_latest(struct json *json, const struct network_station *at);
static void add_records(struct json *json, const struct network_station *at);
static void add_waiting(struct json *json, const struct network_station *at);
static void add_alarm(struct json *json, const struct config *config, const struct alarm *alarm);
static void add_worst(struct json *json, const char *key, enum quantity quantity, double value);

void network_json_render(const struct network_view *view, struct text *ret)
{
    struct json json;
    json_begin(&json, ret);
    json_string(&json, "schema", "network.schema.json");
    add_network(&json, view->config);
    add_flags(&json);
    add_quantities(&json, view);
    add_barometers(&json, view->config);
    json_open(&json, "stations", JSON_LIST);
    for (size_t i = 0; i < view->station_count; i++)
        add_station(&json, view->config, &view->stations[i]);
    json_close(&json);
    json_end(&json);
}

static void add_network(struct json *json, const struct config *config)
{
    json_open(json, "network", JSON_OBJECT);
    json_string(json, "id", config->network_id);
    json_string(json, "name", config->network_name);
    json_string(json, "operator", config->operator_name);
    json_string(json, "contact", config->contact);
    json_string(json, "address", config->public_url);
    json_close(json);
    json_open(json, "cautions", JSON_OBJECT);
    json_string(json, "provisional", about_provisional());
    json_string(json, "caution", about_caution());
    json_close(json);
}

static void add_flags(struct json *json)
{
    static const uint8_t flags[] = {FLAG_PASS, FLAG_NOT_EVALUATED, FLAG_SUSPECT, FLAG_FAIL, FLAG_MISSING};
    json_open(json, "flags", JSON_LIST);
    for (size_t i = 0; i < COUNT_OF(flags); i++) {
        json_open(json, NULL, JSON_ROW);
        json_integer(json, "flag", flags[i]);
        json_string(json, "meaning", flag_word(flags[i]));
        json_close(json);
    }
    json_close(json);
}

static void add_quantities(struct json *json, const struct network_view *view)
{
    uint32_t present = 0;
    for (size_t i = 0; i < view->station_count; i++)
        for (size_t k = 0; k < view->stations[i].value_count; k++)
            present |= 1u << view->stations[i].values[k].quantity;
    json_open(json, "quantities", JSON_LIST);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!(present >> q & 1))
            continue;
        const struct quantity_info *info = quantity_info(q);
        json_open(json, NULL, JSON_ROW);
        json_string(json, "quantity", info->key);
        json_string(json, "title", info->title);
        json_string(json, "unit", info->unit);
        json_string(json, "ucum", info->ucum);
        json_string(json, "standard_name", info->standard_name);
        json_close(json);
    }
    json_close(json);
}

static void add_barometers(struct json *json, const struct config *config)
{
    json_open(json, "barometers", JSON_LIST);
    for (size_t i = 0; i < config->barometer_count; i++) {
        const struct barometer *barometer = &config->barometers[i];
        json_open(json, NULL, JSON_ROW);
        json_string(json, "id", barometer->id);
        json_string(json, "name", barometer->name);
        json_number(json, "latitude", barometer->latitude);
        json_number(json, "longitude", barometer->longitude);
        json_number(json, "elevation_m", barometer->elevation);
        json_close(json);
    }
    json_close(json);
}

static void add_station(struct json *json, const struct config *config, const struct network_station *at)
{
    const struct station *station = at->station;
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "id", station->id);
    json_string(json, "name", station->name);
    json_number(json, "latitude", station->latitude);
    json_number(json, "longitude", station->longitude);
    json_number(json, "elevation_m", station->elevation);
    json_string(json, "level_datum", station->datum);
    json_offset(json, "standard_time", station->utc_offset);
    json_time(json, "first", at->first);
    json_time(json, "last", at->last);
    add_latest(json, at);
    add_records(json, at);
    add_waiting(json, at);
    json_open(json, "alarms", JSON_LIST);
    for (size_t i = 0; i < at->alarm_count; i++)
        add_alarm(json, config, &at->alarms[i]);
    json_close(json);
    json_close(json);
}

static void add_latest(struct json *json, const struct network_station *at)
{
    json_open(json, "latest", JSON_LIST);
    for (size_t i = 0; i < at->value_count; i++) {
        const struct network_value *value = &at->values[i];
        json_open(json, NULL, JSON_ROW);
        json_string(json, "quantity", quantity_info(value->quantity)->key);
        json_time(json, "time", value->time);
        json_quantity(json, "value", value->quantity, value->value);
        json_string(json, "unit", quantity_info(value->quantity)->unit);
        json_integer(json, "flag", value->flag);
        json_close(json);
    }
    json_close(json);
}

static void add_records(struct json *json, const struct network_station *at)
{
    json_integer(json, "months", (int64_t)at->month_count);
    json_open(json, "records", JSON_LIST);
    for (size_t i = 0; i < at->record_count; i++) {
        const struct network_record *record = &at->records[i];
        char month[16];
        snprintf(month, sizeof month, "%04d-%02d", record->year, record->month);
        json_open(json, NULL, JSON_ROW);
        json_string(json, "month", month);
        json_integer(json, "revision", record->revision);
        json_string(json, "state", record_state_word(record->state));
        json_string(json, "path", record->path);
        json_string(json, "sha256", record->sha256);
        json_close(json);
    }
    json_close(json);
}

static void add_waiting(struct json *json, const struct network_station *at)
{
    json_open(json, "waiting", JSON_LIST);
    for (size_t i = 0; i < at->waiting_count; i++) {
        json_open(json, NULL, JSON_ROW);
        json_time(json, "from", at->waiting[i].span.from);
        json_time(json, "to", at->waiting[i].span.to);
        json_string(json, "reason", at->waiting[i].reason);
        json_bool(json, "reviewed", at->waiting[i].is_held);
        json_close(json);
    }
    json_close(json);
}

/* A rule that left the settings still has its open alarms: then only its id is known. */
static void add_alarm(struct json *json, const struct config *config, const struct alarm *alarm)
{
    const struct episode *episode = &alarm->episode;
    size_t index = config_find_rule(config, alarm->rule);
    const struct rule *rule = index < config->rule_count ? &config->rules[index] : NULL;
    enum quantity quantity = rule ? rule->quantity : QUANTITY_COUNT;
    bool has_quantity = quantity < QUANTITY_COUNT;
    json_open(json, NULL, JSON_ROW);
    json_string(json, "rule", alarm->rule);
    json_string(json, "title", rule ? rule->title : alarm->rule);
    json_string(json, "quantity", has_quantity ? quantity_info(quantity)->key : NULL);
    json_string(json, "state", alarm_state_word(alarm->state));
    json_time(json, "start", episode->start);
    json_time(json, "raised", episode->raised);
    json_time(json, "end", episode->end);
    add_worst(json, "worst", quantity, episode->worst);
    json_time(json, "worst_time", has_quantity ? episode->worst_time : TIME_NONE);
    add_worst(json, "last", quantity, episode->last);
    json_time(json, "last_time", has_quantity ? episode->last_time : TIME_NONE);
    json_string(json, "unit", has_quantity ? quantity_info(quantity)->unit : NULL);
    json_string(json, "detail", episode->detail);
    json_close(json);
}

/* Without a quantity there is no unit to write it in: what was seen then stands in "detail". */
static void add_worst(struct json *json, const char *key, enum quantity quantity, double value)
{
    if (quantity < QUANTITY_COUNT)
        json_quantity(json, key, quantity, value);
    else
        json_number(json, key, NAN);
}
