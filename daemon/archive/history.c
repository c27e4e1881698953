/* SPDX-License-Identifier: MIT */
#include "archive/history.h"

#include "archive/manifest.h"
#include "base/timestamp.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

enum { CELLS = 11, CELLS_BEFORE = 9 /* before revisions told their state and changes */ };
enum cell {
    CELL_WHAT,
    CELL_NUMBER,
    CELL_ARRIVED,
    CELL_SHA256,
    CELL_ORIGINAL,
    CELL_PATH,
    CELL_MONTH,
    CELL_REVISION,
    CELL_LAST,
    CELL_STATE,
    CELL_CHANGES
};

static const char heading[] = "what,number,arrived,sha256,original,path,month,revision,last,state,changes\n";
static const char heading_before[] = "what,number,arrived,sha256,original,path,month,revision,last\n";

static void add_path(struct text *text, const char *path);
static bool is_unreserved(char c);
static size_t cells_of(const char *bytes, size_t length);
static bool read_line(char *line, size_t count, struct arena *arena, struct history *history, struct error *error);
static bool split(char *line, size_t count, char *cells[CELLS]);
static bool read_drop(char *const cells[CELLS], struct arena *arena, struct history_drop *ret);
static bool read_revision(char *const cells[CELLS], struct arena *arena, struct history_revision *ret);
static bool read_integer(const char *cell, int64_t *ret);
static bool read_time(const char *cell, int64_t *ret);
static bool decode_path(const char *cell, struct arena *arena, const char **ret);
static bool read_state(const char *cell, enum record_state *ret);
static int digit_of(char c);

char *archive_history_path(enum archive_place place, const char *id, char ret[ARCHIVE_PATH_SIZE])
{
    archive_manifest_path(place, id, ret);
    char *base = strrchr(ret, '/') + 1;
    memcpy(base, HISTORY_NAME, sizeof HISTORY_NAME);
    return ret;
}
_Static_assert(sizeof HISTORY_NAME <= sizeof MANIFEST_NAME, "there is room for it where a manifest's name fits");

void history_render(const struct history *history, struct text *ret)
{
    char time[TIMESTAMP_SIZE];
    text_puts(ret, heading);
    for (size_t k = 0; k < history->drop_count; k++) {
        const struct history_drop *drop = &history->drops[k];
        text_puts(ret, "drop,"); /* piece by piece: a station has thousands of these after some years */
        text_integer(ret, drop->number);
        text_putc(ret, ',');
        text_puts(ret, timestamp_print(drop->arrived, time));
        text_putc(ret, ',');
        text_puts(ret, drop->sha256);
        text_putc(ret, ',');
        text_puts(ret, drop->original);
        text_putc(ret, ',');
        add_path(ret, drop->path);
        text_puts(ret, ",,,,,\n");
    }
    for (size_t k = 0; k < history->revision_count; k++) {
        const struct history_revision *revision = &history->revisions[k];
        text_printf(ret, "revision,,%s,,,,%04d-%02d,", timestamp_print(revision->arrived, time), revision->month / 12,
                    revision->month % 12 + 1);
        text_integer(ret, revision->revision);
        text_printf(ret, ",%s,%s,", timestamp_print(revision->last_time, time), record_state_word(revision->state));
        add_path(ret, revision->changes ? revision->changes : "");
        text_putc(ret, '\n');
    }
}

bool history_read(const char *bytes, size_t length, struct arena *arena, struct history *ret, struct error *error)
{
    size_t lines = 0, number = 2, count = cells_of(bytes, length);
    for (size_t i = 0; i < length; i++)
        lines += bytes[i] == '\n';
    if (count == 0 || bytes[length - 1] != '\n')
        return fail(error, ERROR_INPUT, "expected the heading '%.*s' and whole lines", (int)strlen(heading) - 1,
                    heading);
    *ret = (struct history){.drops = arena_array(arena, lines, sizeof *ret->drops),
                            .revisions = arena_array(arena, lines, sizeof *ret->revisions)};
    const char *at = (const char *)memchr(bytes, '\n', length) + 1, *end = bytes + length;
    for (const char *stop; at < end; at = stop + 1, number++) {
        stop = memchr(at, '\n', (size_t)(end - at));
        if (!read_line(arena_strndup(arena, at, (size_t)(stop - at)), count, arena, ret, error))
            return within(error, "line %zu", number);
    }
    return true;
}

static void add_path(struct text *text, const char *path)
{
    while (*path) {
        size_t plain = 0;
        while (is_unreserved(path[plain])) /* the end is none */
            plain++;
        text_add(text, path, plain);
        path += plain;
        if (*path)
            text_printf(text, "%%%02X", (unsigned)(unsigned char)*path++);
    }
}

static bool is_unreserved(char c)
{
    return manifest_byte_is_plain(c) || c == '~' || c == '/';
}

