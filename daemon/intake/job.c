/* SPDX-License-Identifier: MIT */
#include "intake/job.h"

#include "base/text.h"
#include "base/timestamp.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void add_complaint(struct job *job, uint32_t line, const struct bound_column *bound, const char *format,
                          va_list arguments) __attribute__((format(printf, 4, 0)));
static void compare_kinds(struct job *job, uint32_t line, bool is_date);
static bool read_by_hand(const struct clock_format *format, struct cell text, struct clock_reading *ret);
static bool read_two_cells(const struct clock_format *format, struct cell a, struct cell b, struct clock_reading *ret);
static bool read_written_time(const struct clock_format *format, struct cell date, struct cell time, bool date_first,
                              struct clock_reading *ret);
static bool is_end_mark(const struct job *job, struct cell cell);
static bool is_header_again(const struct job *job, const struct row *row);
static bool has_surplus(const struct job *job, const struct row *row);

void job_complain(struct job *job, uint32_t line, const struct bound_column *bound, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add_complaint(job, line, bound, format, arguments);
    va_end(arguments);
}

bool job_refuse(struct job *job, uint32_t line, const struct bound_column *bound, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add_complaint(job, line, bound, format, arguments);
    va_end(arguments);
    job->batch->refused_rows++;
    job_count_unusable(job);
    return false;
}

void job_count_unusable(struct job *job)
{
    job->unusable_rows++;
    if (!job->first_unusable)
        job->first_unusable = job->last_complaint;
}

bool job_start(struct job *job, struct error *error)
{
    struct row row = {0};
    table_rewind(&job->table);
    while (row.line != job->binding.header_line)
        if (table_next(&job->table, &row, error) != TABLE_ROW)
            return false;
    return true;
}

bool job_next_row(struct job *job, struct row *ret, bool *ret_failed, struct error *error)
{
    for (;;) {
        enum table_step step = table_next(&job->table, ret, error);
        *ret_failed = step == TABLE_FAILED;
        if (step != TABLE_ROW || (ret->count > 0 && is_end_mark(job, ret->cells[0])))
            return false;
        if (ret->is_comment || row_is_blank(ret))
            continue;
        if (is_header_again(job, ret))
            continue;
        if (++job->batch->rows > INTAKE_MOST_ROWS) {
            *ret_failed = true;
            return fail(error, ERROR_INPUT, "line %u: more than %d data rows: split the file", ret->line,
                        INTAKE_MOST_ROWS);
        }
        if (ret->is_malformed && ret->is_open)
            job_refuse(job, ret->line, NULL, "the last row is cut off inside a quoted cell");
        else if (ret->is_malformed)
            job_refuse(job, ret->line, NULL,
                       "text stands behind a closing quote: write quotes inside a quoted cell twice");
        else if (ret->is_open && ret->count < job->binding.cell_count)
            job_refuse(job, ret->line, NULL, "the last row is cut off: it has %u of %u cells", ret->count,
                       job->binding.cell_count);
        else if (has_surplus(job, ret))
            job_refuse(job, ret->line, NULL,
                       "%u cells where the header has %u: a decimal comma in a comma-separated file needs quotes or "
                       "another delimiter",
                       ret->count, job->binding.cell_count);
        else
            return true;
    }
}

bool job_read_time(struct job *job, const struct row *row, char *joined, struct cell *ret_text,
                   struct clock_reading *ret)
{
    const struct binding *binding = &job->binding;
    struct cell a = row_cell(row, binding->time_cells[0]), b = {0};
    *ret_text = a;
    if (binding->time_cell_count == 2) {
        b = row_cell(row, binding->time_cells[1]);
        if (a.length + b.length + 1 > JOB_JOINED_SIZE)
            return false;
        memcpy(joined, a.text, a.length);
        joined[a.length] = ' ';
        memcpy(joined + a.length + 1, b.text, b.length);
        *ret_text = (struct cell){.text = joined, .length = a.length + 1 + b.length};
    }
    bool is_read;
    if (a.kind == CELL_CIVIL && b.length == 0)
        is_read = clock_read_civil(a.text, a.length, ret);
    else if (b.length > 0 && (a.kind != CELL_TEXT || b.kind != CELL_TEXT))
        is_read = read_two_cells(&binding->format, a, b, ret);
    else
        is_read = clock_read(&binding->format, ret_text->text, ret_text->length, ret) ||
                  (binding->layout->holds == LAYOUT_NOTES && read_by_hand(&binding->format, *ret_text, ret));
    if (is_read && binding->sheet)
        compare_kinds(job, row->line, a.kind == CELL_CIVIL || b.kind == CELL_CIVIL);
    return is_read;
}

