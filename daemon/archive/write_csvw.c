/* SPDX-License-Identifier: MIT */
#include "archive/write_csvw.h"

#include "archive/about.h"
#include "archive/json.h"
#include "archive/month_table.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void add_context(struct json *json);
static void add_titles(struct json *json, const struct dataset *dataset);
static void add_schema(struct json *json, const struct dataset *dataset);
static void add_column(struct json *json, const struct month_column *column);
static void add_datatype(struct json *json, const struct month_column *column);
static void add_description(struct json *json, const struct month_column *column);
static void add_unit(struct json *json, const struct quantity_info *info);
static void add_record_note(struct json *json, const struct dataset *dataset);
static void add_station_note(struct json *json, const struct dataset *dataset);
static void add_flags_note(struct json *json);
static void add_tests_note(struct json *json);
static void add_settings_note(struct json *json, const struct dataset *dataset);
static void add_told(struct json *json, const char *key, double told);
static void add_limits_note(struct json *json, const struct dataset *dataset);
static void add_limits(struct json *json, enum quantity quantity, const struct quality_limits *limits);
static void add_months(struct json *json, enum quantity quantity, const struct climatology *months);
static void add_related(struct json *json, enum quantity quantity, const struct companion *limits);
static void add_barometers_note(struct json *json, const struct dataset *dataset);
static size_t count_rows_of(const struct record *record, uint32_t barometer);
static void add_checks_note(struct json *json, const struct dataset *dataset);
static void add_findings_note(struct json *json, const struct dataset *dataset);
static void add_field_notes(struct json *json, const struct dataset *dataset);
static void add_field_note(struct json *json, const struct note *note);
static void add_originals_note(struct json *json, const struct dataset *dataset);
static void open_note(struct json *json, const char *about, const char *list);
static void close_note(struct json *json);
static void add_seconds(struct json *json, const char *key, int64_t milliseconds);
static double or_off(double limit);
static const char *quantity_key(enum quantity quantity);

static const uint8_t all_flags[] = {FLAG_PASS, FLAG_NOT_EVALUATED, FLAG_SUSPECT, FLAG_FAIL, FLAG_MISSING};

static const char *const salinity_words[] = {
    [SALINITY_MEASURED] = "measured",
    [SALINITY_STATED] = "stated",
    [SALINITY_FRESH] = "fresh",
};
static const char *const zero_words[] = {[ZERO_NONE] = "none", [ZERO_OFFSET] = "offset", [ZERO_LINEAR] = "linear"};
static const char *const density_words[] = {
    [SALINITY_MEASURED] = "from the measured, else the stated salinity, temperature and pressure",
    [SALINITY_STATED] = "from the stated salinity, temperature and pressure",
    [SALINITY_FRESH] = "of pure water, from temperature and pressure",
};

void write_csvw(const struct dataset *dataset, struct text *ret)
{
    struct json json;
    json_begin(&json, ret);
    add_context(&json);
    add_titles(&json, dataset);
    add_schema(&json, dataset);
    json_open(&json, "notes", JSON_LIST);
    add_record_note(&json, dataset);
    add_station_note(&json, dataset);
    add_flags_note(&json);
    add_tests_note(&json);
    add_settings_note(&json, dataset);
    add_limits_note(&json, dataset);
    add_barometers_note(&json, dataset);
    add_checks_note(&json, dataset);
    add_findings_note(&json, dataset);
    add_field_notes(&json, dataset);
    add_originals_note(&json, dataset);
    json_close(&json);
    json_end(&json);
}

static void add_context(struct json *json)
{
    json_open(json, "@context", JSON_LIST);
    json_string(json, NULL, "http://www.w3.org/ns/csvw");
    json_open(json, NULL, JSON_ROW);
    json_string(json, "@language", "en");
    json_close(json);
    json_close(json);
}

