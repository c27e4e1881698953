/* SPDX-License-Identifier: MIT */
#include "archive/write_xlsx.h"

#include "archive/about.h"
#include "archive/daily_table.h"
#include "archive/month_table.h"
#include "archive/sheet.h"
#include "archive/sheet_chart.h"
#include "archive/write_daily.h"
#include "archive/workbook.h"
#include "archive/written.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_ROWS = 1048575 /* of data, below the header */ };

struct writer {
    const struct dataset *dataset;
    const struct daily *daily;
    struct workbook book;
    bool has_chart;
};

static void put_data(struct writer *writer);
static void put_data_row(struct writer *writer, const struct month_column *columns, size_t n, size_t row);
static char *print_data_cell(const struct writer *writer, const struct month_column *column, size_t row, char *at);
static void put_daily(struct writer *writer);
static void put_daily_cell(struct text *to, const struct daily_cell *cell);
static void put_chart(struct writer *writer, const struct daily_column *columns, size_t n);
static size_t choose_series(const struct daily_column *columns, size_t n, size_t ret[SHEET_CHART_SERIES_MAX]);
static void put_corrections(struct writer *writer);
static void put_finding(struct writer *writer, const struct finding *finding);
static void put_notes(struct writer *writer);
static void put_note(struct writer *writer, const struct note *note);
static void put_about(struct writer *writer);
static void put_month(struct writer *writer);
static void put_legend(struct writer *writer);
static void put_pair(struct writer *writer, const char *label, const char *text);
static void put_heading_row(struct writer *writer, const char *const *headings, size_t n);
static void put_quantity_number(struct text *to, enum quantity quantity, double inside);
static void begin_book(struct writer *writer, struct text *ret);

static const char *const sheets[] = {"data", "daily", "corrections", "notes", "about"};

void write_xlsx(const struct dataset *dataset, struct text *ret)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    const struct daily *daily = daily_of(dataset, arena);
    struct writer writer = {
        .dataset = dataset,
        .daily = daily,
        .has_chart = (daily->columns >> QUANTITY_LEVEL | daily->columns >> QUANTITY_OXYGEN) & 1,
    };
    begin_book(&writer, ret);
    put_data(&writer);
    put_daily(&writer);
    put_corrections(&writer);
    put_notes(&writer);
    put_about(&writer);
    workbook_end(&writer.book);
}

static void begin_book(struct writer *writer, struct text *ret)
{
    const struct dataset *dataset = writer->dataset;
    const struct config *config = dataset->config;
    int64_t last = dataset->record.n > 0 ? dataset->record.time[dataset->record.n - 1] : dataset->span.from;
    char title[512];
    snprintf(title, sizeof title, "%.200s, %.200s, %04d-%02d", config->network_name, dataset->station->name,
             dataset->year, dataset->month);
    const struct workbook_about about = {.title = title,
                                         .creator =
                                             *config->operator_name ? config->operator_name : config->network_name,
                                         .created = last,
                                         .version = dataset->revision,
                                         .sheets = sheets,
                                         .sheet_count = COUNT_OF(sheets),
                                         .shown = COUNT_OF(sheets),
                                         .has_chart = writer->has_chart};
    workbook_begin(&writer->book, &about, ret);
}

/* ---- data ---- */

static void put_data(struct writer *writer)
{
    static const unsigned widths[] = {20, 24};
    const struct record *record = &writer->dataset->record;
    struct month_column all[MONTH_COLUMNS_MAX], columns[MONTH_COLUMNS_MAX];
    size_t count = month_table_columns(writer->dataset, all), n = 0;
    for (size_t i = 0; i < count; i++)
        if (all[i].cell == CELL_TIME || all[i].cell == CELL_VALUE || all[i].cell == CELL_FLAG)
            columns[n++] = all[i];
    const struct sheet_layout layout = {
        .frozen_rows = 1, .frozen_columns = 1, .widths = widths, .width_count = COUNT_OF(widths), .column_count = n};
    sheet_begin(&writer->book.part, &layout);
    sheet_begin_row(&writer->book.part);
    for (size_t i = 0; i < n; i++)
        sheet_put_heading(&writer->book.part, columns[i].name);
    sheet_end_row(&writer->book.part);
    for (size_t row = 0; row < record->n && row < MOST_ROWS; row++)
        put_data_row(writer, columns, n, row);
    sheet_end(&writer->book.part, &layout);
    workbook_finish_sheet(&writer->book, 0);
}

