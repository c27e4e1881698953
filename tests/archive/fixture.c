/* SPDX-License-Identifier: MIT */
#include "fixture.h"

#include "archive/archive.h"
#include "base/error.h"
#include "base/file.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static const char sha_a[] = "3f79bb7b435b05321651daefd374cdc681dc06faa65e374e38337b88ca046dea";
static const char sha_b[] = "486ea46224d1bb4fb680f34f7c9ad96a8f24ec88be73ea8e5a6c65260e9cb8a7";

static struct config *make_config(struct arena *arena);
static void make_station(struct config *config, struct arena *arena);
static void make_notes(struct dataset *dataset, struct arena *arena);
static void make_sources(struct dataset *dataset, struct arena *arena);
static void fill_quantity(struct dataset *dataset, enum quantity quantity, const double *values, uint8_t flag,
                          uint32_t tests);

struct dataset *fixture_month(struct arena *arena)
{
    enum { N = 6 };
    static const double level[N] = {1.2012, 1.20344, NAN, -0.00003, 1.2112, 1.2113};
    static const double temperature[N] = {18.21, 18.2204, 18.22, 18.2296, NAN, 18.25};
    static const double oxygen[N] = {8.91, 8.9, 8.88, 8.8, 8.79, 8.78};
    static const double conductance[N] = {0.1521, 0.15234, 0.1522, 0.1523, 0.1524, 0.1525};
    static const double pressure[N] = {101325 + 9806, 101325 + 9807.5, NAN, 100000, 112233.44, 112233.45};
    struct dataset *dataset = arena_alloc(arena, sizeof *dataset);
    *dataset = (struct dataset){.config = make_config(arena), .year = 2026, .month = 3, .revision = 2};
    dataset->station = &dataset->config->stations[0];
    dataset->span = (struct span){fixture_time("2026-02-28T14:00:00Z"), fixture_time("2026-03-31T14:00:00Z")};
    record_init(&dataset->record, arena, N,
                1u << QUANTITY_LEVEL | 1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_OXYGEN |
                    1u << QUANTITY_SPECIFIC_CONDUCTANCE);
    record_add_uncertainty(&dataset->record, arena, QUANTITY_LEVEL);
    readings_init(&dataset->raw, arena, N, 1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_WATER_PRESSURE);
    for (size_t i = 0; i < N; i++) {
        int64_t time = fixture_time("2026-02-28T23:50:00Z") + (int64_t)i * 5 * MINUTE_MS;
        dataset->record.time[i] = time + (i == 4 ? 250 : 0);
        dataset->record.raw_time[i] = dataset->raw.time[i] = time - (i > 2 ? 2 * SECOND_MS : 0);
        dataset->record.barometer[i] = i < 2 ? 7 : i == 2 ? NO_BAROMETER : 12;
        dataset->raw.drop[i] = i < 3 ? 41 : 43;
        dataset->raw.line[i] = (uint32_t)(i < 3 ? 9 + i : i);
        dataset->raw.value[QUANTITY_TEMPERATURE][i] = temperature[i];
        dataset->raw.value[QUANTITY_WATER_PRESSURE][i] = pressure[i];
        dataset->record.uncertainty[QUANTITY_LEVEL][i] = i == 5 ? NAN : 0.0061;
    }
    fill_quantity(dataset, QUANTITY_LEVEL, level, FLAG_PASS, TEST_CORRECTED);
    fill_quantity(dataset, QUANTITY_TEMPERATURE, temperature, FLAG_PASS, 0);
    fill_quantity(dataset, QUANTITY_OXYGEN, oxygen, FLAG_SUSPECT, TEST_SPIKE | TEST_ESTIMATED_SALINITY);
    fill_quantity(dataset, QUANTITY_SPECIFIC_CONDUCTANCE, conductance, FLAG_NOT_EVALUATED, 0);
    dataset->record.tests[QUANTITY_LEVEL][2] = TEST_NO_AIR_PRESSURE;
    make_notes(dataset, arena);
    make_sources(dataset, arena);
    return dataset;
}

