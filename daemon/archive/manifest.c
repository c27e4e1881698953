/* SPDX-License-Identifier: MIT */
#include "archive/manifest.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { DIGITS = SHA256_HEX_SIZE - 1 };

static void add_line(struct text *text, const struct manifest_line *line);
static bool ascends(const struct manifest_line *const *lines, size_t n);
static int compare_lines(const void *a, const void *b);
static bool read_line(const char *bytes, size_t length, struct arena *arena, struct manifest_line *ret,
                      struct error *error);

void manifest_render(const struct manifest_line *lines, size_t n, struct text *ret)
{
    const struct manifest_line **sorted = x_array(n + 1, sizeof *sorted);
    for (size_t i = 0; i < n; i++)
        sorted[i] = &lines[i];
    if (!ascends(sorted, n))
        qsort(sorted, n, sizeof *sorted, compare_lines);
    for (size_t i = 0; i < n; i++) {
        assert(manifest_path_is_plain(sorted[i]->path) && strlen(sorted[i]->sha256) == DIGITS);
        assert(i == 0 || strcmp(sorted[i - 1]->path, sorted[i]->path) != 0);
        add_line(ret, sorted[i]);
    }
    free(sorted);
}

static void add_line(struct text *text, const struct manifest_line *line)
{
    size_t length = strlen(line->path);
    char *at = text_room(text, DIGITS + 2 + length + 1);
    if (!at)
        return;
    memcpy(at, line->sha256, DIGITS);
    memcpy(at + DIGITS, "  ", 2);
    memcpy(at + DIGITS + 2, line->path, length);
    at[DIGITS + 2 + length] = '\n';
}

bool manifest_read(const char *bytes, size_t length, struct arena *arena, struct manifest_line **ret_lines,
                   size_t *ret_n, struct error *error)
{
    size_t capacity = 0;
    for (size_t i = 0; i < length; i++)
        capacity += bytes[i] == '\n';
    struct manifest_line *lines = arena_array(arena, capacity + 1, sizeof *lines);
    size_t n = 0;
    for (const char *at = bytes, *end = bytes + length; at < end; n++) {
        const char *stop = memchr(at, '\n', (size_t)(end - at));
        if (!stop)
            return fail(error, ERROR_INPUT, "line %zu: has no line end, expected a whole line", n + 1);
        if (!read_line(at, (size_t)(stop - at), arena, &lines[n], error))
            return within(error, "line %zu", n + 1);
        if (n > 0 && strcmp(lines[n - 1].path, lines[n].path) >= 0)
            return fail(error, ERROR_INPUT, "line %zu: '%s' is out of order or stands twice", n + 1, lines[n].path);
        at = stop + 1;
    }
    *ret_lines = lines;
    *ret_n = n;
    return true;
}

const struct manifest_line *manifest_find(const struct manifest_line *lines, size_t n, const char *path)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = strcmp(lines[middle].path, path);
        if (order == 0)
            return &lines[middle];
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return NULL;
}

bool manifest_path_is_plain(const char *path)
{
    for (const char *part = path;;) {
        size_t length = 0;
        while (manifest_byte_is_plain(part[length]))
            length++;
        bool points_up = (length == 1 && part[0] == '.') || (length == 2 && part[0] == '.' && part[1] == '.');
        if (length == 0 || points_up)
            return false;
        if (part[length] == '\0')
            return true;
        if (part[length] != '/')
            return false;
        part += length + 1;
    }
}

bool manifest_byte_is_plain(char c)
{
    /* In ASCII '-', '.', '/' and the digits follow each other: asked for each byte of each path, so few questions. */
    return (c >= 'a' && c <= 'z') || (c >= '-' && c <= '9' && c != '/') || (c >= 'A' && c <= 'Z') || c == '_';
}

static bool ascends(const struct manifest_line *const *lines, size_t n)
{
    size_t k = 1;
    while (k < n && strcmp(lines[k - 1]->path, lines[k]->path) < 0)
        k++;
    return k >= n;
}

static int compare_lines(const void *a, const void *b)
{
    const struct manifest_line *const *x = a, *const *y = b;
    return strcmp((*x)->path, (*y)->path);
}

static bool read_line(const char *bytes, size_t length, struct arena *arena, struct manifest_line *ret,
                      struct error *error)
{
    if (length < DIGITS || strspn(bytes, "0123456789abcdef") != DIGITS)
        return fail(error, ERROR_INPUT, "expected 64 digits of 0-9 and a-f first");
    if (length < DIGITS + 3 || memcmp(bytes + DIGITS, "  ", 2) != 0)
        return fail(error, ERROR_INPUT, "expected two spaces and a path after the digits");
    memcpy(ret->sha256, bytes, DIGITS);
    ret->sha256[DIGITS] = '\0';
    const char *path = arena_strndup(arena, bytes + DIGITS + 2, length - DIGITS - 2);
    if (strlen(path) != length - DIGITS - 2 || !manifest_path_is_plain(path))
        return fail(error, ERROR_INPUT, "the path is not one of ours, expected letters, digits and '._-/', no '..'");
    ret->path = path;
    return true;
}
