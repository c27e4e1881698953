/* SPDX-License-Identifier: MIT */
#include "archive/scene_font.h"

#include "base/memory.h"
#include "base/text.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include <ft2build.h>
#include FT_FREETYPE_H
#include FT_OUTLINE_H

/* SCENE_FONT_FOLDER: where the build found the typeface. The assembler takes files in as they are; C17 cannot. */
#define TAKE_IN(name, file)                                                                                            \
    __asm__(".section .rodata\n"                                                                                       \
            ".balign 16\n"                                                                                             \
            ".global " #name "\n" #name ":\n"                                                                          \
            ".incbin \"" SCENE_FONT_FOLDER "/" file "\"\n"                                                             \
            ".global " #name "_end\n" #name "_end:\n"                                                                  \
            ".byte 0\n"                                                                                                \
            ".previous\n")

TAKE_IN(scene_font_regular, "DejaVuSans.ttf");
TAKE_IN(scene_font_bold, "DejaVuSans-Bold.ttf");
extern const unsigned char scene_font_regular[], scene_font_regular_end[];
extern const unsigned char scene_font_bold[], scene_font_bold_end[];

struct scene_font {
    FT_Library library;
    FT_Face regular, bold;
};

/* Where an outline goes: font units to the picture's. */
struct pen {
    cairo_t *cairo;
    double x, y, scale;
    bool is_open;
};

static FT_Face open_face(FT_Library library, const unsigned char *begin, const unsigned char *end);
static bool load_next(FT_Face face, const char **words);
static uint32_t next_character(const char **words);
static int move_to(const FT_Vector *to, void *closure);
static int line_to(const FT_Vector *to, void *closure);
static int conic_to(const FT_Vector *control, const FT_Vector *to, void *closure);
static int cubic_to(const FT_Vector *first, const FT_Vector *second, const FT_Vector *to, void *closure);

struct scene_font *scene_font_open(void)
{
    struct scene_font *font = x_alloc(sizeof *font);
    int status = FT_Init_FreeType(&font->library);
    assert(status == 0);
    (void)status;
    font->regular = open_face(font->library, scene_font_regular, scene_font_regular_end);
    font->bold = open_face(font->library, scene_font_bold, scene_font_bold_end);
    return font;
}

void scene_font_close(struct scene_font *font)
{
    if (!font)
        return;
    FT_Done_FreeType(font->library); /* and its faces */
    free(font);
}

/* Our own bytes: that they cannot be read is a mistake of the build. */
static FT_Face open_face(FT_Library library, const unsigned char *begin, const unsigned char *end)
{
    FT_Face face = NULL;
    int status = FT_New_Memory_Face(library, begin, (FT_Long)(end - begin), 0, &face);
    assert(status == 0);
    (void)status;
    return face;
}

double scene_font_width(const struct scene_font *font, bool is_bold, double size, const char *words)
{
    FT_Face face = is_bold ? font->bold : font->regular;
    double units = 0;
    while (load_next(face, &words))
        units += (double)face->glyph->metrics.horiAdvance;
    return units * size / face->units_per_EM;
}

void scene_font_path(const struct scene_font *font, cairo_t *cairo, bool is_bold, double size, double x, double y,
                     const char *words)
{
    static const FT_Outline_Funcs functions = {move_to, line_to, conic_to, cubic_to, 0, 0};
    FT_Face face = is_bold ? font->bold : font->regular;
    struct pen pen = {.cairo = cairo, .x = x, .y = y, .scale = size / face->units_per_EM};
    while (load_next(face, &words)) {
        FT_Outline_Decompose(&face->glyph->outline, &functions, &pen);
        if (pen.is_open)
            cairo_close_path(cairo);
        pen.is_open = false;
        pen.x += (double)face->glyph->metrics.horiAdvance * pen.scale;
    }
}

/* The next character's glyph into the face; false at the end. */
static bool load_next(FT_Face face, const char **words)
{
    if (**words == '\0')
        return false;
    FT_UInt glyph = FT_Get_Char_Index(face, next_character(words));
    return FT_Load_Glyph(face, glyph, FT_LOAD_NO_SCALE) == 0;
}

static uint32_t next_character(const char **words)
{
    const unsigned char *bytes = (const unsigned char *)*words;
    size_t length = text_utf8_length(*words, strlen(*words));
    *words += length > 0 ? length : 1;
    if (length == 0)
        return 0xfffd;
    if (length == 1)
        return bytes[0];
    uint32_t character = bytes[0] & (0xffu >> (length + 1));
    for (size_t k = 1; k < length; k++)
        character = character << 6 | (bytes[k] & 0x3fu);
    return character;
}

/* ---- outlines; FreeType's y points up ---- */

static int move_to(const FT_Vector *to, void *closure)
{
    struct pen *pen = closure;
    if (pen->is_open)
        cairo_close_path(pen->cairo);
    pen->is_open = true;
    cairo_move_to(pen->cairo, pen->x + (double)to->x * pen->scale, pen->y - (double)to->y * pen->scale);
    return 0;
}

static int line_to(const FT_Vector *to, void *closure)
{
    struct pen *pen = closure;
    cairo_line_to(pen->cairo, pen->x + (double)to->x * pen->scale, pen->y - (double)to->y * pen->scale);
    return 0;
}

/* As a cubic: its control points lie two thirds of the way to the conic's. */
static int conic_to(const FT_Vector *control, const FT_Vector *to, void *closure)
{
    struct pen *pen = closure;
    double x0, y0;
    cairo_get_current_point(pen->cairo, &x0, &y0);
    double cx = pen->x + (double)control->x * pen->scale, cy = pen->y - (double)control->y * pen->scale;
    double x = pen->x + (double)to->x * pen->scale, y = pen->y - (double)to->y * pen->scale;
    cairo_curve_to(pen->cairo, x0 + (cx - x0) * 2 / 3, y0 + (cy - y0) * 2 / 3, x + (cx - x) * 2 / 3,
                   y + (cy - y) * 2 / 3, x, y);
    return 0;
}

static int cubic_to(const FT_Vector *first, const FT_Vector *second, const FT_Vector *to, void *closure)
{
    struct pen *pen = closure;
    const FT_Vector *points[] = {first, second, to};
    double at[COUNT_OF(points)][2];
    for (size_t k = 0; k < COUNT_OF(points); k++) {
        at[k][0] = pen->x + (double)points[k]->x * pen->scale;
        at[k][1] = pen->y - (double)points[k]->y * pen->scale;
    }
    cairo_curve_to(pen->cairo, at[0][0], at[0][1], at[1][0], at[1][1], at[2][0], at[2][1]);
    return 0;
}
