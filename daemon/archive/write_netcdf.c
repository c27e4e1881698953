/* SPDX-License-Identifier: MIT */
#include "archive/write_netcdf.h"

#include "archive/daily.h"
#include "archive/netcdf_attributes.h"
#include "archive/netcdf_file.h"
#include "archive/written.h"
#include "base/memory.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILL (-9999.0f) /* below anything that is measured here */

struct writer {
    const struct dataset *dataset;
    struct netcdf_file *file;
    void *column; /* room for one value of eight bytes a row */
    const char *coordinates;
};

static void add_time(struct writer *writer, const char *name, const char *title, const int64_t *times);
static void add_places(struct writer *writer);
static void add_string(struct writer *writer, const char *name, const char *title, const char *standard_name,
                       const char *value);
static size_t add_number(struct writer *writer, const char *name, const char *title, const char *standard_name,
                         const char *units, double value);
static void add_grid_mapping(struct writer *writer);
static void add_quantity(struct writer *writer, enum quantity quantity);
static size_t add_measured(struct writer *writer, const char *name, const char *title, enum quantity quantity,
                           const double *values, bool is_difference);
static void add_flags(struct writer *writer, enum quantity quantity);
static void add_tests(struct writer *writer, enum quantity quantity);
static void add_uncertainty(struct writer *writer, enum quantity quantity);
static void add_barometer(struct writer *writer);
static void add_raw(struct writer *writer);
static void add_origin(struct writer *writer, const char *name, const char *title, const uint32_t *numbers);
static void put(struct writer *writer, size_t variable, const char *name, const char *text);
static char *name_of(enum quantity quantity, const char *prefix, const char *suffix, char ret[64]);
static bool clock_was_corrected(const struct record *record);

void write_netcdf(const struct dataset *dataset, struct text *ret)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct writer writer = {
        .dataset = dataset,
        .file = netcdf_file_new(dataset->record.n),
        .column = arena_array(arena, dataset->record.n + 1, sizeof(double)),
        .coordinates = isnan(dataset->station->elevation) ? "lat lon station_id station_name"
                                                          : "lat lon z station_id station_name",
    };
    add_time(&writer, "time", "time of the sample, the logger's clock corrected", dataset->record.time);
    add_places(&writer);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (dataset->record.value[q])
            add_quantity(&writer, q);
    add_barometer(&writer);
    add_raw(&writer);
    netcdf_attributes_put(dataset, daily_interval(dataset, arena), writer.file);
    netcdf_file_render(writer.file, ret);
    netcdf_file_free(writer.file);
}

static void add_time(struct writer *writer, const char *name, const char *title, const int64_t *times)
{
    double *seconds = writer->column;
    for (size_t i = 0; i < writer->dataset->record.n; i++)
        seconds[i] = (double)times[i] / (double)SECOND_MS;
    size_t variable = netcdf_file_add_rows(writer->file, name, NETCDF_DOUBLE, seconds);
    bool is_coordinate = variable == 0;
    if (is_coordinate)
        put(writer, variable, "standard_name", "time");
    put(writer, variable, "long_name", title);
    put(writer, variable, "units", "seconds since 1970-01-01 00:00:00");
    put(writer, variable, "calendar", "standard");
    put(writer, variable, is_coordinate ? "axis" : "coordinates", is_coordinate ? "T" : writer->coordinates);
    put(writer, variable, "coverage_content_type", is_coordinate ? "coordinate" : "auxiliaryInformation");
}