struct dataset *fixture_long_month(struct arena *arena, size_t n)
{
    static const struct {
        enum quantity quantity;
        double mean, swing;
    } columns[] = {
        {QUANTITY_LEVEL, 1.2, 0.7},
        {QUANTITY_DEPTH, 1.9, 0.7},
        {QUANTITY_TEMPERATURE, 18, 4},
        {QUANTITY_OXYGEN, 8, 3},
        {QUANTITY_OXYGEN_SATURATION, 90, 20},
        {QUANTITY_CONDUCTIVITY, 22, 15},
        {QUANTITY_SPECIFIC_CONDUCTANCE, 25, 17},
        {QUANTITY_SALINITY, 15, 10},
        {QUANTITY_WATER_PRESSURE, 120000, 7000},
        {QUANTITY_AIR_PRESSURE, 101325, 900},
    };
    struct dataset *dataset = fixture_month(arena);
    uint32_t mask = 0;
    for (size_t c = 0; c < COUNT_OF(columns); c++)
        mask |= 1u << columns[c].quantity;
    record_init(&dataset->record, arena, n, mask);
    readings_init(&dataset->raw, arena, n,
                  1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_OXYGEN | 1u << QUANTITY_CONDUCTIVITY |
                      1u << QUANTITY_WATER_PRESSURE);
    for (size_t i = 0; i < n; i++) {
        dataset->record.time[i] = dataset->span.from + (int64_t)i * 5 * MINUTE_MS;
        dataset->record.raw_time[i] = dataset->raw.time[i] = dataset->record.time[i];
        dataset->record.barometer[i] = 7;
        dataset->raw.drop[i] = 41;
        dataset->raw.line[i] = (uint32_t)(i + 9);
        for (size_t c = 0; c < COUNT_OF(columns); c++) {
            enum quantity q = columns[c].quantity;
            double value = columns[c].mean + columns[c].swing * sin((double)i * 0.0421 + (double)c);
            dataset->record.value[q][i] = value;
            dataset->record.flag[q][i] = FLAG_PASS;
            if (dataset->raw.value[q])
                dataset->raw.value[q][i] = value;
        }
    }
    return dataset;
}

int64_t fixture_time(const char *printed)
{
    int64_t time = 0;
    bool ok = timestamp_parse(printed, strlen(printed), &time);
    assert(ok);
    (void)ok;
    return time;
}

static struct config *make_config(struct arena *arena)
{
    struct config *config = arena_alloc(arena, sizeof *config);
    *config = (struct config){
        .arena = arena,
        .network_id = "sallow-mouth",
        .network_name = "Sallow estuary water watch",
        .operator_name = "Sallow Water Trust",
        .contact = "desk@example.org",
        .public_url = "https://water.example.org/",
        .archive_formats = (1u << FORMAT_COUNT) - 1,
        .pairing_distance = 25000,
        .largest_air_gap = 3 * HOUR_MS,
        .good_air_gap = HOUR_MS,
    };
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        config->quality[q] = quality_off;
        config->quality[q].flat_tolerance = NAN;
    }
    config->quality[QUANTITY_OXYGEN] = (struct quality_limits){.sensor_max = 30,
                                                               .usual_max = 18,
                                                               .spike_suspect = 2,
                                                               .spike_fail = 4,
                                                               .rate = 2,
                                                               .flat_tolerance = 0.001,
                                                               .flat_suspect = 12 * HOUR_MS,
                                                               .flat_fail = 24 * HOUR_MS};
    config->quality[QUANTITY_SPECIFIC_CONDUCTANCE].sensor_min = 0;
    config->quality[QUANTITY_SPECIFIC_CONDUCTANCE].sensor_max = 70;
    config->quality[QUANTITY_SPECIFIC_CONDUCTANCE].usual_min = 0;
    config->barometer_count = 1;
    config->barometers = arena_array(arena, 1, sizeof *config->barometers);
    config->barometers[0] = (struct barometer){
        .id = "mill-roof", .name = "Mill roof", .latitude = -33.8702, .longitude = 151.2093, .elevation = 21.5};
    config->rule_count = 1;
    config->rules = arena_array(arena, 1, sizeof *config->rules);
    config->rules[0] = (struct rule){
        .id = "low-oxygen", .title = "Low oxygen", .kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3};
    make_station(config, arena);
    return config;
}

