/* SPDX-License-Identifier: MIT */
/* The page in a mail. Mail programs know little of HTML: plain elements in reading order, the essential looks on the
 * elements themselves, and in the head only what is good to have: dark grounds, narrow screens. Nothing is loaded. */
#include "notify/message_parts.h"

#include "base/memory.h"

#include <stdlib.h>
#include <string.h>

#define FONT "font-family:system-ui,-apple-system,'Segoe UI',Roboto,'Helvetica Neue',Arial,sans-serif;"

static const char head[] = "<meta name=\"viewport\" content=\"width=device-width\">\n"
                           "<meta name=\"color-scheme\" content=\"light dark\">\n"
                           "<style>\n"
                           ":root{color-scheme:light dark}\n"
                           "@media (prefers-color-scheme:dark){"
                           "body{background:#14191b!important;color:#e4e9e9!important}"
                           ".soft,th{color:#a3afb3!important}"
                           ".rule,td,th{border-color:#333d41!important}"
                           "pre{background:#20282b!important}"
                           "a{color:#7cc4ee!important}"
                           "}\n"
                           "@media (max-width:480px){h1{font-size:20px!important}}\n"
                           "</style>\n";

/* What a run of parts of one kind stands in. */
static const struct {
    const char *open, *close;
} frames[] = {
    [PART_ROW] = {"<table style=\"border-collapse:collapse;margin:0 0 16px\">\n", "</table>\n"},
    [PART_ITEM] = {"<ul style=\"margin:0 0 16px;padding:0 0 0 20px\">\n", "</ul>\n"},
    [PART_COMMAND] = {"<pre style=\"margin:0 0 16px;padding:8px 10px;background:#f0f3f3;white-space:pre-wrap;"
                      "overflow-wrap:anywhere;font-size:13px;line-height:1.5\">",
                      "</pre>\n"},
    [PART_FOOT] = {NULL, NULL},
};

static void put_part(struct text *text, const struct message_part *part, bool is_last_of_run);
static void put_title(struct text *text, const char *words);
static void put_picture(struct text *text, const struct message_picture *picture, const char *picture_id);
static void put_lines(struct text *text, const char *words);
static void put_words(struct text *text, const char *words);

void message_put_page(struct text *text, const struct message_parts *parts, const char *title,
                      const struct message_picture *picture, const char *picture_id)
{
    text_puts(text, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>");
    put_words(text, title);
    text_printf(text,
                "</title>\n%s</head>\n<body style=\"margin:0;padding:16px;background:#ffffff;color:#1b2428;" FONT
                "font-size:16px;line-height:1.45\">\n<div style=\"max-width:640px\">\n",
                head);
    for (size_t k = 0; k < parts->count; k++) {
        enum part_kind kind = parts->list[k].kind;
        bool begins = k == 0 || parts->list[k - 1].kind != kind;
        bool ends = k + 1 == parts->count || parts->list[k + 1].kind != kind;
        if (begins && frames[kind].open)
            text_puts(text, frames[kind].open);
        put_part(text, &parts->list[k], ends);
        if (ends && frames[kind].close)
            text_puts(text, frames[kind].close);
        if (picture && kind == PART_STATE && ends)
            put_picture(text, picture, picture_id);
    }
    text_puts(text, "</div>\n</body>\n</html>\n");
}

static void put_part(struct text *text, const struct message_part *part, bool is_last_of_run)
{
    switch (part->kind) {
    case PART_TITLE: put_title(text, part->text); break;
    case PART_STATE:
        text_puts(text, "<p style=\"margin:0 0 16px;padding:2px 0 2px 12px;border-left:4px solid #d55e00;"
                        "font-weight:600\">");
        put_lines(text, part->text);
        text_puts(text, "</p>\n");
        break;
    case PART_PARAGRAPH:
        text_puts(text, "<p style=\"margin:0 0 16px\">");
        put_lines(text, part->text);
        text_puts(text, "</p>\n");
        break;
    case PART_HEADING:
        text_puts(text, "<h2 style=\"margin:20px 0 6px;font-size:15px;line-height:1.3\">");
        put_lines(text, part->text);
        text_puts(text, "</h2>\n");
        break;
    case PART_ROW:
        text_puts(text, "<tr><th scope=\"row\" style=\"padding:4px 14px 4px 0;text-align:left;vertical-align:top;"
                        "font-weight:400;white-space:nowrap;color:#55636a;border-bottom:1px solid #dde3e3\">");
        put_words(text, part->label);
        text_puts(text, "</th><td style=\"padding:4px 0;border-bottom:1px solid #dde3e3\">");
        put_lines(text, part->text);
        text_puts(text, "</td></tr>\n");
        break;
    case PART_ITEM:
        text_puts(text, "<li style=\"margin:0 0 6px\">");
        put_lines(text, part->text);
        text_puts(text, "</li>\n");
        break;
    case PART_LINK:
        text_puts(text, "<p style=\"margin:0 0 8px\"><a style=\"color:#0072b2;overflow-wrap:anywhere\" href=\"");
        text_markup(text, part->text);
        text_puts(text, "\">");
        put_words(text, part->text);
        text_puts(text, "</a></p>\n");
        break;
    case PART_COMMAND: /* our own words and ids, of several lines */
        text_markup(text, part->text);
        text_puts(text, is_last_of_run ? "" : "\n");
        break;
    case PART_FOOT:
        text_puts(text, "<p class=\"soft rule\" style=\"margin:20px 0 0;padding:10px 0 0;border-top:1px solid #dde3e3;"
                        "font-size:13px;color:#55636a\">");
        put_lines(text, part->text);
        text_puts(text, "</p>\n");
        break;
    }
}

/* The first line is what, the rest is where. */
static void put_title(struct text *text, const char *words)
{
    size_t length = strcspn(words, "\n");
    CLEANUP(cleanup_free) char *what = x_strndup(words, length);
    text_puts(text, "<h1 style=\"margin:0 0 14px;font-size:22px;line-height:1.25\">");
    put_words(text, what);
    if (words[length]) {
        text_puts(text, "<br>\n<span class=\"soft\" style=\"font-size:16px;font-weight:400;color:#55636a\">");
        put_lines(text, words + length + 1);
        text_puts(text, "</span>");
    }
    text_puts(text, "</h1>\n");
}

/* Drawn on white, and kept so on dark grounds. */
static void put_picture(struct text *text, const struct message_picture *picture, const char *picture_id)
{
    text_printf(text, "<p style=\"margin:0 0 16px\"><img src=\"cid:%s\" width=\"%d\" alt=\"", picture_id,
                picture->width);
    put_words(text, picture->words);
    text_puts(text, "\" style=\"display:block;width:100%;height:auto;background:#ffffff;border:0\"></p>\n");
}

static void put_lines(struct text *text, const char *words)
{
    for (const char *line = words; *line;) {
        size_t length = strcspn(line, "\n");
        CLEANUP(cleanup_free) char *copy = x_strndup(line, length);
        text_puts(text, line > words ? "<br>\n" : "");
        put_words(text, copy);
        line += length + (line[length] == '\n');
    }
}

/* One line: escaped, and with nothing in it that hides or turns text around. */
static void put_words(struct text *text, const char *words)
{
    size_t size = strlen(words) * 4 + 1;
    CLEANUP(cleanup_free) char *shown = x_alloc(size);
    text_make_visible(words, shown, size);
    text_markup(text, shown);
}