static void add_places(struct writer *writer)
{
    const struct station *station = writer->dataset->station;
    size_t variable = netcdf_file_add_value(writer->file, "station_id", NETCDF_STRING, station->id);
    put(writer, variable, "long_name", "station identifier");
    put(writer, variable, "cf_role", "timeseries_id");
    add_string(writer, "station_name", "station name", "platform_name", station->name);
    variable = add_number(writer, "lat", "latitude of the station", "latitude", "degrees_north", station->latitude);
    put(writer, variable, "axis", "Y");
    variable = add_number(writer, "lon", "longitude of the station", "longitude", "degrees_east", station->longitude);
    put(writer, variable, "axis", "X");
    if (!isnan(station->elevation)) {
        variable = add_number(writer, "z", "elevation of the water surface above sea level, about", "altitude", "m",
                              station->elevation);
        put(writer, variable, "positive", "up");
        put(writer, variable, "axis", "Z");
    }
    if (!isnan(station->sensor_elevation))
        add_number(writer, "sensor_elevation", "elevation of the sensor above the station's datum", NULL, "m",
                   station->sensor_elevation);
    if (writer->dataset->record.value[QUANTITY_SPECIFIC_CONDUCTANCE]) {
        variable = add_number(writer, "reference_temperature", "reference temperature of specific conductance",
                              "temperature_of_analysis_of_sea_water", "degree_Celsius", 25);
        put(writer, variable, "units_metadata", "temperature: on_scale");
    }
    add_grid_mapping(writer);
}

static void add_string(struct writer *writer, const char *name, const char *title, const char *standard_name,
                       const char *value)
{
    size_t variable = netcdf_file_add_value(writer->file, name, NETCDF_STRING, value);
    put(writer, variable, "standard_name", standard_name);
    put(writer, variable, "long_name", title);
}

static size_t add_number(struct writer *writer, const char *name, const char *title, const char *standard_name,
                         const char *units, double value)
{
    size_t variable = netcdf_file_add_value(writer->file, name, NETCDF_DOUBLE, &value);
    if (standard_name)
        put(writer, variable, "standard_name", standard_name);
    put(writer, variable, "long_name", title);
    put(writer, variable, "units", units);
    put(writer, variable, "coverage_content_type", standard_name ? "coordinate" : "referenceInformation");
    return variable;
}

static void add_grid_mapping(struct writer *writer)
{
    const int32_t nothing = 0;
    const double axis = 6378137, flattening = 298.257223563, meridian = 0;
    size_t variable = netcdf_file_add_value(writer->file, "crs", NETCDF_INT, &nothing);
    put(writer, variable, "long_name", "horizontal reference system");
    put(writer, variable, "grid_mapping_name", "latitude_longitude");
    netcdf_file_put_numbers(writer->file, variable, "longitude_of_prime_meridian", NETCDF_DOUBLE, &meridian, 1);
    netcdf_file_put_numbers(writer->file, variable, "semi_major_axis", NETCDF_DOUBLE, &axis, 1);
    netcdf_file_put_numbers(writer->file, variable, "inverse_flattening", NETCDF_DOUBLE, &flattening, 1);
    put(writer, variable, "reference_ellipsoid_name", "WGS 84");
    put(writer, variable, "prime_meridian_name", "Greenwich");
    put(writer, variable, "horizontal_datum_name", "World Geodetic System 1984");
    put(writer, variable, "geographic_crs_name", "WGS 84");
}

static void add_quantity(struct writer *writer, enum quantity quantity)
{
    const struct quantity_info *info = quantity_info(quantity);
    const struct record *record = &writer->dataset->record;
    char coordinates[128], ancillary[256];
    size_t variable = add_measured(writer, info->key, info->title, quantity, record->value[quantity], false);
    if (info->standard_name)
        put(writer, variable, "standard_name", info->standard_name);
    if (quantity == QUANTITY_LEVEL)
        put(writer, variable, "comment", writer->dataset->station->datum);
    snprintf(coordinates, sizeof coordinates, "%s%s", writer->coordinates,
             quantity == QUANTITY_SPECIFIC_CONDUCTANCE ? " reference_temperature" : "");
    put(writer, variable, "coordinates", coordinates);
    put(writer, variable, "grid_mapping", "crs");
    put(writer, variable, "cell_methods", "time: point");
    snprintf(ancillary, sizeof ancillary, "%s_qc %s_qc_tests", info->key, info->key);
    if (record->uncertainty[quantity])
        snprintf(ancillary + strlen(ancillary), sizeof ancillary - strlen(ancillary), " %s_uncertainty", info->key);
    put(writer, variable, "ancillary_variables", ancillary);
    put(writer, variable, "coverage_content_type", "physicalMeasurement");
    add_flags(writer, quantity);
    add_tests(writer, quantity);
    if (record->uncertainty[quantity])
        add_uncertainty(writer, quantity);
}

