/* SPDX-License-Identifier: MIT */
/* Rows of a notebook to field notes: one column a kind ("wide"), or one row a note ("long", where a column holds the
 * kind). */
#include "intake/job.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "intake/amount.h"
#include "intake/header.h"
#include "intake/place.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ONE_VISIT (6 * HOUR_MS) /* as derive takes checks together */

struct notebook {
    struct job *job;
    struct place_found found; /* of the whole file; kind PLACE_NONE where only the rows can say */
    const struct bound_column *station;
    struct cell last_label; /* and the station it means, so that the list is searched once a change */
    size_t last_station;
    struct note *notes;
    size_t count, capacity;
};

/* The row in hand. */
struct page {
    struct row row;
    size_t station;
    struct clock clock;
    struct clock_reading reading; /* of the row's time */
    int64_t time;
    const char *text;  /* remark; "" without one */
    size_t first_note; /* index of the row's first note */
};

enum moment { MOMENT_READ, MOMENT_NONE, MOMENT_UNCLEAR };

static bool claim_file(struct notebook *notebook, struct error *error);
static void read_page(struct notebook *notebook, const struct row *row);
static bool find_station(struct notebook *notebook, struct page *page);
static bool find_time(struct notebook *notebook, struct page *page);
static const char *collect_text(struct notebook *notebook, const struct row *row);
static void read_wide(struct notebook *notebook, struct page *page);
static void read_wide_cell(struct notebook *notebook, struct page *page, const struct bound_column *bound,
                           struct cell cell);
static void read_wide_check(struct notebook *notebook, struct page *page, const struct bound_column *bound,
                            struct cell cell);
static void read_long(struct notebook *notebook, struct page *page);
static void add_instrument(struct notebook *notebook, struct page *page);
static bool read_long_words(struct notebook *notebook, const struct page *page, struct note *note);
static bool read_long_amounts(struct notebook *notebook, const struct page *page, struct note *note);
static bool read_long_until(struct notebook *notebook, const struct page *page, struct note *note);
static bool read_amount(struct notebook *notebook, uint32_t line, const struct bound_column *bound, struct cell cell,
                        const struct unit *unit, enum unit_dimension dimension, double *ret);
static enum moment read_moment(const struct notebook *notebook, const struct page *page, struct cell cell,
                               int64_t *ret);
static struct note new_note(const struct notebook *notebook, const struct page *page, enum note_kind kind);
static void add_note(struct notebook *notebook, const struct note *note);
static void check_page(struct notebook *notebook, const struct page *page);
static const char *fault_of(const struct note *note);
static bool has_check(enum note_kind kind);
static bool has_until(enum note_kind kind);
static void fold_notes(struct notebook *notebook);
static void find_opposed(struct notebook *notebook);
static int compare_stretches(const void *a, const void *b);
static void find_disorder(struct notebook *notebook);
static void complain_order(struct notebook *notebook, const struct note *earlier, const struct note *later);
static int compare_moments(const void *a, const void *b);
static int compare_notes(const void *a, const void *b);
static bool is_same_note(const struct note *a, const struct note *b);
static bool can_contradict(enum note_kind kind);
static bool is_same_number(double a, double b);
static void finish(struct notebook *notebook);

bool read_notes(struct job *job, struct error *error)
{
    struct notebook notebook = {.job = job, .station = job_column(job, COLUMN_STATION)};
    notebook.last_station = job->config->station_count;
    if (!claim_file(&notebook, error) || !job_start(job, error))
        return false;
    struct row row;
    bool has_failed = false;
    while (job_next_row(job, &row, &has_failed, error))
        read_page(&notebook, &row);
    if (has_failed || !job_judge(job, error))
        return false;
    fold_notes(&notebook);
    find_opposed(&notebook);
    find_disorder(&notebook);
    finish(&notebook);
    return true;
}

/* Where rows name their station, the path may say what it likes. */
static bool claim_file(struct notebook *notebook, struct error *error)
{
    struct job *job = notebook->job;
    struct place_hints hints = place_hints_find(&job->binding);
    struct error ignored;
    bool is_clear = place_find(job->arena, job->config, job->path, &hints, PLACE_NEED_STATION, &notebook->found,
                               notebook->station ? &ignored : error);
    if (!is_clear)
        notebook->found = (struct place_found){.evidence = ""};
    if (notebook->station)
        return true;
    if (is_clear && notebook->found.kind == PLACE_NONE)
        return fail(
            error, ERROR_INPUT,
            "unclaimed: no station claims it: add a column with 'is: station' to layout '%s', or a pattern that "
            "matches its path to 'drops' of the station it belongs to",
            job->binding.layout->id);
    return is_clear;
}

