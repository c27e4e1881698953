/* SPDX-License-Identifier: MIT */
/* A sheet of paper for the next visit. */
#include "archive/page.h"

#include "archive/page_parts.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>

enum { VISITS = 3 };

static const char root[] = "../../";

static void add_header(struct text *text, const struct page_station *page);
static void add_known(struct text *text, const struct page_station *page);
static void add_range(struct text *text, const struct page_station *page, enum quantity quantity);
static void add_due(struct text *text, const struct page_station *page);
static void add_last_check(struct text *text, const struct page_station *page, enum quantity quantity,
                           const char *what);
static void add_last_clock(struct text *text, const struct page_station *page);
static void add_supply(struct text *text, const struct page_station *page);
static void add_blank_rows(struct text *text, const struct page_station *page);
static void add_row(struct text *text, const char *what, const char *hint);
static bool has(const struct page_station *page, enum quantity quantity);

void page_sheet_render(const struct page_station *page, struct text *ret)
{
    part_begin(ret, page->config, page->at->station->name, root, false);
    add_header(ret, page);
    text_puts(ret, "<main class=\"sheet\">\n");
    add_known(ret, page);
    add_due(ret, page);
    add_blank_rows(ret, page);
    text_puts(ret,
              "<p class=\"soft\">Read the staff when the water is calm, and write the time beside it. Copy the rows"
              " into the crew\u2019s notebook file. Follow your own safety rules at the water.</p>\n");
    part_end(ret, page->config, root);
}

static void add_header(struct text *text, const struct page_station *page)
{
    const struct station *station = page->at->station;
    text_puts(text, "<header class=\"sheet\">\n<nav aria-label=\"Up\"><a href=\"index.html\">");
    part_name(text, station->name);
    text_puts(text, "</a></nav>\n<h1>Field sheet: ");
    part_name(text, station->name);
    text_puts(text, "</h1>\n<p class=\"lead\">Station ");
    part_name(text, station->id);
    text_puts(text, "; level 0 is ");
    part_name(text, *station->datum ? station->datum : "not stated");
    text_puts(text, "; printed times are standard time, ");
    part_zone(text, station->utc_offset);
    text_puts(
        text,
        ".</p>\n<p class=\"blanks\"><span>Crew</span><span>Date</span><span>Clock (zone)</span></p>\n</header>\n");
}

/* ---- what is known ---- */

static void add_known(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"Quantity", "Last value", "When", "Lowest to highest"};
    static const enum quantity wanted[] = {QUANTITY_LEVEL,    QUANTITY_TEMPERATURE,
                                           QUANTITY_OXYGEN,   QUANTITY_SPECIFIC_CONDUCTANCE,
                                           QUANTITY_SALINITY, QUANTITY_BATTERY};
    text_puts(text, "<section>\n<h2>To expect</h2>\n");
    if (page->at->value_count == 0) {
        text_puts(text, "<p>No data yet.</p>\n</section>\n");
        return;
    }
    part_table_begin(text, "plain", "Last usable values, and the range of the newest month", headings,
                     COUNT_OF(headings));
    for (size_t k = 0; k < COUNT_OF(wanted); k++) {
        for (size_t v = 0; v < page->at->value_count; v++) {
            const struct network_value *value = &page->at->values[v];
            if (value->quantity != wanted[k])
                continue;
            text_printf(text, "<tr><th scope=\"row\">%s</th><td>", quantity_info(wanted[k])->title);
            part_value(text, value, true);
            text_puts(text, "</td><td>");
            part_time(text, value->time, page->at->station->utc_offset);
            text_puts(text, "</td><td>");
            add_range(text, page, wanted[k]);
            text_puts(text, "</td></tr>\n");
        }
    }
    part_table_end(text);
    text_puts(text, "</section>\n");
}

static void add_range(struct text *text, const struct page_station *page, enum quantity quantity)
{
    struct summary s = {.usable = 0};
    if (page->latest)
        s = summary_of(page->latest, quantity);
    if (s.usable == 0) {
        text_puts(text, "\u2013");
        return;
    }
    summary_add_number(text, quantity, s.min);
    text_puts(text, " to ");
    summary_add_value(text, quantity, s.max);
}

/* ---- what is due ---- */

static void add_due(struct text *text, const struct page_station *page)
{
    text_puts(text, "<section>\n<h2>To check</h2>\n<ul class=\"due\">\n");
    add_last_check(text, page, QUANTITY_LEVEL, "Level by hand, before the logger comes out and after it is back");
    if (has(page, QUANTITY_OXYGEN))
        add_last_check(text, page, QUANTITY_OXYGEN, "Oxygen beside a meter, as found and after cleaning");
    if (has(page, QUANTITY_SPECIFIC_CONDUCTANCE))
        add_last_check(text, page, QUANTITY_SPECIFIC_CONDUCTANCE,
                       "Conductance beside a meter, as found and after cleaning");
    add_last_clock(text, page);
    add_supply(text, page);
    for (size_t k = 0; k < page->at->alarm_count; k++) {
        text_puts(text, "<li><span class=\"box\" aria-hidden=\"true\"></span><span>Alarm: ");
        part_alarm_title(text, page->config, &page->at->alarms[k]);
        text_puts(text, ", since ");
        part_time(text, page->at->alarms[k].episode.start, page->at->station->utc_offset);
        text_puts(text, "</span></li>\n");
    }
    text_puts(text, "</ul>\n</section>\n");
}

