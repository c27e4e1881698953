/* SPDX-License-Identifier: MIT */
#include "archive/scene.h"

#include <stdlib.h>

enum { LONGEST_WORDS = 4096 };

static struct shape *add(struct scene *scene, enum shape_kind kind, enum look look);
static const char *keep(struct scene *scene, const char *words);

const struct key_item scene_key[SCENE_KEY_ITEMS] = {
    {0, SHAPE_PATH, LOOK_FINISHED, "finished"},           {MARK_RAW, SHAPE_PATH, LOOK_RAW, "measured"},
    {MARK_BAND, SHAPE_AREA, LOOK_BAND, "95\u00a0% band"}, {MARK_HAND, SHAPE_SYMBOL, LOOK_DIAMOND, "by hand"},
    {MARK_LIMIT, SHAPE_LINE, LOOK_LIMIT, "limit"},        {MARK_EPISODE, SHAPE_AREA, LOOK_EPISODE, "rule met"},
    {MARK_SUSPECT, SHAPE_SYMBOL, LOOK_RING, "suspect"},   {MARK_FAIL, SHAPE_SYMBOL, LOOK_CROSS, "fail"},
    {MARK_MISSING, SHAPE_AREA, LOOK_GAP, "missing"},      {MARK_REVIEWED, SHAPE_AREA, LOOK_REVIEWED, "reviewed"},
};

bool scene_key_shows(const struct scene *scene, const struct key_item *item)
{
    return item->mark == 0 || scene->marks & item->mark;
}

void scene_init(struct scene *scene)
{
    *scene = (struct scene){.arena = arena_new(), .title = "", .description = ""};
}

void scene_done(struct scene *scene)
{
    free(scene->shapes);
    free(scene->points);
    arena_free(scene->arena);
}

void scene_open_frame(struct scene *scene, int top_px, int height_px)
{
    struct shape *shape = add(scene, SHAPE_FRAME, LOOK_PAPER);
    shape->y = top_px * SCENE_TENTHS;
    shape->height = height_px * SCENE_TENTHS;
}

void scene_close_frame(struct scene *scene)
{
    add(scene, SHAPE_FRAME_END, LOOK_PAPER);
}

void scene_open_lines(struct scene *scene, int height_px)
{
    add(scene, SHAPE_LINES, LOOK_PAPER)->height = height_px * SCENE_TENTHS;
}

void scene_close_lines(struct scene *scene)
{
    add(scene, SHAPE_LINES_END, LOOK_PAPER);
}

void scene_open_group(struct scene *scene, const char *words)
{
    add(scene, SHAPE_GROUP, LOOK_PAPER)->words = keep(scene, words);
}

void scene_close_group(struct scene *scene)
{
    add(scene, SHAPE_GROUP_END, LOOK_PAPER);
}

void scene_line(struct scene *scene, enum look look, int x, int y, int x2, int y2)
{
    struct shape *shape = add(scene, SHAPE_LINE, look);
    shape->x = x;
    shape->y = y;
    shape->x2 = x2;
    shape->y2 = y2;
}

void scene_area(struct scene *scene, enum look look, int x, int y, int x2, int y2)
{
    scene_line(scene, look, x, y, x2, y2);
    scene->shapes[scene->count - 1].kind = SHAPE_AREA;
}

void scene_symbol(struct scene *scene, enum look look, int x, int y)
{
    struct shape *shape = add(scene, SHAPE_SYMBOL, look);
    shape->x = x;
    shape->y = y;
}

void scene_words(struct scene *scene, enum look look, int x, int shift, int y, const char *words, const char *more)
{
    struct shape *shape = add(scene, SHAPE_WORDS, look);
    shape->x = x;
    shape->shift = shift;
    shape->y = y;
    shape->words = keep(scene, words);
    shape->more = more ? keep(scene, more) : NULL;
}

void scene_path(struct scene *scene, enum look look)
{
    add(scene, SHAPE_PATH, look)->first = scene->point_count;
}

void scene_point(struct scene *scene, int x, int y, bool begins)
{
    scene->points = x_grow(scene->points, scene->point_count, &scene->point_capacity, sizeof *scene->points);
    scene->points[scene->point_count++] = (struct point){x, y, begins};
    scene->shapes[scene->count - 1].count++;
}

static struct shape *add(struct scene *scene, enum shape_kind kind, enum look look)
{
    scene->shapes = x_grow(scene->shapes, scene->count, &scene->capacity, sizeof *scene->shapes);
    struct shape *shape = &scene->shapes[scene->count++];
    *shape = (struct shape){.kind = kind, .look = look};
    return shape;
}

static const char *keep(struct scene *scene, const char *words)
{
    char visible[LONGEST_WORDS];
    text_make_visible(words, visible, sizeof visible);
    return arena_strdup(scene->arena, visible);
}
