/* SPDX-License-Identifier: MIT */
#include "service/metrics.h"

#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <limits.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool gather_places(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                          struct error *error);
static bool gather_alarms(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                          struct error *error);
static bool gather_outbox(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                          struct error *error);
static void render_run(const struct metrics *metrics, struct text *ret);
static void render_inbox(const struct watch_report *inbox, struct text *ret);
static void render_places(const struct metrics *metrics, struct text *ret);
static void render_alarms(const struct metrics *metrics, struct text *ret);
static void render_outbox(const struct metrics *metrics, struct text *ret);
static void family(struct text *ret, const char *name, const char *type, const char *help);
static void single(struct text *ret, const char *name, const char *type, int64_t value, const char *help);
static void single_time(struct text *ret, const char *name, int64_t time, const char *help);
static void labelled(struct text *ret, const char *name, const char *label, const char *value);
static void label_value(struct text *ret, const char *value);
static void put_seconds(struct text *ret, int64_t time);
static bool write_all(int fd, const char *bytes, size_t length);

/* ---- gathering ---- */

bool metrics_gather(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                    struct error *error)
{
    return gather_places(config, store, arena, ret, error) && gather_alarms(config, store, arena, ret, error) &&
           gather_outbox(config, store, arena, ret, error) && store_counts(store, &ret->counts, error);
}

static bool gather_places(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                          struct error *error)
{
    struct place_fact fact;
    ret->station_count = config->station_count;
    ret->barometer_count = config->barometer_count;
    ret->stations = arena_array(arena, config->station_count + 1, sizeof *ret->stations);
    ret->barometers = arena_array(arena, config->barometer_count + 1, sizeof *ret->barometers);
    for (size_t i = 0; i < config->station_count; i++) {
        if (!store_place_find(store, config->stations[i].id, arena, &fact, error))
            return false;
        ret->stations[i] = (struct metrics_place){config->stations[i].id, fact.last_time};
    }
    for (size_t i = 0; i < config->barometer_count; i++) {
        if (!store_place_find(store, config->barometers[i].id, arena, &fact, error))
            return false;
        ret->barometers[i] = (struct metrics_place){config->barometers[i].id, fact.last_time};
    }
    return true;
}

static bool gather_alarms(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                          struct error *error)
{
    struct alarm *alarms;
    size_t n;
    if (!store_alarms_open(store, arena, &alarms, &n, error))
        return false;
    memset(ret->alarms_active, 0, sizeof ret->alarms_active);
    memset(ret->alarms_unacknowledged, 0, sizeof ret->alarms_unacknowledged);
    for (size_t k = 0; k < n; k++) {
        size_t r = config_find_rule(config, alarms[k].rule);
        enum priority priority = r < config->rule_count ? config->rules[r].priority : PRIORITY_MEDIUM;
        enum alarm_state state = alarms[k].state;
        ret->alarms_active[priority] += state == ALARM_UNACKNOWLEDGED || state == ALARM_ACKNOWLEDGED;
        ret->alarms_unacknowledged[priority] += state == ALARM_UNACKNOWLEDGED || state == ALARM_RETURNED_UNACKNOWLEDGED;
    }
    return true;
}

/* Every recipient of the settings has a line from the start: a series that appears only with the first failure cannot
 * be watched for it. */
static bool gather_outbox(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                          struct error *error)
{
    struct outbox_line *lines;
    size_t n;
    if (!store_outbox_summary(store, arena, &lines, &n, error))
        return false;
    ret->outbox = arena_array(arena, config->recipient_count + 1, sizeof *ret->outbox);
    ret->outbox_count = config->recipient_count;
    for (size_t i = 0; i < config->recipient_count; i++) {
        ret->outbox[i] = (struct outbox_line){.recipient = config->recipients[i].id, .oldest_due = TIME_NONE};
        for (size_t k = 0; k < n; k++)
            if (strcmp(lines[k].recipient, config->recipients[i].id) == 0)
                ret->outbox[i] = lines[k];
    }
    return true;
}

/* ---- rendering ---- */