static void read_page(struct notebook *notebook, const struct row *row)
{
    struct job *job = notebook->job;
    struct page page = {.row = *row, .first_note = notebook->count};
    size_t complaints = job->batch->complaint_total;
    if (!find_station(notebook, &page) || !find_time(notebook, &page))
        return;
    page.text = collect_text(notebook, row);
    if (job_column(job, COLUMN_KIND))
        read_long(notebook, &page);
    else
        read_wide(notebook, &page);
    add_instrument(notebook, &page);
    check_page(notebook, &page);
    bool has_complaint = job->batch->complaint_total > complaints;
    if (notebook->count == page.first_note && has_complaint) {
        job->batch->refused_rows++;
        job_count_unusable(job);
    }
}

static bool find_station(struct notebook *notebook, struct page *page)
{
    struct job *job = notebook->job;
    struct cell label = notebook->station ? row_cell(&page->row, notebook->station->cell) : cell_from("");
    if (job_is_missing(job, label)) {
        page->station = notebook->found.index;
        return notebook->found.kind == PLACE_STATION ||
               job_refuse(job, page->row.line, notebook->station, "the row names no station");
    }
    if (!notebook->last_label.text || !cell_equals(label, notebook->last_label)) {
        notebook->last_station = place_find_station(job->config, label);
        notebook->last_label = cell_from(cell_copy(label, job->arena));
    }
    page->station = notebook->last_station;
    if (page->station == job->config->station_count && place_is_elsewhere(job->config, label))
        return false; /* another part reads the same file, and this row */
    return page->station < job->config->station_count ||
           job_refuse(job, page->row.line, notebook->station,
                      "'%s' is not the name of one station: add it to 'labels' of the station it means",
                      cell_quote(label).text);
}

static bool find_time(struct notebook *notebook, struct page *page)
{
    struct job *job = notebook->job;
    char joined[JOB_JOINED_SIZE];
    struct cell text;
    uint32_t line = page->row.line;
    clock_init(&page->clock, job->binding.layout, job->config->stations[page->station].utc_offset);
    if (!job_read_time(job, &page->row, joined, &text, &page->reading))
        return job_refuse_time(job, line, text);
    if (!clock_to_utc_alone(&page->clock, &page->reading, &page->time))
        return job_refuse_missing_hour(job, line, text);
    if (page->time < 0)
        return job_refuse(job, line, NULL, "time '%s' lies before 1970", cell_quote(text).text);
    if (page->time > job->now + INTAKE_NOTE_SLACK)
        return job_refuse(job, line, NULL, "time '%s' lies in the future: correct the row, or 'zone' in layout '%s'",
                          cell_quote(text).text, job->binding.layout->id);
    return true;
}

static const char *collect_text(struct notebook *notebook, const struct row *row)
{
    struct job *job = notebook->job;
    const char *text = "";
    for (size_t i = 0; i < job->binding.column_count; i++) {
        const struct bound_column *bound = &job->binding.columns[i];
        struct cell cell = row_cell(row, bound->cell);
        if (bound->column->role == COLUMN_TEXT && !job_is_missing(job, cell))
            text = arena_printf(job->arena, "%s%s%.*s", text, *text ? "; " : "", (int)cell.length, cell.text);
    }
    return text;
}

/* Beside a logger that went in, a column of serial numbers says which one it was. */
static void add_instrument(struct notebook *notebook, struct page *page)
{
    struct job *job = notebook->job;
    const struct bound_column *bound = job_column(job, COLUMN_SERIAL);
    struct cell cell = bound ? row_cell(&page->row, bound->cell) : cell_from("");
    if (!bound || job_is_missing(job, cell))
        return;
    size_t last = notebook->count;
    for (size_t i = page->first_note; i < last; i++) {
        if (notebook->notes[i].kind != NOTE_IN_WATER)
            continue;
        struct note note = new_note(notebook, page, NOTE_INSTRUMENT);
        note.time = notebook->notes[i].time;
        note.text = cell_copy(cell, job->arena);
        add_note(notebook, &note);
    }
}

