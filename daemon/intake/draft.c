/* SPDX-License-Identifier: MIT */
#include "intake/draft.h"

#include "base/timestamp.h"
#include "intake/draft_plan.h"
#include "intake/draft_words.h"
#include "intake/header.h"

#include <math.h>
#include <string.h>

enum { MOST_QUESTIONS = 100, LONGEST_ID = 40, LONGEST_LABEL = 40 };
#define LARGEST_YAML ((size_t)1 << 20)

static bool gather(struct arena *arena, struct time_formats *formats, const struct draft_file *files, size_t count,
                   struct evidence_set **ret_set, struct shape *ret_shape, struct error *error);
static bool gather_file(struct arena *arena, struct time_formats *formats, const struct draft_file *file, size_t index,
                        struct evidence_set *set, struct shape *first, struct error *error);
static bool is_same_kind(const struct shape *a, const struct shape *b);
static bool has_same_header(const struct shape *a, const struct shape *b, uint32_t cell_a, uint32_t cell_b);
static const char *make_id(struct arena *arena, const char *path);
static void plan_decimal(struct plan *plan, const struct evidence_set *set);
static void plan_labels(struct plan *plan);
static const char *find_label(struct plan *plan, const struct row *row, uint64_t clue);
static bool has_values(const struct plan *plan);
static void plan_time(struct plan *plan, const struct time_formats *formats, const struct evidence_set *set);
static void plan_zone(struct plan *plan, const struct time_finding *finding);
static const char *find_zone(struct plan *plan, struct cell text);
static void plan_end(struct plan *plan, const struct evidence_set *set);
static void plan_missing(struct plan *plan, const struct evidence_set *set);
static void add_missing(struct plan *plan, const char *word);
static const char *find_sentinel(struct arena *arena, const struct evidence *column);

bool draft_layout(struct arena *arena, const struct draft_file *files, size_t count, struct draft *ret,
                  struct error *error)
{
    struct evidence_set *set;
    struct shape shape;
    *ret = (struct draft){0};
    if (count == 0 || count > DRAFT_MOST_FILES)
        return fail(error, ERROR_INPUT, "a draft is made from 1 to %d files", DRAFT_MOST_FILES);
    struct time_formats *formats = time_formats_make(arena);
    if (!gather(arena, formats, files, count, &set, &shape, error))
        return false;
    struct plan *plan = arena_alloc(arena, sizeof *plan);
    plan->arena = arena;
    plan->id = ret->id = make_id(arena, files[0].path);
    plan->shape = &shape;
    plan_decimal(plan, set);
    plan_labels(plan);
    plan_columns(plan, set, count);
    if (!has_values(plan))
        return fail(error, ERROR_INPUT, "'%s': no column has a name that is known; the first is '%s'", files[0].path,
                    set->count > 0 ? cell_quote(cell_from(set->columns[0].header)).text : "");
    plan_time(plan, formats, set);
    if (!plan->format)
        return fail(error, ERROR_INPUT, "'%s': the times in column '%s' fit no format that is known", files[0].path,
                    cell_quote(cell_from(plan->time_headers[0])).text);
    plan_end(plan, set);
    plan_missing(plan, set);
    ret->questions = arena_array(arena, MOST_QUESTIONS, sizeof *ret->questions);
    struct text yaml;
    text_init(&yaml, LARGEST_YAML);
    plan_write(plan, &yaml, ret->questions, MOST_QUESTIONS, &ret->question_count);
    ret->yaml = arena_strdup(arena, yaml.bytes);
    text_done(&yaml);
    return true;
}

/* All files; the first one's shape stays, and its head outlives its source. */
static bool gather(struct arena *arena, struct time_formats *formats, const struct draft_file *files, size_t count,
                   struct evidence_set **ret_set, struct shape *ret_shape, struct error *error)
{
    *ret_set = evidence_make(arena, count);
    *ret_shape = (struct shape){0};
    for (size_t i = 0; i < count; i++)
        if (!gather_file(arena, formats, &files[i], i, *ret_set, ret_shape, error))
            return within(error, "'%s'", files[i].path);
    return true;
}

