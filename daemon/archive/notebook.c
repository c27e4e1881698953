/* SPDX-License-Identifier: MIT */
#include "archive/notebook.h"

#include "archive/sheet.h"
#include "archive/sheet_chart.h"
#include "archive/workbook.h"
#include "base/memory.h"

#include <stdio.h>
#include <string.h>

enum {
    COLUMNS_MAX = 64,
    HEADER_SIZE = 160,
    ROWS = 1000, /* of visits that a workbook offers words for */
    LISTS = 3,   /* stations, kinds, quantities */
    TIME_COLUMNS = 2,
};

/* One column of the file. */
struct entry {
    char header[HEADER_SIZE];
    const struct column *column; /* NULL: of the time */
    bool is_date;                /* the calendar day alone */
};

struct notebook {
    const struct config *config;
    const struct layout *layout;
    struct entry entries[COLUMNS_MAX];
    size_t count;
};

static void list_entries(const struct config *config, const struct layout *layout, struct notebook *ret);
static bool reduce_header(const char *pattern, char ret[HEADER_SIZE]);
static const char *unit_of(const struct column *column);
static void explain(const struct notebook *book, const struct entry *entry, struct text *ret);
static void explain_time(const struct notebook *book, const struct entry *entry, struct text *ret);
static const char *meaning(const struct column *column);
static const char *note_meaning(enum note_kind kind, bool is_reference);
static void put_entries(struct workbook *workbook, const struct notebook *book);
static void put_explanations(struct workbook *workbook, const struct notebook *book);
static void put_lists(struct workbook *workbook, const struct notebook *book);
static size_t list_of(const struct column *column);
static const char *list_word(const struct notebook *book, size_t list, size_t index);
static const char *given_word(const struct word_meaning *words, size_t count, size_t index,
                              const char *(*standard)(size_t index));
static const char *standard_kind(size_t index);
static const char *standard_quantity(size_t index);

bool notebook_suits(const struct layout *layout)
{
    char header[HEADER_SIZE];
    bool is_plain = layout->holds == LAYOUT_NOTES && layout->column_count + TIME_COLUMNS <= COLUMNS_MAX;
    for (size_t i = 0; is_plain && i < TIME_COLUMNS && layout->time_columns[i]; i++)
        is_plain = reduce_header(layout->time_columns[i], header);
    for (size_t i = 0; is_plain && i < layout->column_count; i++)
        is_plain = layout->columns[i].role == COLUMN_IGNORED || reduce_header(layout->columns[i].header, header);
    return is_plain;
}

void notebook_render_csv(const struct config *config, const struct layout *layout, struct text *ret)
{
    struct notebook book;
    list_entries(config, layout, &book);
    for (size_t i = 0; *layout->comment && i < book.count; i++) {
        text_printf(ret, "%s ", layout->comment);
        explain(&book, &book.entries[i], ret);
        text_putc(ret, '\n');
    }
    for (size_t i = 0; i < book.count; i++) {
        if (i > 0)
            text_putc(ret, layout->delimiter ? layout->delimiter : ',');
        text_csv_cell(ret, book.entries[i].header);
    }
    text_putc(ret, '\n');
}

void notebook_render_workbook(const struct config *config, const struct layout *layout, struct text *ret)
{
    const char *const sheets[] = {"notes", "how to", "lists"};
    const struct workbook_about about = {.title = "Field notes",
                                         .creator =
                                             *config->operator_name ? config->operator_name : config->network_name,
                                         .version = 1,
                                         .sheets = sheets,
                                         .sheet_count = COUNT_OF(sheets),
                                         .shown = COUNT_OF(sheets) - 1};
    struct notebook book;
    struct workbook workbook;
    list_entries(config, layout, &book);
    workbook_begin(&workbook, &about, ret);
    put_entries(&workbook, &book);
    put_explanations(&workbook, &book);
    put_lists(&workbook, &book);
    workbook_end(&workbook);
}

/* ---- columns ---- */

static void list_entries(const struct config *config, const struct layout *layout, struct notebook *ret)
{
    *ret = (struct notebook){.config = config, .layout = layout};
    for (size_t i = 0; i < TIME_COLUMNS && layout->time_columns[i]; i++) {
        struct entry *entry = &ret->entries[ret->count++];
        (void)reduce_header(layout->time_columns[i], entry->header);
        entry->is_date = i == 0 && layout->time_columns[1];
    }
    for (size_t i = 0; i < layout->column_count; i++) {
        const struct column *column = &layout->columns[i];
        if (column->role == COLUMN_IGNORED)
            continue;
        struct entry *entry = &ret->entries[ret->count++];
        (void)reduce_header(column->header, entry->header);
        entry->column = column;
        const char *unit = unit_of(column);
        size_t used = strlen(entry->header);
        if (unit && !strpbrk(entry->header, "([,"))
            snprintf(entry->header + used, sizeof entry->header - used, " (%s)", unit);
    }
}