static void add_titles(struct json *json, const struct dataset *dataset)
{
    const struct config *config = dataset->config;
    const struct station *station = dataset->station;
    char title[512], url[128];
    snprintf(url, sizeof url, "%s_%04d-%02d.csv", station->id, dataset->year, dataset->month);
    json_string(json, "url", url);
    snprintf(title, sizeof title, "%.200s, %.200s, %04d-%02d", config->network_name, station->name, dataset->year,
             dataset->month);
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

static void add_schema(struct json *json, const struct dataset *dataset)
{
    struct month_column columns[MONTH_COLUMNS_MAX];
    size_t n = month_table_columns(dataset, columns);
    json_open(json, "tableSchema", JSON_OBJECT);
    json_open(json, "columns", JSON_LIST);
    for (size_t i = 0; i < n; i++)
        add_column(json, &columns[i]);
    json_close(json);
    json_string(json, "primaryKey", "time_utc");
    json_close(json);
}

static void add_column(struct json *json, const struct month_column *column)
{
    bool is_measured = column->cell == CELL_VALUE || column->cell == CELL_RAW_VALUE || column->cell == CELL_UNCERTAINTY;
    bool may_be_empty = is_measured || column->cell == CELL_BAROMETER;
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "name", column->name);
    json_string(json, "titles", column->name);
    add_datatype(json, column);
    if (!may_be_empty)
        json_bool(json, "required", true);
    add_description(json, column);
    if (is_measured)
        add_unit(json, quantity_info(column->quantity));
    if (column->cell == CELL_VALUE && quantity_info(column->quantity)->standard_name) {
        char url[256];
        snprintf(url, sizeof url, "http://vocab.nerc.ac.uk/standard_name/%s/",
                 quantity_info(column->quantity)->standard_name);
        json_string(json, "propertyUrl", url);
    }
    json_close(json);
}

static void add_datatype(struct json *json, const struct month_column *column)
{
    switch (column->cell) {
    case CELL_TIME:
    case CELL_RAW_TIME: json_string(json, "datatype", "dateTimeStamp"); return;
    case CELL_VALUE:
    case CELL_UNCERTAINTY:
    case CELL_RAW_VALUE: json_string(json, "datatype", "double"); return;
    case CELL_BAROMETER: json_string(json, "datatype", "string"); return;
    case CELL_DROP:
    case CELL_LINE: json_string(json, "datatype", "unsignedInt"); return;
    case CELL_FLAG:
    case CELL_TESTS: break;
    }
    bool is_flag = column->cell == CELL_FLAG;
    json_open(json, "datatype", JSON_ROW);
    json_string(json, "base", is_flag ? "unsignedByte" : "unsignedInt");
    json_integer(json, "minimum", is_flag ? FLAG_PASS : 0);
    json_integer(json, "maximum", is_flag ? FLAG_MISSING : (1 << TEST_COUNT) - 1);
    json_close(json);
}

static void add_description(struct json *json, const struct month_column *column)
{
    const char *of = column->quantity < QUANTITY_COUNT ? quantity_info(column->quantity)->title : "";
    static const char *const formats[] = {
        [CELL_TIME] = "Time of the sample, UTC, the logger's clock corrected%s",
        [CELL_VALUE] = "%s",
        [CELL_FLAG] = "%s: quality flag, see the note 'flags'",
        [CELL_TESTS] = "%s: sum of the masks in the note 'tests'",
        [CELL_UNCERTAINTY] = "%s: standard uncertainty (k = 1)",
        [CELL_BAROMETER] = "Barometer whose air pressure was used%s",
        [CELL_RAW_TIME] = "Time as the logger's clock said it, UTC%s",
        [CELL_RAW_VALUE] = "%s: the reading before any correction",
        [CELL_DROP] = "Original that the row came from, see the note 'originals'%s",
        [CELL_LINE] = "Line of that original, from 1%s",
    };
    const char *format = formats[column->cell];
    char description[256];
    const char *place = strstr(format, "%s");
    snprintf(description, sizeof description, "%.*s%s%s", (int)(place - format), format, of, place + 2);
    json_string(json, "dc:description", description);
}

static void add_unit(struct json *json, const struct quantity_info *info)
{
    char url[128];
    snprintf(url, sizeof url, "http://qudt.org/vocab/unit/%s", info->qudt);
    json_open(json, "http://purl.org/linked-data/sdmx/2009/attribute#unitMeasure", JSON_ROW);
    json_string(json, "@id", url);
    json_close(json);
    json_string(json, "schema:unitCode", info->ucum);
    json_string(json, "schema:unitText", info->unit);
}

static void add_record_note(struct json *json, const struct dataset *dataset)
{
    char month[16];
    snprintf(month, sizeof month, "%04d-%02d", dataset->year, dataset->month);
    open_note(json, "record", NULL);
    json_string(json, "network", dataset->config->network_id);
    json_string(json, "station", dataset->station->id);
    json_string(json, "month", month);
    json_time(json, "from", dataset->span.from);
    json_time(json, "to", dataset->span.to);
    json_integer(json, "revision", dataset->revision);
    if (dataset->history && *dataset->history)
        json_string(json, "revisions", dataset->history);
    json_string(json, "state", record_state_word(dataset->state));
    json_integer(json, "rows", (int64_t)dataset->record.n);
    json_string(json, "operator", dataset->config->operator_name);
    json_string(json, "contact", dataset->config->contact);
    json_close(json);
}