static void read_wide(struct notebook *notebook, struct page *page)
{
    struct job *job = notebook->job;
    for (size_t i = 0; i < job->binding.column_count; i++) {
        const struct bound_column *bound = &job->binding.columns[i];
        struct cell cell = row_cell(&page->row, bound->cell);
        if (bound->column->role == COLUMN_NOTE && !job_is_missing(job, cell))
            read_wide_cell(notebook, page, bound, cell);
    }
    if (notebook->count == page->first_note && *page->text) {
        struct note note = new_note(notebook, page, NOTE_REMARK);
        add_note(notebook, &note);
    }
}

static void read_wide_cell(struct notebook *notebook, struct page *page, const struct bound_column *bound,
                           struct cell cell)
{
    struct job *job = notebook->job;
    enum note_kind kind = bound->column->note_kind;
    if (has_check(kind)) {
        read_wide_check(notebook, page, bound, cell);
        return;
    }
    struct note note = new_note(notebook, page, kind);
    if (kind == NOTE_LEVEL || kind == NOTE_TAPE_DOWN) {
        if (!read_amount(notebook, page->row.line, bound, cell, bound->unit, UNIT_LENGTH, &note.value))
            return;
    } else if (kind == NOTE_INSTRUMENT || kind == NOTE_REMARK) {
        note.text = cell_copy(cell, job->arena);
    } else {
        int64_t moment;
        enum moment result = read_moment(notebook, page, cell, &moment);
        if (result == MOMENT_NONE)
            return;
        if (result == MOMENT_UNCLEAR) {
            job_complain(job, page->row.line, bound,
                         "'%s' is neither a time of day, a time written as '%s', nor a mark such as x",
                         cell_quote(cell).text, job->binding.layout->time_format);
            return;
        }
        *(has_until(kind) ? &note.until : &note.time) = moment;
        note.quantity = has_until(kind) && kind != NOTE_CLOCK ? bound->column->quantity : QUANTITY_COUNT;
    }
    add_note(notebook, &note);
}

/* Sensor and meter stand in two columns and make one note. */
static void read_wide_check(struct notebook *notebook, struct page *page, const struct bound_column *bound,
                            struct cell cell)
{
    const struct column *column = bound->column;
    double value;
    if (column->quantity >= QUANTITY_COUNT) {
        job_complain(notebook->job, page->row.line, bound,
                     "a %s needs a quantity: add 'quantity' to the column in layout '%s'",
                     note_kind_word(column->note_kind), notebook->job->binding.layout->id);
        return;
    }
    if (!read_amount(notebook, page->row.line, bound, cell, bound->unit, header_dimension(column->quantity), &value))
        return;
    size_t i = page->first_note;
    while (i < notebook->count &&
           (notebook->notes[i].kind != column->note_kind || notebook->notes[i].quantity != column->quantity))
        i++;
    if (i == notebook->count) {
        struct note note = new_note(notebook, page, column->note_kind);
        note.quantity = column->quantity;
        add_note(notebook, &note);
    }
    *(column->is_reference ? &notebook->notes[i].reference : &notebook->notes[i].value) = value;
}

static void read_long(struct notebook *notebook, struct page *page)
{
    struct note note = new_note(notebook, page, NOTE_REMARK);
    if (read_long_words(notebook, page, &note) && read_long_amounts(notebook, page, &note) &&
        read_long_until(notebook, page, &note))
        add_note(notebook, &note);
}

static bool read_long_words(struct notebook *notebook, const struct page *page, struct note *note)
{
    struct job *job = notebook->job;
    const struct layout *layout = job->binding.layout;
    const struct bound_column *bound = job_column(job, COLUMN_KIND);
    struct cell cell = row_cell(&page->row, bound->cell);
    note->kind = note_kind_find(cell_copy(cell, job->arena));
    for (size_t i = 0; i < layout->kind_count; i++)
        if (cell_is(cell, layout->kinds[i].word))
            note->kind = (enum note_kind)layout->kinds[i].meaning;
    if (note->kind >= NOTE_KIND_COUNT) {
        job_complain(job, page->row.line, bound,
                     "'%s' is no kind of note: correct it, or add it to 'kinds' in layout '%s'", cell_quote(cell).text,
                     layout->id);
        return false;
    }
    bound = job_column(job, COLUMN_QUANTITY_NAME);
    cell = bound ? row_cell(&page->row, bound->cell) : cell_from("");
    if (job_is_missing(job, cell))
        return true;
    note->quantity = quantity_find(cell_copy(cell, job->arena));
    for (size_t i = 0; i < layout->quantity_count; i++)
        if (cell_is(cell, layout->quantities[i].word))
            note->quantity = (enum quantity)layout->quantities[i].meaning;
    if (note->quantity < QUANTITY_COUNT)
        return true;
    job_complain(job, page->row.line, bound,
                 "'%s' is no quantity: correct it, or add it to 'quantities' in layout '%s'", cell_quote(cell).text,
                 layout->id);
    return false;
}