bool job_refuse_time(struct job *job, uint32_t line, struct cell text)
{
    if (text.kind == CELL_NUMBER)
        return job_refuse(job, line, NULL, "time '%s' is a bare number: give the column a date format in the workbook",
                          cell_quote(text).text);
    return job_refuse(job, line, NULL, "time '%s' is not written as '%s': correct 'format' in layout '%s', or the row",
                      cell_quote(text).text, job->binding.layout->time_format, job->binding.layout->id);
}

bool job_refuse_missing_hour(struct job *job, uint32_t line, struct cell text)
{
    return job_refuse(
        job, line, NULL,
        "time '%s' does not exist in %s, where clocks went forward: set 'zone' to the offset that the clock "
        "keeps, or 'missing_hour: shift', in layout '%s'",
        cell_quote(text).text, job->binding.layout->zone_name, job->binding.layout->id);
}

bool job_is_missing(const struct job *job, struct cell cell)
{
    const struct word_list *missing = &job->binding.layout->missing;
    for (size_t i = 0; i < missing->count; i++)
        if (cell_is(cell, missing->words[i]))
            return true;
    return cell.length == 0;
}

const struct bound_column *job_column(const struct job *job, enum column_role role)
{
    for (size_t i = 0; i < job->binding.column_count; i++)
        if (job->binding.columns[i].column->role == role)
            return &job->binding.columns[i];
    return NULL;
}

void job_complain_number(struct job *job, uint32_t line, const struct bound_column *bound, struct cell cell)
{
    const struct layout *layout = job->binding.layout;
    if (cell.kind != CELL_TEXT) {
        static const char *const kinds[] = {[CELL_NUMBER] = "a number",
                                            [CELL_PERCENT] = "a percentage",
                                            [CELL_CIVIL] = "a date",
                                            [CELL_TIME] = "a time"};
        job_complain(job, line, bound, "'%s' is %s in the workbook, which the column does not hold: correct the cell",
                     cell_quote(cell).text, kinds[cell.kind]);
        return;
    }
    char other = layout->decimal == ',' ? '.' : ',';
    bool has_other = memchr(cell.text, other, cell.length) != NULL;
    bool is_numeric = has_other;
    for (size_t i = 0; i < cell.length; i++)
        if (!strchr("0123456789.,-+ ", cell.text[i]))
            is_numeric = false;
    if (is_numeric)
        job_complain(
            job, line, bound,
            "'%s' is no number with the decimal mark '%c': marks between thousands are not accepted; if '%c' is "
            "the decimal mark, set 'decimal: \"%c\"' in layout '%s'",
            cell_quote(cell).text, layout->decimal, other, other, layout->id);
    else
        job_complain(job, line, bound, "'%s' is no number: correct it, or add it to 'missing' in layout '%s'",
                     cell_quote(cell).text, layout->id);
}

bool job_judge(const struct job *job, struct error *error)
{
    const struct batch *batch = job->batch;
    if (batch->rows == 0)
        return fail(error, ERROR_INPUT, "no data row stands below the header in line %u", job->binding.header_line);
    if (job->unusable_rows * 2 > batch->rows)
        return fail(error, ERROR_INPUT, "%zu of %zu data rows cannot be used; %s", job->unusable_rows, batch->rows,
                    job->first_unusable);
    return true;
}

static void add_complaint(struct job *job, uint32_t line, const struct bound_column *bound, const char *format,
                          va_list arguments)
{
    struct batch *batch = job->batch;
    batch->complaint_total++;
    if (batch->complaint_count == INTAKE_MOST_COMPLAINTS && job->first_unusable)
        return;
    char text[768];
    vsnprintf(text, sizeof text, format, arguments);
    job->last_complaint = bound ? arena_printf(job->arena, "line %u: column '%s': %s", line,
                                               cell_quote(cell_from(bound->name)).text, text)
                                : arena_printf(job->arena, "line %u: %s", line, text);
    if (batch->complaint_count == INTAKE_MOST_COMPLAINTS)
        return;
    if (!batch->complaints)
        batch->complaints = arena_array(job->arena, INTAKE_MOST_COMPLAINTS, sizeof *batch->complaints);
    batch->complaints[batch->complaint_count++] =
        (struct complaint){.line = line, .column = bound ? bound->cell + 1 : 0, .text = job->last_complaint};
}

/* A spreadsheet that reads dates month first makes dates of days up to 12, with day and month swapped, and leaves the
 * others as text. */