static void add_station_note(struct json *json, const struct dataset *dataset)
{
    const struct station *station = dataset->station;
    open_note(json, "station", NULL);
    json_string(json, "id", station->id);
    json_string(json, "name", station->name);
    json_number(json, "latitude", station->latitude);
    json_number(json, "longitude", station->longitude);
    json_string(json, "position_datum", "WGS 84");
    json_number(json, "elevation_m", station->elevation);
    json_string(json, "level_datum", station->datum);
    json_number(json, "sensor_above_datum_m", station->sensor_elevation);
    json_number(json, "tape_point_above_datum_m", station->tape_point);
    json_offset(json, "standard_time", station->utc_offset);
    json_close(json);
}

static void add_flags_note(struct json *json)
{
    open_note(json, "flags", "flags");
    for (size_t i = 0; i < COUNT_OF(all_flags); i++) {
        json_open(json, NULL, JSON_ROW);
        json_integer(json, "flag", all_flags[i]);
        json_string(json, "meaning", flag_word(all_flags[i]));
        json_close(json);
    }
    close_note(json);
}

static void add_tests_note(struct json *json)
{
    open_note(json, "tests", "tests");
    for (unsigned bit = 0; bit < TEST_COUNT; bit++) {
        json_open(json, NULL, JSON_ROW);
        json_integer(json, "mask", (int64_t)1 << bit);
        json_string(json, "test", test_info(bit)->key);
        json_string(json, "meaning", test_info(bit)->meaning);
        json_close(json);
    }
    close_note(json);
}

static void add_settings_note(struct json *json, const struct dataset *dataset)
{
    const struct config *config = dataset->config;
    const struct station *station = dataset->station;
    double sensor_pressure = quantity_to_written(QUANTITY_AIR_PRESSURE, station->oxygen_sensor_pressure);
    const struct air_calibration *calibration = &station->oxygen_calibration;
    open_note(json, "settings", NULL);
    json_string(json, "salinity_source", salinity_words[station->salinity_source]);
    json_number(json, "stated_salinity", station->salinity_source == SALINITY_FRESH ? 0 : station->salinity);
    json_string(json, "density", density_words[station->salinity_source]);
    json_string(json, "conductance_compensation", compensation_choice((int)station->conductance_compensation));
    json_number(json, "conductance_coefficient_per_degc", station->conductance_coefficient);
    json_string(json, "conductance_sensor_compensation",
                sensor_compensation_choice((int)station->conductance_sensor_compensation));
    json_number(json, "conductance_sensor_coefficient_per_degc", station->conductance_sensor_coefficient);
    add_told(json, "oxygen_sensor_salinity", station->oxygen_sensor_salinity);
    add_told(json, "oxygen_sensor_pressure_hpa", sensor_pressure);
    if (!isnan(calibration->temperature)) {
        json_number(json, "oxygen_calibration_temperature_degc", calibration->temperature);
        json_number(json, "oxygen_calibration_pressure_hpa",
                    quantity_to_written(QUANTITY_AIR_PRESSURE, calibration->air_pressure));
        json_number(json, "oxygen_calibration_told_hpa", quantity_to_written(QUANTITY_AIR_PRESSURE, calibration->told));
    }
    json_string(json, "oxygen_thermometer", quantity_info(station->oxygen_thermometer)->key);
    add_seconds(json, "interval_s", station->interval);
    add_seconds(json, "settling_s", station->settling);
    json_number(json, "reading_uncertainty_m", station->reading_uncertainty);
    json_number(json, "reading_limit", or_off(station->reading_limit));
    json_string(json, "zero_correction", zero_words[station->zero_correction]);
    json_number(json, "barometer_distance_m", config->pairing_distance);
    add_seconds(json, "good_air_gap_s", config->good_air_gap);
    add_seconds(json, "largest_air_gap_s", config->largest_air_gap);
    json_close(json);
}

/* What a sensor was told: a number, or the measured one. */
static void add_told(struct json *json, const char *key, double told)
{
    if (isnan(told))
        json_string(json, key, "measured");
    else
        json_number(json, key, told);
}

static void add_limits_note(struct json *json, const struct dataset *dataset)
{
    open_note(json, "limits", "limits");
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!dataset->record.value[q])
            continue;
        struct quality_limits limits = config_quality(dataset->config, dataset->station, q);
        add_limits(json, q, &limits);
    }
    close_note(json);
}