static bool read_long_amounts(struct notebook *notebook, const struct page *page, struct note *note)
{
    struct job *job = notebook->job;
    bool is_length = note->kind == NOTE_LEVEL || note->kind == NOTE_TAPE_DOWN;
    if (is_length)
        note->quantity = QUANTITY_COUNT;
    if (!is_length && !(has_check(note->kind) && note->quantity < QUANTITY_COUNT))
        return true;
    enum unit_dimension dimension = is_length ? UNIT_LENGTH : header_dimension(note->quantity);
    const struct bound_column *value = job_column(job, COLUMN_VALUE), *reference = job_column(job, COLUMN_REFERENCE);
    const struct bound_column *unit_column = job_column(job, COLUMN_UNIT);
    struct cell unit_cell = unit_column ? row_cell(&page->row, unit_column->cell) : cell_from("");
    const struct unit *unit = NULL;
    if (!job_is_missing(job, unit_cell)) {
        unit = unit_find(unit_cell.text, unit_cell.length);
        if (!unit || unit->dimension != dimension) {
            job_complain(job, page->row.line, unit_column, "'%s' is no unit of %s", cell_quote(unit_cell).text,
                         unit_dimension_name(dimension));
            return false;
        }
    }
    struct {
        const struct bound_column *bound;
        double *ret;
    } amounts[] = {{value, &note->value}, {is_length ? NULL : reference, &note->reference}};
    for (size_t i = 0; i < COUNT_OF(amounts); i++) {
        const struct bound_column *bound = amounts[i].bound;
        struct cell cell = bound ? row_cell(&page->row, bound->cell) : cell_from("");
        if (job_is_missing(job, cell))
            continue;
        const struct unit *by_header = bound->unit ? bound->unit : value ? value->unit : NULL;
        if (by_header && by_header->dimension != dimension)
            by_header = NULL;
        if (!read_amount(notebook, page->row.line, bound, cell, unit ? unit : by_header, dimension, amounts[i].ret))
            return false;
    }
    return true;
}

/* The logger's time of a clock check may stand under `until` or under `value`. */
static bool read_long_until(struct notebook *notebook, const struct page *page, struct note *note)
{
    struct job *job = notebook->job;
    const struct bound_column *bound = job_column(job, COLUMN_UNTIL);
    struct cell cell = bound ? row_cell(&page->row, bound->cell) : cell_from("");
    if (!has_until(note->kind))
        return true;
    if (note->kind == NOTE_CLOCK && job_is_missing(job, cell) && job_column(job, COLUMN_VALUE)) {
        bound = job_column(job, COLUMN_VALUE);
        cell = row_cell(&page->row, bound->cell);
    }
    if (job_is_missing(job, cell))
        return true;
    if (read_moment(notebook, page, cell, &note->until) == MOMENT_READ)
        return true;
    job_complain(job, page->row.line, bound, "'%s' is neither a time of day nor a time written as '%s'",
                 cell_quote(cell).text, job->binding.layout->time_format);
    return false;
}

static bool read_amount(struct notebook *notebook, uint32_t line, const struct bound_column *bound, struct cell cell,
                        const struct unit *unit, enum unit_dimension dimension, double *ret)
{
    struct job *job = notebook->job;
    switch (amount_read(cell, job->binding.layout->decimal, unit, dimension, ret)) {
    case AMOUNT_READ: return true;
    case AMOUNT_NO_NUMBER: job_complain_number(job, line, bound, cell); break;
    case AMOUNT_NO_UNIT:
        job_complain(job, line, bound,
                     "'%s' has no unit: name one in the header, or add 'unit' to the column in layout '%s'",
                     cell_quote(cell).text, job->binding.layout->id);
        break;
    case AMOUNT_WRONG_UNIT:
        job_complain(job, line, bound, "'%s' is not a %s", cell_quote(cell).text, unit_dimension_name(dimension));
        break;
    }
    return false;
}

