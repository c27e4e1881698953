/* SPDX-License-Identifier: MIT */
#include "archive/say.h"

enum { LONGEST = 4096 };

static bool is_plain(char c);

void say(struct text *text, const char *words)
{
    char visible[LONGEST];
    size_t plain = 0;
    while (is_plain(words[plain]))
        plain++;
    if (words[plain] == '\0' && plain < sizeof visible) { /* as most names are */
        text_add(text, words, plain);
        return;
    }
    text_make_visible(words, visible, sizeof visible);
    text_markup(text, visible);
}

/* Letters, digits and blanks, and marks between them, stand for themselves in markup, a terminal and a log. */
static bool is_plain(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == ' ' || c == '-' ||
           c == '_' || c == '.' || c == ',' || c == ':' || c == '/';
}