static void compare_kinds(struct job *job, uint32_t line, bool is_date)
{
    bool was_told = job->date_line > 0 && job->text_line > 0;
    uint32_t *first = is_date ? &job->date_line : &job->text_line;
    *first = *first > 0 ? *first : line;
    if (!was_told && job->date_line > 0 && job->text_line > 0)
        job_complain(job, line, NULL,
                     "the time is %s, but in line %u it is %s: the spreadsheet may have swapped day and month where it "
                     "made dates; compare with the source",
                     is_date ? "a date" : "text", is_date ? job->text_line : job->date_line,
                     is_date ? "text" : "a date");
}

/* People write the time of day in their own way behind a date that is written as agreed: "1:50pm", "1350", "13h50". */
static bool read_by_hand(const struct clock_format *format, struct cell text, struct clock_reading *ret)
{
    for (uint32_t i = 1; i + 1 < text.length; i++) {
        struct cell date = {.text = text.text, .length = i};
        struct cell time = cell_trim(text.text + i, text.length - i);
        if (text.text[i] == ' ' && read_written_time(format, date, time, true, ret))
            return true;
    }
    return false;
}

/* Date and time in two cells, one of them at least a date or time of a workbook. Which is which the cells say
 * themselves: a time of day is the time; of two full times the first gives the day. */
static bool read_two_cells(const struct clock_format *format, struct cell a, struct cell b, struct clock_reading *ret)
{
    bool is_swapped = a.kind == CELL_TIME || (b.kind == CELL_CIVIL && a.kind == CELL_TEXT);
    struct cell date = is_swapped ? b : a, time = is_swapped ? a : b;
    struct clock_reading of_time;
    int64_t of_day;
    if (date.kind != CELL_CIVIL)
        return time.kind == CELL_TIME && read_written_time(format, date, time, !is_swapped, ret);
    if (!clock_read_civil(date.text, date.length, ret))
        return false;
    if (time.kind == CELL_CIVIL && clock_read_civil(time.text, time.length, &of_time))
        of_day = of_time.local - timestamp_floor(of_time.local, DAY_MS);
    else if (!clock_read_time_of_day(time.text, time.length, &of_day))
        return false;
    ret->local = timestamp_floor(ret->local, DAY_MS) + of_day;
    return true;
}

/* A date in letters beside a time cell: the time is written in the ways that formats know, until one fits. */
static bool read_written_time(const struct clock_format *format, struct cell date, struct cell time, bool date_first,
                              struct clock_reading *ret)
{
    int64_t of_day;
    if (!clock_read_time_of_day(time.text, time.length, &of_day))
        return false;
    int hour = (int)(of_day / HOUR_MS), minute = (int)(of_day / MINUTE_MS % 60),
        second = (int)(of_day / SECOND_MS % 60);
    const char *half = hour % 24 < 12 ? "AM" : "PM";
    int of_half = hour % 12 == 0 ? 12 : hour % 12;
    for (int way = 0; way < 8; way++) {
        char written[JOB_JOINED_SIZE], clock[40];
        bool has_seconds = way < 4, is_half = way % 4 >= 2;
        const char *blank = way % 2 ? "" : " ";
        int used = snprintf(clock, sizeof clock, way % 2 ? "%d:%02d" : "%02d:%02d", is_half ? of_half : hour, minute);
        if (has_seconds)
            used += snprintf(clock + used, sizeof clock - (size_t)used, ":%02d", second);
        if (is_half)
            snprintf(clock + used, sizeof clock - (size_t)used, "%s%s", blank, half);
        int length =
            snprintf(written, sizeof written, "%.*s%s%s%.*s", date_first ? (int)date.length : 0, date.text,
                     date_first ? " " : clock, date_first ? clock : " ", date_first ? 0 : (int)date.length, date.text);
        bool is_lossless = has_seconds || of_day % MINUTE_MS == 0;
        if (is_lossless && length < (int)sizeof written && clock_read(format, written, (size_t)length, ret))
            return true;
    }
    return false;
}

static bool is_end_mark(const struct job *job, struct cell cell)
{
    const struct word_list *marks = &job->binding.layout->end_marks;
    for (size_t i = 0; i < marks->count; i++)
        if (cell_begins(cell, marks->words[i]))
            return true;
    return false;
}

/* Files put one behind the other. */
static bool is_header_again(const struct job *job, const struct row *row)
{
    const struct row *header = &job->binding.head.rows[job->binding.header_row];
    if (row->count != header->count)
        return false;
    for (size_t i = 0; i < row->count; i++)
        if (!cell_equals(row->cells[i], header->cells[i]))
            return false;
    return true;
}

static bool has_surplus(const struct job *job, const struct row *row)
{
    for (size_t i = job->binding.cell_count; i < row->count; i++)
        if (row->cells[i].length > 0)
            return true;
    return false;
}
