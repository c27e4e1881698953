/* SPDX-License-Identifier: MIT */
/* Rows of values to readings. */
#include "intake/job.h"

#include "base/text.h"
#include "intake/place.h"

#include <math.h>
#include <string.h>

enum {
    SHORTEST_ROW = 7, /* bytes: a date of four digits, a delimiter, a digit, a line end */
    FIRST_ROOM = 4096 /* rows, where the table does not tell how many */
};

/* What the loop over rows needs at hand. */
struct series {
    struct job *job;
    struct clock clock;
    const struct bound_column *serial, *station; /* NULL where the layout has no such column */
    struct place_hints hints;                    /* as the last row had them */
    const struct bound_column *columns;          /* only quantities */
    size_t column_count;
    double *missing_numbers; /* words for "no value" that are numbers */
    size_t missing_count;
    size_t capacity;
};

static enum place_need need_of(const struct job *job);
static bool claim_place(struct series *series, struct error *error);
static bool find_hints(struct series *series, struct error *error);
static bool take_column_hint(const struct bound_column *bound, const struct row *row, struct arena *arena,
                             struct cell *hint, uint32_t *hint_line, struct error *error);
static bool fail_unclaimed(const struct job *job, const struct place_hints *hints, struct error *error);
static void complain_unknown(struct job *job, const struct place_hints *hints, const struct place_found *found);
static void make_room(struct series *series);
static void grow(struct series *series);
static bool read_rows(struct series *series, struct error *error);
static bool is_same_place(struct series *series, const struct row *row, struct error *error);
static bool read_time(struct series *series, const struct row *row, int64_t *ret);
static void read_values(struct series *series, const struct row *row, size_t index, size_t *ret_filled,
                        size_t *ret_read);
static bool read_number(const struct bound_column *bound, struct cell cell, char decimal, double *ret);
static bool is_missing_number(const struct series *series, double value);
static void mark_unread(struct series *series, size_t index, enum quantity quantity);

bool read_readings(struct job *job, struct error *error)
{
    struct series series = {
        .job = job,
        .serial = job_column(job, COLUMN_SERIAL),
        .station = job_column(job, COLUMN_STATION),
    };
    if (!claim_place(&series, error))
        return false;
    make_room(&series);
    if (!job_start(job, error) || !read_rows(&series, error) || !job_judge(job, error))
        return false;
    if (job->batch->readings.n == 0)
        return fail(error, ERROR_INPUT, "no row below the header in line %u holds a value", job->binding.header_line);
    job->batch->folded_rows = readings_sort(&job->batch->readings, job->arena);
    return true;
}

static enum place_need need_of(const struct job *job)
{
    bool has_air = false, has_water = false;
    for (size_t i = 0; i < job->binding.column_count; i++) {
        const struct column *column = job->binding.columns[i].column;
        if (column->role != COLUMN_QUANTITY || column->quantity == QUANTITY_BATTERY)
            continue;
        bool is_air = column->quantity == QUANTITY_AIR_PRESSURE || column->quantity == QUANTITY_AIR_TEMPERATURE;
        has_air |= is_air;
        has_water |= !is_air;
    }
    return has_water ? PLACE_NEED_STATION : has_air ? PLACE_NEED_BAROMETER : PLACE_NEED_ANY;
}

static bool claim_place(struct series *series, struct error *error)
{
    struct job *job = series->job;
    if (!find_hints(series, error))
        return false;
    struct place_found found;
    if (!place_find(job->arena, job->config, job->path, &series->hints, need_of(job), &found, error))
        return false;
    if (found.kind == PLACE_NONE)
        return fail_unclaimed(job, &series->hints, error);
    complain_unknown(job, &series->hints, &found);
    job->batch->place_kind = found.kind;
    job->batch->place_index = found.index;
    job->batch->evidence = found.evidence;
    job->batch->serial = series->hints.serial.length > 0 ? cell_copy(series->hints.serial, job->arena) : "";
    clock_init(&series->clock, job->binding.layout,
               found.kind == PLACE_STATION ? job->config->stations[found.index].utc_offset
                                           : job->config->barometers[found.index].utc_offset);
    return true;
}

/* Above the header, and in the first row that fills the column. */
static bool find_hints(struct series *series, struct error *error)
{
    struct job *job = series->job;
    struct place_hints *hints = &series->hints;
    *hints = place_hints_find(&job->binding);
    struct row row;
    enum table_step step = TABLE_END;
    bool wants_serial = series->serial != NULL, wants_label = series->station != NULL;
    if ((wants_serial || wants_label) && !job_start(job, error))
        return false;
    while ((wants_serial || wants_label) && (step = table_next(&job->table, &row, error)) == TABLE_ROW) {
        if (row.is_comment)
            continue;
        if (wants_serial && row_cell(&row, series->serial->cell).length > 0) {
            wants_serial = false;
            if (!take_column_hint(series->serial, &row, job->arena, &hints->serial, &hints->serial_line, error))
                return false;
        }
        if (wants_label && row_cell(&row, series->station->cell).length > 0) {
            wants_label = false;
            if (!take_column_hint(series->station, &row, job->arena, &hints->label, &hints->label_line, error))
                return false;
        }
    }
    return step != TABLE_FAILED;
}

