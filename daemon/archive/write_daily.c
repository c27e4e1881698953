/* SPDX-License-Identifier: MIT */
#include "archive/write_daily.h"

#include "archive/about.h"
#include "archive/daily_table.h"
#include "archive/json.h"
#include "archive/written.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void write_cell(struct text *text, const struct daily_cell *cell);
static void add_titles(struct json *json, const struct dataset *dataset);
static void add_column(struct json *json, const struct daily_column *column, const struct daily *daily);
static const char *datatype_of(enum daily_column_kind kind);
static void describe(const struct daily_column *column, const struct daily *daily, char *ret, size_t size);
static void add_unit(struct json *json, const struct daily_column *column);
static void add_record_note(struct json *json, const struct dataset *dataset, const struct daily *daily);
static void add_method_note(struct json *json);
static void add_month_note(struct json *json, const struct daily *daily);
static void add_month_value(struct json *json, enum quantity quantity, const struct daily_row *month);

static const char *const method[] = {
    "A day is that of the station's standard time, a fixed distance from UTC without daylight saving. Every day of the "
    "month has a row.",
    "Minimum, maximum and mean rest on samples that passed (flag 1) or that no test looked at (flag 2). Suspect "
    "samples "
    "(flag 3) are counted apart; failed and missing ones are not used. The mean is the plain mean of these samples. "
    "The time of an extreme is that of the first sample that has it.",
    "The percentage of good samples is that of samples that passed among the expected ones, or among those that are "
    "there if more. Samples are expected at the sampling interval: the station's setting, else the median step.",
    "Hours below a limit add up the time from each sample below it to the next sample, at most one sampling interval. "
    "The limits are those of the rules on oxygen that watch the station; without any, 2, 3 and 5 mg/L.",
    NULL,
};

const char *write_daily_method(size_t index)
{
    return index < COUNT_OF(method) ? method[index] : NULL;
}

void write_daily_csv(const struct dataset *dataset, struct text *ret)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct daily_column columns[DAILY_COLUMNS_MAX];
    const struct daily *daily = daily_of(dataset, arena);
    size_t n = daily_table_columns(daily, columns);
    for (size_t i = 0; i < n; i++) {
        text_puts(ret, i > 0 ? "," : "");
        text_csv_cell(ret, columns[i].name);
    }
    text_puts(ret, "\r\n");
    for (size_t day = 0; day < daily->count; day++) {
        for (size_t i = 0; i < n; i++) {
            struct daily_cell cell = daily_table_cell(&daily->days[day], &columns[i], dataset->station->utc_offset);
            text_puts(ret, i > 0 ? "," : "");
            write_cell(ret, &cell);
        }
        text_puts(ret, "\r\n");
    }
}

static void write_cell(struct text *text, const struct daily_cell *cell)
{
    char printed[TIMESTAMP_SIZE];
    switch (cell->kind) {
    case DAILY_CELL_EMPTY: return;
    case DAILY_CELL_DATE: text_add(text, timestamp_print(cell->time, printed), strlen("2026-03-01")); return;
    case DAILY_CELL_TIME: text_puts(text, timestamp_print(cell->time, printed)); return;
    case DAILY_CELL_NUMBER: text_number(text, cell->number, cell->decimals); return;
    }
}

void write_daily_csvw(const struct dataset *dataset, struct text *ret)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct daily_column columns[DAILY_COLUMNS_MAX];
    struct json json;
    const struct daily *daily = daily_of(dataset, arena);
    size_t n = daily_table_columns(daily, columns);
    json_begin(&json, ret);
    json_open(&json, "@context", JSON_LIST);
    json_string(&json, NULL, "http://www.w3.org/ns/csvw");
    json_open(&json, NULL, JSON_ROW);
    json_string(&json, "@language", "en");
    json_close(&json);
    json_close(&json);
    add_titles(&json, dataset);
    json_open(&json, "tableSchema", JSON_OBJECT);
    json_open(&json, "columns", JSON_LIST);
    for (size_t i = 0; i < n; i++)
        add_column(&json, &columns[i], daily);
    json_close(&json);
    json_string(&json, "primaryKey", "date");
    json_close(&json);
    json_open(&json, "notes", JSON_LIST);
    add_record_note(&json, dataset, daily);
    add_method_note(&json);
    add_month_note(&json, daily);
    json_close(&json);
    json_end(&json);
}

static void add_titles(struct json *json, const struct dataset *dataset)
{
    const struct config *config = dataset->config;
    char title[512], url[128];
    snprintf(url, sizeof url, "%s_%04d-%02d_daily.csv", dataset->station->id, dataset->year, dataset->month);
    json_string(json, "url", url);
    snprintf(title, sizeof title, "%.200s, %.200s, %04d-%02d, daily values", config->network_name,
             dataset->station->name, dataset->year, dataset->month);
    json_string(json, "dc:title", title);
    struct text state;
    text_init(&state, LONGEST_STATE);
    about_add_state(dataset, &state);
    json_string(json, "dc:description", state.bytes);
    text_done(&state);
    json_string(json, "rdfs:comment", about_caution());
    if (config->operator_name[0])
        json_string(json, "dc:publisher", config->operator_name);
    json_integer(json, "schema:version", dataset->revision);
}

static void add_column(struct json *json, const struct daily_column *column, const struct daily *daily)
{
    char description[256];
    bool is_required = column->kind == DAILY_DATE || column->kind == DAILY_FROM || column->kind == DAILY_SAMPLES ||
                       column->kind == DAILY_USED || column->kind == DAILY_SUSPECT;
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "name", column->name);
    json_string(json, "titles", column->name);
    json_string(json, "datatype", datatype_of(column->kind));
    if (is_required)
        json_bool(json, "required", true);
    describe(column, daily, description, sizeof description);
    json_string(json, "dc:description", description);
    add_unit(json, column);
    json_close(json);
}