/* Printed into room for the longest row, as the CSV is. */
static void put_data_row(struct writer *writer, const struct month_column *columns, size_t n, size_t row)
{
    static const char begin[] = "<row>", end[] = "</row>";
    size_t most = n * SHEET_CELL_MAX + sizeof begin + sizeof end;
    char *start = text_room(&writer->book.part, most), *at = start;
    if (!start)
        return;
    at = (char *)memcpy(at, begin, sizeof begin - 1) + sizeof begin - 1;
    for (size_t i = 0; i < n; i++)
        at = print_data_cell(writer, &columns[i], row, at);
    at = (char *)memcpy(at, end, sizeof end - 1) + sizeof end - 1;
    text_shorten(&writer->book.part, most - (size_t)(at - start));
}

static char *print_data_cell(const struct writer *writer, const struct month_column *column, size_t row, char *at)
{
    const struct record *record = &writer->dataset->record;
    enum quantity q = column->quantity;
    if (column->cell == CELL_TIME)
        return sheet_print_time(at, record->time[row]);
    if (column->cell == CELL_FLAG)
        return sheet_print_integer(at, record->flag[q][row]);
    return sheet_print_number(at, quantity_to_written(q, record->value[q][row]), quantity_info(q)->decimals);
}

/* ---- daily ---- */

static void put_daily(struct writer *writer)
{
    static const unsigned widths[] = {12, 20, 26};
    struct daily_column columns[DAILY_COLUMNS_MAX];
    size_t n = daily_table_columns(writer->daily, columns);
    const struct sheet_layout layout = {.frozen_rows = 1,
                                        .frozen_columns = 1,
                                        .widths = widths,
                                        .width_count = COUNT_OF(widths),
                                        .column_count = n,
                                        .has_drawing = writer->has_chart};
    sheet_begin(&writer->book.part, &layout);
    sheet_begin_row(&writer->book.part);
    for (size_t i = 0; i < n; i++)
        sheet_put_heading(&writer->book.part, columns[i].name);
    sheet_end_row(&writer->book.part);
    for (size_t day = 0; day < writer->daily->count; day++) {
        sheet_begin_row(&writer->book.part);
        for (size_t i = 0; i < n; i++) {
            struct daily_cell cell =
                daily_table_cell(&writer->daily->days[day], &columns[i], writer->dataset->station->utc_offset);
            put_daily_cell(&writer->book.part, &cell);
        }
        sheet_end_row(&writer->book.part);
    }
    sheet_end(&writer->book.part, &layout);
    workbook_finish_sheet(&writer->book, 1);
    if (writer->has_chart)
        put_chart(writer, columns, n);
}

static void put_daily_cell(struct text *to, const struct daily_cell *cell)
{
    switch (cell->kind) {
    case DAILY_CELL_EMPTY: sheet_put_empty(to); return;
    case DAILY_CELL_DATE: sheet_put_date(to, cell->time); return;
    case DAILY_CELL_TIME: sheet_put_time(to, cell->time); return;
    case DAILY_CELL_NUMBER: sheet_put_number(to, cell->number, cell->decimals); return;
    }
}