static bool take_column_hint(const struct bound_column *bound, const struct row *row, struct arena *arena,
                             struct cell *hint, uint32_t *hint_line, struct error *error)
{
    const char *text = cell_copy(row_cell(row, bound->cell), arena);
    if (hint->length > 0 && !cell_is(*hint, text))
        return fail(error, ERROR_INPUT, "line %u: column '%s' says '%s', but line %u says '%s': correct the file",
                    row->line, bound->name, cell_quote(cell_from(text)).text, *hint_line, cell_quote(*hint).text);
    *hint = cell_from(text);
    *hint_line = row->line;
    return true;
}

static bool fail_unclaimed(const struct job *job, const struct place_hints *hints, struct error *error)
{
    const char *word = need_of(job) == PLACE_NEED_BAROMETER ? "barometer" : "station";
    if (hints->serial.length > 0)
        return fail(
            error, ERROR_INPUT,
            "unclaimed: no %s claims it: add serial '%s' (line %u) to 'serials', or a pattern that matches its path "
            "to 'drops', of the %s it belongs to",
            word, cell_quote(hints->serial).text, hints->serial_line, word);
    if (hints->label.length > 0)
        return fail(error, ERROR_INPUT,
                    "unclaimed: no %s claims it: add '%s' (line %u) to 'labels', or a pattern that matches its path to "
                    "'drops', of the %s it belongs to",
                    word, cell_quote(hints->label).text, hints->label_line, word);
    return fail(error, ERROR_INPUT,
                "unclaimed: no %s claims it: add a pattern that matches its path to 'drops' of the %s it belongs to",
                word, word);
}

/* The path claims the drop, and a name inside it is new: a replaced logger, or the wrong folder. */
static void complain_unknown(struct job *job, const struct place_hints *hints, const struct place_found *found)
{
    const char *word = place_word(found->kind), *id = place_id(job->config, found->kind, found->index);
    if (hints->serial.length > 0 && !found->knows_serial)
        job_complain(job, hints->serial_line, NULL,
                     "serial '%s' is not in the settings; taken for %s '%s' because %s: add it to 'serials' there",
                     cell_quote(hints->serial).text, word, id, found->evidence);
    if (hints->label.length > 0 && !found->knows_label)
        job_complain(job, hints->label_line, NULL,
                     "label '%s' is not in the settings; taken for %s '%s' because %s: add it to 'labels' there",
                     cell_quote(hints->label).text, word, id, found->evidence);
}

static void make_room(struct series *series)
{
    struct job *job = series->job;
    uint32_t columns = 0;
    struct bound_column *bound = arena_array(job->arena, job->binding.column_count, sizeof *bound);
    for (size_t i = 0; i < job->binding.column_count; i++) {
        if (job->binding.columns[i].column->role != COLUMN_QUANTITY)
            continue;
        bound[series->column_count++] = job->binding.columns[i];
        columns |= 1u << job->binding.columns[i].column->quantity;
    }
    series->columns = bound;
    const struct layout *layout = job->binding.layout;
    series->missing_numbers = arena_array(job->arena, layout->missing.count, sizeof *series->missing_numbers);
    for (size_t i = 0; i < layout->missing.count; i++) {
        const char *word = layout->missing.words[i];
        if (text_parse_number(word, strlen(word), layout->decimal, &series->missing_numbers[series->missing_count]))
            series->missing_count++;
    }
    size_t lines = job->table.most_rows, by_length = job->text_length / SHORTEST_ROW + 1;
    series->capacity = lines == 0 ? FIRST_ROOM : lines < by_length ? lines : by_length;
    if (series->capacity > INTAKE_MOST_ROWS)
        series->capacity = INTAKE_MOST_ROWS;
    readings_init(&job->batch->readings, job->arena, series->capacity, columns);
    job->batch->readings.n = 0;
}

/* Twice the room, for tables that do not tell their length. */
static void grow(struct series *series)
{
    struct job *job = series->job;
    struct readings *readings = &job->batch->readings, larger;
    size_t n = readings->n;
    series->capacity *= 2;
    readings_init(&larger, job->arena, series->capacity, readings_columns(readings));
    memcpy(larger.time, readings->time, n * sizeof *larger.time);
    memcpy(larger.line, readings->line, n * sizeof *larger.line);
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (larger.value[q])
            memcpy(larger.value[q], readings->value[q], n * sizeof *larger.value[q]);
    if (readings->unread) {
        larger.unread = arena_array(job->arena, series->capacity, sizeof *larger.unread);
        memcpy(larger.unread, readings->unread, n * sizeof *larger.unread);
    }
    larger.n = n;
    *readings = larger;
}