/* null: the test was off. */
QUALITY_LIMITS_ARE(14);
static void add_limits(struct json *json, enum quantity quantity, const struct quality_limits *limits)
{
    const struct {
        const char *key;
        double value;
    } rows[] = {
        {"sensor_min", limits->sensor_min},
        {"sensor_max", limits->sensor_max},
        {"usual_min", limits->usual_min},
        {"usual_max", limits->usual_max},
        {"spike_suspect", or_off(limits->spike_suspect)},
        {"spike_fail", or_off(limits->spike_fail)},
        {"rate_per_hour", or_off(limits->rate)},
        {"flat_tolerance", limits->flat_tolerance},
    };
    json_open(json, NULL, JSON_ROW);
    json_string(json, "quantity", quantity_key(quantity));
    json_string(json, "unit", quantity_info(quantity)->ucum);
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        json_number(json, rows[i].key, quantity_to_written(quantity, rows[i].value));
    add_seconds(json, "flat_suspect_s", limits->flat_suspect);
    add_seconds(json, "flat_fail_s", limits->flat_fail);
    if (limits->months)
        add_months(json, quantity, limits->months);
    if (limits->attenuated) {
        json_number(json, "attenuated_suspect", quantity_to_written(quantity, or_off(limits->attenuated->suspect)));
        json_number(json, "attenuated_fail", quantity_to_written(quantity, or_off(limits->attenuated->fail)));
        add_seconds(json, "attenuated_window_s", limits->attenuated->window);
    }
    if (limits->related)
        add_related(json, quantity, limits->related);
    if (limits->neighbour) {
        json_string(json, "neighbour", limits->neighbour->station);
        json_number(json, "neighbour_suspect", quantity_to_written(quantity, or_off(limits->neighbour->suspect)));
        json_number(json, "neighbour_fail", quantity_to_written(quantity, or_off(limits->neighbour->fail)));
    }
    json_close(json);
}

/* Two numbers a month, from January; null: open. */
static void add_months(struct json *json, enum quantity quantity, const struct climatology *months)
{
    json_open(json, "usual_by_month", JSON_LIST);
    for (size_t i = 0; i < COUNT_OF(months->range); i++) {
        json_open(json, NULL, JSON_ROW);
        json_number(json, "min", quantity_to_written(quantity, months->range[i][0]));
        json_number(json, "max", quantity_to_written(quantity, months->range[i][1]));
        json_close(json);
    }
    json_close(json);
}

static void add_related(struct json *json, enum quantity quantity, const struct companion *limits)
{
    json_string(json, "related_to", quantity_info(limits->quantity)->key);
    json_number(json, "related_suspect", quantity_to_written(quantity, or_off(limits->suspect)));
    json_number(json, "related_fail", quantity_to_written(quantity, or_off(limits->fail)));
    json_number(json, "related_rate_per_hour", quantity_to_written(quantity, or_off(limits->rate)));
    if (limits->rate > 0) {
        json_number(json, "related_steady", quantity_to_written(limits->quantity, limits->steady));
        add_seconds(json, "related_window_s", limits->window);
    }
}

static void add_barometers_note(struct json *json, const struct dataset *dataset)
{
    const struct config *config = dataset->config;
    open_note(json, "barometers", "barometers");
    for (size_t i = 0; i < dataset->barometer_count; i++) {
        const struct dataset_barometer *used = &dataset->barometers[i];
        size_t at = config_find_barometer(config, used->id);
        json_open(json, NULL, JSON_ROW);
        json_string(json, "id", used->id);
        if (at < config->barometer_count) { /* one that left the settings still gave these values */
            json_string(json, "name", config->barometers[at].name);
            json_number(json, "latitude", config->barometers[at].latitude);
            json_number(json, "longitude", config->barometers[at].longitude);
            json_number(json, "elevation_m", config->barometers[at].elevation);
        }
        json_integer(json, "rows", (int64_t)count_rows_of(&dataset->record, used->number));
        json_close(json);
    }
    close_note(json);
}

static size_t count_rows_of(const struct record *record, uint32_t barometer)
{
    size_t rows = 0;
    for (size_t i = 0; i < record->n; i++)
        rows += record->barometer[i] == barometer;
    return rows;
}