static void put_chart(struct writer *writer, const struct daily_column *columns, size_t n)
{
    enum { DAYS_MAX = 31 };
    size_t chosen[SHEET_CHART_SERIES_MAX], count = choose_series(columns, n, chosen), days = writer->daily->count;
    int64_t dates[DAYS_MAX], utc_offset = writer->dataset->station->utc_offset;
    double values[SHEET_CHART_SERIES_MAX][DAYS_MAX];
    char titles[SHEET_CHART_SERIES_MAX][128];
    struct sheet_series series[SHEET_CHART_SERIES_MAX];
    days = days < DAYS_MAX ? days : DAYS_MAX;
    for (size_t k = 0; k < count; k++) {
        const struct daily_column *column = &columns[chosen[k]];
        const struct quantity_info *info = quantity_info(column->quantity);
        snprintf(titles[k], sizeof titles[k], "%s, %s (%s)", info->title,
                 column->kind == DAILY_MINIMUM ? "daily minimum" : "daily mean", info->unit);
        series[k] = (struct sheet_series){titles[k], chosen[k], values[k], info->decimals};
        for (size_t day = 0; day < days; day++) {
            struct daily_cell cell = daily_table_cell(&writer->daily->days[day], column, utc_offset);
            values[k][day] = cell.kind == DAILY_CELL_NUMBER ? cell.number : NAN;
            dates[day] = writer->daily->days[day].span.from + utc_offset;
        }
    }
    const struct sheet_chart chart = {"daily", writer->dataset->station->name, days, dates, series, count};
    sheet_chart_put(&writer->book.part, &chart);
    workbook_finish_part(&writer->book, "xl/charts/chart1.xml");
    sheet_chart_put_drawing(&writer->book.part, days + 2);
    workbook_finish_part(&writer->book, "xl/drawings/drawing1.xml");
    text_puts(&writer->book.part,
              WORKBOOK_HEADER "<Relationships xmlns=\"" WORKBOOK_PACKAGE "/relationships\"><Relationship Id=\"rId1\" "
                              "Type=\"" WORKBOOK_OFFICE "/chart\" Target=\"../charts/chart1.xml\"/></Relationships>");
    workbook_finish_part(&writer->book, "xl/drawings/_rels/drawing1.xml.rels");
    text_puts(&writer->book.part, WORKBOOK_HEADER
              "<Relationships xmlns=\"" WORKBOOK_PACKAGE "/relationships\"><Relationship Id=\"rId1\" "
              "Type=\"" WORKBOOK_OFFICE "/drawing\" Target=\"../drawings/drawing1.xml\"/></Relationships>");
    workbook_finish_part(&writer->book, "xl/worksheets/_rels/sheet2.xml.rels");
}

/* The mean of the level says how the water stood; the minimum of oxygen is what fish feel. */
static size_t choose_series(const struct daily_column *columns, size_t n, size_t ret[SHEET_CHART_SERIES_MAX])
{
    size_t count = 0;
    for (size_t i = 0; i < n && count < SHEET_CHART_SERIES_MAX; i++)
        if ((columns[i].kind == DAILY_MEAN && columns[i].quantity == QUANTITY_LEVEL) ||
            (columns[i].kind == DAILY_MINIMUM && columns[i].quantity == QUANTITY_OXYGEN))
            ret[count++] = i;
    return count;
}

/* ---- corrections, notes ---- */

static void put_corrections(struct writer *writer)
{
    static const char *const headings[] = {"time_utc",  "quantity", "unit",       "kind",
                                           "reference", "record",   "difference", "remark"};
    static const unsigned widths[] = {20, 24, 10, 16, 14};
    const struct sheet_layout layout = {
        .frozen_rows = 1, .widths = widths, .width_count = COUNT_OF(widths), .column_count = COUNT_OF(headings)};
    struct text *to = &writer->book.part;
    sheet_begin(to, &layout);
    put_heading_row(writer, headings, COUNT_OF(headings));
    for (size_t i = 0; i < writer->dataset->check_count; i++) {
        const struct check_result *check = &writer->dataset->checks[i];
        sheet_begin_row(to);
        sheet_put_time(to, check->time);
        sheet_put_text(to, quantity_info(check->quantity)->key);
        sheet_put_text(to, quantity_info(check->quantity)->unit);
        sheet_put_text(to, check_kind_word(check->kind));
        put_quantity_number(to, check->quantity, check->reference);
        put_quantity_number(to, check->quantity, check->sensor);
        put_quantity_number(to, check->quantity, check->difference);
        sheet_put_text(to, check->is_first ? "first of a deployment: ties the record, does not judge it" : "");
        sheet_end_row(to);
    }
    for (size_t i = 0; i < writer->dataset->finding_count; i++)
        put_finding(writer, &writer->dataset->findings[i]);
    sheet_end(to, &layout);
    workbook_finish_sheet(&writer->book, 2);
}

