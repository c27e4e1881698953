/* SPDX-License-Identifier: MIT */
/* The typeface of pictures, carried in the program: the service sees no font folders, and pictures are the same bytes
 * on every machine. Latin, Greek, Cyrillic and some more; other scripts come out as empty boxes, side by side. Letters
 * are outlines to fill: no cache outlives the picture. */
#ifndef RILLWARD_ARCHIVE_SCENE_FONT_H
#define RILLWARD_ARCHIVE_SCENE_FONT_H

#include <cairo.h>
#include <stdbool.h>

struct scene_font;

struct scene_font *scene_font_open(void);
void scene_font_close(struct scene_font *font);

/* How far `words` (UTF-8) reach, in the unit of `size`, which is that of the em. */
double scene_font_width(const struct scene_font *font, bool is_bold, double size, const char *words);

/* Add the outlines of `words` to the path of `cairo`, from x on the base line y. */
void scene_font_path(const struct scene_font *font, cairo_t *cairo, bool is_bold, double size, double x, double y,
                     const char *words);

#endif
