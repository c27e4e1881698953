/* SPDX-License-Identifier: MIT */
/* A scene as PNG, drawn by Cairo. */
#include "archive/png_file.h"
#include "archive/scene.h"
#include "archive/scene_font.h"

#include <cairo.h>
#include <math.h>

enum {
    MARGIN_LEFT = 54, /* px beside the plots */
    MARGIN_RIGHT = 18,
    HALO = 3, /* of paper around letters that stand on lines */
    HATCH_DISTANCE = 7,
    KEY_ROW = 19,
    SAMPLE_WIDTH = 18, /* of a key's item, px */
    ITEM_DISTANCE = 20,
};

struct picture {
    cairo_t *cairo;
    struct scene_font *font;
    double width; /* of the plots, px */
    bool is_in_frame;
};

struct colour {
    double red, green, blue;
};

/* One look on paper: colour; width of its line or size of its letters [px]; how far it is from opaque. */
struct ink {
    struct colour colour;
    double size, opacity;
    bool is_bold, has_halo;
};

static void draw_shape(struct picture *p, const struct scene *scene, const struct shape *shape);
static void open_frame(struct picture *p, const struct shape *shape);
static void draw_line(struct picture *p, enum look look, double x, double y, double x2, double y2);
static void draw_area(struct picture *p, enum look look, double x, double y, double width, double height);
static void draw_hatch(struct picture *p, double x, double y, double width, double height);
static void draw_symbol(struct picture *p, enum look look, double x, double y);
static void draw_words(struct picture *p, const struct shape *shape);
static double letter(struct picture *p, enum look look, double x, double y, const char *words);
static double width_of(struct picture *p, enum look look, const char *words);
static void draw_path(struct picture *p, const struct scene *scene, const struct shape *shape);
static void draw_key(struct picture *p, const struct scene *scene);
static void draw_sample(struct picture *p, const struct key_item *item, double x, double y);
static void use_colour(struct picture *p, struct colour colour, double opacity);

#define RGB(hex)                                                                                                       \
    {                                                                                                                  \
        ((hex) >> 16) / 255.0, ((hex) >> 8 & 255) / 255.0, ((hex)&255) / 255.0                                         \
    }

/* The light looks of scene_svg.c. */
static const struct colour paper = RGB(0xffffff), ink = RGB(0x1b2428), doubt = RGB(0xd55e00), hatch = RGB(0xe69f00);
static const struct ink inks[] = {
    [LOOK_PAPER] = {RGB(0xffffff), 0, 1, false, false},      [LOOK_GRID] = {RGB(0xe6eae9), 1, 1, false, false},
    [LOOK_BASE] = {RGB(0x9aa5a9), 1, 1, false, false},       [LOOK_LIMIT] = {RGB(0x1b2428), 1, 1, false, false},
    [LOOK_EPISODE] = {RGB(0xe69f00), 1, 0.16, false, false}, [LOOK_GAP] = {RGB(0x55636a), 0, 1, false, false},
    [LOOK_REVIEWED] = {RGB(0x0072b2), 0, 1, false, false},   [LOOK_FINISHED] = {RGB(0x0072b2), 1.5, 1, false, false},
    [LOOK_RAW] = {RGB(0x8a959a), 1, 1, false, false},        [LOOK_DOUBT] = {RGB(0xd55e00), 1.5, 1, false, false},
    [LOOK_BAND] = {RGB(0x0072b2), 0, 0.18, false, false},    [LOOK_RING] = {RGB(0xffffff), 1.6, 1, false, false},
    [LOOK_CROSS] = {RGB(0x1b2428), 1.6, 1, false, false},    [LOOK_DIAMOND] = {RGB(0xcc79a7), 1.2, 1, false, false},
    [LOOK_DOT] = {RGB(0x1b2428), 0, 1, false, false},        [LOOK_TITLE] = {RGB(0x1b2428), 16, 1, true, false},
    [LOOK_NAME] = {RGB(0x1b2428), 13, 1, true, false},       [LOOK_SOFT] = {RGB(0x55636a), 12, 1, false, false},
    [LOOK_TICK] = {RGB(0x55636a), 11, 1, false, true},       [LOOK_EDGE_TICK] = {RGB(0x55636a), 11, 1, false, true},
    [LOOK_DAY] = {RGB(0x55636a), 11, 1, false, false},       [LOOK_LIMIT_NAME] = {RGB(0x1b2428), 11, 1, false, true},
    [LOOK_CALLED] = {RGB(0x1b2428), 11, 1, true, true},      [LOOK_CLOSING] = {RGB(0x1b2428), 11, 1, false, true},
};
_Static_assert(COUNT_OF(inks) == LOOK_COUNT, "every look has its ink");

