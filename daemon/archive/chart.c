/* SPDX-License-Identifier: MIT */
#include "archive/chart.h"

#include "archive/chart_panel.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <string.h>

enum { HEAD = 52, PANEL_HEAD = 40, DAYS = 38, KEY = 66, KEY_ROW = 19 };

static void add_head(const struct dataset *dataset, int height, struct text *text);
static void add_days(const struct dataset *dataset, int top, struct text *text);
static void add_key(unsigned marks, int top, struct text *text);
static void add_key_item(struct text *text, const char *x, int y, int item);
static void add_offset(struct text *text, int64_t offset);

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
    ".lines path{fill:none;vector-effect:non-scaling-stroke;stroke-linejoin:round;stroke-linecap:round}\n"
    ".lines .finished{stroke:var(--line);stroke-width:1.5}\n"
    ".lines .raw{stroke:var(--raw);stroke-width:1}\n"
    ".lines .doubt{stroke:var(--doubt);stroke-width:1.5}\n"
    ".lines .band{fill:var(--line);fill-opacity:.18}\n"
    ".limit{stroke:var(--ink);stroke-dasharray:5 4}\n"
    ".limit-name,.called,.closing,.tick{font-size:11px;paint-order:stroke;stroke:var(--paper);stroke-width:3px;"
    "stroke-linejoin:round}\n"
    ".called{font-weight:600}\n"
    ".left{text-anchor:end}\n"
    ".episode{fill:var(--hatch);fill-opacity:.16;stroke:var(--hatch)}\n"
    ".hatch{fill:url(#hatch)}\n"
    ".stripe{stroke:var(--hatch);stroke-width:1.4}\n"
    ".gap{fill:var(--soft)}\n"
    ".ring{fill:var(--ring);stroke:var(--doubt);stroke-width:1.6}\n"
    ".cross{stroke:var(--ink);stroke-width:1.6;fill:none}\n"
    ".diamond{fill:var(--hand);stroke:var(--ink);stroke-width:1.2}\n"
    ".narrow{display:none}\n"
    "@media (max-width:860px){.tick{text-anchor:start;transform:translate(3px,-3px)}"
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
    "<path id=\"diamond\" class=\"diamond\" d=\"M0-5 5 0 0 5-5 0Z\"/>\n"
    "</defs>\n";

/* What the key shows, in this order: mark (0: always), its picture around (8,-4), its words. */
static const struct {
    unsigned mark;
    const char *picture, *words;
} key_items[] = {
    {0, "<path stroke=\"var(--line)\" stroke-width=\"2\" d=\"M0-4H18\"/>", "finished"},
    {MARK_RAW, "<path stroke=\"var(--raw)\" d=\"M0-4H18\"/>", "measured"},
    {MARK_BAND, "<path fill=\"var(--line)\" fill-opacity=\".25\" d=\"M0-10H18V2H0Z\"/>", "95\u00a0% band"},
    {MARK_HAND, "<use href=\"#diamond\" x=\"9\" y=\"-4\"/>", "by hand"},
    {MARK_LIMIT, "<path class=\"limit\" d=\"M0-4H18\"/>", "limit"},
    {MARK_EPISODE, "<path class=\"episode\" d=\"M0-10H18V2H0Z\"/><path class=\"hatch\" d=\"M0-10H18V2H0Z\"/>",
     "rule met"},
    {MARK_SUSPECT, "<use href=\"#ring\" x=\"9\" y=\"-4\"/>", "suspect"},
    {MARK_FAIL, "<use href=\"#cross\" x=\"9\" y=\"-4\"/>", "fail"},
    {MARK_MISSING, "<path class=\"gap\" d=\"M0-6H18V-1H0Z\"/>", "missing"},
};

size_t chart_panels(const struct record *record, enum quantity ret[CHART_PANELS_MAX])
{
    static const enum quantity rest[] = {QUANTITY_OXYGEN, QUANTITY_TEMPERATURE, QUANTITY_SPECIFIC_CONDUCTANCE,
                                         QUANTITY_SALINITY, QUANTITY_AIR_PRESSURE};
    size_t n = 0;
    bool has_level = summarize(record, QUANTITY_LEVEL).usable > 0;
    if (has_level || summarize(record, QUANTITY_DEPTH).usable > 0)
        ret[n++] = has_level ? QUANTITY_LEVEL : QUANTITY_DEPTH;
    for (size_t k = 0; k < COUNT_OF(rest); k++)
        if (summarize(record, rest[k]).usable > 0)
            ret[n++] = rest[k];
    return n;
}

int chart_height(const enum quantity *panels, size_t n)
{
    int height = HEAD + DAYS + KEY;
    for (size_t k = 0; k < n; k++)
        height += PANEL_HEAD + chart_panel_height(panels[k]);
    return height;
}