static void add_checks_note(struct json *json, const struct dataset *dataset)
{
    open_note(json, "checks", "checks");
    for (size_t i = 0; i < dataset->check_count; i++) {
        const struct check_result *check = &dataset->checks[i];
        json_open(json, NULL, JSON_ROW);
        json_time(json, "time", check->time);
        json_string(json, "kind", check_kind_word(check->kind));
        json_string(json, "quantity", quantity_key(check->quantity));
        json_quantity(json, "reference", check->quantity, check->reference);
        json_quantity(json, "record", check->quantity, check->sensor);
        json_quantity(json, "difference", check->quantity, check->difference);
        json_bool(json, "is_first", check->is_first);
        json_close(json);
    }
    close_note(json);
}

static void add_findings_note(struct json *json, const struct dataset *dataset)
{
    open_note(json, "findings", "findings");
    for (size_t i = 0; i < dataset->finding_count; i++) {
        const struct finding *finding = &dataset->findings[i];
        json_open(json, NULL, JSON_ROW);
        json_string(json, "kind", finding_kind_word(finding->kind));
        json_time(json, "from", finding->span.from);
        json_time(json, "to", finding->span.to);
        if (finding->quantity < QUANTITY_COUNT)
            json_string(json, "quantity", quantity_key(finding->quantity));
        if (finding->quantity < QUANTITY_COUNT && isfinite(finding->value))
            json_quantity(json, "value", finding->quantity, finding->value);
        if (finding->quantity < QUANTITY_COUNT && isfinite(finding->uncertainty))
            json_quantity(json, "uncertainty", finding->quantity, finding->uncertainty);
        json_bool(json, "wants_hand", finding->wants_hand);
        json_string(json, "text", finding->text);
        json_close(json);
    }
    close_note(json);
}

static void add_field_notes(struct json *json, const struct dataset *dataset)
{
    open_note(json, "field_notes", "notes");
    for (size_t i = 0; i < dataset->note_count; i++)
        add_field_note(json, &dataset->notes[i]);
    close_note(json);
}

static void add_field_note(struct json *json, const struct note *note)
{
    bool is_level = note->kind == NOTE_LEVEL || note->kind == NOTE_TAPE_DOWN;
    enum quantity quantity = is_level ? QUANTITY_LEVEL : note->quantity;
    json_open(json, NULL, JSON_ROW);
    json_time(json, "time", note->time);
    json_string(json, "kind", note_kind_word(note->kind));
    if (note->until != TIME_NONE)
        json_time(json, note->kind == NOTE_CLOCK ? "logger_time" : "until", note->until);
    /* The value of a tape reading is no level but a distance down from the tape point. */
    if (quantity < QUANTITY_COUNT && note->kind != NOTE_TAPE_DOWN)
        json_string(json, "quantity", quantity_key(quantity));
    if (quantity < QUANTITY_COUNT && isfinite(note->value))
        json_quantity(json, "value", quantity, note->value);
    if (quantity < QUANTITY_COUNT && isfinite(note->reference))
        json_quantity(json, "reference", quantity, note->reference);
    if (note->text[0])
        json_string(json, "text", note->text);
    json_integer(json, "drop", note->drop);
    json_integer(json, "line", note->line);
    json_close(json);
}

static void add_originals_note(struct json *json, const struct dataset *dataset)
{
    open_note(json, "originals", "originals");
    for (size_t i = 0; i < dataset->drop_count; i++) {
        const struct dataset_drop *drop = &dataset->drops[i];
        json_open(json, NULL, JSON_ROW);
        json_integer(json, "drop", drop->number);
        json_string(json, "arrived_as", drop->path);
        json_string(json, "sha256", drop->sha256);
        json_string(json, "kept_as", drop->original);
        json_string(json, "layout", drop->layout);
        json_close(json);
    }
    close_note(json);
}

/* `list` NULL: the note's own members follow, closed by json_close. */
static void open_note(struct json *json, const char *about, const char *list)
{
    json_open(json, NULL, JSON_OBJECT);
    json_string(json, "about", about);
    if (list)
        json_open(json, list, JSON_LIST);
}

static void close_note(struct json *json)
{
    json_close(json);
    json_close(json);
}

/* 0: off, or found from the data. */
static void add_seconds(struct json *json, const char *key, int64_t milliseconds)
{
    json_number(json, key, milliseconds > 0 ? (double)milliseconds / (double)SECOND_MS : NAN);
}

static double or_off(double limit)
{
    return limit > 0 ? limit : NAN;
}

static const char *quantity_key(enum quantity quantity)
{
    return quantity < QUANTITY_COUNT ? quantity_info(quantity)->key : NULL;
}
