/* SPDX-License-Identifier: MIT */
#include "archive/write_csv.h"

#include "archive/month_table.h"
#include "archive/written.h"
#include "base/timestamp.h"

#include <string.h>

enum { LONGEST_ID = 1024 };

/* The last printed time. Rows of one day differ in the time of day alone, so the calendar is asked once a
 * day. */
struct time_cell {
    int64_t day; /* start of the day in `printed` [ms UTC], TIME_NONE before the first */
    char printed[TIMESTAMP_SIZE];
};

/* The barometer of the row before: it changes seldom. */
struct barometer_cell {
    uint32_t number;
    struct text printed;
};

struct writer {
    const struct dataset *dataset;
    struct time_cell time, raw_time;
    struct barometer_cell barometer;
};

static void write_header(struct text *text, const struct month_column *columns, size_t n);
static char *print_cell(struct writer *writer, const struct month_column *column, size_t row, char *at);
static char *print_number(char *at, enum quantity quantity, double value);
static char *print_time(char *at, struct time_cell *cell, int64_t time);
static void start_day(struct time_cell *cell, int64_t time);
static void write_two_digits(char *at, int64_t value);
static void find_barometer(struct writer *writer, uint32_t number);

/* A row is printed into room for the longest one: most of the time of a back-fill goes through here. */
void write_csv(const struct dataset *dataset, struct text *ret)
{
    struct month_column columns[MONTH_COLUMNS_MAX];
    size_t n = month_table_columns(dataset, columns);
    write_header(ret, columns, n);
    struct writer writer = {
        .dataset = dataset,
        .time.day = TIME_NONE,
        .raw_time.day = TIME_NONE,
        .barometer.number = NO_BAROMETER,
    };
    text_init(&writer.barometer.printed, LONGEST_ID);
    for (size_t row = 0; row < dataset->record.n; row++) {
        find_barometer(&writer, dataset->record.barometer[row]);
        size_t most = n * (TEXT_NUMBER_MAX + 1) + writer.barometer.printed.length + 2;
        char *start = text_room(ret, most), *at = start;
        if (!start)
            break;
        for (size_t i = 0; i < n; i++) {
            at = print_cell(&writer, &columns[i], row, at);
            *at++ = ',';
        }
        memcpy(at - 1, "\r\n", 2);
        text_shorten(ret, most - (size_t)(at + 1 - start));
    }
    text_done(&writer.barometer.printed);
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

static char *print_cell(struct writer *writer, const struct month_column *column, size_t row, char *at)
{
    const struct record *record = &writer->dataset->record;
    const struct readings *raw = &writer->dataset->raw;
    const struct text *barometer = &writer->barometer.printed;
    enum quantity q = column->quantity;
    switch (column->cell) {
    case CELL_TIME: return print_time(at, &writer->time, record->time[row]);
    case CELL_VALUE: return print_number(at, q, record->value[q][row]);
    case CELL_FLAG: *at = (char)('0' + record->flag[q][row]); return at + 1;
    case CELL_TESTS: return text_print_integer(at, record->tests[q][row]);
    case CELL_UNCERTAINTY: return print_number(at, q, record->uncertainty[q][row]);
    case CELL_BAROMETER:
        return barometer->length > 0 ? (char *)memcpy(at, barometer->bytes, barometer->length) + barometer->length : at;
    case CELL_RAW_TIME: return print_time(at, &writer->raw_time, record->raw_time[row]);
    case CELL_RAW_VALUE: return print_number(at, q, raw->value[q][row]);
    case CELL_DROP: return text_print_integer(at, raw->drop[row]);
    case CELL_LINE: return text_print_integer(at, raw->line[row]);
    }
    return at;
}

static char *print_number(char *at, enum quantity quantity, double value)
{
    const struct quantity_info *info = quantity_info(quantity);
    return text_print_number(at, value * info->scale, info->decimals);
}

static char *print_time(char *at, struct time_cell *cell, int64_t time)
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
    return (char *)memcpy(at, cell->printed, length) + length;
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

static void find_barometer(struct writer *writer, uint32_t number)
{
    struct barometer_cell *cell = &writer->barometer;
    const struct dataset *dataset = writer->dataset;
    if (number == cell->number)
        return;
    cell->number = number;
    text_clear(&cell->printed);
    size_t at = written_barometer(dataset, number);
    if (at > 0)
        text_csv_cell(&cell->printed, dataset->barometers[at - 1].id);
}
