/* SPDX-License-Identifier: MIT */
#include "intake/note_render.h"

#include "base/timestamp.h"
#include "model/note_words.h"

void note_render(const struct note *note, const struct station *station, struct text *text)
{
    char shown[400];
    int minutes = (int)((station->utc_offset < 0 ? -station->utc_offset : station->utc_offset) / MINUTE_MS);
    note_words_time(note->time, station->utc_offset, text);
    text_printf(text, " %c%02d:%02d %s: ", station->utc_offset < 0 ? '-' : '+', minutes / 60, minutes % 60,
                station->id);
    note_words(note, station->utc_offset, text);
    if (!*note->text)
        return;
    text_make_visible(note->text, shown, sizeof shown);
    text_printf(text, " \"%s\"", shown);
}