void scene_write_png(const struct scene *scene, int width, int scale, struct text *ret)
{
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width * scale, scene->height * scale);
    struct picture p = {
        .cairo = cairo_create(surface),
        .font = scene_font_open(),
        .width = width - MARGIN_LEFT - MARGIN_RIGHT,
    };
    cairo_scale(p.cairo, scale, scale);
    use_colour(&p, paper, 1);
    cairo_paint(p.cairo);
    cairo_translate(p.cairo, MARGIN_LEFT, 0);
    for (size_t k = 0; k < scene->count; k++)
        draw_shape(&p, scene, &scene->shapes[k]);
    if (scene->key_top > 0)
        draw_key(&p, scene);
    cairo_surface_flush(surface);
    png_file_write(cairo_image_surface_get_data(surface), width * scale, scene->height * scale,
                   cairo_image_surface_get_stride(surface), ret);
    cairo_destroy(p.cairo);
    cairo_surface_destroy(surface);
    scene_font_close(p.font);
}

static void draw_shape(struct picture *p, const struct scene *scene, const struct shape *shape)
{
    double x = shape->x * p->width / SCENE_UNITS, y = shape->y / (double)SCENE_TENTHS;
    double x2 = shape->x2 * p->width / SCENE_UNITS, y2 = shape->y2 / (double)SCENE_TENTHS;
    switch (shape->kind) {
    case SHAPE_FRAME: open_frame(p, shape); return;
    case SHAPE_LINES:
        cairo_save(p->cairo);
        cairo_rectangle(p->cairo, 0, -1, p->width, shape->height / (double)SCENE_TENTHS + 2);
        cairo_clip(p->cairo);
        return;
    case SHAPE_FRAME_END:
        p->is_in_frame = false;
        cairo_restore(p->cairo);
        return;
    case SHAPE_LINES_END: cairo_restore(p->cairo); return;
    case SHAPE_GROUP:
    case SHAPE_GROUP_END: return;
    case SHAPE_LINE: draw_line(p, shape->look, x, y, x2, y2); return;
    case SHAPE_AREA: draw_area(p, shape->look, x, y, x2 - x, y2 - y); return;
    case SHAPE_SYMBOL: draw_symbol(p, shape->look, x, y); return;
    case SHAPE_WORDS: draw_words(p, shape); return;
    case SHAPE_PATH: draw_path(p, scene, shape); return;
    }
}

static void open_frame(struct picture *p, const struct shape *shape)
{
    p->is_in_frame = true;
    cairo_save(p->cairo);
    cairo_translate(p->cairo, 0, shape->y / (double)SCENE_TENTHS);
}

static void draw_line(struct picture *p, enum look look, double x, double y, double x2, double y2)
{
    static const double dashes[] = {5, 4};
    use_colour(p, inks[look].colour, inks[look].opacity);
    cairo_set_line_width(p->cairo, inks[look].size);
    if (look == LOOK_LIMIT)
        cairo_set_dash(p->cairo, dashes, COUNT_OF(dashes), 0);
    cairo_move_to(p->cairo, x, y);
    cairo_line_to(p->cairo, x2, y2);
    cairo_stroke(p->cairo);
    cairo_set_dash(p->cairo, NULL, 0, 0);
}

static void draw_area(struct picture *p, enum look look, double x, double y, double width, double height)
{
    use_colour(p, inks[look].colour, inks[look].opacity);
    cairo_rectangle(p->cairo, x, y, width, height);
    cairo_fill(p->cairo);
    if (look == LOOK_EPISODE)
        draw_hatch(p, x, y, width, height);
}

/* Slanted lines and a border: told apart without its colour too. */
static void draw_hatch(struct picture *p, double x, double y, double width, double height)
{
    cairo_save(p->cairo);
    cairo_rectangle(p->cairo, x, y, width, height);
    cairo_clip_preserve(p->cairo);
    use_colour(p, hatch, 1);
    cairo_set_line_width(p->cairo, 1);
    cairo_stroke(p->cairo);
    const double step = HATCH_DISTANCE * 1.41421356;
    for (double at = floor((x - height) / step) * step; at < x + width; at += step) {
        cairo_move_to(p->cairo, at + height, y);
        cairo_line_to(p->cairo, at, y + height);
    }
    cairo_stroke(p->cairo);
    cairo_restore(p->cairo);
}