static bool gather_file(struct arena *arena, struct time_formats *formats, const struct draft_file *file, size_t index,
                        struct evidence_set *set, struct shape *first, struct error *error)
{
    struct source source;
    struct shape shape;
    bool is_fine = source_open(arena, file->bytes, file->length, &source, error) &&
                   shape_find(arena, formats, &source, &shape, error);
    if (is_fine && index > 0 && !is_same_kind(first, &shape))
        is_fine = fail(error, ERROR_INPUT,
                       "its delimiter or its time columns are not those of the first file: draft a "
                       "layout for it by itself");
    is_fine = is_fine && evidence_add(arena, set, &shape, index, error);
    source_close(&source);
    if (is_fine && index == 0)
        *first = shape;
    return is_fine;
}

static bool is_same_kind(const struct shape *a, const struct shape *b)
{
    bool is_same = a->delimiter == b->delimiter && a->time_cell_count == b->time_cell_count;
    for (size_t i = 0; i < a->time_cell_count && is_same; i++)
        is_same = has_same_header(a, b, a->time_cells[i], b->time_cells[i]);
    return is_same;
}

static bool has_same_header(const struct shape *a, const struct shape *b, uint32_t cell_a, uint32_t cell_b)
{
    struct cell x = row_cell(&a->head.rows[a->header_row], cell_a), y = row_cell(&b->head.rows[b->header_row], cell_b);
    return x.length == y.length && strncasecmp(x.text, y.text, x.length) == 0;
}

/* "north/HC-1_2026.csv" gives "hc-1-2026". */
static const char *make_id(struct arena *arena, const char *path)
{
    const char *slash = strrchr(path, '/'), *name = slash ? slash + 1 : path;
    const char *point = strrchr(name, '.');
    size_t length = point && point > name ? (size_t)(point - name) : strlen(name), written = 0;
    char *id = arena_alloc(arena, LONGEST_ID + 1);
    for (size_t i = 0; i < length && written < LONGEST_ID; i++) {
        char c = name[i] >= 'A' && name[i] <= 'Z' ? (char)(name[i] + ('a' - 'A')) : name[i];
        bool is_fine = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
        if (is_fine)
            id[written++] = c;
        else if (written > 0 && id[written - 1] != '-')
            id[written++] = '-';
    }
    while (written > 0 && id[written - 1] == '-')
        written--;
    id[written] = '\0';
    return written > 0 ? id : "new-layout";
}

static void plan_decimal(struct plan *plan, const struct evidence_set *set)
{
    size_t points = 0, commas = 0;
    for (size_t i = 0; i < set->count; i++) {
        points += set->columns[i].with_point;
        commas += set->columns[i].with_comma;
    }
    plan->decimal = commas > points ? ',' : '.';
    if (commas > 0 && points > 0)
        plan->decimal_doubt =
            (struct doubt){.why = arena_printf(plan->arena, "%zu numbers have a comma, %zu a point", commas, points),
                           .question = "Which is the decimal mark, the comma or the point?"};
}

/* Above the header: "Serial: X" in a cell, or "Serial" and X in two. */
static void plan_labels(struct plan *plan)
{
    const struct shape *shape = plan->shape;
    for (size_t i = 0; i < shape->header_row; i++) {
        const struct row *row = &shape->head.rows[i];
        if (!plan->serial_label)
            plan->serial_label = find_label(plan, row, CLUE_SERIAL);
        if (!plan->station_label)
            plan->station_label = find_label(plan, row, CLUE_STATION);
    }
}

static const char *find_label(struct plan *plan, const struct row *row, uint64_t clue)
{
    for (size_t i = 0; i < row->count; i++) {
        struct cell cell = row->cells[i];
        size_t length = 0;
        while (length < cell.length && !strchr(":=", cell.text[length]) &&
               !(row->is_comment && strchr(",;\t|", cell.text[length])))
            length++;
        struct cell label = cell_trim(cell.text, length), value = row_cell(row, i + 1);
        bool has_value = length + 1 < cell.length || value.length > 0;
        const char *copy = cell_copy(label, plan->arena);
        if (label.length > 0 && label.length <= LONGEST_LABEL && has_value && draft_clues(label) & clue &&
            plan_can_write(copy))
            return copy;
    }
    return NULL;
}