static void put_finding(struct writer *writer, const struct finding *finding)
{
    struct text *to = &writer->book.part;
    bool has_quantity = finding->quantity < QUANTITY_COUNT;
    sheet_begin_row(to);
    sheet_put_time(to, finding->span.from);
    sheet_put_text(to, has_quantity ? quantity_info(finding->quantity)->key : "");
    sheet_put_text(to, has_quantity ? quantity_info(finding->quantity)->unit : "");
    sheet_put_text(to, finding_kind_word(finding->kind));
    sheet_put_text(to, "");
    put_quantity_number(to, finding->quantity, finding->value);
    sheet_put_text(to, "");
    sheet_put_text(to, finding->text);
    sheet_end_row(to);
}

static void put_notes(struct writer *writer)
{
    static const char *const headings[] = {"time_utc", "kind",      "until_utc", "quantity", "unit",
                                           "value",    "reference", "text",      "drop",     "line"};
    static const unsigned widths[] = {20, 16, 20, 24, 10, 14, 14, 60, 8};
    const struct sheet_layout layout = {
        .frozen_rows = 1, .widths = widths, .width_count = COUNT_OF(widths), .column_count = COUNT_OF(headings)};
    sheet_begin(&writer->book.part, &layout);
    put_heading_row(writer, headings, COUNT_OF(headings));
    for (size_t i = 0; i < writer->dataset->note_count; i++)
        put_note(writer, &writer->dataset->notes[i]);
    sheet_end(&writer->book.part, &layout);
    workbook_finish_sheet(&writer->book, 3);
}

static void put_note(struct writer *writer, const struct note *note)
{
    struct text *to = &writer->book.part;
    enum quantity quantity = written_note_quantity(note);
    bool has_quantity = quantity < QUANTITY_COUNT;
    sheet_begin_row(to);
    sheet_put_time(to, note->time);
    sheet_put_text(to, note_kind_word(note->kind));
    sheet_put_time(to, note->until);
    /* The value of a tape reading is no level but a distance down from the tape point. */
    sheet_put_text(to, has_quantity && note->kind != NOTE_TAPE_DOWN ? quantity_info(quantity)->key : "");
    sheet_put_text(to, has_quantity ? quantity_info(quantity)->unit : "");
    put_quantity_number(to, quantity, note->value);
    put_quantity_number(to, quantity, note->reference);
    sheet_put_text(to, note->text);
    sheet_put_integer(to, note->drop);
    sheet_put_integer(to, note->line);
    sheet_end_row(to);
}

/* ---- about ---- */

static void put_about(struct writer *writer)
{
    static const unsigned widths[] = {34, 24, 22, 14};
    const struct dataset *dataset = writer->dataset;
    const struct sheet_layout layout = {.widths = widths, .width_count = COUNT_OF(widths), .column_count = 10};
    char text[64], first[TIMESTAMP_SIZE];
    sheet_begin(&writer->book.part, &layout);
    struct text state;
    text_init(&state, LONGEST_STATE);
    about_add_state(dataset, &state);
    put_pair(writer, "please read", state.bytes);
    text_done(&state);
    put_pair(writer, "", about_caution());
    if (dataset->record.n > MOST_ROWS)
        put_pair(writer, "", "The sheet 'data' has no room for all samples: the CSV has them.");
    put_pair(writer, "network", dataset->config->network_name);
    put_pair(writer, "operator", dataset->config->operator_name);
    put_pair(writer, "contact", dataset->config->contact);
    put_pair(writer, "station", dataset->station->id);
    put_pair(writer, "name", dataset->station->name);
    snprintf(text, sizeof text, "%.6f, %.6f (WGS 84)", dataset->station->latitude, dataset->station->longitude);
    put_pair(writer, "latitude, longitude", text);
    put_pair(writer, "level datum", dataset->station->datum);
    snprintf(text, sizeof text, "%04d-%02d", dataset->year, dataset->month);
    put_pair(writer, "month, by standard time", text);
    put_pair(writer, "begins (UTC)", timestamp_print(dataset->span.from, first));
    snprintf(text, sizeof text, "%lld", (long long)dataset->revision);
    put_pair(writer, "revision", text);
    put_pair(writer, "state", record_state_word(dataset->state));
    put_legend(writer);
    put_month(writer);
    sheet_end(&writer->book.part, &layout);
    workbook_finish_sheet(&writer->book, 4);
}