/* The number in the cell of the CSV; a float holds all its digits. */
static size_t add_measured(struct writer *writer, const char *name, const char *title, enum quantity quantity,
                           const double *values, bool is_difference)
{
    static const float fill = FILL;
    float *column = writer->column;
    for (size_t i = 0; i < writer->dataset->record.n; i++)
        column[i] = isnan(values[i]) ? fill : (float)written_value(quantity, values[i]);
    size_t variable = netcdf_file_add_rows(writer->file, name, NETCDF_FLOAT, column);
    netcdf_file_put_fill(writer->file, variable, &fill);
    put(writer, variable, "long_name", title);
    put(writer, variable, "units", quantity_info(quantity)->udunits);
    if (strcmp(quantity_info(quantity)->udunits, "degree_Celsius") == 0)
        put(writer, variable, "units_metadata", is_difference ? "temperature: difference" : "temperature: on_scale");
    return variable;
}

static void add_flags(struct writer *writer, enum quantity quantity)
{
    static const int8_t values[] = {FLAG_PASS, FLAG_NOT_EVALUATED, FLAG_SUSPECT, FLAG_FAIL, FLAG_MISSING};
    static const int8_t range[] = {FLAG_PASS, FLAG_MISSING};
    char name[64], title[128];
    size_t variable = netcdf_file_add_rows(writer->file, name_of(quantity, "", "_qc", name), NETCDF_BYTE,
                                           writer->dataset->record.flag[quantity]);
    snprintf(title, sizeof title, "%s: primary quality flag", quantity_info(quantity)->title);
    put(writer, variable, "standard_name", "aggregate_quality_flag");
    put(writer, variable, "long_name", title);
    netcdf_file_put_numbers(writer->file, variable, "flag_values", NETCDF_BYTE, values, COUNT_OF(values));
    put(writer, variable, "flag_meanings", "good not_evaluated questionable_suspect bad missing_data");
    netcdf_file_put_numbers(writer->file, variable, "valid_range", NETCDF_BYTE, range, COUNT_OF(range));
    put(writer, variable, "references", "IOC Manuals and Guides 54 Volume 3 (2013)");
    put(writer, variable, "coordinates", writer->coordinates);
    put(writer, variable, "coverage_content_type", "qualityInformation");
}

static void add_tests(struct writer *writer, enum quantity quantity)
{
    int32_t masks[TEST_COUNT], *column = writer->column;
    const int32_t range[] = {0, (1 << TEST_COUNT) - 1};
    char name[64], title[128], words[TEST_COUNT * 32] = "";
    for (unsigned bit = 0; bit < TEST_COUNT; bit++) {
        size_t used = strlen(words);
        masks[bit] = 1 << bit;
        snprintf(words + used, sizeof words - used, "%s%s", bit > 0 ? " " : "", test_info(bit)->key);
    }
    for (size_t i = 0; i < writer->dataset->record.n; i++)
        column[i] = (int32_t)writer->dataset->record.tests[quantity][i];
    size_t variable = netcdf_file_add_rows(writer->file, name_of(quantity, "", "_qc_tests", name), NETCDF_INT, column);
    snprintf(title, sizeof title, "%s: tests that spoke up, one bit each", quantity_info(quantity)->title);
    put(writer, variable, "standard_name", "quality_flag");
    put(writer, variable, "long_name", title);
    netcdf_file_put_numbers(writer->file, variable, "flag_masks", NETCDF_INT, masks, TEST_COUNT);
    put(writer, variable, "flag_meanings", words);
    netcdf_file_put_numbers(writer->file, variable, "valid_range", NETCDF_INT, range, COUNT_OF(range));
    put(writer, variable, "comment", "the global attribute test_meanings explains each");
    put(writer, variable, "coordinates", writer->coordinates);
    put(writer, variable, "coverage_content_type", "qualityInformation");
}

