/* SPDX-License-Identifier: MIT */
#include "archive/netcdf_attributes.h"

#include "archive/about.h"
#include "archive/written.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "quality/describe.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { LINE_SIZE = 1024, LONGEST_HISTORY = 1 << 16 };

struct putter {
    const struct dataset *dataset;
    struct netcdf_file *file;
};

static void put(const struct putter *putter, const char *name, const char *text);
static void put_format(const struct putter *putter, const char *name, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
static void put_number(const struct putter *putter, const char *name, double value);
static void put_description(const struct putter *putter);
static void put_identity(const struct putter *putter);
static void put_history(const struct putter *putter, const char *last);
static void put_people(const struct putter *putter);
static void put_place(const struct putter *putter);
static void put_time(const struct putter *putter, int64_t interval);
static void put_keywords(const struct putter *putter);
static void put_tests(const struct putter *putter);
static void put_limits(const struct putter *putter);
static void put_checks(const struct putter *putter);
static void put_findings(const struct putter *putter);
static void put_notes(const struct putter *putter);
static void put_originals(const struct putter *putter);
static void put_lines(const struct putter *putter, const char *name, struct text *lines, size_t cut);
static bool add_line(struct text *lines, const struct text *line);
static void add_subject(struct text *line, enum note_kind kind, enum quantity quantity);
static void add_field(struct text *line, const char *label, enum quantity quantity, double value);
static void add_visible(struct text *to, const char *text);
static const char *other_words(const struct station *station);

void netcdf_attributes_put(const struct dataset *dataset, int64_t interval, struct netcdf_file *file)
{
    const struct putter putter = {dataset, file};
    put(&putter, "Conventions", "CF-1.11, ACDD-1.3");
    put(&putter, "featureType", "timeSeries");
    put(&putter, "cdm_data_type", "Station");
    put_description(&putter);
    put_identity(&putter);
    put_people(&putter);
    put_place(&putter);
    put_time(&putter, interval);
    put_tests(&putter);
    put_limits(&putter);
    put_checks(&putter);
    put_findings(&putter);
    put_notes(&putter);
    put_originals(&putter);
}

static void put(const struct putter *putter, const char *name, const char *text)
{
    netcdf_file_put_text(putter->file, NETCDF_GLOBAL, name, text);
}

static void put_format(const struct putter *putter, const char *name, const char *format, ...)
{
    char text[4 * LINE_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    put(putter, name, text);
}

static void put_number(const struct putter *putter, const char *name, double value)
{
    netcdf_file_put_numbers(putter->file, NETCDF_GLOBAL, name, NETCDF_DOUBLE, &value, 1);
}

static void put_description(const struct putter *putter)
{
    const struct dataset *dataset = putter->dataset;
    const struct station *station = dataset->station;
    char offset[TIMESTAMP_SIZE];
    timestamp_print_offset(0, station->utc_offset, offset);
    char month[16];
    snprintf(month, sizeof month, "%04d-%02d", dataset->year, dataset->month);
    const char *kind = dataset->period ? "year" : "month";
    put_format(putter, "title", "%.200s, %.200s, %s", dataset->config->network_name, station->name,
               dataset->period ? dataset->period : month);
    struct text state;
    text_init(&state, NETCDF_TEXT_MAX / 2);
    about_add_state(dataset, &state);
    put_format(putter, "summary", "Finished record of one station and one %s, with quality flags. %s", kind,
               state.bytes);
    text_done(&state);
    put_keywords(putter);
    put(putter, "source", "in situ sensors at a fixed station");
    put_format(putter, "processing_level", "finished record: corrected, flagged, %s",
               record_state_word(dataset->state));
    put_format(putter, "comment",
               "%s Times are UTC. The %s is that of the station's standard time, UTC%s, without daylight saving.%s%s%s",
               about_caution(), kind, station->utc_offset == 0 ? "+00:00" : offset + strlen("1970-01-01T00:00:00"),
               *station->datum ? " Level 0 is: " : "", station->datum, other_words(station));
    put(putter, "standard_name_vocabulary", "CF Standard Name Table v83");
    put(putter, "references", "IOC Manuals and Guides 54 Volume 3 (2013), for the flags");
}

static const char *other_words(const struct station *station)
{
    return station->salinity_source == SALINITY_FRESH
               ? ". The water is fresh: standard names say sea water where there is no other name."
               : "";
}

static void put_keywords(const struct putter *putter)
{
    struct text words;
    text_init(&words, NETCDF_TEXT_MAX);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!putter->dataset->record.value[q])
            continue;
        text_puts(&words, words.length > 0 ? ", " : "");
        text_puts(&words, quantity_info(q)->title);
    }
    if (words.length > 0)
        put(putter, "keywords", words.bytes);
    text_done(&words);
}