static void make_station(struct config *config, struct arena *arena)
{
    config->station_count = 1;
    config->stations = arena_array(arena, 1, sizeof *config->stations);
    config->stations[0] = (struct station){
        .id = "heron-creek",
        .name = "Heron Creek at the footbridge",
        .latitude = -33.86512,
        .longitude = 151.20931,
        .elevation = 0.6,
        .utc_offset = 10 * HOUR_MS,
        .datum = "gauge zero, 0.412 m below mean sea level",
        .sensor_elevation = -0.7,
        .tape_point = NAN,
        .salinity_source = SALINITY_MEASURED,
        .salinity = 12.5,
        .conductance_coefficient = 0.0191,
        .conductance_sensor_compensation = COMPENSATION_SAME,
        .conductance_sensor_coefficient = NAN,
        .oxygen_calibration = {NAN, NAN, NAN},
        .oxygen_thermometer = QUANTITY_TEMPERATURE,
        .oxygen_sensor_salinity = 0,
        .oxygen_sensor_pressure = 101325,
        .settling = 30 * MINUTE_MS,
        .reading_uncertainty = 0.002,
        .reading_limit = 6,
        .zero_limit = 500,
    };
}

static void make_notes(struct dataset *dataset, struct arena *arena)
{
    static const struct note notes[] = {
        {.drop = 44,
         .line = 3,
         .kind = NOTE_IN_WATER,
         .until = TIME_NONE,
         .quantity = QUANTITY_COUNT,
         .value = NAN,
         .reference = NAN,
         .text = ""},
        {.drop = 44,
         .line = 4,
         .kind = NOTE_LEVEL,
         .until = TIME_NONE,
         .quantity = QUANTITY_COUNT,
         .value = 1.204,
         .reference = NAN,
         .text = "staff, small waves"},
        {.drop = 44,
         .line = 5,
         .kind = NOTE_CHECK,
         .until = TIME_NONE,
         .quantity = QUANTITY_OXYGEN,
         .value = NAN,
         .reference = 8.6,
         .text = ""},
        {.drop = 44,
         .line = 6,
         .kind = NOTE_REMARK,
         .until = TIME_NONE,
         .quantity = QUANTITY_COUNT,
         .value = NAN,
         .reference = NAN,
         .text = "=1+1 <script>alert(\"x\")</script>"},
    };
    static const struct check_result checks[] = {
        {.quantity = QUANTITY_LEVEL,
         .kind = CHECK_LEVEL,
         .sensor = NAN,
         .reference = 1.204,
         .difference = NAN,
         .is_first = true},
        {.quantity = QUANTITY_OXYGEN, .kind = CHECK_AS_FOUND, .sensor = 8.9, .reference = 8.6, .difference = 0.3},
    };
    struct note *own_notes = arena_array(arena, COUNT_OF(notes), sizeof *own_notes);
    struct check_result *own_checks = arena_array(arena, COUNT_OF(checks), sizeof *own_checks);
    memcpy(own_notes, notes, sizeof notes);
    memcpy(own_checks, checks, sizeof checks);
    for (size_t i = 0; i < COUNT_OF(notes); i++)
        own_notes[i].time = fixture_time("2026-02-28T23:49:00Z") + (int64_t)i * MINUTE_MS;
    for (size_t i = 0; i < COUNT_OF(checks); i++)
        own_checks[i].time = own_notes[1 + i].time;
    static const struct finding findings[] = {{.kind = FINDING_READING_SET_ASIDE,
                                               .quantity = QUANTITY_LEVEL,
                                               .value = 0.4602,
                                               .uncertainty = 0.005,
                                               .wants_hand = true,
                                               .text = "staff reading 1.960 m stands above its <neighbours>"}};
    struct finding *own_findings = arena_array(arena, COUNT_OF(findings), sizeof *own_findings);
    memcpy(own_findings, findings, sizeof findings);
    own_findings[0].span = (struct span){own_notes[1].time, own_notes[1].time + 1};
    dataset->findings = own_findings;
    dataset->finding_count = COUNT_OF(findings);
    dataset->notes = own_notes;
    dataset->note_count = COUNT_OF(notes);
    dataset->checks = own_checks;
    dataset->check_count = COUNT_OF(checks);
}

