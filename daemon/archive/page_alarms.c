/* SPDX-License-Identifier: MIT */
/* alarms.html: whether the people who are told of alarms can still answer them. */
#include "archive/page.h"

#include "archive/page_parts.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <inttypes.h>

static const char *const headings[] = {"Recipient", "New alarms", "Busiest day", "In 10 min", "Chattering", "Active"};
enum figure { FIGURE_WHO, FIGURE_NEW, FIGURE_BUSIEST, FIGURE_AT_ONCE, FIGURE_CHATTERING, FIGURE_ACTIVE };

static void add_recipient(struct text *text, const struct page_figures *figures, const struct page_recipient *one);
static void add_acceptable(struct text *text, const struct page_figures *figures);
static void add_count(struct text *text, enum figure column, int64_t count, bool is_too_many);
static void add_verdict(struct text *text, bool is_too_many);
static void add_day(struct text *text, int64_t time, int64_t offset);

void page_alarms_render(const struct page_figures *figures, struct text *ret)
{
    part_begin(ret, figures->config, "Alarms that people got", "", false);
    text_puts(ret, "<header>\n<nav aria-label=\"Up\"><a href=\"index.html\">");
    part_name(ret, figures->config->network_name);
    text_puts(ret, "</a></nav>\n<h1>Alarms that people got</h1>\n<p class=\"lead\">Of each recipient, by its id in the "
                   "settings. Days are those of ");
    part_zone(ret, figures->utc_offset);
    text_puts(ret, ".</p>\n</header>\n<main>\n<section>\n");
    if (figures->recipient_count == 0)
        text_puts(ret, "<p>The settings name nobody who is told.</p>\n");
    else
        part_table_begin(ret, "cards", "How many alarms each recipient gets", headings, COUNT_OF(headings));
    for (size_t k = 0; k < figures->recipient_count; k++)
        add_recipient(ret, figures, &figures->recipients[k]);
    if (figures->recipient_count > 0) {
        add_acceptable(ret, figures);
        part_table_end(ret);
    }
    text_printf(ret,
                "<p class=\"soft\">New alarms are those of the %d days up to the recipient\u2019s newest one; an alarm "
                "counts once, however many messages it made. In 10 min: the most of them. Chattering: it began again "
                "and again within hours, which is a limit set too near or a sensor that is loose. Active: still so "
                "when data last told, known to us since the day that is named. The last row is what one person can "
                "take in, after ISA-18.2 and IEC 62682; a figure beyond it says so. <code>rillward status</code> tells "
                "the same of the last 24 hours.</p>\n</section>\n",
                figures->days);
    part_end(ret, figures->config, "");
}

static void add_recipient(struct text *text, const struct page_figures *figures, const struct page_recipient *one)
{
    text_puts(text, "<tr><th scope=\"row\">");
    part_name(text, one->id);
    text_puts(text, "</th>");
    part_cell(text, "", headings[FIGURE_NEW]);
    text_printf(text, "%" PRId64, one->raised);
    if (one->raised > 0) {
        text_puts(text, ", newest ");
        add_day(text, one->newest, figures->utc_offset);
    }
    text_puts(text, "</td>");
    part_cell(text, "", headings[FIGURE_BUSIEST]);
    text_printf(text, "%" PRId64, one->on_busiest_day);
    if (one->raised > 0) {
        text_puts(text, " on ");
        add_day(text, one->busiest_day, figures->utc_offset);
    }
    add_verdict(text, one->on_busiest_day > figures->a_day_acceptable);
    text_puts(text, "</td>");
    add_count(text, FIGURE_AT_ONCE, one->most_in_10_min, one->most_in_10_min > figures->in_10_min_acceptable);
    part_cell(text, "", headings[FIGURE_CHATTERING]);
    text_printf(text, "%.0f\u00a0%%", one->raised ? 100.0 * (double)one->chattering / (double)one->raised : 0.0);
    add_verdict(text, one->chattering > 0);
    text_puts(text, "</td>");
    part_cell(text, "", headings[FIGURE_ACTIVE]);
    text_printf(text, "%" PRId64, one->active);
    if (one->active > 0) {
        text_puts(text, one->active > 1 ? ", oldest " : ", since ");
        add_day(text, one->active_since, figures->utc_offset);
    }
    text_puts(text, "</td></tr>\n");
}

static void add_acceptable(struct text *text, const struct page_figures *figures)
{
    text_puts(text, "<tr><th scope=\"row\">One person can take in</th>");
    part_cell(text, "none", headings[FIGURE_NEW]);
    text_puts(text, "\u2013</td>");
    part_cell(text, "", headings[FIGURE_BUSIEST]);
    text_printf(text, "up to %d a day</td>", figures->a_day_acceptable);
    part_cell(text, "", headings[FIGURE_AT_ONCE]);
    text_printf(text, "up to %d</td>", figures->in_10_min_acceptable);
    part_cell(text, "", headings[FIGURE_CHATTERING]);
    text_puts(text, "none</td>");
    part_cell(text, "", headings[FIGURE_ACTIVE]);
    text_printf(text, "under %d, longer than a day</td></tr>\n", figures->standing_below);
}

static void add_count(struct text *text, enum figure column, int64_t count, bool is_too_many)
{
    part_cell(text, "", headings[column]);
    text_printf(text, "%" PRId64, count);
    add_verdict(text, is_too_many);
    text_puts(text, "</td>");
}

static void add_verdict(struct text *text, bool is_too_many)
{
    if (is_too_many)
        text_puts(text, " <span class=\"flag\">more than acceptable</span>");
}

static void add_day(struct text *text, int64_t time, int64_t offset)
{
    struct civil day = timestamp_to_civil(time + offset);
    text_printf(text, "<time datetime=\"%04d-%02d-%02d\">%d\u00a0%.3s\u00a0%d</time>", day.year, day.month, day.day,
                day.day, summary_month_name(day.month), day.year);
}
