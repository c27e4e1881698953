/* SPDX-License-Identifier: MIT */
#include "model/rows.h"

#include "base/random.h"
#include "base/text.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS (1u << QUANTITY_LEVEL | 1u << QUANTITY_TEMPERATURE)

static const enum quantity columns[] = {QUANTITY_LEVEL, QUANTITY_TEMPERATURE};

struct readings rows_read(struct arena *arena, uint32_t drop, const char *text)
{
    size_t n = *text != '\0';
    for (const char *c = text; *c; c++)
        n += *c == ';';
    struct readings rows;
    readings_init(&rows, arena, n, COLUMNS);
    for (size_t i = 0; i < n; i++) {
        char cells[2][16];
        int used;
        long long time;
        cr_assert_eq(sscanf(text, "%lld %15[^ ;] %15[^ ;]%n", &time, cells[0], cells[1], &used), 3, "'%s'", text);
        text += used + (text[used] == ';');
        rows.time[i] = time;
        rows.drop[i] = drop;
        rows.line[i] = (uint32_t)i + 1;
        for (size_t k = 0; k < 2; k++) {
            bool is_unread = strcmp(cells[k], "!") == 0;
            if (is_unread && !rows.unread)
                rows.unread = arena_array(arena, n, sizeof *rows.unread);
            if (is_unread)
                rows.unread[i] |= 1u << columns[k];
            else if (strcmp(cells[k], "-") != 0)
                cr_assert(text_parse_number(cells[k], strlen(cells[k]), '.', &rows.value[columns[k]][i]));
        }
    }
    return rows;
}

const char *rows_print(struct arena *arena, const struct readings *r)
{
    struct text text;
    text_init(&text, 1 << 20);
    for (size_t i = 0; i < r->n; i++) {
        text_printf(&text, "%s%lld", i ? "; " : "", (long long)r->time[i]);
        for (size_t k = 0; k < 2; k++) {
            double value = r->value[columns[k]] ? r->value[columns[k]][i] : NAN;
            bool is_unread = r->unread && r->unread[i] >> columns[k] & 1;
            if (isnan(value))
                text_puts(&text, is_unread ? " !" : " -");
            else
                text_printf(&text, is_unread ? " %g!" : " %g", value);
        }
        text_printf(&text, "@%u.%u", r->drop[i], r->line[i]);
    }
    const char *copy = arena_strdup(arena, text.bytes ? text.bytes : "");
    text_done(&text);
    return copy;
}

struct readings rows_random(struct arena *arena, uint32_t drop, int64_t span, uint64_t *state)
{
    struct readings rows;
    readings_init(&rows, arena, (size_t)span, (uint32_t)(random_bits(state) >> 40) & COLUMNS);
    size_t n = 0;
    for (int64_t time = 0; time < span; time++) {
        if (random_index(state, 2))
            continue;
        rows.time[n] = time;
        rows.drop[n] = drop;
        rows.line[n] = (uint32_t)n + 1;
        for (size_t k = 0; k < 2; k++)
            if (rows.value[columns[k]] && random_index(state, 3))
                rows.value[columns[k]][n] = (double)random_index(state, 3);
        n++;
    }
    rows.n = n;
    return rows;
}