/* A time of day (of the row's date), a full time, or a mark that means the row's own time. */
static enum moment read_moment(const struct notebook *notebook, const struct page *page, struct cell cell, int64_t *ret)
{
    static const char *const marks[] = {
        "x",         "xx", "yes", "y",   "true",         "ok",           "done",         "ja",
        "s\xC3\xAD", "si", "oui", "sim", "\xE2\x9C\x93", "\xE2\x9C\x94", "\xE2\x9C\x85", "\xE2\x98\x91"};
    static const char *const no_marks[] = {"no", "n", "false", "-", "nein", "non"};
    struct clock_reading reading = page->reading;
    int64_t of_day;
    if (cell.kind != CELL_NUMBER && clock_read_time_of_day(cell.text, cell.length, &of_day))
        reading.local = timestamp_floor(reading.local, DAY_MS) + of_day;
    else if (cell.kind == CELL_CIVIL ? !clock_read_civil(cell.text, cell.length, &reading)
                                     : !clock_read(&notebook->job->binding.format, cell.text, cell.length, &reading)) {
        for (size_t i = 0; i < COUNT_OF(marks); i++) {
            if (cell_is(cell, marks[i])) {
                *ret = page->time;
                return MOMENT_READ;
            }
        }
        for (size_t i = 0; i < COUNT_OF(no_marks); i++)
            if (cell_is(cell, no_marks[i]))
                return MOMENT_NONE;
        return MOMENT_UNCLEAR;
    }
    return clock_to_utc_alone(&page->clock, &reading, ret) ? MOMENT_READ : MOMENT_UNCLEAR;
}

static struct note new_note(const struct notebook *notebook, const struct page *page, enum note_kind kind)
{
    return (struct note){
        .line = page->row.line,
        .kind = kind,
        .time = page->time,
        .until = TIME_NONE,
        .quantity = QUANTITY_COUNT,
        .value = NAN,
        .reference = NAN,
        .text = page->text,
        .station = notebook->job->config->stations[page->station].id,
    };
}

static void add_note(struct notebook *notebook, const struct note *note)
{
    if (notebook->count == notebook->capacity) {
        notebook->capacity = notebook->capacity ? notebook->capacity * 2 : 64;
        struct note *notes = arena_array(notebook->job->arena, notebook->capacity, sizeof *notes);
        if (notebook->count > 0)
            memcpy(notes, notebook->notes, notebook->count * sizeof *notes);
        notebook->notes = notes;
    }
    notebook->notes[notebook->count++] = *note;
}

/* Leave out the row's notes that lack what their kind needs. */
static void check_page(struct notebook *notebook, const struct page *page)
{
    struct job *job = notebook->job;
    size_t kept = page->first_note;
    for (size_t i = page->first_note; i < notebook->count; i++) {
        const struct note *note = &notebook->notes[i];
        const char *fault = fault_of(note);
        if (!fault && note->time > job->now + INTAKE_NOTE_SLACK)
            fault = "lies in the future";
        if (fault)
            job_complain(job, page->row.line, NULL, "the note '%s' %s", note_kind_word(note->kind), fault);
        else
            notebook->notes[kept++] = *note;
    }
    notebook->count = kept;
}

static const char *fault_of(const struct note *note)
{
    if ((note->kind == NOTE_LEVEL || note->kind == NOTE_TAPE_DOWN) && isnan(note->value))
        return "has no value";
    if (has_check(note->kind) && note->quantity >= QUANTITY_COUNT)
        return "does not say of which quantity";
    if (has_check(note->kind) && isnan(note->reference))
        return "has no reading of the meter or standard";
    if (has_until(note->kind) && note->until == TIME_NONE)
        return note->kind == NOTE_CLOCK ? "does not say what the logger's clock showed" : "does not say until when";
    if (has_until(note->kind) && note->kind != NOTE_CLOCK && note->until <= note->time)
        return "ends before it begins";
    if ((note->kind == NOTE_REMARK || note->kind == NOTE_INSTRUMENT) && !*note->text)
        return "has no text";
    if (note->kind == NOTE_REVIEWED && !*note->text)
        return "does not say who reviewed: the text begins with a name, 'Ines Hale: all checks close'";
    return NULL;
}