/* By its heading; 0 where it is neither ours nor one that we wrote before. */
static size_t cells_of(const char *bytes, size_t length)
{
    if (length >= strlen(heading) && memcmp(bytes, heading, strlen(heading)) == 0)
        return CELLS;
    bool is_former = length >= strlen(heading_before) && memcmp(bytes, heading_before, strlen(heading_before)) == 0;
    return is_former ? CELLS_BEFORE : 0;
}

static bool read_line(char *line, size_t count, struct arena *arena, struct history *history, struct error *error)
{
    char *cells[CELLS];
    if (split(line, count, cells)) {
        if (strcmp(cells[CELL_WHAT], "drop") == 0 && read_drop(cells, arena, &history->drops[history->drop_count])) {
            history->drop_count++;
            return true;
        }
        if (strcmp(cells[CELL_WHAT], "revision") == 0 &&
            read_revision(cells, arena, &history->revisions[history->revision_count])) {
            history->revision_count++;
            return true;
        }
    }
    return fail(error, ERROR_INPUT, "is neither a drop nor a revision as this program writes them");
}

/* Exactly so many; those that did not exist then say nothing of the changes, and that the record was provisional. */
static bool split(char *line, size_t count, char *cells[CELLS])
{
    static char nothing[] = "", provisional[] = "provisional";
    size_t n = 0;
    cells[CELL_STATE] = provisional;
    cells[CELL_CHANGES] = nothing;
    cells[n++] = line;
    for (char *comma = strchr(line, ','); comma; comma = strchr(comma + 1, ',')) {
        if (n == count)
            return false;
        *comma = '\0';
        cells[n++] = comma + 1;
    }
    return n == count;
}

static bool read_drop(char *const cells[CELLS], struct arena *arena, struct history_drop *ret)
{
    const char *sha256 = cells[CELL_SHA256];
    if (strlen(sha256) != SHA256_HEX_SIZE - 1 || strspn(sha256, "0123456789abcdef") != SHA256_HEX_SIZE - 1)
        return false;
    memcpy(ret->sha256, sha256, SHA256_HEX_SIZE);
    ret->original = cells[CELL_ORIGINAL];
    return read_integer(cells[CELL_NUMBER], &ret->number) && ret->number > 0 &&
           read_time(cells[CELL_ARRIVED], &ret->arrived) && manifest_path_is_plain(ret->original) &&
           decode_path(cells[CELL_PATH], arena, &ret->path);
}

static bool read_revision(char *const cells[CELLS], struct arena *arena, struct history_revision *ret)
{
    const char *month = cells[CELL_MONTH];
    int64_t first;
    char day[TIMESTAMP_SIZE];
    if (strlen(month) != 7)
        return false;
    snprintf(day, sizeof day, "%s-01T00:00:00Z", month);
    if (!timestamp_parse(day, strlen(day), &first))
        return false;
    struct civil civil = timestamp_to_civil(first);
    ret->month = civil.year * 12 + civil.month - 1;
    ret->last_time = TIME_NONE;
    ret->changes = "";
    if (!read_state(cells[CELL_STATE], &ret->state) ||
        (*cells[CELL_CHANGES] && !decode_path(cells[CELL_CHANGES], arena, &ret->changes)))
        return false;
    return !*cells[CELL_NUMBER] && read_time(cells[CELL_ARRIVED], &ret->arrived) &&
           read_integer(cells[CELL_REVISION], &ret->revision) && ret->revision > 0 &&
           (strcmp(cells[CELL_LAST], "-") == 0 || read_time(cells[CELL_LAST], &ret->last_time));
}

static bool read_integer(const char *cell, int64_t *ret)
{
    return text_parse_integer(cell, strlen(cell), ret);
}

static bool read_time(const char *cell, int64_t *ret)
{
    return timestamp_parse(cell, strlen(cell), ret);
}

static bool decode_path(const char *cell, struct arena *arena, const char **ret)
{
    char *path = arena_alloc(arena, strlen(cell) + 1);
    size_t n = 0;
    for (const char *at = cell; *at; at++) {
        int high = at[0] == '%' ? digit_of(at[1]) : 0, low = at[0] == '%' && high >= 0 ? digit_of(at[2]) : 0;
        if (high < 0 || low < 0 || (at[0] != '%' && !is_unreserved(at[0])))
            return false;
        path[n++] = at[0] == '%' ? (char)(high << 4 | low) : at[0];
        at += at[0] == '%' ? 2 : 0;
    }
    *ret = path;
    return n > 0 && strlen(path) == n;
}

static bool read_state(const char *cell, enum record_state *ret)
{
    *ret = RECORD_PROVISIONAL;
    while (*ret < RECORD_STATE_COUNT && strcmp(cell, record_state_word(*ret)) != 0)
        ++*ret;
    return *ret < RECORD_STATE_COUNT;
}

static int digit_of(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}
