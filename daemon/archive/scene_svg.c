/* SPDX-License-Identifier: MIT */
/* A scene as SVG. Plots are nested pictures whose edges are percent of the whole, and paths stretch in a box of whole
 * numbers, so one file serves a wall and a phone. Light or dark follows the reader, print is light. Text is text. */
#include "archive/scene.h"

#include "archive/say.h"

/* Nested pictures know no sums of percent and px. Labels stand left of the plot where that is room enough, else in it.
 */
#define TEXT_OF_WORD(word) #word
#define TEXT_OF(number) TEXT_OF_WORD(number)
#define LEFT TEXT_OF(SCENE_LEFT) "%"
#define WIDTH TEXT_OF(SCENE_WIDTH) "%"

enum { KEY_ROW = 19 };

static void add_head(const struct scene *scene, struct text *text);
static void add_shape(const struct scene *scene, const struct shape *shape, bool is_in_frame, struct text *text);
static void add_open_lines(const struct shape *shape, struct text *text);
static void add_line(const struct shape *shape, struct text *text);
static void add_area(const struct shape *shape, const char *class, struct text *text);
static void add_words(const struct shape *shape, bool is_in_frame, struct text *text);
static void add_path(const struct scene *scene, const struct shape *shape, struct text *text);
static void add_outline(const struct scene *scene, const struct shape *shape, struct text *text);
static void add_point(struct text *text, char step, int x, int y);
static void add_key(const struct scene *scene, struct text *text);
static void add_sample(const struct key_item *item, struct text *text);
static void add_percent(struct text *text, int hundredths);
static void add_px(struct text *text, int tenths);

static const char *const classes[] = {
    [LOOK_PAPER] = "paper",       [LOOK_GRID] = "grid",
    [LOOK_BASE] = "base",         [LOOK_LIMIT] = "limit",
    [LOOK_EPISODE] = "episode",   [LOOK_GAP] = "gap",
    [LOOK_REVIEWED] = "reviewed", [LOOK_FINISHED] = "finished",
    [LOOK_RAW] = "raw",           [LOOK_DOUBT] = "doubt",
    [LOOK_BAND] = "band",         [LOOK_RING] = "ring",
    [LOOK_CROSS] = "cross",       [LOOK_DIAMOND] = "diamond",
    [LOOK_DOT] = "dot",           [LOOK_TITLE] = "title",
    [LOOK_NAME] = "name",         [LOOK_SOFT] = "soft",
    [LOOK_TICK] = "tick",         [LOOK_EDGE_TICK] = "tick edge",
    [LOOK_DAY] = "day",           [LOOK_LIMIT_NAME] = "limit-name",
    [LOOK_CALLED] = "called",     [LOOK_CLOSING] = "closing",
};
_Static_assert(COUNT_OF(classes) == LOOK_COUNT, "every look has a class");