static bool has_check(enum note_kind kind)
{
    return kind == NOTE_CHECK || kind == NOTE_CHECK_CLEANED || kind == NOTE_STANDARD;
}

static bool has_until(enum note_kind kind)
{
    return kind == NOTE_CLOCK || kind == NOTE_STRIKE || kind == NOTE_RESTORE || kind == NOTE_REVIEWED;
}

/* The same note twice is one. Two that cannot both be true: the later line counts, and the operator is told. */
static void fold_notes(struct notebook *notebook)
{
    struct job *job = notebook->job;
    size_t count = notebook->count;
    struct note **order = arena_array(job->arena, count, sizeof(struct note *));
    for (size_t i = 0; i < count; i++)
        order[i] = &notebook->notes[i];
    if (count > 1)
        qsort(order, count, sizeof(struct note *), compare_notes);
    for (size_t i = 1; i < count; i++) {
        struct note *earlier = order[i - 1], *later = order[i];
        bool is_same = is_same_note(earlier, later);
        bool share_key = strcmp(earlier->station, later->station) == 0 && earlier->kind == later->kind &&
                         earlier->time == later->time && earlier->quantity == later->quantity;
        bool is_other_standard = later->kind == NOTE_STANDARD && !is_same_number(earlier->reference, later->reference);
        if (!share_key || !(is_same || (can_contradict(later->kind) && !is_other_standard)))
            continue;
        char time[TIMESTAMP_SIZE];
        if (!is_same)
            job_complain(
                job, later->line, NULL,
                "'%s' of station '%s' at %s is not what line %u says: the later line counts; strike out the other",
                note_kind_word(later->kind), later->station, timestamp_print(later->time, time), earlier->line);
        earlier->station = NULL; /* left out by finish() */
        job->batch->folded_rows++;
    }
}

/* One stretch both struck out and restored: both are kept, since the later may well take the earlier back, and the
 * operator is told which one counts. */
static void find_opposed(struct notebook *notebook)
{
    size_t count = 0;
    const struct note **order = arena_array(notebook->job->arena, notebook->count + 1, sizeof *order);
    for (size_t i = 0; i < notebook->count; i++)
        if (notebook->notes[i].station &&
            (notebook->notes[i].kind == NOTE_STRIKE || notebook->notes[i].kind == NOTE_RESTORE))
            order[count++] = &notebook->notes[i];
    qsort(order, count, sizeof *order, compare_stretches);
    for (size_t i = 1; i < count; i++) {
        const struct note *earlier = order[i - 1], *later = order[i];
        char time[TIMESTAMP_SIZE];
        if (strcmp(earlier->station, later->station) == 0 && earlier->time == later->time &&
            earlier->until == later->until && earlier->quantity == later->quantity && earlier->kind != later->kind)
            job_complain(notebook->job, later->line, NULL,
                         "'%s' of station '%s' at %s takes back line %u: the later line counts; if that is not meant, "
                         "correct one of the two",
                         note_kind_word(later->kind), later->station, timestamp_print(later->time, time),
                         earlier->line);
    }
}

/* By the stretch that a decision is about, then by line. */
static int compare_stretches(const void *a, const void *b)
{
    const struct note *x = *(const struct note *const *)a, *y = *(const struct note *const *)b;
    int order = strcmp(x->station, y->station);
    const int64_t keys[][2] = {
        {x->time, y->time}, {x->until, y->until}, {(int64_t)x->quantity, (int64_t)y->quantity}, {x->line, y->line}};
    for (size_t k = 0; order == 0 && k < COUNT_OF(keys); k++)
        order = (keys[k][0] > keys[k][1]) - (keys[k][0] < keys[k][1]);
    return order;
}

/* Notes that follow each other as they cannot have happened: a logger put in twice, or taken out twice; a sensor read
 * as found after it was cleaned. All are kept, since another notebook may hold what is missing; the operator is told.
 */
