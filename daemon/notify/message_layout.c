/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <string.h>

static bool has_space_above(enum part_kind kind, enum part_kind above);
static void put_clock(struct text *text, int64_t time);
static const char *day_name(int64_t time);
static void put_line_wrapped(struct text *text, const char *line, size_t indent, size_t *column);
static void put_word(struct text *text, const char *word, size_t length, size_t indent, size_t *column);
static char *visible(const char *string, size_t length);
static size_t columns_of(const char *bytes, size_t length);

void message_put_text(struct text *text, const struct message_parts *parts)
{
    for (size_t k = 0; k < parts->count; k++) {
        const struct message_part *part = &parts->list[k];
        if (k > 0 && has_space_above(part->kind, parts->list[k - 1].kind))
            text_putc(text, '\n');
        switch (part->kind) {
        case PART_ROW:
            text_printf(text, "%-*s", MESSAGE_LABEL, part->label);
            message_put_paragraph(text, part->text, MESSAGE_LABEL, MESSAGE_LABEL);
            break;
        case PART_ITEM:
            text_puts(text, "- ");
            message_put_paragraph(text, part->text, 2, 2);
            break;
        case PART_COMMAND:
        case PART_LINK: text_printf(text, "%s\n", part->text); break;
        case PART_TITLE:
        case PART_STATE:
        case PART_PARAGRAPH:
        case PART_HEADING:
        case PART_FOOT: message_put_paragraph(text, part->text, 0, 0); break;
        }
    }
}

/* An empty line between sections and paragraphs, none within rows, lists and behind headings. */
static bool has_space_above(enum part_kind kind, enum part_kind above)
{
    bool is_line = kind == PART_ROW || kind == PART_ITEM || kind == PART_COMMAND || kind == PART_LINK;
    bool above_is_line = above == PART_ROW || above == PART_ITEM || above == PART_COMMAND || above == PART_LINK;
    return kind == PART_HEADING || (above != PART_HEADING && !(is_line && above_is_line));
}

void message_put_time(struct text *text, int64_t time, int64_t offset)
{
    if (time == TIME_NONE || time == TIME_FOREVER) {
        text_puts(text, "not known");
        return;
    }
    put_clock(text, time + offset);
    if (offset == 0) {
        text_puts(text, " UTC");
        return;
    }
    int64_t minutes = (offset < 0 ? -offset : offset) / MINUTE_MS;
    struct civil utc = timestamp_to_civil(time);
    text_printf(text, " %c%02d:%02d (%s %02d:%02d UTC)", offset < 0 ? '-' : '+', (int)(minutes / 60),
                (int)(minutes % 60), day_name(time), utc.hour, utc.minute);
}

/* "Tue 2026-11-24 19:05" */
static void put_clock(struct text *text, int64_t time)
{
    struct civil c = timestamp_to_civil(time);
    text_printf(text, "%s %04d-%02d-%02d %02d:%02d", day_name(time), c.year, c.month, c.day, c.hour, c.minute);
}

static const char *day_name(int64_t time)
{
    static const char *const days[] = {"Thu", "Fri", "Sat", "Sun", "Mon", "Tue", "Wed"}; /* 1970 began on a Thursday */
    int64_t day = timestamp_floor(time, DAY_MS) / DAY_MS;
    return days[(day % 7 + 7) % 7];
}

void message_put_visible(struct text *text, const char *string)
{
    CLEANUP(cleanup_free) char *shown = visible(string, strlen(string));
    text_puts(text, shown);
}

void message_put_paragraph(struct text *text, const char *string, size_t indent, size_t column)
{
    for (const char *line = string;;) {
        size_t length = strcspn(line, "\n");
        CLEANUP(cleanup_free) char *shown = visible(line, length);
        put_line_wrapped(text, shown, indent, &column);
        text_putc(text, '\n');
        column = 0;
        if (!line[length] || !line[length + 1])
            break;
        line += length + 1;
    }
}

static void put_line_wrapped(struct text *text, const char *line, size_t indent, size_t *column)
{
    while (*line) {
        line += strspn(line, " ");
        size_t length = strcspn(line, " ");
        put_word(text, line, length, indent, column);
        line += length;
    }
}

/* A word that is wider than a line is cut into lines, unless it is an address that somebody wants to click
 * on. */
static void put_word(struct text *text, const char *word, size_t length, size_t indent, size_t *column)
{
    bool is_address = text_starts_with(word, "https://") || text_starts_with(word, "http://");
    if (length == 0)
        return;
    if (*column > indent && *column + 1 + columns_of(word, length) > MESSAGE_COLUMNS) {
        text_putc(text, '\n');
        *column = 0;
    }
    if (*column > indent) {
        text_putc(text, ' ');
        ++*column;
    }
    for (size_t i = 0; i < length;) {
        if (*column >= MESSAGE_COLUMNS && !is_address) {
            text_putc(text, '\n');
            *column = 0;
        }
        for (; *column < indent; ++*column)
            text_putc(text, ' ');
        size_t step = text_utf8_length(word + i, length - i);
        text_add(text, word + i, step);
        i += step;
        ++*column;
    }
}

static char *visible(const char *string, size_t length)
{
    CLEANUP(cleanup_free) char *copy = x_strndup(string, length);
    char *shown = x_alloc(length * 4 + 1);
    text_make_visible(copy, shown, length * 4 + 1);
    return shown;
}

static size_t columns_of(const char *bytes, size_t length)
{
    size_t columns = 0;
    for (size_t i = 0; i < length; i++)
        columns += ((unsigned char)bytes[i] & 0xC0) != 0x80;
    return columns;
}