void metrics_render(const struct metrics *metrics, struct text *ret)
{
    render_run(metrics, ret);
    render_inbox(&metrics->run.inbox, ret);
    render_places(metrics, ret);
    render_alarms(metrics, ret);
    render_outbox(metrics, ret);
    single(ret, "rillward_dirty_spans", "gauge", metrics->counts.dirty, "Spans that wait to be derived.");
    single(ret, "rillward_records_due", "gauge", metrics->counts.pages_due, "Records that wait to be written.");
    single(ret, "rillward_drops_waiting", "gauge", metrics->counts.waiting,
           "Files of the inbox that wait to be whole.");
    single(ret, "rillward_drops_set_aside", "gauge", metrics->counts.set_aside,
           "Files of the inbox that could not be read and need a hand.");
}

static void render_run(const struct metrics *metrics, struct text *ret)
{
    const struct metrics_run *run = &metrics->run;
    family(ret, "rillward_build_info", "gauge", "Version of the running program.");
    labelled(ret, "rillward_build_info", "version", RILLWARD_VERSION);
    text_puts(ret, "1\n");
    single_time(ret, "rillward_start_timestamp_seconds", run->started, "When the service started.");
    single_time(ret, "rillward_last_turn_timestamp_seconds", run->last_turn,
                "When the service last ended a piece of work or a scan of the inbox.");
    const struct {
        const char *result;
        uint64_t count;
    } drops[] = {{"taken", run->drops_taken}, {"repeated", run->drops_repeated}, {"set_aside", run->drops_set_aside}};
    family(ret, "rillward_drops_total", "counter", "Drops by what became of them, since the start.");
    for (size_t i = 0; i < COUNT_OF(drops); i++) {
        labelled(ret, "rillward_drops_total", "result", drops[i].result);
        text_printf(ret, "%" PRIu64 "\n", drops[i].count);
    }
    single(ret, "rillward_failures_total", "counter", (int64_t)run->failures,
           "Times that the machine was in the way of a piece of work (disk full, permission), since the start.");
    single(ret, "rillward_settings_refused_total", "counter", (int64_t)run->settings_refused,
           "Reloads that were refused because of mistakes in the settings, since the start.");
    single(ret, "rillward_sandboxed", "gauge", run->is_sandboxed,
           "1 while the service has given up access to all files but those that the settings name.");
    if (!isnan(run->scan_seconds)) {
        family(ret, "rillward_scan_seconds", "gauge", "How long the last whole scan took, with the work on its drops.");
        text_puts(ret, "rillward_scan_seconds ");
        text_number(ret, run->scan_seconds, 3);
        text_putc(ret, '\n');
    }
    single_time(ret, "rillward_last_scan_timestamp_seconds", run->last_scan, "When the last whole scan ended.");
}

static void render_inbox(const struct watch_report *inbox, struct text *ret)
{
    single(ret, "rillward_inbox_missing", "gauge", inbox->inbox_missing, "1 while the inbox is not there.");
    single(ret, "rillward_inbox_files", "gauge", (int64_t)inbox->files_seen, "Files that the last whole scan saw.");
    single(ret, "rillward_inbox_unreadable", "gauge", (int64_t)inbox->unreadable,
           "Folders and paths of the inbox that could not be read.");
    single(ret, "rillward_inbox_scans_only", "gauge",
           inbox->scan_only || inbox->events_unavailable || inbox->watch_limit_reached,
           "1 while some changes of the inbox are seen by scans alone.");
    single(ret, "rillward_inbox_events_lost_total", "counter", (int64_t)inbox->overflows,
           "Times that events were lost and a scan was made instead.");
}

static void render_places(const struct metrics *metrics, struct text *ret)
{
    const struct {
        const char *name, *label, *help;
        const struct metrics_place *places;
        size_t count;
    } kinds[] = {{"rillward_last_data_timestamp_seconds", "station", "Time of the last reading of a station.",
                  metrics->stations, metrics->station_count},
                 {"rillward_last_air_timestamp_seconds", "barometer", "Time of the last reading of a barometer.",
                  metrics->barometers, metrics->barometer_count}};
    for (size_t k = 0; k < COUNT_OF(kinds); k++) {
        bool is_first = true;
        for (size_t i = 0; i < kinds[k].count; i++) {
            if (kinds[k].places[i].last_time == TIME_NONE)
                continue;
            if (is_first)
                family(ret, kinds[k].name, "gauge", kinds[k].help);
            is_first = false;
            labelled(ret, kinds[k].name, kinds[k].label, kinds[k].places[i].id);
            put_seconds(ret, kinds[k].places[i].last_time);
        }
    }
    single(ret, "rillward_stations", "gauge", (int64_t)metrics->station_count, "Stations of the settings.");
    single(ret, "rillward_barometers", "gauge", (int64_t)metrics->barometer_count, "Barometers of the settings.");
}

