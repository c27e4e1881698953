/* SPDX-License-Identifier: MIT */
/* Indented JSON (RFC 8259) in the order of the calls, written straight into a text. Same calls, same bytes:
 * files of the archive must not differ when nothing changed. `key` is NULL inside a list. Numbers that are
 * not finite, and times that are none, become null. Nothing fails; whether the text was large enough is told
 * by text.is_full. */
#ifndef RILLWARD_ARCHIVE_JSON_H
#define RILLWARD_ARCHIVE_JSON_H

#include "base/text.h"
#include "model/quantity.h"

#include <stdbool.h>
#include <stdint.h>

enum json_shape {
    JSON_OBJECT,
    JSON_LIST,
    JSON_ROW, /* an object on one line, with all that it holds */
};

struct json {
    struct text *text;
    unsigned depth;     /* open shapes */
    unsigned row_depth; /* depth of the open row, 0 without one */
    uint32_t has_items; /* bit d: the shape at depth d holds something */
    uint32_t is_list;   /* bit d: it closes with ']' */
};

/* Opens the outermost object; json_end closes it, with a line end. */
void json_begin(struct json *json, struct text *text);
void json_end(struct json *json);

void json_open(struct json *json, const char *key, enum json_shape shape);
void json_close(struct json *json);

/* NULL: null; broken UTF-8 is replaced. */
void json_string(struct json *json, const char *key, const char *value);
void json_bool(struct json *json, const char *key, bool value);
void json_integer(struct json *json, const char *key, int64_t value);
/* As the settings give it: nine significant digits. */
void json_number(struct json *json, const char *key, double value);
/* A measured value [inside unit] in the written unit, with as many decimals as in the records. */
void json_quantity(struct json *json, const char *key, enum quantity quantity, double value);
void json_time(struct json *json, const char *key, int64_t time);
/* "+10:00" of `offset` ms ahead of UTC. */
void json_offset(struct json *json, const char *key, int64_t offset);

#endif