/* Okabe-Ito colours as far as they stand out by 3:1 from the ground, light and dark. */
static const char style[] =
    "<style>\n"
    ":root{--paper:#fff;--ink:#1b2428;--soft:#55636a;--grid:#e6eae9;--base:#9aa5a9;--line:#0072b2;--raw:#8a959a;"
    "--doubt:#d55e00;--ring:#fff;--hatch:#e69f00;--hand:#cc79a7;color-scheme:light dark}\n"
    "@media (prefers-color-scheme:dark){:root{--paper:#14191b;--ink:#e4e9e9;--soft:#a3afb3;--grid:#273034;"
    "--base:#66747a;--line:#56b4e9;--raw:#849297;--doubt:#f08a3c;--ring:#14191b;--hatch:#e69f00;--hand:#e3a3c6}}\n"
    "@media print{:root{--paper:#fff;--ink:#000;--soft:#444;--grid:#ddd;--base:#888;--line:#0072b2;--raw:#777;"
    "--doubt:#d55e00;--ring:#fff;--hand:#cc79a7}}\n"
    "svg svg{overflow:visible}\n"
    ".paper{fill:var(--paper)}\n"
    "text{font:12px system-ui,\"Segoe UI\",Roboto,\"Helvetica Neue\",Arial,sans-serif;fill:var(--ink)}\n"
    ".title{font-size:16px;font-weight:600}\n"
    ".name{font-size:13px;font-weight:600}\n"
    ".soft,.tick,.day{fill:var(--soft);font-weight:400}\n"
    ".tick{text-anchor:end;font-size:11px;font-variant-numeric:tabular-nums;transform:translate(-8px,4px)}\n"
    ".day{text-anchor:middle;font-size:11px}\n"
    ".grid{stroke:var(--grid)}\n"
    ".base{stroke:var(--base)}\n"
    "svg .lines{overflow:hidden}\n"
    ".lines path{vector-effect:non-scaling-stroke;stroke-linejoin:round;stroke-linecap:round}\n"
    ".finished,.raw,.doubt{fill:none;stroke:var(--line);stroke-width:1.5}\n"
    ".raw{stroke:var(--raw);stroke-width:1}\n"
    ".doubt{stroke:var(--doubt)}\n"
    ".band{fill:var(--line);fill-opacity:.18}\n"
    ".limit{stroke:var(--ink);stroke-dasharray:5 4}\n"
    ".limit-name,.called,.closing,.tick{font-size:11px;paint-order:stroke;stroke:var(--paper);stroke-width:3px;"
    "stroke-linejoin:round}\n"
    ".called{font-weight:600}\n"
    ".left{text-anchor:end}\n"
    ".episode{fill:var(--hatch);fill-opacity:.16;stroke:var(--hatch)}\n"
    ".hatch{fill:url(#hatch)}\n"
    ".stripe{stroke:var(--hatch);stroke-width:1.4}\n"
    ".gap{fill:var(--soft)}\n"
    ".reviewed{fill:var(--line)}\n"
    ".dot{fill:var(--ink)}\n"
    ".ring{fill:var(--ring);stroke:var(--doubt);stroke-width:1.6}\n"
    ".cross{stroke:var(--ink);stroke-width:1.6;fill:none}\n"
    ".diamond{fill:var(--hand);stroke:var(--ink);stroke-width:1.2}\n"
    ".narrow{display:none}\n"
    "@media (max-width:" TEXT_OF(SCENE_LABELLED) "px){.tick{text-anchor:start;transform:translate(3px,-3px)}"
    ".edge{display:none}}\n"
    "@media (max-width:640px){.wide{display:none}.narrow{display:inline}"
    ".title{font-size:14px}}\n"
    "</style>\n";

static const char shapes[] =
    "<defs>\n"
    "<pattern id=\"hatch\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">"
    "<path class=\"stripe\" d=\"M0 0V7\"/></pattern>\n"
    "<circle id=\"ring\" class=\"ring\" r=\"3\"/>\n"
    "<path id=\"cross\" class=\"cross\" d=\"M-3-3 3 3M3-3-3 3\"/>\n"
    "<circle id=\"dot\" class=\"dot\" r=\"3\"/>\n"
    "<path id=\"diamond\" class=\"diamond\" d=\"M0-5 5 0 0 5-5 0Z\"/>\n"
    "</defs>\n";

void scene_write_svg(const struct scene *scene, struct text *ret)
{
    bool is_in_frame = false;
    add_head(scene, ret);
    for (size_t k = 0; k < scene->count; k++) {
        const struct shape *shape = &scene->shapes[k];
        is_in_frame = shape->kind == SHAPE_FRAME || (is_in_frame && shape->kind != SHAPE_FRAME_END);
        add_shape(scene, shape, is_in_frame, ret);
    }
    if (scene->key_top > 0)
        add_key(scene, ret);
    text_puts(ret, "</svg>\n");
}

