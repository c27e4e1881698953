/* SPDX-License-Identifier: MIT */
#include "service/metrics.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct metrics example(void)
{
    static struct metrics_place stations[] = {{"heron-creek", 1777682700250}, {"new-one", TIME_NONE}},
                                barometers[] = {{"hill", 1777691700000}};
    static struct outbox_line outbox[] = {{.recipient = "on-call", .due = 2, .delivered = 7, .given_up = 1}};
    return (struct metrics){.run = {.started = 1777680000000,
                                    .last_turn = 1777690000000,
                                    .last_scan = TIME_NONE,
                                    .scan_seconds = NAN,
                                    .drops_taken = 3,
                                    .drops_set_aside = 1,
                                    .failures = 10,
                                    .settings_refused = 11,
                                    .is_sandboxed = true,
                                    .inbox = {.inbox_missing = true,
                                              .files_seen = 9,
                                              .unreadable = 12,
                                              .overflows = 13,
                                              .watch_limit_reached = true}},
                            .stations = stations,
                            .station_count = 2,
                            .barometers = barometers,
                            .barometer_count = 1,
                            .alarms_active = {[PRIORITY_HIGH] = 1},
                            .alarms_unacknowledged = {[PRIORITY_LOW] = 4},
                            .outbox = outbox,
                            .outbox_count = 1,
                            .counts = {.waiting = 5, .set_aside = 6, .dirty = 7, .pages_due = 8}};
}

static char *rendered(const struct metrics *metrics)
{
    struct text text;
    text_init(&text, 1 << 20);
    metrics_render(metrics, &text);
    cr_assert_not(text.is_full);
    return text.bytes; /* the test's process frees it */
}

static bool has_line(const char *text, const char *line)
{
    for (const char *at = text; (at = strstr(at, line)) != NULL; at++)
        if (at > text && at[-1] == '\n' && at[strlen(line)] == '\n')
            return true;
    return false;
}

/* So that no figure is added without its assertion. */
static void expect_listed(const char *const *lines, size_t n, const char *family)
{
    size_t length = strcspn(family, " ");
    bool is_listed = false;
    for (size_t i = 0; i < n; i++)
        is_listed |= strncmp(lines[i], family, length) == 0 && strchr(" {", lines[i][length]) != NULL;
    cr_expect(is_listed, "no line here has the figure '%.*s'", (int)length, family);
}

Test(metrics, every_figure_stands_in_its_family)
{
    struct metrics metrics = example();
    char *text = rendered(&metrics);
    static const char *const lines[] = {
        "rillward_build_info{version=\"" RILLWARD_VERSION "\"} 1",
        "rillward_start_timestamp_seconds 1777680000.000",
        "rillward_last_turn_timestamp_seconds 1777690000.000",
        "rillward_last_data_timestamp_seconds{station=\"heron-creek\"} 1777682700.250",
        "rillward_last_air_timestamp_seconds{barometer=\"hill\"} 1777691700.000",
        "rillward_drops_total{result=\"taken\"} 3",
        "rillward_drops_total{result=\"set_aside\"} 1",
        "rillward_drops_waiting 5",
        "rillward_drops_set_aside 6",
        "rillward_dirty_spans 7",
        "rillward_records_due 8",
        "rillward_alarms_active{priority=\"high\"} 1",
        "rillward_alarms_unacknowledged{priority=\"low\"} 4",
        "rillward_notices_due{recipient=\"on-call\"} 2",
        "rillward_notices_delivered_total{recipient=\"on-call\"} 7",
        "rillward_notices_given_up_total{recipient=\"on-call\"} 1",
        "rillward_inbox_missing 1",
        "rillward_inbox_files 9",
        "rillward_inbox_unreadable 12",
        "rillward_inbox_events_lost_total 13",
        "rillward_inbox_scans_only 1",
        "rillward_failures_total 10",
        "rillward_settings_refused_total 11",
        "rillward_sandboxed 1",
        "rillward_barometers 1",
        "rillward_stations 2",
    };
    for (size_t i = 0; i < COUNT_OF(lines); i++)
        cr_expect(has_line(text, lines[i]), "not there: %s\n%s", lines[i], text);
    for (const char *at = text; (at = strstr(at, "# TYPE ")) != NULL; at++)
        expect_listed(lines, COUNT_OF(lines), at + strlen("# TYPE "));
    free(text);
}