static void render_alarms(const struct metrics *metrics, struct text *ret)
{
    const struct {
        const char *name, *help;
        const int64_t *counts;
    } kinds[] = {{"rillward_alarms_active", "Alarms that are so, shelved ones left out.", metrics->alarms_active},
                 {"rillward_alarms_unacknowledged", "Alarms, also ones that are over, that nobody has answered.",
                  metrics->alarms_unacknowledged}};
    for (size_t k = 0; k < COUNT_OF(kinds); k++) {
        family(ret, kinds[k].name, "gauge", kinds[k].help);
        for (enum priority p = 0; p < PRIORITY_COUNT; p++) {
            labelled(ret, kinds[k].name, "priority", priority_word(p));
            text_printf(ret, "%" PRId64 "\n", kinds[k].counts[p]);
        }
    }
}

static void render_outbox(const struct metrics *metrics, struct text *ret)
{
    const struct {
        const char *name, *type, *help;
        size_t offset;
    } kinds[] = {
        {"rillward_notices_due", "gauge", "Notices that wait to be delivered.", offsetof(struct outbox_line, due)},
        {"rillward_notices_delivered_total", "counter", "Notices that were delivered.",
         offsetof(struct outbox_line, delivered)},
        {"rillward_notices_given_up_total", "counter",
         "Notices that could not be delivered and are not tried any more.", offsetof(struct outbox_line, given_up)},
    };
    for (size_t k = 0; k < COUNT_OF(kinds) && metrics->outbox_count > 0; k++) {
        family(ret, kinds[k].name, kinds[k].type, kinds[k].help);
        for (size_t i = 0; i < metrics->outbox_count; i++) {
            int64_t value;
            memcpy(&value, (const char *)&metrics->outbox[i] + kinds[k].offset, sizeof value);
            labelled(ret, kinds[k].name, "recipient", metrics->outbox[i].recipient);
            text_printf(ret, "%" PRId64 "\n", value);
        }
    }
}

static void family(struct text *ret, const char *name, const char *type, const char *help)
{
    text_printf(ret, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, type);
}

static void single(struct text *ret, const char *name, const char *type, int64_t value, const char *help)
{
    family(ret, name, type, help);
    text_printf(ret, "%s %" PRId64 "\n", name, value);
}

/* No sample where there is no time: 0 would read as 1970. */
static void single_time(struct text *ret, const char *name, int64_t time, const char *help)
{
    if (time == TIME_NONE)
        return;
    family(ret, name, "gauge", help);
    text_printf(ret, "%s ", name);
    put_seconds(ret, time);
}

static void labelled(struct text *ret, const char *name, const char *label, const char *value)
{
    text_printf(ret, "%s{%s=\"", name, label);
    label_value(ret, value);
    text_puts(ret, "\"} ");
}

static void label_value(struct text *ret, const char *value)
{
    for (; *value; value++) {
        if (*value == '\n')
            text_puts(ret, "\\n");
        else if (*value == '"' || *value == '\\')
            text_printf(ret, "\\%c", *value);
        else
            text_putc(ret, *value);
    }
}

static void put_seconds(struct text *ret, int64_t time)
{
    text_number(ret, (double)time / 1000, 3);
    text_putc(ret, '\n');
}

/* ---- writing ---- */

bool metrics_write(const char *path, const struct text *text, struct error *error)
{
    char temporary[PATH_MAX];
    if (text->is_full || (size_t)snprintf(temporary, sizeof temporary, "%s.new", path) >= sizeof temporary)
        return fail(error, ERROR_SYSTEM, "the metrics are too long, or the name '%s' is", path);
    CLEANUP(cleanup_fd) int fd = open(temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0644);
    if (fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot create '%s'", temporary);
    bool is_written = fchmod(fd, 0644) == 0 && write_all(fd, text->bytes, text->length) && rename(temporary, path) == 0;
    if (is_written)
        return true;
    fail_errno(error, ERROR_SYSTEM, "cannot write the metrics '%s'", path);
    unlink(temporary);
    return false;
}

static bool write_all(int fd, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t written = write(fd, bytes, length);
        if (written < 0 && errno == EINTR)
            continue;
        if (written <= 0)
            return false;
        bytes += written;
        length -= (size_t)written;
    }
    return true;
}
