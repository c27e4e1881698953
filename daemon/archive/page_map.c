/* SPDX-License-Identifier: MIT */
/* Where the places lie to each other: a sketch from their positions, no map data. */
#include "archive/archive.h"
#include "archive/page_parts.h"
#include "archive/say.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    MAP_WIDTH = 420,
    MARGIN = 26,
    LOWEST = 200, /* least and greatest height */
    HIGHEST = 420,
    LETTER = 6, /* px of one letter of a label, about */
    LABEL_HEIGHT = 13,
    MOST_LABELLED = 300, /* stations: more names than that cannot be read anyway */
};

struct spot {
    double x, y; /* px */
    const char *id, *name;
    size_t station; /* index; the count of stations for a barometer */
};

struct box {
    double left, top, right, bottom;
};

struct sketch {
    const struct page_network *network;
    struct spot *spots;
    size_t count;
    int height;
    double metres_per_px;
    struct box *taken; /* marks and labels so far */
    size_t taken_count;
};

/* Around its place [px]. */
static const struct mark {
    const char *before, *between, *behind;
    double dx, dy;
} marks[] = {
    {"<path class=\"spot alarm\" d=\"M", " ", "l6.5 11h-13z\"/>", 0, -7},
    {"<circle class=\"spot\" cx=\"", "\" cy=\"", "\" r=\"5\"/>", 0, 0},
    {"<rect class=\"spot air\" x=\"", "\" y=\"", "\" width=\"8\" height=\"8\"/>", -4, -4},
};

static void place_spots(struct sketch *sketch);
static void add_spot(struct text *text, struct sketch *sketch, const struct spot *spot);
static void add_label(struct text *text, struct sketch *sketch, const struct spot *spot);
static bool is_free(const struct sketch *sketch, const struct box *box);
static void add_scale_bar(struct text *text, const struct sketch *sketch);

void part_map(struct text *text, const struct page_network *network)
{
    const struct network_view *view = network->view;
    struct sketch sketch = {.network = network, .count = view->station_count + network->barometer_count};
    if (sketch.count < 2)
        return;
    sketch.spots = x_array(sketch.count, sizeof *sketch.spots);
    sketch.taken = x_array(2 * sketch.count, sizeof *sketch.taken);
    place_spots(&sketch);
    text_puts(text, "<section>\n<h2>Where they are</h2>\n<figure class=\"map\">\n");
    text_printf(text,
                "<svg viewBox=\"0 0 %d %d\" role=\"group\" aria-label=\"Sketch of the places, north up\">\n"
                "<rect class=\"ground\" width=\"%d\" height=\"%d\" rx=\"4\"/>\n",
                MAP_WIDTH, sketch.height, MAP_WIDTH, sketch.height);
    for (size_t k = 0; k < sketch.count; k++) {
        const struct spot *spot = &sketch.spots[k];
        sketch.taken[sketch.taken_count++] = (struct box){spot->x - 7, spot->y - 7, spot->x + 7, spot->y + 7};
    }
    for (size_t k = 0; k < sketch.count; k++)
        add_spot(text, &sketch, &sketch.spots[k]);
    add_scale_bar(text, &sketch);
    text_puts(text,
              "</svg>\n<figcaption>Sketch from the positions, north up. \u25cf station, \u25b2 with an alarm that is"
              " still so, \u25a1 barometer.</figcaption>\n</figure>\n</section>\n");
    free(sketch.spots);
    free(sketch.taken);
}

/* Equirectangular around the middle: fine for a network, honest about nothing larger. */
static void place_spots(struct sketch *sketch)
{
    const struct network_view *view = sketch->network->view;
    double south = 90, north = -90, west = 180, east = -180;
    for (size_t k = 0; k < sketch->count; k++) {
        bool is_station = k < view->station_count;
        const struct barometer *b = is_station ? NULL : sketch->network->barometers[k - view->station_count].barometer;
        const struct station *s = is_station ? view->stations[k].station : NULL;
        sketch->spots[k] = (struct spot){.x = s ? s->longitude : b->longitude,
                                         .y = s ? s->latitude : b->latitude,
                                         .id = s ? s->id : b->id,
                                         .name = s ? s->name : b->name,
                                         .station = is_station ? k : view->station_count};
        west = fmin(west, sketch->spots[k].x);
        east = fmax(east, sketch->spots[k].x);
        south = fmin(south, sketch->spots[k].y);
        north = fmax(north, sketch->spots[k].y);
    }
    const double metres_per_degree = 111195;
    double squeeze = cos((south + north) / 2 * 0.017453292519943295);
    double width = fmax((east - west) * squeeze, 1e-5), height = fmax(north - south, 1e-5);
    double px = fmin((MAP_WIDTH - 2 * MARGIN) / width, (HIGHEST - 2 * MARGIN) / height);
    sketch->height = (int)fmax(LOWEST, height * px + 2 * MARGIN + 14);
    sketch->metres_per_px = metres_per_degree / px;
    for (size_t k = 0; k < sketch->count; k++) {
        struct spot *spot = &sketch->spots[k];
        spot->x = MAP_WIDTH / 2.0 + (spot->x - (west + east) / 2) * squeeze * px;
        spot->y = (sketch->height - 14) / 2.0 - (spot->y - (south + north) / 2) * px;
    }
}