static bool read_rows(struct series *series, struct error *error)
{
    struct job *job = series->job;
    struct readings *readings = &job->batch->readings;
    struct row row;
    bool has_failed = false;
    while (job_next_row(job, &row, &has_failed, error)) {
        int64_t time;
        if (!is_same_place(series, &row, error))
            return false;
        if (!read_time(series, &row, &time))
            continue;
        if (readings->n == series->capacity)
            grow(series);
        size_t filled, read;
        read_values(series, &row, readings->n, &filled, &read);
        /* A row with a time and nothing beside it is an event in the life of the logger, not a sample. */
        if (filled == 0)
            continue;
        readings->time[readings->n] = time;
        readings->line[readings->n++] = row.line;
        if (read == 0)
            job_count_unusable(job);
    }
    return !has_failed;
}

/* A serial or label that changes on the way must still mean the same place. */
static bool is_same_place(struct series *series, const struct row *row, struct error *error)
{
    struct job *job = series->job;
    struct place_hints hints = {0};
    if (series->serial)
        hints.serial = row_cell(row, series->serial->cell);
    if (series->station)
        hints.label = row_cell(row, series->station->cell);
    bool changes = (hints.serial.length > 0 && !cell_equals(hints.serial, series->hints.serial)) ||
                   (hints.label.length > 0 && !cell_equals(hints.label, series->hints.label));
    if (!changes)
        return true;
    hints.serial_line = hints.label_line = row->line;
    struct place_found found;
    struct error ignored;
    bool is_same = place_find(job->arena, job->config, NULL, &hints, PLACE_NEED_ANY, &found, &ignored) &&
                   found.kind == job->batch->place_kind && found.index == job->batch->place_index;
    if (!is_same) {
        bool is_label = hints.label.length > 0 && !cell_equals(hints.label, series->hints.label);
        return fail(error, ERROR_INPUT,
                    "line %u: '%s' is not %s '%s', to which the rows before belong: split the file by place", row->line,
                    cell_quote(is_label ? hints.label : hints.serial).text, place_word(job->batch->place_kind),
                    place_id(job->config, job->batch->place_kind, job->batch->place_index));
    }
    if (hints.serial.length > 0 && !cell_equals(hints.serial, series->hints.serial))
        job->batch->serial = ""; /* several: which row is of which is not kept */
    if (hints.serial.length > 0)
        series->hints.serial = cell_from(cell_copy(hints.serial, job->arena));
    if (hints.label.length > 0)
        series->hints.label = cell_from(cell_copy(hints.label, job->arena));
    return true;
}

static bool read_time(struct series *series, const struct row *row, int64_t *ret)
{
    struct job *job = series->job;
    char joined[JOB_JOINED_SIZE];
    struct cell text;
    struct clock_reading reading;
    if (!job_read_time(job, row, joined, &text, &reading))
        return job_refuse_time(job, row->line, text);
    if (!clock_to_utc(&series->clock, &reading, ret))
        return job_refuse_missing_hour(job, row->line, text);
    if (*ret < 0)
        return job_refuse(job, row->line, NULL, "time '%s' lies before 1970: the logger's clock was not set",
                          cell_quote(text).text);
    if (*ret > job->now + INTAKE_READING_SLACK)
        return job_refuse(
            job, row->line, NULL,
            "time '%s' lies in the future: correct 'format' or 'zone' in layout '%s', or the logger's clock "
            "was wrong",
            cell_quote(text).text, job->binding.layout->id);
    return true;
}

static void read_values(struct series *series, const struct row *row, size_t index, size_t *ret_filled,
                        size_t *ret_read)
{
    struct job *job = series->job;
    char decimal = job->binding.layout->decimal;
    *ret_filled = *ret_read = 0;
    for (size_t i = 0; i < series->column_count; i++) {
        const struct bound_column *bound = &series->columns[i];
        struct cell cell = row_cell(row, bound->cell);
        if (cell.length == 0)
            continue;
        ++*ret_filled;
        double value;
        bool is_number = read_number(bound, cell, decimal, &value);
        if (is_number ? is_missing_number(series, value) : job_is_missing(job, cell)) {
            ++*ret_read;
            continue;
        }
        double inside = is_number ? unit_to_base(bound->unit, value) : NAN;
        if (isfinite(inside)) {
            job->batch->readings.value[bound->column->quantity][index] = inside;
            ++*ret_read;
        } else {
            mark_unread(series, index, bound->column->quantity);
            job_complain_number(job, row->line, bound, cell);
        }
    }
}

/* A percentage of a workbook is a number only where per cent are meant. */
static bool read_number(const struct bound_column *bound, struct cell cell, char decimal, double *ret)
{
    bool is_wanted = cell.kind == CELL_TEXT || cell.kind == CELL_NUMBER ||
                     (cell.kind == CELL_PERCENT && bound->unit->dimension == UNIT_PERCENTAGE);
    return is_wanted && cell_number(cell, decimal, ret);
}

static bool is_missing_number(const struct series *series, double value)
{
    for (size_t i = 0; i < series->missing_count; i++)
        if (value == series->missing_numbers[i])
            return true;
    return false;
}

static void mark_unread(struct series *series, size_t index, enum quantity quantity)
{
    struct readings *readings = &series->job->batch->readings;
    if (!readings->unread)
        readings->unread = arena_array(series->job->arena, series->capacity, sizeof *readings->unread);
    readings->unread[index] |= 1u << quantity;
}