void chart_describe(const struct dataset *dataset, struct text *ret)
{
    enum quantity panels[CHART_PANELS_MAX];
    size_t n = chart_panels(&dataset->record, panels);
    say(ret, dataset->station->name);
    text_puts(ret, ", ");
    summary_add_month(ret, dataset->year, dataset->month);
    text_puts(ret, ".");
    if (n == 0)
        text_puts(ret, " No usable values.");
    for (size_t k = 0; k < n; k++) {
        text_putc(ret, ' ');
        summary_add_sentence(ret, &dataset->record, panels[k]);
    }
}

void chart_render(const struct dataset *dataset, struct text *ret)
{
    enum quantity panels[CHART_PANELS_MAX];
    size_t n = chart_panels(&dataset->record, panels);
    add_head(dataset, chart_height(panels, n), ret);
    int top = HEAD;
    unsigned marks = 0;
    for (size_t k = 0; k < n; k++) {
        top += PANEL_HEAD;
        marks |= chart_panel_render(dataset, panels[k], top, ret);
        top += chart_panel_height(panels[k]);
    }
    add_days(dataset, top, ret);
    add_key(marks, top + DAYS, ret);
    text_puts(ret, "</svg>\n");
}

static void add_head(const struct dataset *dataset, int height, struct text *text)
{
    text_puts(text, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    text_printf(text,
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100%%\" height=\"%d\" role=\"img\""
                " aria-labelledby=\"title description\" xml:lang=\"en\">\n<title id=\"title\">",
                height);
    say(text, dataset->station->name);
    text_puts(text, ", ");
    summary_add_month(text, dataset->year, dataset->month);
    text_puts(text, "</title>\n<desc id=\"description\">");
    chart_describe(dataset, text);
    text_puts(text, "</desc>\n");
    text_puts(text, style);
    text_puts(text, shapes);
    text_puts(text, "<rect class=\"paper\" width=\"100%\" height=\"100%\"/>\n");
    text_puts(text, "<text class=\"title\" x=\"" CHART_LEFT "\" y=\"26\">");
    say(text, dataset->station->name);
    text_puts(text, "</text>\n<text class=\"soft\" x=\"" CHART_LEFT "\" y=\"46\">");
    summary_add_month(text, dataset->year, dataset->month);
    text_printf(text, " \u00b7 revision %lld \u00b7 provisional</text>\n", (long long)dataset->revision);
}

static void add_days(const struct dataset *dataset, int top, struct text *text)
{
    const struct span *month = &dataset->span;
    text_printf(text, "<svg x=\"%s\" y=\"%d\" width=\"%s\" height=\"%d\">", CHART_LEFT, top, CHART_WIDTH, DAYS);
    for (int day = 5; month->from + (day - 1) * DAY_MS < month->to; day += 5) {
        text_puts(text, "<text class=\"day\" x=\"");
        chart_add_percent(text, chart_position(dataset, month->from + (day - 1) * DAY_MS));
        text_printf(text, "\" y=\"15\">%d</text>", day);
    }
    text_puts(text, "<text class=\"day\" x=\"0\" y=\"15\">1</text>");
    text_printf(text, "</svg>\n<text class=\"soft\" x=\"%s\" y=\"%d\">day of ", CHART_LEFT, top + 33);
    summary_add_month(text, dataset->year, dataset->month);
    text_puts(text, ", standard time ");
    add_offset(text, dataset->station->utc_offset);
    text_puts(text, "</text>\n");
}

static void add_offset(struct text *text, int64_t offset)
{
    char printed[TIMESTAMP_SIZE];
    timestamp_print_offset(0, offset, printed);
    const char *zone = printed + strlen("1970-01-01T00:00:00");
    zone = strchr(zone, '+') ? strchr(zone, '+') : strchr(zone, '-');
    text_puts(text, "UTC");
    text_puts(text, *zone == '-' ? "\u2212" : "+");
    text_puts(text, zone + 1);
}

/* Twice: five in a row for wide pictures, three for narrow ones; the style shows one of them. */
static void add_key(unsigned marks, int top, struct text *text)
{
    static const char *const wide[] = {"0", "20%", "40%", "60%", "80%"};
    static const char *const narrow[] = {"0", "34%", "70%"};
    for (int layout = 0; layout < 2; layout++) {
        int columns = layout ? COUNT_OF(narrow) : COUNT_OF(wide), shown = 0;
        text_printf(text, "<svg class=\"%s\" x=\"%s\" y=\"%d\" width=\"95%%\" height=\"%d\">\n",
                    layout ? "narrow" : "wide", CHART_LEFT, top, KEY);
        for (int item = 0; item < (int)COUNT_OF(key_items); item++) {
            if (key_items[item].mark != 0 && !(marks & key_items[item].mark))
                continue;
            const char *x = layout ? narrow[shown % columns] : wide[shown % columns];
            add_key_item(text, x, 20 + shown / columns * KEY_ROW, item);
            shown++;
        }
        text_puts(text, "</svg>\n");
    }
}

static void add_key_item(struct text *text, const char *x, int y, int item)
{
    text_printf(text,
                "<svg x=\"%s\" y=\"%d\" width=\"1\" height=\"1\">%s<text class=\"soft\" x=\"25\">%s</text></svg>\n", x,
                y, key_items[item].picture, key_items[item].words);
}
