/* SPDX-License-Identifier: MIT */
/* Growable text with a limit, numbers without a locale, and escapes for each place that text goes to. */
#ifndef RILLWARD_BASE_TEXT_H
#define RILLWARD_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Growable text. `bytes` is always ended by a NUL (not counted) once anything was added; NULL before.
 * Past `limit` bytes nothing more is added and `is_full` tells: check it once, at the end. */
struct text {
    char *bytes;
    size_t length, capacity, limit;
    bool is_full;
};

void text_init(struct text *text, size_t limit);
void text_done(struct text *text); /* frees; the struct may be used again after text_init */
void text_clear(struct text *text);
void text_add(struct text *text, const char *bytes, size_t length);
/* Room for `length` bytes at the end, counted as added, for the caller to fill before anything else is added; NULL past
 * the limit. text_shorten() takes back the last ones. */
char *text_room(struct text *text, size_t length);
void text_shorten(struct text *text, size_t length);
void text_puts(struct text *text, const char *string);
void text_putc(struct text *text, char c);
void text_printf(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));
void text_integer(struct text *text, int64_t value);

/* `value` with exactly `decimals` (0..9) digits after the point, rounded to nearest; "-0.00" is written "0.00".
 * NaN and infinities add nothing. Much faster than printf, same digits except at exact ties. */
void text_number(struct text *text, double value, int decimals);

/* The same into the caller's bytes, for loops over many cells: text_room() for a row, then these. Return the place
 * behind what was written; no NUL, no limit. */
enum { TEXT_NUMBER_MAX = 352, TEXT_INTEGER_MAX = 20 }; /* the most that one of them writes */
char *text_print_number(char *at, double value, int decimals);
char *text_print_integer(char *at, int64_t value);

/* JSON string with its quotes (RFC 8259; bytes that are not UTF-8 become U+FFFD); NULL is written null. */
void text_json(struct text *text, const char *string);
void text_json_bytes(struct text *text, const char *string, size_t length);
/* For HTML and XML text and attribute values; what is not UTF-8 becomes U+FFFD, what XML cannot hold a space. */
void text_markup(struct text *text, const char *string);
/* One CSV cell by RFC 4180, quoted only where needed. A text cell that a spreadsheet would run (= + - @ TAB CR first)
 * gets an apostrophe in front. */
void text_csv_cell(struct text *text, const char *string);

/* Copy `string` for a terminal or a log line: control bytes, ESC, line ends and broken UTF-8 become \xHH, bidirectional
 * controls become \u{...}. Returns the length written (< size); always ended. */
size_t text_make_visible(const char *string, char *ret, size_t size);

/* Strict number: optional sign, digits, `decimal` ('.' or ','), optional exponent; the whole of [string, string+length)
 * but for spaces around it. U+2212 and no other dress is accepted as a minus. No hex, no inf, no nan, no thousands
 * marks. Overflow is refused. Never looks at the locale. */
bool text_parse_number(const char *string, size_t length, char decimal, double *ret);
bool text_parse_integer(const char *string, size_t length, int64_t *ret);

/* ASCII only. */
bool text_equal_ignoring_case(const char *a, const char *b);
bool text_starts_with(const char *string, const char *prefix);
bool text_ends_with(const char *string, const char *suffix);
/* Shell-like pattern over a whole string: `*` any run but '/', `**` any run, `?` one byte but '/'. Case counts unless
 * told. */
bool text_matches(const char *pattern, const char *string, bool ignore_case);
/* Smallest number of single-letter edits, cut off at 4: for "did you mean". */
unsigned text_distance(const char *a, const char *b);
/* Length of the UTF-8 sequence at `bytes` (1..4), 0 where it is broken. */
size_t text_utf8_length(const char *bytes, size_t available);

#endif
