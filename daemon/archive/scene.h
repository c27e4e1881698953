/* SPDX-License-Identifier: MIT */
/* A drawing as plain data: what stands where, in which look. Charts are described once as a scene, and written as SVG
 * for pages or as PNG for mail and print; neither writer knows what a month or a station is.
 *
 * Positions. y is in tenths of a px. x is in hundredths of a percent of the plot's width, as all plots of a scene have
 * the same: left margin and width are the writer's business, because pages stretch and pictures do not. Within a frame
 * y counts from the frame's upper edge, outside from the picture's; words outside a frame have x 0. */
#ifndef RILLWARD_ARCHIVE_SCENE_H
#define RILLWARD_ARCHIVE_SCENE_H

#include "base/memory.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

enum { SCENE_UNITS = 10000, SCENE_TENTHS = 10 };

/* How the SVG is laid out, for it and for whoever puts something over it (page_script.c). Of a picture's width [%]:
 * left of its plots, and theirs. Narrower than SCENE_LABELLED px, their labels stand in them. */
#define SCENE_LEFT 5
#define SCENE_WIDTH 93.5
#define SCENE_LABELLED 860
enum { SCENE_KEY_HEIGHT = 66 /* px, at the foot of the picture */ };

enum look {
    LOOK_PAPER, /* the ground */
    /* lines */
    LOOK_GRID,
    LOOK_BASE,
    LOOK_LIMIT,
    /* areas */
    LOOK_EPISODE, /* tinted and hatched */
    LOOK_GAP,
    LOOK_REVIEWED,
    /* paths */
    LOOK_FINISHED,
    LOOK_RAW,
    LOOK_DOUBT,
    LOOK_BAND,
    /* symbols */
    LOOK_RING,
    LOOK_CROSS,
    LOOK_DIAMOND,
    LOOK_DOT,
    /* words */
    LOOK_TITLE,
    LOOK_NAME,
    LOOK_SOFT,
    LOOK_TICK,      /* ends left of the plot */
    LOOK_EDGE_TICK, /* the same, left out where there is no margin for it */
    LOOK_DAY,       /* centred */
    LOOK_LIMIT_NAME,
    LOOK_CALLED,
    LOOK_CLOSING,
    LOOK_COUNT
};

enum shape_kind {
    SHAPE_FRAME, /* a plot from y to y + height; ends with SHAPE_FRAME_END */
    SHAPE_FRAME_END,
    SHAPE_LINES, /* within a frame: the paths up to SHAPE_LINES_END, cut off at its edges */
    SHAPE_LINES_END,
    SHAPE_GROUP, /* the shapes up to SHAPE_GROUP_END are one thing, `words` say what: shown where the format can */
    SHAPE_GROUP_END,
    SHAPE_LINE,   /* from x, y to x2, y2 */
    SHAPE_AREA,   /* rectangle between the same */
    SHAPE_SYMBOL, /* around x, y */
    SHAPE_WORDS,  /* from x on the line y, `shift` px aside; a negative shift: ending there */
    SHAPE_PATH,   /* points of the scene from `first` on; LOOK_BAND: each piece closed and filled */
};

struct shape {
    enum shape_kind kind;
    enum look look;
    int x, y, x2, y2;
    int height;        /* frames and lines: tenths of a px */
    int shift;         /* px */
    const char *words; /* plain; what is hidden in them was made visible */
    const char *more;  /* NULL, or softer words right behind */
    size_t first, count;
};

struct point {
    int x, y;
    bool begins; /* a new piece */
};

struct scene {
    struct arena *arena; /* of words */
    struct shape *shapes;
    size_t count, capacity;
    struct point *points;
    size_t point_count, point_capacity;
    const char *title, *description; /* plain, for those who cannot see it; set by the caller */
    int height;                      /* px; set by the caller */
    int key_top;                     /* px; 0: no key */
    unsigned marks;                  /* what the key names: enum scene_mark */
};

void scene_init(struct scene *scene);
void scene_done(struct scene *scene);

/* ---- describing ---- */

void scene_open_frame(struct scene *scene, int top_px, int height_px);
void scene_close_frame(struct scene *scene);
void scene_open_lines(struct scene *scene, int height_px);
void scene_close_lines(struct scene *scene);
void scene_open_group(struct scene *scene, const char *words);
void scene_close_group(struct scene *scene);
void scene_line(struct scene *scene, enum look look, int x, int y, int x2, int y2);
void scene_area(struct scene *scene, enum look look, int x, int y, int x2, int y2);
void scene_symbol(struct scene *scene, enum look look, int x, int y);
void scene_words(struct scene *scene, enum look look, int x, int shift, int y, const char *words, const char *more);
/* The points that follow belong to this path. */
void scene_path(struct scene *scene, enum look look);
void scene_point(struct scene *scene, int x, int y, bool begins);

/* ---- the key ---- */

/* What a chart can hold beside the finished line. */
enum scene_mark {
    MARK_RAW = 1u << 0,
    MARK_BAND = 1u << 1,
    MARK_HAND = 1u << 2,
    MARK_SUSPECT = 1u << 3,
    MARK_FAIL = 1u << 4,
    MARK_MISSING = 1u << 5,
    MARK_LIMIT = 1u << 6,
    MARK_EPISODE = 1u << 7,
    MARK_REVIEWED = 1u << 8,
};

/* A sample of a look, and its name; in the order in which keys show them. */
struct key_item {
    unsigned mark; /* 0: always */
    enum shape_kind kind;
    enum look look;
    const char *words;
};
#define SCENE_KEY_ITEMS 10
extern const struct key_item scene_key[SCENE_KEY_ITEMS];
bool scene_key_shows(const struct scene *scene, const struct key_item *item);

/* ---- writing; both append to `ret` ---- */

/* As wide as what it is shown in: lines stretch, text and marks keep their size. Complete without script, fonts or
 * style sheet. */
void scene_write_svg(const struct scene *scene, struct text *ret);

/* `width` px wide and scene->height high, each px drawn as `scale` dots; on white, letters of a typeface that the
 * program carries: same scene, same bytes. */
void scene_write_png(const struct scene *scene, int width, int scale, struct text *ret);

#endif