static bool has_values(const struct plan *plan)
{
    for (size_t i = 0; i < plan->column_count; i++) {
        enum column_role role = plan->columns[i].role;
        if (role == COLUMN_QUANTITY || role == COLUMN_NOTE || role == COLUMN_KIND)
            return true;
    }
    return false;
}

static void plan_time(struct plan *plan, const struct time_formats *formats, const struct evidence_set *set)
{
    const struct shape *shape = plan->shape;
    const struct row *header = &shape->head.rows[shape->header_row];
    for (size_t i = 0; i < shape->time_cell_count; i++)
        plan->time_headers[i] = plan_pattern(plan->arena, row_cell(header, shape->time_cells[i]));
    struct time_finding finding = time_find(formats, set->times, set->time_count, !plan->is_notes);
    plan->format = finding.format;
    if (finding.is_of_workbook)
        plan->format_doubt.remark = "the cells are dates; this is for times written as text";
    else if (*finding.by)
        plan->format_doubt.remark = finding.by;
    if (finding.others[0]) {
        const char *second = finding.others[1] ? arena_printf(plan->arena, " or '%s'", finding.others[1]) : "";
        plan->format_doubt.why =
            arena_printf(plan->arena, "no day above 12 tells; '%s'%s fits as well", finding.others[0], second);
        plan->format_doubt.question = arena_printf(
            plan->arena, "Which stands first in '%s', the day or the month? The format is '%s', or '%s'%s.",
            cell_quote(cell_from(set->times[0].text)).text, finding.format, finding.others[0], second);
    }
    plan_zone(plan, &finding);
}

static void plan_zone(struct plan *plan, const struct time_finding *finding)
{
    const struct shape *shape = plan->shape;
    if (finding->has_offsets) {
        plan->zone = "UTC";
        plan->zone_doubt.remark = "the times say their offset themselves, and that counts";
        return;
    }
    for (size_t i = 0; i < shape->time_cell_count && !plan->zone; i++)
        plan->zone = find_zone(plan, cell_from(plan->time_headers[i]));
    for (size_t i = 0; i < shape->header_row && !plan->zone; i++)
        for (size_t k = 0; k < shape->head.rows[i].count && !plan->zone; k++)
            plan->zone = find_zone(plan, shape->head.rows[i].cells[k]);
    if (plan->zone) {
        plan->zone_doubt.remark = "as the file says";
        return;
    }
    plan->zone = "station";
    plan->zone_doubt = (struct doubt){
        .why = "the file does not say which clock this is",
        .question = "Which clock do the times keep? `station` is the station's standard time all year; a phone's local "
                    "time that changes in summer is an IANA name such as America/Los_Angeles; else an offset such as "
                    "\"-08:00\", or UTC."};
}

/* "UTC", "GMT-05:00", "UTC+2" in a text. */
static const char *find_zone(struct plan *plan, struct cell text)
{
    for (size_t i = 0; i + 3 <= text.length; i++) {
        struct cell rest = {.text = text.text + i, .length = text.length - (uint32_t)i};
        bool begins = i == 0 || !((text.text[i - 1] | 32) >= 'a' && (text.text[i - 1] | 32) <= 'z');
        if (!begins || !(cell_begins(rest, "UTC") || cell_begins(rest, "GMT")))
            continue;
        size_t from = 3, length = 0;
        while (from < rest.length && rest.text[from] == ' ')
            from++;
        while (from + length < rest.length && strchr("+-:0123456789", rest.text[from + length]))
            length++;
        int64_t offset;
        const char *written = rest.text + from;
        bool has_sign = length > 1 && (*written == '+' || *written == '-');
        char padded[8];
        if (has_sign && length == 2) { /* "UTC+2" */
            memcpy(padded, (char[]){written[0], '0', written[1], '\0'}, 4);
            written = padded;
            length = 3;
        }
        if (!has_sign)
            return "UTC";
        if (!timestamp_parse_offset(written, length, &offset))
            return NULL;
        int64_t minutes = (offset < 0 ? -offset : offset) / MINUTE_MS;
        return offset == 0 ? "UTC"
                           : arena_printf(plan->arena, "%c%02d:%02d", offset < 0 ? '-' : '+', (int)(minutes / 60),
                                          (int)(minutes % 60));
    }
    return NULL;
}