static void put_legend(struct writer *writer)
{
    static const uint8_t flags[] = {FLAG_PASS, FLAG_NOT_EVALUATED, FLAG_SUSPECT, FLAG_FAIL, FLAG_MISSING};
    char text[160];
    put_pair(writer, "", "");
    for (size_t i = 0; i < COUNT_OF(flags); i++) {
        snprintf(text, sizeof text, "%d: %s", flags[i], flag_word(flags[i]));
        put_pair(writer, i == 0 ? "flags (IOC Manuals and Guides 54)" : "", text);
    }
    put_pair(writer, "", "An empty cell is a missing value.");
    put_pair(writer, "", "");
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!writer->dataset->record.value[q])
            continue;
        snprintf(text, sizeof text, "%s [%s]", quantity_info(q)->title, quantity_info(q)->unit);
        put_pair(writer, quantity_info(q)->column, text);
    }
    put_pair(writer, "", "");
    for (size_t i = 0; write_daily_method(i); i++)
        put_pair(writer, i == 0 ? "daily values" : "", write_daily_method(i));
    put_pair(writer, "", "");
}

static void put_month(struct writer *writer)
{
    static const char *const headings[] = {"the whole month", "minimum",          "time of it (UTC)",
                                           "maximum",         "time of it (UTC)", "mean",
                                           "samples used",    "suspect",          "good percent"};
    struct text *to = &writer->book.part;
    put_heading_row(writer, headings, COUNT_OF(headings));
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const struct daily_value *value = &writer->daily->month.value[q];
        if (!writer->dataset->record.value[q])
            continue;
        sheet_begin_row(to);
        sheet_put_text(to, quantity_info(q)->column);
        put_quantity_number(to, q, value->minimum);
        sheet_put_time(to, value->minimum_time);
        put_quantity_number(to, q, value->maximum);
        sheet_put_time(to, value->maximum_time);
        put_quantity_number(to, q, value->mean);
        sheet_put_integer(to, (int64_t)value->used);
        sheet_put_integer(to, (int64_t)value->suspect);
        sheet_put_number(to, daily_good_percent(&writer->daily->month, q), 1);
        sheet_end_row(to);
    }
    for (size_t i = 0; i < writer->daily->limit_count; i++) {
        char label[64];
        snprintf(label, sizeof label, "hours of oxygen below %g mg/L", writer->daily->limits[i]);
        sheet_begin_row(to);
        sheet_put_text(to, label);
        sheet_put_number(to, (double)writer->daily->month.below[i] / (double)HOUR_MS, 2);
        sheet_end_row(to);
    }
}

static void put_pair(struct writer *writer, const char *label, const char *text)
{
    sheet_begin_row(&writer->book.part);
    sheet_put_heading(&writer->book.part, label);
    sheet_put_text(&writer->book.part, text);
    sheet_end_row(&writer->book.part);
}

static void put_heading_row(struct writer *writer, const char *const *headings, size_t n)
{
    sheet_begin_row(&writer->book.part);
    for (size_t i = 0; i < n; i++)
        sheet_put_heading(&writer->book.part, headings[i]);
    sheet_end_row(&writer->book.part);
}

static void put_quantity_number(struct text *to, enum quantity quantity, double inside)
{
    if (quantity >= QUANTITY_COUNT)
        sheet_put_empty(to);
    else
        sheet_put_number(to, quantity_to_written(quantity, inside), quantity_info(quantity)->decimals);
}