static void put_identity(const struct putter *putter)
{
    const struct dataset *dataset = putter->dataset;
    const struct record *record = &dataset->record;
    char last[TIMESTAMP_SIZE], authority[256];
    timestamp_print(record->n > 0 ? record->time[record->n - 1] : dataset->span.from, last);
    netcdf_naming_authority(dataset->config->public_url, dataset->config->network_id, authority, sizeof authority);
    char period[32];
    snprintf(period, sizeof period, "%04d-%02d", dataset->year, dataset->month);
    if (dataset->period)
        snprintf(period, sizeof period, "%s%d", *dataset->period == 'w' ? "water-year-" : "",
                 dataset->year + (dataset->month > 1));
    put_format(putter, "id", "%s_%s_r%lld", dataset->station->id, period, (long long)dataset->revision);
    put(putter, "naming_authority", authority);
    put_format(putter, "product_version", "%lld", (long long)dataset->revision);
    put(putter, "date_created", last);
    put_history(putter, last);
    put_format(putter, "platform", "%s", dataset->station->name);
    put(putter, "license", "none stated: ask the publisher");
    put(putter, "acknowledgement", "none stated");
}

static void put_history(const struct putter *putter, const char *last)
{
    struct text text;
    text_init(&text, LONGEST_HISTORY);
    text_printf(&text, "%s readings corrected and flagged, revision %lld (the time is that of the last sample)", last,
                (long long)putter->dataset->revision);
    if (putter->dataset->history && *putter->dataset->history)
        text_printf(&text, "\n%s", putter->dataset->history);
    put(putter, "history", text.bytes);
    text_done(&text);
}

static void put_people(const struct putter *putter)
{
    const struct config *config = putter->dataset->config;
    const char *name = *config->operator_name ? config->operator_name : config->network_name;
    bool is_mail = strchr(config->contact, '@') && !strpbrk(config->contact, " \t");
    static const char *const roles[] = {"creator", "publisher"};
    put(putter, "institution", name);
    put(putter, "project", config->network_name);
    for (size_t i = 0; i < COUNT_OF(roles); i++) {
        char attribute[32];
        snprintf(attribute, sizeof attribute, "%s_name", roles[i]);
        put(putter, attribute, name);
        snprintf(attribute, sizeof attribute, "%s_type", roles[i]);
        put(putter, attribute, "institution");
        snprintf(attribute, sizeof attribute, "%s_email", roles[i]);
        put(putter, attribute, is_mail ? config->contact : "");
        snprintf(attribute, sizeof attribute, "%s_url", roles[i]);
        put(putter, attribute, config->public_url);
    }
    if (!is_mail)
        put(putter, "contact", config->contact);
}

static void put_place(const struct putter *putter)
{
    const struct station *station = putter->dataset->station;
    put_format(putter, "geospatial_bounds", "POINT (%.9g %.9g)", station->latitude, station->longitude);
    put(putter, "geospatial_bounds_crs", "EPSG:4326");
    put_number(putter, "geospatial_lat_min", station->latitude);
    put_number(putter, "geospatial_lat_max", station->latitude);
    put(putter, "geospatial_lat_units", "degrees_north");
    put_number(putter, "geospatial_lon_min", station->longitude);
    put_number(putter, "geospatial_lon_max", station->longitude);
    put(putter, "geospatial_lon_units", "degrees_east");
    if (isnan(station->elevation))
        return;
    put_number(putter, "geospatial_vertical_min", station->elevation);
    put_number(putter, "geospatial_vertical_max", station->elevation);
    put(putter, "geospatial_vertical_units", "m");
    put(putter, "geospatial_vertical_positive", "up");
}

