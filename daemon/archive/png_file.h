/* SPDX-License-Identifier: MIT */
/* A picture of rows of dots as a PNG file (ISO/IEC 15948): 8 bits for each of red, green and blue, rows unfiltered,
 * which is what line drawings are smallest with. No time of writing in it: same dots, same bytes. */
#ifndef RILLWARD_ARCHIVE_PNG_FILE_H
#define RILLWARD_ARCHIVE_PNG_FILE_H

#include "base/text.h"

/* `dots`: `height` rows, `stride` bytes apart, of `width` dots 0x??RRGGBB in the machine's order. Appends to `ret`. */
void png_file_write(const unsigned char *dots, int width, int height, int stride, struct text *ret);

#endif