static void add_last_check(struct text *text, const struct page_station *page, enum quantity quantity, const char *what)
{
    const struct check_result *last = NULL;
    for (size_t k = 0; k < page->check_count && !last; k++) /* newest first */
        last = page->checks[k].quantity == quantity ? &page->checks[k] : NULL;
    text_printf(text, "<li><span class=\"box\" aria-hidden=\"true\"></span><span>%s<br><small>", what);
    if (!last) {
        text_puts(text, "no check so far</small></span></li>\n");
        return;
    }
    text_puts(text, "last ");
    part_time(text, last->time, page->at->station->utc_offset);
    text_puts(text, ": by hand ");
    summary_add_value(text, quantity, last->reference);
    if (!last->is_first && isfinite(last->difference)) {
        text_puts(text, ", record ");
        part_difference(text, quantity, last->difference);
    }
    text_puts(text, "</small></span></li>\n");
}

static void add_last_clock(struct text *text, const struct page_station *page)
{
    const struct note *last = NULL;
    for (size_t k = 0; k < page->note_count && !last; k++)
        last = page->notes[k].kind == NOTE_CLOCK ? &page->notes[k] : NULL;
    text_puts(text, "<li><span class=\"box\" aria-hidden=\"true\"></span><span>The logger\u2019s clock against a true "
                    "one<br><small>");
    if (!last) {
        text_puts(text, "no check so far</small></span></li>\n");
        return;
    }
    char apart[TIMESTAMP_SIZE];
    int64_t difference = last->until - last->time;
    text_puts(text, "last ");
    part_time(text, last->time, page->at->station->utc_offset);
    text_printf(text, ": the logger was %s %s</small></span></li>\n",
                duration_print(difference < 0 ? -difference : difference, apart), difference < 0 ? "slow" : "fast");
}

/* Where the settings say what its logger runs out of. */
static void add_supply(struct text *text, const struct page_station *page)
{
    const struct supply *supply = &page->at->supply;
    if (supply->memory_full == TIME_FOREVER && supply->battery_empty == TIME_FOREVER)
        return;
    text_puts(text, "<li><span class=\"box\" aria-hidden=\"true\"></span><span>Logger offloaded and started anew; new "
                    "batteries are a note of their own<br><small>");
    part_supply(text, supply, page->at->station->utc_offset);
    text_puts(text, "</small></span></li>\n");
}

/* ---- what to write ---- */

/* Named and ordered as the columns of the field notes' template, so that paper and file agree. */
static void add_blank_rows(struct text *text, const struct page_station *page)
{
    text_puts(text, "<section>\n<h2>To write</h2>\n<table class=\"blank\">\n<caption>One column a reading; units as "
                    "read</caption>\n"
                    "<thead><tr><th scope=\"col\">What</th>");
    for (int k = 0; k < VISITS; k++)
        text_printf(text, "<th scope=\"col\">%d</th>", k + 1);
    text_puts(text, "</tr></thead>\n<tbody>\n");
    add_row(text, "Time", "");
    add_row(text, "Staff", "m");
    if (isfinite(page->at->station->tape_point))
        add_row(text, "Tape down", "m");
    add_row(text, "Logger out", "time");
    add_row(text, "Logger in", "time");
    if (has(page, QUANTITY_TEMPERATURE))
        add_row(text, "Temp meter", "\u00b0C");
    if (has(page, QUANTITY_OXYGEN))
        add_row(text, "DO meter", "mg/L");
    if (has(page, QUANTITY_SPECIFIC_CONDUCTANCE))
        add_row(text, "SpC meter", "\u00b5S/cm");
    if (has(page, QUANTITY_OXYGEN))
        add_row(text, "DO meter cleaned", "mg/L");
    if (has(page, QUANTITY_SPECIFIC_CONDUCTANCE))
        add_row(text, "SpC meter cleaned", "\u00b5S/cm");
    add_row(text, "Logger clock", "shows");
    add_row(text, "Logger serial", "");
    if (page->at->station->battery_lasts > 0 || page->at->station->battery_limit > 0)
        add_row(text, "New batteries", "time");
    add_row(text, "Remarks", "");
    text_puts(text, "</tbody>\n</table>\n</section>\n");
}

static void add_row(struct text *text, const char *what, const char *hint)
{
    text_printf(text, "<tr><th scope=\"row\">%s <span class=\"unit\">%s</span></th>", what, hint);
    for (int k = 0; k < VISITS; k++)
        text_puts(text, "<td></td>");
    text_puts(text, "</tr>\n");
}

/* A station that has not spoken yet may have any sensor. */
static bool has(const struct page_station *page, enum quantity quantity)
{
    for (size_t k = 0; k < page->at->value_count; k++)
        if (page->at->values[k].quantity == quantity)
            return true;
    return page->at->value_count == 0;
}