static void put_time(const struct putter *putter, int64_t interval)
{
    const struct record *record = &putter->dataset->record;
    char printed[TIMESTAMP_SIZE];
    struct text duration;
    if (record->n == 0)
        return;
    text_init(&duration, TIMESTAMP_SIZE);
    int64_t first = record->time[0], last = record->time[record->n - 1];
    put(putter, "time_coverage_start", timestamp_print(first, printed));
    put(putter, "time_coverage_end", timestamp_print(last, printed));
    written_print_duration(&duration, last - first);
    put(putter, "time_coverage_duration", duration.bytes);
    text_clear(&duration);
    written_print_duration(&duration, interval);
    if (interval > 0)
        put(putter, "time_coverage_resolution", duration.bytes);
    text_done(&duration);
}

/* ---- Lines of text ---- */

static void put_tests(const struct putter *putter)
{
    struct text lines;
    text_init(&lines, NETCDF_TEXT_MAX);
    for (unsigned bit = 0; bit < TEST_COUNT; bit++)
        text_printf(&lines, "%s%s: %s", bit > 0 ? "\n" : "", test_info(bit)->key, test_info(bit)->meaning);
    put_lines(putter, "test_meanings", &lines, 0);
}

/* The thresholds in force, a line each quantity. */
static void put_limits(const struct putter *putter)
{
    const struct dataset *dataset = putter->dataset;
    struct text lines, line;
    text_init(&lines, NETCDF_TEXT_MAX);
    text_init(&line, 4 * LINE_SIZE);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(dataset->config, dataset->station, q);
        text_clear(&line);
        quality_describe(q, &limits, &line);
        if (dataset->record.value[q] && line.length > 0)
            text_printf(&lines, "%s%s: %s", lines.length > 0 ? "\n" : "", quantity_info(q)->key, line.bytes);
    }
    text_done(&line);
    put_lines(putter, "test_thresholds", &lines, 0);
}

static void put_checks(const struct putter *putter)
{
    struct text lines, line;
    size_t i = 0;
    text_init(&lines, NETCDF_TEXT_MAX);
    text_init(&line, LINE_SIZE);
    for (; i < putter->dataset->check_count; i++) {
        const struct check_result *check = &putter->dataset->checks[i];
        char printed[TIMESTAMP_SIZE];
        text_clear(&line);
        text_printf(&line, "%s %s", timestamp_print(check->time, printed), check_kind_word(check->kind));
        add_subject(&line, (enum note_kind)check->kind, check->quantity);
        add_field(&line, "reference", check->quantity, check->reference);
        add_field(&line, "record", check->quantity, check->sensor);
        add_field(&line, "difference", check->quantity, check->difference);
        text_puts(&line, check->is_first ? ", the first of a deployment" : "");
        if (!add_line(&lines, &line))
            break;
    }
    text_done(&line);
    put_lines(putter, "checks", &lines, putter->dataset->check_count - i);
}

static void put_findings(const struct putter *putter)
{
    struct text lines, line;
    size_t i = 0;
    text_init(&lines, NETCDF_TEXT_MAX);
    text_init(&line, 4 * LINE_SIZE);
    for (; i < putter->dataset->finding_count; i++) {
        const struct finding *finding = &putter->dataset->findings[i];
        char printed[TIMESTAMP_SIZE];
        text_clear(&line);
        text_printf(&line, "%s %s", timestamp_print(finding->span.from, printed), finding_kind_word(finding->kind));
        if (1u << finding->kind & FINDINGS_OF_A_STRETCH)
            text_printf(&line, " until %s", timestamp_print(finding->span.to, printed));
        if (finding->quantity < QUANTITY_COUNT)
            text_printf(&line, " of %s", quantity_info(finding->quantity)->key);
        text_puts(&line, ": ");
        add_visible(&line, finding->text);
        if (!add_line(&lines, &line))
            break;
    }
    text_done(&line);
    put_lines(putter, "findings", &lines, putter->dataset->finding_count - i);
}

