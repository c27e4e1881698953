/* SPDX-License-Identifier: MIT */
#include "archive/write_csv.h"

#include "archive/month_table.h"
#include "base/timestamp.h"

#include <assert.h>
#include <string.h>

/* The last printed time. Rows of one day differ in the time of day alone, so the calendar is asked once a
 * day. */
struct time_cell {
    int64_t day; /* start of the day in `printed` [ms UTC], TIME_NONE before the first */
    char printed[TIMESTAMP_SIZE];
};

/* The barometer of the row before: it changes seldom. */
struct barometer_cell {
    uint32_t number;
    const char *id;
};

struct writer {
    const struct dataset *dataset;
    struct text *text;
    struct time_cell time, raw_time;
    struct barometer_cell barometer;
};

static void write_header(struct text *text, const struct month_column *columns, size_t n);
static void write_cell(struct writer *writer, const struct month_column *column, size_t row);
static void write_number(struct text *text, enum quantity quantity, double value);
static void write_time(struct text *text, struct time_cell *cell, int64_t time);
static void start_day(struct time_cell *cell, int64_t time);
static void write_two_digits(char *at, int64_t value);
static void write_barometer(struct writer *writer, uint32_t number);

void write_csv(const struct dataset *dataset, struct text *ret)
{
    struct month_column columns[MONTH_COLUMNS_MAX];
    size_t n = month_table_columns(dataset, columns);
    write_header(ret, columns, n);
    struct writer writer = {
        .dataset = dataset,
        .text = ret,
        .time.day = TIME_NONE,
        .raw_time.day = TIME_NONE,
        .barometer = {NO_BAROMETER, ""},
    };
    for (size_t row = 0; row < dataset->record.n; row++) {
        for (size_t i = 0; i < n; i++) {
            if (i > 0)
                text_putc(ret, ',');
            write_cell(&writer, &columns[i], row);
        }
        text_add(ret, "\r\n", 2);
    }
}

static void write_header(struct text *text, const struct month_column *columns, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (i > 0)
            text_putc(text, ',');
        text_csv_cell(text, columns[i].name);
    }
    text_add(text, "\r\n", 2);
}

static void write_cell(struct writer *writer, const struct month_column *column, size_t row)
{
    const struct record *record = &writer->dataset->record;
    const struct readings *raw = &writer->dataset->raw;
    struct text *text = writer->text;
    enum quantity q = column->quantity;
    switch (column->cell) {
    case CELL_TIME: write_time(text, &writer->time, record->time[row]); break;
    case CELL_VALUE: write_number(text, q, record->value[q][row]); break;
    case CELL_FLAG: text_putc(text, (char)('0' + record->flag[q][row])); break;
    case CELL_TESTS: text_integer(text, record->tests[q][row]); break;
    case CELL_UNCERTAINTY: write_number(text, q, record->uncertainty[q][row]); break;
    case CELL_BAROMETER: write_barometer(writer, record->barometer[row]); break;
    case CELL_RAW_TIME: write_time(text, &writer->raw_time, record->raw_time[row]); break;
    case CELL_RAW_VALUE: write_number(text, q, raw->value[q][row]); break;
    case CELL_DROP: text_integer(text, raw->drop[row]); break;
    case CELL_LINE: text_integer(text, raw->line[row]); break;
    }
}

static void write_number(struct text *text, enum quantity quantity, double value)
{
    const struct quantity_info *info = quantity_info(quantity);
    text_number(text, value * info->scale, info->decimals);
}

static void write_time(struct text *text, struct time_cell *cell, int64_t time)
{
    if (cell->day == TIME_NONE || time < cell->day || time >= cell->day + DAY_MS)
        start_day(cell, time);
    int64_t of_day = time - cell->day;
    char *clock = cell->printed + strlen("2026-03-01T");
    write_two_digits(clock, of_day / HOUR_MS);
    write_two_digits(clock + 3, of_day / MINUTE_MS % 60);
    write_two_digits(clock + 6, of_day / SECOND_MS % 60);
    size_t length = strlen("2026-03-01T00:00:00");
    int64_t milliseconds = of_day % SECOND_MS;
    if (milliseconds != 0) {
        cell->printed[length++] = '.';
        cell->printed[length++] = (char)('0' + milliseconds / 100);
        write_two_digits(cell->printed + length, milliseconds % 100);
        length += 2;
    }
    cell->printed[length++] = 'Z';
    text_add(text, cell->printed, length);
}

static void start_day(struct time_cell *cell, int64_t time)
{
    cell->day = timestamp_floor(time, DAY_MS);
    timestamp_print(cell->day, cell->printed);
}

static void write_two_digits(char *at, int64_t value)
{
    at[0] = (char)('0' + value / 10);
    at[1] = (char)('0' + value % 10);
}

static void write_barometer(struct writer *writer, uint32_t number)
{
    struct barometer_cell *cell = &writer->barometer;
    if (number != cell->number) {
        const struct dataset *dataset = writer->dataset;
        size_t i = 0;
        while (i < dataset->barometer_count && dataset->barometers[i].number != number)
            i++;
        assert(number == NO_BAROMETER || i < dataset->barometer_count);
        *cell =
            (struct barometer_cell){number, i < dataset->barometer_count ? dataset->barometers[i].id : ""};
    }
    text_csv_cell(writer->text, cell->id);
}