static void make_sources(struct dataset *dataset, struct arena *arena)
{
    const struct dataset_barometer barometers[] = {{7, "mill-roof"}, {12, "old-jetty"}};
    const struct dataset_drop drops[] = {
        {41, "crew-a/heron creek 03.csv", sha_a, "stations/heron-creek/originals/3f79bb7b435b0532_heron_creek_03.csv",
         "crew-a"},
        {43, "crew-b/heron-\xFF.csv", sha_b, "stations/heron-creek/originals/486ea46224d1bb4f_heron-_.csv", "crew-b"},
    };
    struct dataset_barometer *own_barometers = arena_array(arena, COUNT_OF(barometers), sizeof *own_barometers);
    struct dataset_drop *own_drops = arena_array(arena, COUNT_OF(drops), sizeof *own_drops);
    memcpy(own_barometers, barometers, sizeof barometers);
    memcpy(own_drops, drops, sizeof drops);
    dataset->barometers = own_barometers;
    dataset->barometer_count = COUNT_OF(barometers);
    dataset->drops = own_drops;
    dataset->drop_count = COUNT_OF(drops);
}

static void fill_quantity(struct dataset *dataset, enum quantity quantity, const double *values, uint8_t flag,
                          uint32_t tests)
{
    struct record *record = &dataset->record;
    for (size_t i = 0; i < record->n; i++) {
        record->value[quantity][i] = values[i];
        record->flag[quantity][i] = isnan(values[i]) ? FLAG_MISSING : flag;
        record->tests[quantity][i] = isnan(values[i]) ? 0 : tests;
    }
}

char *fixture_make_folder(void)
{
    const char *base = getenv("TMPDIR");
    char *folder = x_printf("%s/archive-test-XXXXXX", base ? base : "/tmp");
    char *made = mkdtemp(folder);
    assert(made);
    return made;
}

void fixture_remove_folder(char *folder)
{
    fixture_run("rm -rf '%s'", folder);
    free(folder);
}

char *fixture_read(struct arena *arena, const char *folder, const char *path)
{
    char *bytes = NULL;
    size_t length = 0;
    if (!file_read(arena_printf(arena, "%s/%s", folder, path), 1 << 24, &bytes, &length, NULL))
        return NULL;
    char *copy = arena_strndup(arena, bytes, length);
    free(bytes);
    return copy;
}

void fixture_write(const char *folder, const char *path, const char *text)
{
    char *full = x_printf("%s/%s", folder, path);
    struct error error = {0};
    bool ok = file_write_whole(full, text, strlen(text), &error);
    assert(ok);
    (void)ok;
    free(full);
}

void fixture_write_month(const struct dataset *dataset, const char *folder)
{
    struct archive_file files[ARCHIVE_WRITERS_MAX];
    const struct archive_writer *writers[ARCHIVE_WRITERS_MAX];
    size_t n = archive_writers_wanted(dataset->config, writers);
    archive_render_month(dataset, files);
    for (size_t i = 0; i < n; i++) {
        char *path = x_printf("%s/%s", folder, strrchr(files[i].path, '/') + 1);
        struct error error = {0};
        bool ok = file_write_whole(path, files[i].content.bytes, files[i].content.length, &error);
        assert(ok);
        (void)ok;
        free(path);
        archive_file_done(&files[i]);
    }
}

char *fixture_month_path(struct arena *arena, const struct dataset *dataset, const char *folder, const char *extension)
{
    return arena_printf(arena, "%s/%s_%04d-%02d%s", folder, dataset->station->id, dataset->year, dataset->month,
                        extension);
}

int fixture_check(const char *script, const char *argument)
{
    return fixture_run("/usr/bin/python3 -B '%s/%s' '%s' >&2", fixture_here(), script, argument);
}

int fixture_run(const char *format, ...)
{
    char command[4096];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(command, sizeof command, format, arguments);
    va_end(arguments);
    int status = system(command);
    return status != -1 && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

const char *fixture_here(void)
{
    return RILLWARD_SOURCE_ROOT "/tests/archive";
}