static void add_spot(struct text *text, struct sketch *sketch, const struct spot *spot)
{
    const struct network_view *view = sketch->network->view;
    bool is_station = spot->station < view->station_count, has_alarm = false;
    const struct network_station *at = is_station ? &view->stations[spot->station] : NULL;
    for (size_t k = 0; at && k < at->alarm_count; k++)
        has_alarm |= at->alarms[k].episode.end == TIME_NONE;
    bool is_link = is_station && sketch->network->has_page[spot->station];
    char path[ARCHIVE_PATH_SIZE];
    if (is_link)
        text_printf(text, "<a href=\"%s\">", page_station_path(spot->id, path));
    text_puts(text, "<g><title>");
    say(text, spot->name);
    text_puts(text, has_alarm ? ", alarm" : is_station ? "" : ", barometer");
    text_puts(text, "</title>");
    const struct mark *mark = &marks[has_alarm ? 0 : is_station ? 1 : 2];
    text_puts(text, mark->before);
    text_number(text, spot->x + mark->dx, 1);
    text_puts(text, mark->between);
    text_number(text, spot->y + mark->dy, 1);
    text_puts(text, mark->behind);
    add_label(text, sketch, spot);
    text_puts(text, is_link ? "</g></a>\n" : "</g>\n");
}

/* Right, left, below, above, aslant: the first that covers nothing; else the name is in the title alone. */
static void add_label(struct text *text, struct sketch *sketch, const struct spot *spot)
{
    double width = (double)strlen(spot->id) * LETTER;
    const struct {
        double x, y;
        const char *anchor;
        double left;
    } choices[] = {
        {spot->x + 9, spot->y + 4, "start", spot->x + 9},       {spot->x - 9, spot->y + 4, "end", spot->x - 9 - width},
        {spot->x, spot->y + 19, "middle", spot->x - width / 2}, {spot->x, spot->y - 10, "middle", spot->x - width / 2},
        {spot->x - 4, spot->y + 19, "start", spot->x - 4},      {spot->x + 4, spot->y + 19, "end", spot->x + 4 - width},
        {spot->x - 4, spot->y - 10, "start", spot->x - 4},      {spot->x + 4, spot->y - 10, "end", spot->x + 4 - width},
    };
    if (sketch->count > MOST_LABELLED)
        return;
    for (size_t k = 0; k < COUNT_OF(choices); k++) {
        struct box box = {choices[k].left, choices[k].y - LABEL_HEIGHT + 3, choices[k].left + width, choices[k].y + 3};
        if (!is_free(sketch, &box))
            continue;
        sketch->taken[sketch->taken_count++] = box;
        text_printf(text, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">", choices[k].x, choices[k].y,
                    choices[k].anchor);
        say(text, spot->id);
        text_puts(text, "</text>");
        return;
    }
}

static bool is_free(const struct sketch *sketch, const struct box *box)
{
    if (box->left < 3 || box->right > MAP_WIDTH - 3 || box->top < 3 || box->bottom > sketch->height - 18)
        return false;
    for (size_t k = 0; k < sketch->taken_count; k++) {
        const struct box *other = &sketch->taken[k];
        if (box->left < other->right && box->right > other->left && box->top < other->bottom &&
            box->bottom > other->top)
            return false;
    }
    return true;
}

static void add_scale_bar(struct text *text, const struct sketch *sketch)
{
    static const int lengths[] = {1,    2,     5,     10,    20,     50,     100,    200,     500,     1000,   2000,
                                  5000, 10000, 20000, 50000, 100000, 200000, 500000, 1000000, 2000000, 5000000};
    size_t k = COUNT_OF(lengths) - 1;
    while (k > 0 && lengths[k] / sketch->metres_per_px > MAP_WIDTH / 4.0)
        k--;
    double width = lengths[k] / sketch->metres_per_px;
    int y = sketch->height - 10;
    text_printf(text, "<path class=\"bar\" d=\"M12 %dv4h%.1fv-4\"/><text class=\"scale\" x=\"%.1f\" y=\"%d\">", y - 4,
                width, 18 + width, y + 1);
    text_printf(text, lengths[k] < 1000 ? "%d m" : "%d km", lengths[k] < 1000 ? lengths[k] : lengths[k] / 1000);
    text_puts(text, "</text>\n");
}