static void draw_symbol(struct picture *p, enum look look, double x, double y)
{
    cairo_t *c = p->cairo;
    cairo_set_line_width(c, inks[look].size);
    if (look == LOOK_CROSS) {
        cairo_move_to(c, x - 3, y - 3);
        cairo_line_to(c, x + 3, y + 3);
        cairo_move_to(c, x + 3, y - 3);
        cairo_line_to(c, x - 3, y + 3);
        use_colour(p, ink, 1);
        cairo_stroke(c);
        return;
    }
    if (look == LOOK_DIAMOND) {
        cairo_move_to(c, x, y - 5);
        cairo_line_to(c, x + 5, y);
        cairo_line_to(c, x, y + 5);
        cairo_line_to(c, x - 5, y);
        cairo_close_path(c);
    } else {
        cairo_new_sub_path(c);
        cairo_arc(c, x, y, 3, 0, 6.283185307179586);
    }
    use_colour(p, inks[look].colour, 1);
    cairo_fill_preserve(c);
    use_colour(p, look == LOOK_RING ? doubt : ink, 1);
    cairo_stroke(c);
}

static void draw_words(struct picture *p, const struct shape *shape)
{
    double x = shape->x * p->width / SCENE_UNITS + shape->shift, y = shape->y / (double)SCENE_TENTHS;
    double width = width_of(p, shape->look, shape->words);
    if (shape->look == LOOK_TICK || shape->look == LOOK_EDGE_TICK) {
        x -= width + 8;
        y += 4;
    } else if (shape->look == LOOK_DAY) {
        x -= width / 2;
    } else if (shape->shift < 0) {
        x -= width;
    }
    x += letter(p, shape->look, x, y, shape->words);
    if (shape->more)
        letter(p, LOOK_SOFT, x + 4, y, shape->more);
}

/* Returns how far it went. */
static double letter(struct picture *p, enum look look, double x, double y, const char *words)
{
    scene_font_path(p->font, p->cairo, inks[look].is_bold, inks[look].size, x, y, words);
    if (inks[look].has_halo) {
        use_colour(p, paper, 1);
        cairo_set_line_join(p->cairo, CAIRO_LINE_JOIN_ROUND);
        cairo_set_line_width(p->cairo, HALO);
        cairo_stroke_preserve(p->cairo);
    }
    use_colour(p, inks[look].colour, 1);
    cairo_fill(p->cairo);
    return width_of(p, look, words);
}

static double width_of(struct picture *p, enum look look, const char *words)
{
    return scene_font_width(p->font, inks[look].is_bold, inks[look].size, words);
}

static void draw_path(struct picture *p, const struct scene *scene, const struct shape *shape)
{
    cairo_t *c = p->cairo;
    const struct point *points = scene->points + shape->first;
    for (size_t k = 0; k < shape->count; k++) {
        double x = points[k].x * p->width / SCENE_UNITS, y = points[k].y / (double)SCENE_TENTHS;
        bool is_alone = points[k].begins && (k + 1 == shape->count || points[k + 1].begins);
        if (points[k].begins)
            cairo_move_to(c, x, y);
        if (!points[k].begins || is_alone)
            cairo_line_to(c, x, y); /* a sample alone becomes a dot by its round ends */
    }
    use_colour(p, inks[shape->look].colour, inks[shape->look].opacity);
    if (shape->look == LOOK_BAND) {
        cairo_fill(c);
        return;
    }
    cairo_set_line_width(c, inks[shape->look].size);
    cairo_set_line_join(c, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_cap(c, CAIRO_LINE_CAP_ROUND);
    cairo_stroke(c);
    cairo_set_line_cap(c, CAIRO_LINE_CAP_BUTT);
}

/* ---- the key ---- */

/* As many items side by side as there is room for. */
static void draw_key(struct picture *p, const struct scene *scene)
{
    double x = 0, y = scene->key_top + KEY_ROW;
    for (size_t k = 0; k < SCENE_KEY_ITEMS; k++) {
        const struct key_item *item = &scene_key[k];
        if (!scene_key_shows(scene, item))
            continue;
        double width = SAMPLE_WIDTH + 7 + width_of(p, LOOK_SOFT, item->words);
        if (x > 0 && x + width > p->width) {
            x = 0;
            y += KEY_ROW;
        }
        draw_sample(p, item, x, y);
        letter(p, LOOK_SOFT, x + SAMPLE_WIDTH + 7, y, item->words);
        x += width + ITEM_DISTANCE;
    }
}

static void draw_sample(struct picture *p, const struct key_item *item, double x, double y)
{
    bool is_strip = item->look == LOOK_GAP || item->look == LOOK_REVIEWED;
    if (item->kind == SHAPE_SYMBOL)
        draw_symbol(p, item->look, x + SAMPLE_WIDTH / 2.0, y - 4);
    else if (item->kind != SHAPE_AREA)
        draw_line(p, item->look, x, y - 4, x + SAMPLE_WIDTH, y - 4);
    else
        draw_area(p, item->look, x, is_strip ? y - 6 : y - 10, SAMPLE_WIDTH, is_strip ? 5 : 12);
}

static void use_colour(struct picture *p, struct colour colour, double opacity)
{
    cairo_set_source_rgba(p->cairo, colour.red, colour.green, colour.blue, opacity);
}
