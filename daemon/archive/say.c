/* SPDX-License-Identifier: MIT */
#include "archive/say.h"

enum { LONGEST = 4096 };

void say(struct text *text, const char *words)
{
    char visible[LONGEST];
    text_make_visible(words, visible, sizeof visible);
    text_markup(text, visible);
}