static void put_notes(const struct putter *putter)
{
    struct text lines, line;
    size_t i = 0;
    text_init(&lines, NETCDF_TEXT_MAX);
    text_init(&line, LINE_SIZE);
    for (; i < putter->dataset->note_count; i++) {
        const struct note *note = &putter->dataset->notes[i];
        enum quantity quantity = written_note_quantity(note);
        char printed[TIMESTAMP_SIZE];
        text_clear(&line);
        text_printf(&line, "%s %s", timestamp_print(note->time, printed), note_kind_word(note->kind));
        if (note->until != TIME_NONE)
            text_printf(&line, ", %s %s", note->kind == NOTE_CLOCK ? "the logger said" : "until",
                        timestamp_print(note->until, printed));
        add_subject(&line, note->kind, quantity);
        add_field(&line, "value", quantity, note->value);
        add_field(&line, "reference", quantity, note->reference);
        text_puts(&line, *note->text ? ": " : "");
        add_visible(&line, note->text);
        if (!add_line(&lines, &line))
            break;
    }
    text_done(&line);
    put_lines(putter, "field_notes", &lines, putter->dataset->note_count - i);
}

static void put_originals(const struct putter *putter)
{
    struct text lines, line;
    size_t i = 0;
    text_init(&lines, NETCDF_TEXT_MAX);
    text_init(&line, 4 * LINE_SIZE);
    for (; i < putter->dataset->drop_count; i++) {
        const struct dataset_drop *drop = &putter->dataset->drops[i];
        text_clear(&line);
        text_printf(&line, "%lu sha256 %s kept as ", (unsigned long)drop->number, drop->sha256);
        add_visible(&line, drop->original);
        text_puts(&line, ", arrived as ");
        add_visible(&line, drop->path);
        if (!add_line(&lines, &line))
            break;
    }
    text_done(&line);
    put_lines(putter, "originals", &lines, putter->dataset->drop_count - i);
}

/* `cut` of them had no room. */
static void put_lines(const struct putter *putter, const char *name, struct text *lines, size_t cut)
{
    if (cut > 0)
        text_printf(lines, "\n%zu more stand in the metadata beside the CSV", cut);
    if (lines->length > 0)
        put(putter, name, lines->bytes);
    text_done(lines);
}

static bool add_line(struct text *lines, const struct text *line)
{
    enum { ROOM_FOR_THE_LAST = 128 };
    if (lines->length + line->length + ROOM_FOR_THE_LAST > lines->limit)
        return false;
    text_puts(lines, lines->length > 0 ? "\n" : "");
    text_add(lines, line->bytes, line->length);
    return true;
}

/* Readings of the level say by their kind what they are about. */
static void add_subject(struct text *line, enum note_kind kind, enum quantity quantity)
{
    if (quantity < QUANTITY_COUNT && kind != NOTE_LEVEL && kind != NOTE_TAPE_DOWN)
        text_printf(line, " of %s", quantity_info(quantity)->key);
}

static void add_field(struct text *line, const char *label, enum quantity quantity, double value)
{
    if (quantity >= QUANTITY_COUNT || !isfinite(value))
        return;
    text_printf(line, ", %s ", label);
    written_print(line, quantity, value);
    text_printf(line, " %s", quantity_info(quantity)->unit);
}

/* Notes and names come from people: a line end in one must not begin a line of ours. */
static void add_visible(struct text *to, const char *text)
{
    char visible[LINE_SIZE];
    text_make_visible(text, visible, sizeof visible);
    text_puts(to, visible);
}

char *netcdf_naming_authority(const char *url, const char *fallback, char *ret, size_t size)
{
    const char *host = strstr(url, "://");
    host = host ? host + 3 : url;
    size_t length = strcspn(host, "/:?#");
    bool is_name = length > 0 && length < size && memchr(host, '.', length) && isalpha((unsigned char)host[length - 1]);
    if (!is_name) {
        snprintf(ret, size, "%s", fallback);
        return ret;
    }
    size_t written = 0;
    for (size_t end = length; end > 0;) {
        size_t start = end;
        while (start > 0 && host[start - 1] != '.')
            start--;
        memcpy(ret + written, host + start, end - start);
        written += end - start;
        ret[written++] = start > 0 ? '.' : '\0';
        end = start > 0 ? start - 1 : 0;
    }
    return ret;
}