static void find_disorder(struct notebook *notebook)
{
    size_t count = 0;
    const struct note **order = arena_array(notebook->job->arena, notebook->count + 1, sizeof *order);
    for (size_t i = 0; i < notebook->count; i++)
        if (notebook->notes[i].station)
            order[count++] = &notebook->notes[i];
    qsort(order, count, sizeof *order, compare_moments);
    const struct note *move = NULL, *cleaned[QUANTITY_COUNT] = {NULL};
    for (size_t i = 0; i < count; i++) {
        const struct note *note = order[i];
        if (i > 0 && strcmp(order[i - 1]->station, note->station) != 0) {
            move = NULL;
            memset(cleaned, 0, sizeof cleaned);
        }
        if (note->kind == NOTE_IN_WATER || note->kind == NOTE_OUT_OF_WATER) {
            if (move && move->kind == note->kind)
                complain_order(notebook, move, note);
            move = note;
        } else if (note->kind == NOTE_CHECK_CLEANED) {
            cleaned[note->quantity] = note;
        } else if (note->kind == NOTE_CHECK && cleaned[note->quantity] &&
                   note->time - cleaned[note->quantity]->time < ONE_VISIT) {
            complain_order(notebook, cleaned[note->quantity], note);
        }
    }
}

static void complain_order(struct notebook *notebook, const struct note *earlier, const struct note *later)
{
    char time[TIMESTAMP_SIZE];
    job_complain(
        notebook->job, later->line, NULL,
        "'%s' of station '%s' at %s follows '%s' of line %u: that is out of order; correct a time, or add the note "
        "that is missing between them",
        note_kind_word(later->kind), later->station, timestamp_print(later->time, time), note_kind_word(earlier->kind),
        earlier->line);
}

/* By station and time; at one time the crew finds before it cleans, and takes out before it puts in. */
static int compare_moments(const void *a, const void *b)
{
    const struct note *x = *(const struct note *const *)a, *y = *(const struct note *const *)b;
    int order = strcmp(x->station, y->station);
    const int64_t keys[][2] = {{x->time, y->time}, {(int64_t)x->kind, (int64_t)y->kind}, {x->line, y->line}};
    for (size_t k = 0; order == 0 && k < COUNT_OF(keys); k++)
        order = (keys[k][0] > keys[k][1]) - (keys[k][0] < keys[k][1]);
    return order;
}

/* By what a note is about, then standards by which one, then by line. */
static int compare_notes(const void *a, const void *b)
{
    const struct note *x = *(struct note *const *)a, *y = *(struct note *const *)b;
    int order = strcmp(x->station, y->station);
    if (order != 0)
        return order;
    if (x->kind != y->kind)
        return x->kind < y->kind ? -1 : 1;
    if (x->time != y->time)
        return x->time < y->time ? -1 : 1;
    if (x->quantity != y->quantity)
        return x->quantity < y->quantity ? -1 : 1;
    if (x->kind == NOTE_STANDARD && !is_same_number(x->reference, y->reference))
        return x->reference < y->reference ? -1 : 1;
    if (!can_contradict(x->kind) && x->until != y->until)
        return x->until < y->until ? -1 : 1;
    order = can_contradict(x->kind) ? 0 : strcmp(x->text, y->text);
    return order != 0 ? order : (x > y) - (x < y);
}

static bool is_same_note(const struct note *a, const struct note *b)
{
    return is_same_number(a->value, b->value) && is_same_number(a->reference, b->reference) && a->until == b->until &&
           (can_contradict(a->kind) || strcmp(a->text, b->text) == 0);
}

static bool can_contradict(enum note_kind kind)
{
    return kind == NOTE_LEVEL || kind == NOTE_TAPE_DOWN || has_check(kind) || has_until(kind);
}

static bool is_same_number(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

/* Notes in the order of the file; the place, where all belong to one. */
static void finish(struct notebook *notebook)
{
    struct job *job = notebook->job;
    struct batch *batch = job->batch;
    const char *station = NULL;
    bool is_one_station = true;
    for (size_t i = 0; i < notebook->count; i++) {
        const struct note *note = &notebook->notes[i];
        if (!note->station)
            continue;
        is_one_station &= !station || strcmp(station, note->station) == 0;
        station = note->station;
        notebook->notes[batch->note_count++] = *note;
    }
    batch->notes = notebook->notes;
    batch->place_index = station ? config_find_station(job->config, station) : notebook->found.index;
    bool has_place = station ? is_one_station : notebook->found.kind == PLACE_STATION;
    batch->place_kind = has_place ? PLACE_STATION : PLACE_NONE;
    bool by_rows = notebook->station && station;
    batch->evidence = by_rows ? arena_printf(job->arena, "column '%s' of the rows", notebook->station->name)
                              : notebook->found.evidence;
}
