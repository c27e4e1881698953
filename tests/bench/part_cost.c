/* SPDX-License-Identifier: MIT */
/* What the parts cost, one by one: readers in MB/s, writers and chunks in ns a sample. Prints a table, asserts nothing.
 *
 * usage: part_cost SETTINGS PATH=FILE...     each FILE is read as if it had arrived as PATH
 *
 * The median of a few rounds. A sample is one row with all its quantities. */
#include "archive/archive.h"
#include "archive/chart.h"
#include "archive/daily.h"
#include "archive/fixture.h"
#include "base/file.h"
#include "base/timestamp.h"
#include "config/config.h"
#include "intake/intake.h"
#include "store/chunk.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { ROUNDS = 9, MONTH_ROWS = 30 * 288, MANY_ROWS = 100000 };

static double seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static double median(double *took)
{
    qsort(took, ROUNDS, sizeof *took, compare);
    return took[ROUNDS / 2];
}

static void print_line(const char *what, const char *name, double took, size_t samples, size_t bytes)
{
    printf("%-10s %-28s %8.2f ms %8.0f ns a sample %8.1f MB/s %9zu bytes\n", what, name, took * 1e3,
           samples ? took * 1e9 / (double)samples : 0, (double)bytes / took / 1e6, bytes);
}

/* ---- readers ---- */

static void read_file(const struct config *config, const char *path, const char *file)
{
    char *bytes;
    size_t length, rows = 0;
    double took[ROUNDS];
    struct error error = {0};
    if (!file_read(file, (size_t)1 << 30, &bytes, &length, &error)) {
        fprintf(stderr, "%s\n", error.text);
        exit(1);
    }
    for (int round = 0; round < ROUNDS; round++) {
        struct arena *arena = arena_new();
        struct batch batch;
        double start = seconds();
        if (!intake_read(arena, config, path, bytes, length, INT64_C(1900000000000), true, &batch, &error)) {
            fprintf(stderr, "%s: %s\n", path, error.text);
            exit(1);
        }
        took[round] = seconds() - start;
        rows = batch.rows;
        arena_free(arena);
    }
    print_line("reader", path, median(took), rows, length);
    free(bytes);
}

/* ---- writers ---- */

static void time_writer(const char *what, const char *name, void (*render)(const struct dataset *, struct text *),
                        const struct dataset *dataset)
{
    double took[ROUNDS];
    size_t bytes = 0;
    for (int round = 0; round < ROUNDS; round++) {
        struct text text;
        text_init(&text, ARCHIVE_FILE_LIMIT);
        double start = seconds();
        render(dataset, &text);
        took[round] = seconds() - start;
        bytes = text.length;
        text_done(&text);
    }
    print_line(what, name, median(took), dataset->record.n, bytes);
}

static void write_formats(void)
{
    struct arena *arena = arena_new();
    struct dataset *dataset = fixture_long_month(arena, MONTH_ROWS);
    dataset->daily = daily_of(dataset, arena);
    size_t count;
    const struct archive_writer *writers = archive_writers(&count);
    for (size_t k = 0; k < count; k++)
        time_writer("writer", writers[k].extension, writers[k].render, dataset);
    time_writer("chart", "100,000 rows of each quantity", chart_render, fixture_long_month(arena, MANY_ROWS));
    arena_free(arena);
}

/* ---- chunks of the store ---- */

static void pack_days(void)
{
    struct arena *arena = arena_new(), *scratch = arena_new();
    struct dataset *dataset = fixture_long_month(arena, MONTH_ROWS);
    double put[ROUNDS], taken[ROUNDS];
    size_t bytes = 0;
    int64_t day = timestamp_floor(dataset->record.time[0], DAY_MS) / DAY_MS + 1;
    struct record of_day = record_between(&dataset->record, day * DAY_MS, (day + 1) * DAY_MS);
    for (int round = 0; round < ROUNDS; round++) {
        struct text text;
        struct record back;
        text_init(&text, (size_t)1 << 30);
        double start = seconds();
        chunk_put_record(&text, day, &of_day, scratch);
        put[round] = seconds() - start;
        start = seconds();
        record_init(&back, scratch, of_day.n, record_columns(&of_day));
        chunk_take_record(text.bytes, text.length, day, scratch, &back, 0);
        taken[round] = seconds() - start;
        bytes = text.length;
        text_done(&text);
        arena_reset(scratch);
    }
    print_line("store", "a day's record, packed", median(put), of_day.n, bytes);
    print_line("store", "a day's record, unpacked", median(taken), of_day.n, bytes);
    arena_free(scratch);
    arena_free(arena);
}

int main(int count, char **words)
{
    if (count < 2) {
        fprintf(stderr, "usage: part_cost SETTINGS PATH=FILE...\n");
        return 2;
    }
    memory_keep_at_hand();
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load(words[1], &problems);
    if (!config) {
        fprintf(stderr, "%s has mistakes: see 'rillward check'\n", words[1]);
        return 2;
    }
    for (int k = 2; k < count; k++) {
        char *file = strchr(words[k], '=');
        if (!file)
            return 2;
        *file = '\0';
        read_file(config, words[k], file + 1);
    }
    pack_days();
    write_formats();
    config_free(config);
    config_problems_done(&problems);
    return 0;
}