Test(metrics, what_is_not_known_has_no_sample)
{
    struct metrics metrics = example();
    char *text = rendered(&metrics);
    cr_expect_null(strstr(text, "new-one"));
    cr_expect_null(strstr(text, "scan_seconds"));
    cr_expect_null(strstr(text, "last_scan_timestamp"));
    metrics.run.scan_seconds = 0.25;
    metrics.run.last_scan = 1777690001000;
    free(text);
    text = rendered(&metrics);
    cr_expect(has_line(text, "rillward_scan_seconds 0.250"));
    cr_expect(has_line(text, "rillward_last_scan_timestamp_seconds 1777690001.000"));
    free(text);
}

Test(metrics, label_values_are_escaped)
{
    struct metrics metrics = example();
    metrics.stations[0].id = "a\"b\\c\nd";
    char *text = rendered(&metrics);
    cr_expect_not_null(strstr(text, "{station=\"a\\\"b\\\\c\\nd\"} "));
    free(text);
}

/* Each line is a comment of a family or a sample of the family above it; families come once, and the file ends with a
 * line end. */
Test(metrics, the_file_has_the_form_of_the_format)
{
    struct metrics metrics = example();
    char *text = rendered(&metrics), *rest = text, *line, family[128] = "", seen[8192] = "";
    cr_expect_eq(text[strlen(text) - 1], '\n');
    size_t samples = 0;
    while ((line = strsep(&rest, "\n")) && *line) {
        char name[128], type[16], key[132];
        if (strncmp(line, "# HELP ", 7) == 0) {
            cr_assert_eq(sscanf(line, "# HELP %127s", family), 1);
            snprintf(key, sizeof key, "|%s|", family);
            cr_expect_null(strstr(seen, key), "'%s' comes twice", family);
            strcat(seen, key);
            samples = 0;
        } else if (strncmp(line, "# TYPE ", 7) == 0) {
            cr_assert_eq(sscanf(line, "# TYPE %127s %15s", name, type), 2);
            cr_expect_str_eq(name, family);
            cr_expect(strcmp(type, "gauge") == 0 || strcmp(type, "counter") == 0);
            size_t length = strlen(name);
            cr_expect_eq(strcmp(type, "counter") == 0, length > 6 && strcmp(name + length - 6, "_total") == 0, "'%s'",
                         name);
        } else {
            size_t length = strlen(family);
            char *end;
            cr_expect(strncmp(line, family, length) == 0 && (line[length] == ' ' || line[length] == '{'), "'%s'", line);
            strtod(strrchr(line, ' ') + 1, &end);
            cr_expect(*end == '\0', "no number ends '%s'", line);
            samples++;
        }
    }
    cr_expect_gt(samples, 0);
    cr_expect(!line || !*line);
    free(text);
}

Test(metrics, the_file_appears_whole_and_everybody_may_read_it)
{
    char folder[] = "/tmp/metrics-XXXXXX", path[64], temporary[80];
    cr_assert_not_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/rillward.prom", folder);
    snprintf(temporary, sizeof temporary, "%s.new", path);
    struct text text;
    struct error error;
    struct stat status;
    text_init(&text, 100);
    text_puts(&text, "rillward_stations 1\n");
    umask(0077);
    cr_assert(metrics_write(path, &text, &error), "%s", error.text);
    cr_assert(metrics_write(path, &text, &error), "%s", error.text);
    cr_expect_eq(stat(path, &status), 0);
    cr_expect_eq(status.st_mode & 0777, 0644);
    cr_expect_eq(status.st_size, 20);
    cr_expect_neq(access(temporary, F_OK), 0);
    unlink(path);
    rmdir(folder);
    cr_expect_not(metrics_write(path, &text, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    text_done(&text);
}