/* A pattern's * and ? stand for what crews write as they like: an empty file needs none of it. */
static bool reduce_header(const char *pattern, char ret[HEADER_SIZE])
{
    size_t used = 0;
    for (const char *c = pattern; *c && used + 1 < HEADER_SIZE; c++)
        if (*c != '*' && *c != '?')
            ret[used++] = *c;
    while (used > 0 && ret[used - 1] == ' ')
        used--;
    ret[used] = '\0';
    return used > 0;
}

/* NULL: the column takes none. */
static const char *unit_of(const struct column *column)
{
    if (column->role != COLUMN_NOTE)
        return NULL;
    switch (column->note_kind) {
    case NOTE_LEVEL:
    case NOTE_TAPE_DOWN: return column->unit ? column->unit : quantity_info(QUANTITY_LEVEL)->unit;
    case NOTE_CHECK:
    case NOTE_CHECK_CLEANED:
    case NOTE_STANDARD:
        if (!column->unit && strcmp(quantity_info(column->quantity)->unit, "1") == 0)
            return NULL;
        return column->unit ? column->unit : quantity_info(column->quantity)->unit;
    default: return NULL;
    }
}

/* ---- explanations ---- */

static void explain(const struct notebook *book, const struct entry *entry, struct text *ret)
{
    text_printf(ret, "%s: ", entry->header);
    if (!entry->column) {
        explain_time(book, entry, ret);
        return;
    }
    text_puts(ret, meaning(entry->column));
    if (entry->column->role == COLUMN_STATION)
        for (size_t i = 0; i < book->config->station_count; i++)
            text_printf(ret, "%s%s", i == 0 ? ": " : ", ", book->config->stations[i].id);
    if (entry->column->is_optional && entry->column->role == COLUMN_NOTE)
        text_puts(ret, "; empty where there is none");
}

static void explain_time(const struct notebook *book, const struct entry *entry, struct text *ret)
{
    const struct layout *layout = book->layout;
    const char *format = strcmp(layout->time_format, "iso") == 0 ? "2026-04-06 13:50" : layout->time_format;
    const char *gap = layout->time_columns[1] ? strchr(format, ' ') : NULL;
    if (gap && entry->is_date)
        text_printf(ret, "the day, written as %.*s; ", (int)(gap - format), format);
    else
        text_printf(ret, "%s, written as %s; ", gap ? "the time of day" : "day and time", gap ? gap + 1 : format);
    if (layout->zone)
        text_printf(ret, "clock: %s", layout->zone_name);
    else
        text_puts(ret, "the station's standard time all year, no summer time");
}

static const char *meaning(const struct column *column)
{
    switch (column->role) {
    case COLUMN_STATION: return "which station";
    case COLUMN_SERIAL: return "serial number of the logger";
    case COLUMN_NOTE: return note_meaning(column->note_kind, column->is_reference);
    case COLUMN_KIND: return "what was done or seen";
    case COLUMN_QUANTITY_NAME: return "what was measured";
    case COLUMN_VALUE: return "the reading; of a clock check what the logger's clock showed";
    case COLUMN_UNIT: return "unit of the reading and of the reference";
    case COLUMN_REFERENCE: return "the meter beside the logger, or the standard";
    case COLUMN_UNTIL: return "end, of what lasts";
    case COLUMN_TEXT: return "anything else worth knowing";
    case COLUMN_QUANTITY:
    case COLUMN_IGNORED: break;
    }
    return "";
}

static const char *note_meaning(enum note_kind kind, bool is_reference)
{
    switch (kind) {
    case NOTE_LEVEL:
        return "water level read on the staff when the water is calm; another unit may stand behind the number (3 ft 4 "
               "in)";
    case NOTE_TAPE_DOWN: return "from the measuring point down to the water; another unit may stand behind the number";
    case NOTE_OUT_OF_WATER: return "time of day at which the logger came out, or x for the time of the row";
    case NOTE_IN_WATER: return "time of day at which the logger went in, or x for the time of the row";
    case NOTE_CHECK:
        return is_reference ? "the meter beside the logger, as found" : "the logger beside the meter, as found";
    case NOTE_CHECK_CLEANED:
        return is_reference ? "the meter beside the logger, after cleaning"
                            : "the logger beside the meter, after cleaning";
    case NOTE_STANDARD: return is_reference ? "the standard's value" : "the logger in the standard";
    case NOTE_CLOCK: return "what the logger's clock showed at the time of the row";
    case NOTE_INSTRUMENT: return "serial number of the logger that hangs there from here on";
    case NOTE_BATTERY: return "time of day at which the logger got new batteries, or x for the time of the row";
    case NOTE_REMARK: return "anything else worth knowing";
    case NOTE_STRIKE: return "values from the time of the row until this one are struck out";
    case NOTE_RESTORE: return "values from the time of the row until this one stand whatever the tests say";
    case NOTE_REVIEWED: return "values from the time of the row until this one were reviewed";
    case NOTE_KIND_COUNT: break;
    }
    return "";
}