static void add_head(const struct scene *scene, struct text *text)
{
    text_puts(text, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    text_printf(text,
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100%%\" height=\"%d\" role=\"img\""
                " aria-labelledby=\"title description\" xml:lang=\"en\">\n<title id=\"title\">",
                scene->height);
    say(text, scene->title);
    text_puts(text, "</title>\n<desc id=\"description\">");
    say(text, scene->description);
    text_puts(text, "</desc>\n");
    text_puts(text, style);
    text_puts(text, shapes);
    text_puts(text, "<rect class=\"paper\" width=\"100%\" height=\"100%\"/>\n");
}

static void add_shape(const struct scene *scene, const struct shape *shape, bool is_in_frame, struct text *text)
{
    switch (shape->kind) {
    case SHAPE_FRAME:
        text_puts(text, "<svg x=\"" LEFT "\" y=\"");
        add_px(text, shape->y);
        text_puts(text, "\" width=\"" WIDTH "\" height=\"");
        add_px(text, shape->height);
        text_puts(text, "\">\n");
        return;
    case SHAPE_LINES: add_open_lines(shape, text); return;
    case SHAPE_FRAME_END:
    case SHAPE_LINES_END: text_puts(text, "</svg>\n"); return;
    case SHAPE_GROUP:
        text_puts(text, "<g><title>");
        say(text, shape->words);
        text_puts(text, "</title>\n");
        return;
    case SHAPE_GROUP_END: text_puts(text, "</g>\n"); return;
    case SHAPE_LINE: add_line(shape, text); return;
    case SHAPE_AREA:
        add_area(shape, classes[shape->look], text);
        if (shape->look == LOOK_EPISODE)
            add_area(shape, "hatch", text);
        return;
    case SHAPE_SYMBOL:
        text_printf(text, "<use href=\"#%s\" x=\"", classes[shape->look]);
        add_percent(text, shape->x);
        text_puts(text, "\" y=\"");
        add_px(text, shape->y);
        text_puts(text, "\"/>\n");
        return;
    case SHAPE_WORDS: add_words(shape, is_in_frame, text); return;
    case SHAPE_PATH: add_path(scene, shape, text); return;
    }
}

static void add_open_lines(const struct shape *shape, struct text *text)
{
    text_puts(text, "<svg class=\"lines\" width=\"100%\" height=\"");
    add_px(text, shape->height);
    text_printf(text, "\" viewBox=\"0 0 %d %d\" preserveAspectRatio=\"none\">\n", SCENE_UNITS, shape->height);
}

static void add_line(const struct shape *shape, struct text *text)
{
    text_printf(text, "<line class=\"%s\" x1=\"", classes[shape->look]);
    add_percent(text, shape->x);
    text_puts(text, "\" x2=\"");
    add_percent(text, shape->x2);
    text_puts(text, "\" y1=\"");
    add_px(text, shape->y);
    text_puts(text, "\" y2=\"");
    add_px(text, shape->y2);
    text_puts(text, "\"/>\n");
}

static void add_area(const struct shape *shape, const char *class, struct text *text)
{
    text_printf(text, "<rect class=\"%s\" x=\"", class);
    add_percent(text, shape->x);
    text_puts(text, "\" width=\"");
    add_percent(text, shape->x2 - shape->x);
    text_puts(text, "\" y=\"");
    add_px(text, shape->y);
    text_puts(text, "\" height=\"");
    add_px(text, shape->y2 - shape->y);
    text_puts(text, "\"/>\n");
}

static void add_words(const struct shape *shape, bool is_in_frame, struct text *text)
{
    text_printf(text, "<text class=\"%s%s\" x=\"", classes[shape->look], shape->shift < 0 ? " left" : "");
    if (is_in_frame)
        add_percent(text, shape->x);
    else
        text_puts(text, LEFT);
    if (shape->shift != 0)
        text_printf(text, "\" dx=\"%d", shape->shift);
    text_puts(text, "\" y=\"");
    add_px(text, shape->y);
    text_puts(text, "\">");
    say(text, shape->words);
    if (shape->more) {
        text_puts(text, " <tspan class=\"soft\">");
        say(text, shape->more);
        text_puts(text, "</tspan>");
    }
    text_puts(text, "</text>\n");
}

/* Relative steps in whole units, so that no rounding adds up; a sample alone becomes a dot by its round ends. */
static void add_path(const struct scene *scene, const struct shape *shape, struct text *text)
{
    if (shape->look == LOOK_BAND) {
        add_outline(scene, shape, text);
        return;
    }
    int last_x = 0, last_y = 0;
    bool moved = true;
    text_printf(text, "<path class=\"%s\" d=\"", classes[shape->look]);
    for (size_t k = 0; k < shape->count; k++) {
        const struct point *point = &scene->points[shape->first + k];
        if (point->begins) {
            text_puts(text, moved ? "" : "h0");
            add_point(text, 'M', point->x, point->y);
            text_putc(text, 'l');
        } else if (point->x != last_x || point->y != last_y) {
            text_integer(text, point->x - last_x);
            text_puts(text, point->y < last_y ? "" : " "); /* a minus parts them too */
            text_integer(text, point->y - last_y);
            text_putc(text, ' ');
        }
        moved = point->begins ? false : moved || point->x != last_x || point->y != last_y;
        last_x = point->x;
        last_y = point->y;
    }
    text_puts(text, moved ? "\"/>\n" : "h0\"/>\n");
}

static void add_outline(const struct scene *scene, const struct shape *shape, struct text *text)
{
    text_printf(text, "<path class=\"%s\" d=\"", classes[shape->look]);
    for (size_t k = 0; k < shape->count; k++) {
        const struct point *point = &scene->points[shape->first + k];
        text_puts(text, point->begins && k > 0 ? "Z" : "");
        add_point(text, point->begins ? 'M' : 'L', point->x, point->y);
    }
    text_puts(text, shape->count > 0 ? "Z\"/>\n" : "\"/>\n");
}

static void add_point(struct text *text, char step, int x, int y)
{
    text_putc(text, step);
    text_integer(text, x);
    text_putc(text, ' ');
    text_integer(text, y);
}

/* Twice: five in a row for wide pictures, three for narrow ones; the style shows one of them. */
static void add_key(const struct scene *scene, struct text *text)
{
    static const char *const wide[] = {"0", "20%", "40%", "60%", "80%"};
    static const char *const narrow[] = {"0", "34%", "70%"};
    for (int layout = 0; layout < 2; layout++) {
        int columns = layout ? COUNT_OF(narrow) : COUNT_OF(wide), shown = 0;
        text_printf(text, "<svg class=\"%s\" x=\"%s\" y=\"%d\" width=\"95%%\" height=\"%d\">\n",
                    layout ? "narrow" : "wide", LEFT, scene->key_top, SCENE_KEY_HEIGHT);
        for (size_t k = 0; k < SCENE_KEY_ITEMS; k++) {
            if (!scene_key_shows(scene, &scene_key[k]))
                continue;
            text_printf(text, "<svg x=\"%s\" y=\"%d\" width=\"1\" height=\"1\">",
                        layout ? narrow[shown % columns] : wide[shown % columns], 20 + shown / columns * KEY_ROW);
            add_sample(&scene_key[k], text);
            text_printf(text, "<text class=\"soft\" x=\"25\">%s</text></svg>\n", scene_key[k].words);
            shown++;
        }
        text_puts(text, "</svg>\n");
    }
}

/* Around (9, -4). */
static void add_sample(const struct key_item *item, struct text *text)
{
    const char *class = classes[item->look];
    if (item->kind == SHAPE_SYMBOL) {
        text_printf(text, "<use href=\"#%s\" x=\"9\" y=\"-4\"/>", class);
    } else if (item->kind != SHAPE_AREA) {
        text_printf(text, "<path class=\"%s\" d=\"M0-4H18\"/>", class);
    } else if (item->look == LOOK_GAP || item->look == LOOK_REVIEWED) {
        text_printf(text, "<path class=\"%s\" d=\"M0-6H18V-1H0Z\"/>", class);
    } else {
        text_printf(text, "<path class=\"%s\" d=\"M0-10H18V2H0Z\"/>", class);
        if (item->look == LOOK_EPISODE)
            text_puts(text, "<path class=\"hatch\" d=\"M0-10H18V2H0Z\"/>");
    }
}

static void add_percent(struct text *text, int hundredths)
{
    text_number(text, hundredths / 100.0, hundredths % 100 == 0 ? 0 : 2);
    text_putc(text, '%');
}

static void add_px(struct text *text, int tenths)
{
    text_number(text, tenths / 10.0, tenths % 10 == 0 ? 0 : 1);
}