static void add_uncertainty(struct writer *writer, enum quantity quantity)
{
    const struct quantity_info *info = quantity_info(quantity);
    char name[64], title[128], standard_name[128];
    snprintf(title, sizeof title, "%s: standard uncertainty (k = 1)", info->title);
    size_t variable = add_measured(writer, name_of(quantity, "", "_uncertainty", name), title, quantity,
                                   writer->dataset->record.uncertainty[quantity], true);
    if (info->standard_name) {
        snprintf(standard_name, sizeof standard_name, "%s standard_error", info->standard_name);
        put(writer, variable, "standard_name", standard_name);
    }
    put(writer, variable, "coordinates", writer->coordinates);
    put(writer, variable, "coverage_content_type", "qualityInformation");
}

static void add_barometer(struct writer *writer)
{
    const struct dataset *dataset = writer->dataset;
    size_t count = dataset->barometer_count + 1;
    int32_t *column = writer->column, *values = x_array(count, sizeof *values);
    uint32_t known = NO_BAROMETER;
    int32_t value = 0;
    struct text meanings;
    text_init(&meanings, NETCDF_TEXT_MAX);
    text_puts(&meanings, "no_barometer");
    for (size_t i = 1; i < count; i++) {
        values[i] = (int32_t)i;
        text_printf(&meanings, " %s", dataset->barometers[i - 1].id);
    }
    for (size_t i = 0; i < dataset->record.n; i++) {
        if (dataset->record.barometer[i] != known) {
            known = dataset->record.barometer[i];
            value = (int32_t)written_barometer(dataset, known);
        }
        column[i] = value;
    }
    size_t variable = netcdf_file_add_rows(writer->file, "barometer", NETCDF_INT, column);
    put(writer, variable, "long_name", "barometer whose air pressure was used");
    netcdf_file_put_numbers(writer->file, variable, "flag_values", NETCDF_INT, values, count);
    put(writer, variable, "flag_meanings", meanings.bytes);
    put(writer, variable, "coordinates", writer->coordinates);
    put(writer, variable, "coverage_content_type", "auxiliaryInformation");
    text_done(&meanings);
    free(values);
}

static void add_raw(struct writer *writer)
{
    const struct dataset *dataset = writer->dataset;
    if (clock_was_corrected(&dataset->record))
        add_time(writer, "raw_time", "time of the sample as the logger's clock said it", dataset->record.raw_time);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!dataset->raw.value[q])
            continue;
        char name[64], title[128];
        snprintf(title, sizeof title, "%s: the reading before any correction", quantity_info(q)->title);
        size_t variable = add_measured(writer, name_of(q, "raw_", "", name), title, q, dataset->raw.value[q], false);
        put(writer, variable, "coordinates", writer->coordinates);
        put(writer, variable, "coverage_content_type", "auxiliaryInformation");
    }
    add_origin(writer, "drop", "number of the original that the row came from, see 'originals'", dataset->raw.drop);
    add_origin(writer, "line", "line of that original, from 1", dataset->raw.line);
}

static void add_origin(struct writer *writer, const char *name, const char *title, const uint32_t *numbers)
{
    int32_t *column = writer->column;
    for (size_t i = 0; i < writer->dataset->record.n; i++)
        column[i] = (int32_t)numbers[i];
    size_t variable = netcdf_file_add_rows(writer->file, name, NETCDF_INT, column);
    put(writer, variable, "long_name", title);
    put(writer, variable, "coordinates", writer->coordinates);
    put(writer, variable, "coverage_content_type", "auxiliaryInformation");
}

static void put(struct writer *writer, size_t variable, const char *name, const char *text)
{
    netcdf_file_put_text(writer->file, variable, name, text);
}

static char *name_of(enum quantity quantity, const char *prefix, const char *suffix, char ret[64])
{
    int length = snprintf(ret, 64, "%s%s%s", prefix, quantity_info(quantity)->key, suffix);
    assert(length > 0 && length < 64);
    (void)length;
    return ret;
}

static bool clock_was_corrected(const struct record *record)
{
    return record->n > 0 && memcmp(record->time, record->raw_time, record->n * sizeof *record->time) != 0;
}