/* ---- workbook ---- */

static void put_entries(struct workbook *workbook, const struct notebook *book)
{
    struct sheet_choice choices[COLUMNS_MAX];
    char ranges[COLUMNS_MAX][48], name[8];
    unsigned widths[COLUMNS_MAX];
    size_t choice_count = 0;
    for (size_t i = 0; i < book->count; i++) {
        size_t list = list_of(book->entries[i].column), words = 0;
        widths[i] = (unsigned)strlen(book->entries[i].header) + 4;
        while (list < LISTS && list_word(book, list, words))
            words++;
        if (words == 0)
            continue;
        sheet_column_name(list, name);
        snprintf(ranges[choice_count], sizeof ranges[0], "lists!$%s$1:$%s$%zu", name, name, words);
        choices[choice_count] = (struct sheet_choice){.column = i, .from = ranges[choice_count]};
        choice_count++;
    }
    const struct sheet_layout layout = {.frozen_rows = 1,
                                        .widths = widths,
                                        .width_count = book->count,
                                        .column_count = book->count,
                                        .begins_with_date = book->entries[0].is_date,
                                        .choices = choices,
                                        .choice_count = choice_count,
                                        .choice_rows = ROWS};
    sheet_begin(&workbook->part, &layout);
    sheet_begin_row(&workbook->part);
    for (size_t i = 0; i < book->count; i++)
        sheet_put_heading(&workbook->part, book->entries[i].header);
    sheet_end_row(&workbook->part);
    sheet_end(&workbook->part, &layout);
    workbook_finish_sheet(workbook, 0);
}

static void put_explanations(struct workbook *workbook, const struct notebook *book)
{
    static const unsigned widths[] = {120};
    const struct sheet_layout layout = {.widths = widths, .width_count = 1, .column_count = 1};
    struct text line;
    text_init(&line, 1u << 16);
    sheet_begin(&workbook->part, &layout);
    for (size_t i = 0; i < book->count; i++) {
        text_clear(&line);
        explain(book, &book->entries[i], &line);
        sheet_begin_row(&workbook->part);
        sheet_put_text(&workbook->part, line.bytes);
        sheet_end_row(&workbook->part);
    }
    sheet_end(&workbook->part, &layout);
    text_done(&line);
    workbook_finish_sheet(workbook, 1);
}

static void put_lists(struct workbook *workbook, const struct notebook *book)
{
    static const unsigned widths[] = {24};
    const struct sheet_layout layout = {.widths = widths, .width_count = 1, .column_count = LISTS};
    sheet_begin(&workbook->part, &layout);
    for (size_t row = 0, found = LISTS; found > 0; row++) {
        found = 0;
        for (size_t list = 0; list < LISTS; list++)
            found += list_word(book, list, row) != NULL;
        if (found == 0)
            break;
        sheet_begin_row(&workbook->part);
        for (size_t list = 0; list < LISTS; list++) {
            const char *word = list_word(book, list, row);
            sheet_put_text(&workbook->part, word ? word : "");
        }
        sheet_end_row(&workbook->part);
    }
    sheet_end(&workbook->part, &layout);
    workbook_finish_sheet(workbook, 2);
}

/* LISTS: there is nothing to choose from. */
static size_t list_of(const struct column *column)
{
    if (!column)
        return LISTS;
    switch (column->role) {
    case COLUMN_STATION: return 0;
    case COLUMN_KIND: return 1;
    case COLUMN_QUANTITY_NAME: return 2;
    default: return LISTS;
    }
}

/* NULL past the last. The crew's own words where the layout has such; ours are understood as well. */
static const char *list_word(const struct notebook *book, size_t list, size_t index)
{
    const struct layout *layout = book->layout;
    switch (list) {
    case 0: return index < book->config->station_count ? book->config->stations[index].id : NULL;
    case 1: return given_word(layout->kinds, layout->kind_count, index, standard_kind);
    default: return given_word(layout->quantities, layout->quantity_count, index, standard_quantity);
    }
}

static const char *given_word(const struct word_meaning *words, size_t count, size_t index,
                              const char *(*standard)(size_t index))
{
    if (count == 0)
        return standard(index);
    return index < count ? words[index].word : NULL;
}

static const char *standard_kind(size_t index)
{
    return index < NOTE_KIND_COUNT ? note_kind_word((enum note_kind)index) : NULL;
}

static const char *standard_quantity(size_t index)
{
    return index < QUANTITY_COUNT ? quantity_info((enum quantity)index)->key : NULL;
}
