/* SPDX-License-Identifier: MIT */
/* What the cells of a workbook mean (ISO/IEC 29500-1): number formats, serial dates, escapes. */
#ifndef RILLWARD_INTAKE_XLSX_VALUE_H
#define RILLWARD_INTAKE_XLSX_VALUE_H

#include "intake/table.h"

/* What a number format makes of a number, as far as we care. */
enum xlsx_style { XLSX_PLAIN, XLSX_DATE, XLSX_PERCENT };

/* Of a built-in format, 18.8.30, those of East Asian locales included. */
enum xlsx_style xlsx_style_built_in(unsigned id);
/* Of a format code: a date where its first section holds one of y m d h s outside quotes, escapes and brackets. */
enum xlsx_style xlsx_style_of_code(const char *code);

enum { XLSX_VALUE_SIZE = 64 };

/* A number as a cell, written into `ret`. Numbers are the shortest text that reads back to the same double. Dates are
 * civil times, rounded to the ms, and to the second where they are within 40 ms of it (serial numbers are fractions of
 * a day, so that 5 min are never exact, and sheets add them up); a serial below 1 is a time of day. 1900-02-29, which
 * never was, dates out of range and what is no number come back as they are, for the reader to complain about. */
struct cell xlsx_number(const char *text, size_t length, enum xlsx_style style, bool is_1904,
                        char ret[XLSX_VALUE_SIZE]);

/* An ISO 8601 cell (t="d"): a date, date and time, or time of day, with 'T' or not; else text. */
struct cell xlsx_iso(const char *text, size_t length, char ret[XLSX_VALUE_SIZE]);

/* Undo _xHHHH_ (22.9.2.19) in place; returns the new length. U+0000 becomes U+FFFD. */
size_t xlsx_unescape(char *text, size_t length);

/* The column of a cell reference ("AB12" gives 27), UINT32_MAX where it is none. */
uint32_t xlsx_column(const char *reference);

#endif
