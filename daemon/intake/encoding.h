/* SPDX-License-Identifier: MIT */
/* Bytes to UTF-8 text. Accepted: UTF-8 with or without a byte order mark; UTF-16 of either order, by its mark or by the
 * zero bytes at every second place; else Windows-1252 (which holds Latin-1), byte by byte wherever the text is not
 * UTF-8. */
#ifndef RILLWARD_INTAKE_ENCODING_H
#define RILLWARD_INTAKE_ENCODING_H

#include "base/error.h"
#include "base/memory.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct decoded {
    const char *bytes; /* UTF-8 without mark; points into the input where nothing had to be changed */
    size_t length;
    const char *encoding; /* "UTF-8", "UTF-16LE", "UTF-16BE", "Windows-1252": for people */
    bool is_cut;          /* the input ends inside a character, which was left out */
    size_t lines;         /* line ends, and one more */
};

/* INPUT error naming the offset where a zero byte stands in the text. */
bool encoding_decode(struct arena *arena, const char *bytes, size_t length, struct decoded *ret, struct error *error);

/* What a file is that no table can be, with its cure, for "it is %s": "a picture (JPEG)"; NULL where it may be text or
 * a workbook. */
const char *encoding_foreign(const char *bytes, size_t length);

/* `c` in UTF-8 at `at`; returns the bytes written, 1 to 4. */
size_t encoding_put_utf8(char *at, uint32_t c);

#endif