/* "END OF FILE, 12 rows" ends where the number begins. */
static void plan_end(struct plan *plan, const struct evidence_set *set)
{
    if (!set->footer)
        return;
    size_t length = strcspn(set->footer, "0123456789");
    while (length > 0 && strchr(" ,;:(-", set->footer[length - 1]))
        length--;
    struct cell mark = cell_trim(set->footer, length);
    const char *copy = cell_copy(mark, plan->arena);
    if (mark.length > 1 && plan_can_write(copy))
        plan->end_mark = copy;
}

static void plan_missing(struct plan *plan, const struct evidence_set *set)
{
    for (size_t i = 0; i < set->count; i++) {
        const struct evidence *column = &set->columns[i];
        bool is_measured = false;
        for (size_t k = 0; k < plan->column_count; k++)
            is_measured |= plan->columns[k].evidence == column && plan->columns[k].role == COLUMN_QUANTITY;
        if (!is_measured)
            continue;
        for (size_t k = 0; k < column->word_count; k++) {
            const struct seen_word *word = &column->words[k];
            bool is_known = draft_is_missing_word(cell_from(word->text));
            bool is_likely = !is_known && word->count > 1 && *word->text != '#';
            if (is_known || is_likely)
                add_missing(plan, word->text);
            if (is_likely)
                plan->missing_doubt =
                    (struct doubt){.why = arena_printf(plan->arena, "'%s' stands where numbers do",
                                                       cell_quote(cell_from(word->text)).text),
                                   .question = "Do the words under 'missing' all mean that there is no value?"};
        }
        const char *sentinel = find_sentinel(plan->arena, column);
        if (sentinel)
            add_missing(plan, sentinel);
        if (sentinel && !plan->missing_doubt.why)
            plan->missing_doubt =
                (struct doubt){.why = arena_printf(plan->arena, "%s lies far from all other values", sentinel),
                               .question = arena_printf(plan->arena, "Does %s mean that there is no value?", sentinel)};
    }
}

static void add_missing(struct plan *plan, const char *word)
{
    for (size_t i = 0; i < plan->missing_count; i++)
        if (cell_is(cell_from(word), plan->missing[i]))
            return;
    if (plan->missing_count < COUNT_OF(plan->missing) && plan_can_write(word))
        plan->missing[plan->missing_count++] = word;
}

/* -9999 and the like, where the other values lie elsewhere. */
static const char *find_sentinel(struct arena *arena, const struct evidence *column)
{
    static const double sentinels[] = {-9999, -999, -99999, -999.9, -99.99, -7999, 9999, 99999};
    size_t count = column->numbers < SHAPE_MOST_SAMPLES ? column->numbers : SHAPE_MOST_SAMPLES;
    for (size_t i = 0; i < COUNT_OF(sentinels); i++) {
        double lowest = INFINITY, highest = -INFINITY;
        size_t seen = 0;
        for (size_t k = 0; k < count; k++) {
            double value = column->values[k];
            if (value == sentinels[i]) {
                seen++;
                continue;
            }
            lowest = value < lowest ? value : lowest;
            highest = value > highest ? value : highest;
        }
        bool is_below = sentinels[i]<lowest - 2 * (highest - lowest) - 1, is_above = sentinels[i]> highest +
                        2 * (highest - lowest) + 1;
        if (seen > 0 && seen < count && (is_below || is_above))
            return arena_printf(arena, "%g", sentinels[i]);
    }
    return NULL;
}