static const char *datatype_of(enum daily_column_kind kind)
{
    switch (kind) {
    case DAILY_DATE: return "date";
    case DAILY_FROM:
    case DAILY_MINIMUM_TIME:
    case DAILY_MAXIMUM_TIME: return "dateTimeStamp";
    case DAILY_SAMPLES:
    case DAILY_EXPECTED:
    case DAILY_USED:
    case DAILY_SUSPECT: return "unsignedInt";
    case DAILY_MINIMUM:
    case DAILY_MAXIMUM:
    case DAILY_MEAN:
    case DAILY_GOOD:
    case DAILY_BELOW: break;
    }
    return "double";
}

static void describe(const struct daily_column *column, const struct daily *daily, char *ret, size_t size)
{
    static const char *const texts[] = {
        [DAILY_DATE] = "Day, by the station's standard time",
        [DAILY_FROM] = "Start of the day, UTC; it has 24 hours",
        [DAILY_SAMPLES] = "Samples of the day, usable or not",
        [DAILY_EXPECTED] = "Samples that the sampling interval lets expect",
        [DAILY_MINIMUM] = "lowest value",
        [DAILY_MINIMUM_TIME] = "time of the lowest value, UTC",
        [DAILY_MAXIMUM] = "highest value",
        [DAILY_MAXIMUM_TIME] = "time of the highest value, UTC",
        [DAILY_MEAN] = "mean",
        [DAILY_USED] = "samples that minimum, maximum and mean rest on",
        [DAILY_SUSPECT] = "suspect samples, not used",
        [DAILY_GOOD] = "samples that passed, percent of those expected",
    };
    if (column->kind == DAILY_BELOW)
        snprintf(ret, size, "Dissolved oxygen: hours below %g mg/L", daily->limits[column->limit]);
    else if (column->quantity < QUANTITY_COUNT)
        snprintf(ret, size, "%s: %s", quantity_info(column->quantity)->title, texts[column->kind]);
    else
        snprintf(ret, size, "%s", texts[column->kind]);
}

static void add_unit(struct json *json, const struct daily_column *column)
{
    const char *qudt = NULL, *ucum = NULL;
    if (column->kind == DAILY_MINIMUM || column->kind == DAILY_MAXIMUM || column->kind == DAILY_MEAN) {
        qudt = quantity_info(column->quantity)->qudt;
        ucum = quantity_info(column->quantity)->ucum;
    } else if (column->kind == DAILY_GOOD) {
        qudt = "PERCENT";
        ucum = "%";
    } else if (column->kind == DAILY_BELOW) {
        qudt = "HR";
        ucum = "h";
    }
    if (!qudt)
        return;
    char url[128];
    snprintf(url, sizeof url, "http://qudt.org/vocab/unit/%s", qudt);
    json_open(json, "http://purl.org/linked-data/sdmx/2009/attribute#unitMeasure", JSON_ROW);
    json_string(json, "@id", url);
    json_close(json);
    json_string(json, "schema:unitCode", ucum);
}

static void add_record_note(struct json *json, const struct dataset *dataset, const struct daily *daily)
{
    char month[16];
    snprintf(month, sizeof month, "%04d-%02d", dataset->year, dataset->month);
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "about", "record");
    json_string(json, "network", dataset->config->network_id);
    json_string(json, "station", dataset->station->id);
    json_string(json, "month", month);
    json_time(json, "from", dataset->span.from);
    json_time(json, "to", dataset->span.to);
    json_integer(json, "revision", dataset->revision);
    json_string(json, "state", record_state_word(dataset->state));
    json_integer(json, "rows", (int64_t)daily->count);
    json_offset(json, "standard_time", dataset->station->utc_offset);
    json_number(json, "interval_s", daily->interval > 0 ? (double)daily->interval / (double)SECOND_MS : NAN);
    json_close(json);
}

static void add_method_note(struct json *json)
{
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "about", "method");
    json_open(json, "method", JSON_LIST);
    for (size_t i = 0; method[i]; i++)
        json_string(json, NULL, method[i]);
    json_close(json);
    json_close(json);
}

static void add_month_note(struct json *json, const struct daily *daily)
{
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "about", "month");
    json_integer(json, "samples", (int64_t)daily->month.samples);
    json_integer(json, "expected_samples", (int64_t)daily->month.expected);
    json_open(json, "values", JSON_LIST);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (daily->columns >> q & 1)
            add_month_value(json, q, &daily->month);
    json_close(json);
    json_open(json, "oxygen_below", JSON_LIST);
    for (size_t i = 0; i < daily->limit_count; i++) {
        json_open(json, NULL, JSON_ROW);
        json_number(json, "limit_mg_l", daily->limits[i]);
        json_number(json, "hours", (double)daily->month.below[i] / (double)HOUR_MS);
        json_close(json);
    }
    json_close(json);
    json_close(json);
}

static void add_month_value(struct json *json, enum quantity quantity, const struct daily_row *month)
{
    const struct daily_value *value = &month->value[quantity];
    json_open(json, NULL, JSON_ROW);
    json_string(json, "quantity", quantity_info(quantity)->key);
    json_quantity(json, "minimum", quantity, value->minimum);
    json_time(json, "minimum_time", value->minimum_time);
    json_quantity(json, "maximum", quantity, value->maximum);
    json_time(json, "maximum_time", value->maximum_time);
    json_quantity(json, "mean", quantity, value->mean);
    json_integer(json, "used", (int64_t)value->used);
    json_integer(json, "suspect", (int64_t)value->suspect);
    json_number(json, "good_percent", written_round(daily_good_percent(month, quantity), 1));
    json_close(json);
}
