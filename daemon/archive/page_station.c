/* SPDX-License-Identifier: MIT */
/* A station's page: what it shows now, its newest month as a picture, and everything that stands behind the record. */
#include "archive/page.h"

#include "archive/chart.h"
#include "archive/daily.h"
#include "archive/page_parts.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LONGEST_LINE = 2048 };

static const char root[] = "../../";

static void add_header(struct text *text, const struct page_station *page);
static void add_needs(struct text *text, const struct page_station *page);
static void add_values(struct text *text, const struct page_station *page);
static void add_newest_month(struct text *text, const struct page_station *page);
static void add_numbers(struct text *text, const struct page_station *page);
static void add_oxygen_hours(struct text *text, const struct page_station *page);
static void add_months(struct text *text, const struct page_station *page);
static void add_revisions(struct text *text, const struct page_station *page);
static void add_files_of_revision(struct text *text, const struct page_revision *revision);
static void add_changes(struct text *text, const struct page_revision *revision);
static void add_checks(struct text *text, const struct page_station *page);
static void add_findings(struct text *text, const struct page_station *page);
static void add_notes(struct text *text, const struct page_station *page);
static void add_note_source(struct text *text, const struct page_station *page, const struct note *note);
static void add_alarms(struct text *text, const struct page_station *page);
static void add_settings(struct text *text, const struct page_station *page);
static void add_salinity(struct text *text, const struct station *station);
static void add_originals(struct text *text, const struct page_station *page);
static void add_more(struct text *text, bool has_more, const char *where);
static void add_degrees(struct text *text, double degrees, const char *positive, const char *negative);
static const char *picture_of(const struct page_month *month);

void page_station_render(const struct page_station *page, struct text *ret)
{
    part_begin(ret, page->config, page->at->station->name, root, true);
    add_header(ret, page);
    text_puts(ret, "<main>\n");
    part_cautions(ret);
    add_needs(ret, page);
    add_values(ret, page);
    add_newest_month(ret, page);
    add_months(ret, page);
    add_revisions(ret, page);
    add_checks(ret, page);
    add_findings(ret, page);
    add_notes(ret, page);
    add_alarms(ret, page);
    add_settings(ret, page);
    add_originals(ret, page);
    part_end(ret, page->config, root);
}

static void add_header(struct text *text, const struct page_station *page)
{
    const struct station *station = page->at->station;
    text_printf(text, "<header>\n<nav aria-label=\"Up\"><a href=\"%sindex.html\">", root);
    part_name(text, page->config->network_name);
    text_puts(text, "</a></nav>\n<h1>");
    part_name(text, station->name);
    text_puts(text, "</h1>\n<p class=\"lead\">Station ");
    part_name(text, station->id);
    if (page->at->last != TIME_NONE) {
        text_puts(text, "; data from ");
        part_time(text, page->at->first, station->utc_offset);
        text_puts(text, " to ");
        part_time(text, page->at->last, station->utc_offset);
    } else {
        text_puts(text, "; no data yet");
    }
    text_puts(text, ".<br>\nTimes on this page are the station\u2019s standard time, ");
    part_zone(text, station->utc_offset);
    text_puts(text, ". <a href=\"field-sheet.html\">Field sheet to print</a></p>\n</header>\n");
}

static void add_needs(struct text *text, const struct page_station *page)
{
    const struct network_station *at = page->at;
    if (at->alarm_count + at->waiting_count == 0)
        return;
    text_puts(text, "<section>\n<h2>What needs a hand</h2>\n<ul class=\"calls\">\n");
    for (size_t k = 0; k < at->alarm_count; k++)
        part_open_alarm(text, page->config, &at->alarms[k], NULL, NULL, at->station->utc_offset);
    for (size_t k = 0; k < at->waiting_count; k++)
        part_waiting(text, &at->waiting[k], NULL, NULL, at->station->utc_offset);
    text_puts(text, "</ul>\n</section>\n");
}

static void add_values(struct text *text, const struct page_station *page)
{
    const uint32_t shown =
        ~(1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_CONDUCTIVITY | 1u << QUANTITY_OXYGEN_SATURATION_STANDARD |
          1u << QUANTITY_SENSOR_LATITUDE | 1u << QUANTITY_SENSOR_LONGITUDE); /* the table of numbers has these */
    const struct network_station *at = page->at;
    if (at->value_count == 0)
        return;
    int64_t common = at->values[0].time;
    text_puts(text, "<section>\n<h2>Last usable values, ");
    part_time(text, common, at->station->utc_offset);
    text_puts(text, "</h2>\n<dl class=\"values\">\n");
    for (size_t k = 0; k < at->value_count; k++) {
        if (!(shown >> at->values[k].quantity & 1))
            continue;
        text_printf(text, "<div><dt>%s</dt><dd><b>", quantity_info(at->values[k].quantity)->title);
        part_value(text, &at->values[k], true);
        text_puts(text, "</b>");
        if (at->values[k].time != common) {
            text_puts(text, "<small>");
            part_time(text, at->values[k].time, at->station->utc_offset);
            text_puts(text, "</small>");
        }
        text_puts(text, "</dd></div>\n");
    }
    text_puts(text, "</dl>\n</section>\n");
}

/* ---- records ---- */

static void add_newest_month(struct text *text, const struct page_station *page)
{
    if (!page->latest || page->month_count == 0)
        return;
    const struct page_month *month = &page->months[0];
    const char *picture = picture_of(month);
    text_puts(text, "<section>\n<h2>");
    summary_add_month(text, month->year, month->month);
    text_printf(text, " <small>%s</small></h2>\n", record_state_word(month->state));
    if (picture) {
        enum quantity panels[CHART_PANELS_MAX];
        size_t n = chart_panels(page->latest, panels);
        int64_t days = (page->latest->span.to - page->latest->span.from) / DAY_MS;
        text_puts(text, "<figure class=\"chart\" data-heads=\"");
        for (size_t k = 0; k < n; k++)
            text_printf(text, k > 0 ? " %d" : "%d", chart_height(panels, k));
        text_printf(text,
                    "\" data-days=\"%" PRId64 "\" data-month=\"%.3s\">\n<div class=\"view\">"
                    "<a href=\"%s%s\"><img src=\"%s%s\" height=\"%d\" alt=\"Chart of ",
                    days, summary_month_name(month->month), root, picture, root, picture, chart_height(panels, n));
        chart_describe(page->latest, text);
        text_puts(text, "\"></a></div>\n</figure>\n");
    }
    text_puts(text, "<p class=\"downloads\">");
    for (size_t k = 0; k < month->file_count; k++) {
        const struct page_file *file = &month->files[k];
        text_printf(text, "<a class=\"button\" href=\"%s%s\">%s <small>", root, file->path, file->label);
        part_bytes(text, file->bytes);
        text_puts(text, "</small></a>\n");
    }
    text_puts(text, "</p>\n");
    add_numbers(text, page);
    add_oxygen_hours(text, page);
    text_puts(text, "</section>\n");
}

/* The picture in numbers. */
static void add_numbers(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"Quantity", "#Lowest",  "#Highest", "#Last",
                                           "#Usable",  "#Suspect", "#Failed",  "#Missing"};
    part_table_begin(text, "plain numbers", "This month in numbers", headings, COUNT_OF(headings));
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct summary s = summary_of(page->latest, q);
        if (s.usable == 0)
            continue;
        text_printf(text, "<tr><th scope=\"row\">%s <span class=\"unit\">%s</span></th>", quantity_info(q)->title,
                    summary_unit(q));
        const double values[] = {s.min, s.max, s.last};
        const size_t counts[] = {s.usable, s.suspect, s.failed, s.missing};
        for (size_t k = 0; k < COUNT_OF(values); k++) {
            text_puts(text, "<td>");
            summary_add_number(text, q, values[k]);
            text_puts(text, "</td>");
        }
        for (size_t k = 0; k < COUNT_OF(counts); k++)
            text_printf(text, counts[k] ? "<td>%zu</td>" : "<td class=\"none\">%zu</td>", counts[k]);
        text_puts(text, "</tr>\n");
    }
    part_table_end(text);
}

/* As the daily file has them: hours in all, and how many days have any. */
static void add_oxygen_hours(struct text *text, const struct page_station *page)
{
    struct daily_hours hours = daily_hours_of(page->latest);
    if (hours.limit_count == 0)
        return;
    text_puts(text, "<p class=\"hours\">Oxygen was");
    for (size_t k = 0; k < hours.limit_count; k++) {
        size_t days = hours.days[k];
        text_puts(text, k == 0 ? " below " : k + 1 < hours.limit_count ? "; below " : "; and below ");
        text_number(text, hours.limits[k], 1);
        text_puts(text, "\u00a0mg/L for <b>");
        text_number(text, (double)hours.below[k] / (double)HOUR_MS, 1);
        text_printf(text, "\u00a0h</b> on %zu %s", days, days == 1 ? "day" : "days");
    }
    text_puts(text, ".</p>\n");
}

static void add_months(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"Month", "Revision", "State", "Files", "SHA-256 (CSV)"};
    if (page->month_count == 0)
        return;
    text_puts(text, "<section>\n<h2>Records</h2>\n");
    part_table_begin(text, "cards", "All months", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->month_count; k++) {
        const struct page_month *month = &page->months[k];
        text_puts(text, "<tr><th scope=\"row\">");
        summary_add_month(text, month->year, month->month);
        text_puts(text, "</th>");
        part_cell(text, "", headings[1]);
        text_printf(text, "%" PRId64 "</td>", month->revision);
        part_cell(text, "reviewed", headings[2]);
        text_printf(text, "%s</td>", record_state_word(month->state));
        part_cell(text, "links", headings[3]);
        for (size_t f = 0; f < month->file_count; f++) {
            text_printf(text, "<span><a href=\"%s%s\">%s</a> <small>", root, month->files[f].path,
                        month->files[f].label);
            part_bytes(text, month->files[f].bytes);
            text_puts(text, "</small></span> ");
        }
        text_puts(text, "</td>");
        part_cell(text, "", headings[4]);
        if (month->file_count > 0)
            part_short_sha256(text, month->files[0].sha256);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    if (page->year_count > 0)
        text_puts(text, "<p>Whole years, netCDF:");
    for (size_t k = 0; k < page->year_count; k++) {
        const struct page_file *year = &page->years[k];
        text_printf(text, " <a href=\"%s%s\">%s</a> <small>", root, year->path, year->label);
        part_bytes(text, year->bytes);
        text_puts(text, "</small>");
    }
    text_puts(text, page->year_count > 0 ? "</p>\n" : "");
    text_puts(text, "</section>\n");
}

/* What readers of an older one have to know. */
static void add_revisions(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"Record", "Revision", "State", "Known until", "Changes"};
    if (page->revision_count == 0)
        return;
    text_puts(
        text,
        "<section>\n<h2>Revisions</h2>\n"
        "<p>A record gets a new number each time that its content changes: what changed, and which files, notes or "
        "settings are behind it. Known until: the arrival of the newest file that was taken in.</p>\n");
    part_table_begin(text, "cards", "Newest first", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->revision_count; k++) {
        const struct page_revision *revision = &page->revisions[k];
        text_puts(text, "<tr><th scope=\"row\">");
        summary_add_month(text, revision->year, revision->month);
        text_puts(text, "</th>");
        part_cell(text, "", headings[1]);
        text_printf(text, "%" PRId64 "</td>", revision->revision);
        part_cell(text, "", headings[2]);
        text_puts(text, record_state_word(revision->state));
        text_puts(text, "</td>");
        part_cell(text, "", headings[3]);
        part_time(text, revision->arrived, page->at->station->utc_offset);
        text_puts(text, "</td>");
        part_cell(text, "remark", headings[4]);
        add_changes(text, revision);
        add_files_of_revision(text, revision);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    add_more(text, page->has_more_revisions, "history.csv");
    text_puts(text, "</section>\n");
}

/* What was kept of a former one. */
static void add_files_of_revision(struct text *text, const struct page_revision *revision)
{
    if (revision->file_count == 0)
        return;
    text_puts(text, "<p class=\"links\">As it was:");
    for (size_t k = 0; k < revision->file_count; k++) {
        const struct page_file *file = &revision->files[k];
        text_printf(text, " <span><a href=\"%s%s\">%s</a> <small>", root, file->path, file->label);
        part_bytes(text, file->bytes);
        text_puts(text, "</small> ");
        part_short_sha256(text, file->sha256);
        text_puts(text, "</span>");
    }
    text_puts(text, "</p>");
}

static void add_changes(struct text *text, const struct page_revision *revision)
{
    const char *at = revision->changes;
    if (!at || !*at) {
        text_puts(text, revision->revision == 1 ? "First publication" : "Not told");
        return;
    }
    text_puts(text, "<ul class=\"changes\">");
    for (const char *stop; *at; at = *stop ? stop + 1 : stop) {
        stop = at + strcspn(at, "\n");
        char line[LONGEST_LINE];
        snprintf(line, sizeof line, "%.*s", (int)(stop - at), at);
        text_puts(text, "<li>");
        part_name(text, line);
        text_puts(text, "</li>");
    }
    text_puts(text, "</ul>");
}

static const char *picture_of(const struct page_month *month)
{
    for (size_t k = 0; k < month->file_count; k++)
        if (text_ends_with(month->files[k].path, ".svg"))
            return month->files[k].path;
    return NULL;
}

/* ---- what stands behind them ---- */

static void add_checks(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"When", "What", "#By hand", "#Record", "#Record \u2212 hand"};
    if (page->check_count == 0)
        return;
    text_puts(text, "<section>\n<h2>Hand readings and checks</h2>\n"
                    "<p>What people measured, against what the record said without that reading.</p>\n");
    part_table_begin(text, "cards", "Newest first", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->check_count; k++) {
        const struct check_result *check = &page->checks[k];
        text_puts(text, "<tr><th scope=\"row\">");
        part_time(text, check->time, page->at->station->utc_offset);
        text_puts(text, "</th>");
        part_cell(text, "", headings[1]);
        text_printf(text, "%s, %s</td>", quantity_info(check->quantity)->title, part_check_word(check->kind));
        part_cell(text, "number", headings[2]);
        summary_add_value(text, check->quantity, check->reference);
        text_puts(text, "</td>");
        part_cell(text, "number", headings[3]);
        summary_add_value(text, check->quantity, check->is_first ? NAN : check->sensor);
        text_puts(text, "</td>");
        part_cell(text, "number", headings[4]);
        if (check->is_first)
            text_puts(text, "<span class=\"soft\">first: it ties</span>");
        else
            part_difference(text, check->quantity, check->difference);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    add_more(text, page->has_more_checks, "the records\u2019 metadata");
    text_puts(text, "</section>\n");
}

static void add_findings(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"From", "To", "What", "Found"};
    if (page->finding_count == 0)
        return;
    text_puts(text, "<section>\n<h2>Corrections and findings</h2>\n"
                    "<p>What was done to the record, and what was seen on the way.</p>\n");
    part_table_begin(text, "cards", "Newest first", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->finding_count; k++) {
        const struct finding *finding = &page->findings[k];
        bool is_stretch = 1u << finding->kind & FINDINGS_OF_A_STRETCH;
        text_puts(text, "<tr><th scope=\"row\">");
        part_time(text, finding->span.from, page->at->station->utc_offset);
        text_puts(text, "</th>");
        if (is_stretch) {
            part_cell(text, "", headings[1]);
            part_time(text, finding->span.to, page->at->station->utc_offset);
        } else {
            text_puts(text, "<td class=\"none\">");
        }
        text_puts(text, "</td>");
        part_cell(text, "", headings[2]);
        text_puts(text, part_finding_word(finding->kind));
        if (finding->wants_hand)
            text_puts(text, " <strong>(needs a look)</strong>");
        text_puts(text, "</td>");
        part_cell(text, "remark", headings[3]);
        part_name(text, finding->text);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    add_more(text, page->has_more_findings, "the records\u2019 metadata");
    text_puts(text, "</section>\n");
}

static void add_notes(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"When", "What was understood", "Remark", "Written in"};
    if (page->note_count == 0)
        return;
    text_puts(text, "<section>\n<h2>Field notes</h2>\n");
    part_table_begin(text, "cards", "Newest first", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->note_count; k++) {
        const struct note *note = &page->notes[k];
        text_puts(text, "<tr><th scope=\"row\">");
        part_time(text, note->time, page->at->station->utc_offset);
        text_puts(text, "</th>");
        part_cell(text, "", headings[1]);
        part_note(text, note, page->at->station->utc_offset);
        text_puts(text, "</td>");
        if (*note->text) {
            part_cell(text, "remark", headings[2]);
            part_name(text, note->text);
        } else {
            text_puts(text, "<td class=\"none\">");
        }
        text_puts(text, "</td>");
        part_cell(text, "", headings[3]);
        add_note_source(text, page, note);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    add_more(text, page->has_more_notes, "the records\u2019 metadata");
    text_puts(text, "</section>\n");
}

static void add_note_source(struct text *text, const struct page_station *page, const struct note *note)
{
    for (size_t k = 0; k < page->note_original_count; k++) {
        const struct page_original *original = &page->note_originals[k];
        if (original->number != note->drop)
            continue;
        text_printf(text, "<a href=\"%s%s\">", root, original->path);
        part_name(text, original->drop);
        text_printf(text, "</a>, line\u00a0%" PRIu32, note->line);
        return;
    }
    text_puts(text, "\u2013");
}

static void add_alarms(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"From", "To", "What", "Seen", "State", "Learnt"};
    int64_t offset = page->at->station->utc_offset;
    text_puts(text, "<section>\n<h2>Alarms</h2>\n");
    if (page->alarm_count == 0) {
        text_puts(text, "<p>None so far.</p>\n</section>\n");
        return;
    }
    part_table_begin(text, "cards", "Newest first", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->alarm_count; k++) {
        const struct alarm *alarm = &page->alarms[k];
        text_puts(text, "<tr><th scope=\"row\">");
        part_time(text, alarm->episode.start, offset);
        text_puts(text, "</th>");
        part_cell(text, "", headings[1]);
        if (alarm->episode.end == TIME_NONE)
            text_puts(text, "still so at the last sample");
        else
            part_time(text, alarm->episode.end, offset);
        text_puts(text, "</td>");
        part_cell(text, "", headings[2]);
        part_alarm_title(text, page->config, alarm);
        text_puts(text, "</td>");
        part_cell(text, "", headings[3]);
        part_alarm_values(text, page->config, alarm, offset);
        text_puts(text, "</td>");
        part_cell(text, "", headings[4]);
        text_printf(text, "%s%s</td>", alarm_state_word(alarm->state),
                    alarm->is_old_news ? ", old when it was learnt" : "");
        part_cell(text, "", headings[5]);
        part_time(text, alarm->learnt, offset);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    add_more(text, page->has_more_alarms, "the service");
    text_puts(text, "</section>\n");
}

static void add_originals(struct text *text, const struct page_station *page)
{
    static const char *const headings[] = {"Arrived", "File", "Layout", "#Rows", "#Size", "SHA-256"};
    if (page->original_count == 0)
        return;
    text_puts(text, "<section>\n<h2>Files from the field</h2>\n<p>Untouched, as they arrived.</p>\n");
    part_table_begin(text, "cards", "Newest first", headings, COUNT_OF(headings));
    for (size_t k = 0; k < page->original_count; k++) {
        const struct page_original *original = &page->originals[k];
        text_puts(text, "<tr><th scope=\"row\">");
        part_time(text, original->arrived, page->at->station->utc_offset);
        text_puts(text, "</th>");
        part_cell(text, "path", headings[1]);
        text_printf(text, "<a href=\"%s%s\">", root, original->path);
        part_name(text, original->drop);
        text_puts(text, "</a></td>");
        part_cell(text, "", headings[2]);
        part_name(text, original->layout);
        text_puts(text, "</td>");
        part_cell(text, "number", headings[3]);
        text_printf(text, "%" PRId64, original->rows);
        if (original->refused > 0)
            text_printf(text, ", %" PRId64 " refused", original->refused);
        text_puts(text, "</td>");
        part_cell(text, "number", headings[4]);
        part_bytes(text, original->bytes);
        text_puts(text, "</td>");
        part_cell(text, "", headings[5]);
        part_short_sha256(text, original->sha256);
        text_puts(text, "</td></tr>\n");
    }
    part_table_end(text);
    add_more(text, page->has_more_originals, "the station\u2019s manifest");
    text_puts(text, "</section>\n");
}

static void add_more(struct text *text, bool has_more, const char *where)
{
    if (has_more)
        text_printf(text, "<p class=\"soft\">Older ones stand in %s.</p>\n", where);
}

/* ---- settings in words ---- */

static void add_settings(struct text *text, const struct page_station *page)
{
    const struct station *station = page->at->station;
    text_puts(text, "<section>\n<h2>How it is set up</h2>\n<dl class=\"settings\">\n<dt>Position</dt><dd>");
    add_degrees(text, station->latitude, "N", "S");
    text_puts(text, ", ");
    add_degrees(text, station->longitude, "E", "W");
    text_puts(text, "; water about ");
    text_number(text, station->elevation, 1);
    text_puts(text, "\u00a0m above the sea</dd>\n<dt>Level 0</dt><dd>");
    part_name(text, *station->datum ? station->datum : "not stated");
    text_puts(text, "</dd>\n");
    if (isfinite(station->sensor_elevation)) {
        text_puts(text, "<dt>Sensor</dt><dd>");
        text_number(text, station->sensor_elevation, 3);
        text_puts(text, "\u00a0m above level 0, used where no hand reading ties the level</dd>\n");
    }
    if (isfinite(station->tape_point)) {
        text_puts(text, "<dt>Tape point</dt><dd>");
        text_number(text, station->tape_point, 3);
        text_puts(text, "\u00a0m above level 0</dd>\n");
    }
    text_puts(text, "<dt>Salinity</dt><dd>");
    add_salinity(text, station);
    text_puts(text, "</dd>\n<dt>Air pressure</dt><dd>");
    if (station->barometers.count == 0) {
        text_puts(text, "from the nearest barometer within ");
        text_number(text, page->config->pairing_distance / 1000, 1);
        text_puts(text, "\u00a0km that covers the time");
    }
    for (size_t k = 0; k < station->barometers.count; k++) {
        text_puts(text, k == 0 ? "from barometer " : ", else ");
        part_name(text, station->barometers.words[k]);
    }
    text_puts(text, "</dd>\n<dt>Months and days</dt><dd>those of ");
    part_zone(text, station->utc_offset);
    text_puts(text, " all year, without daylight saving</dd>\n</dl>\n</section>\n");
}

static void add_salinity(struct text *text, const struct station *station)
{
    switch (station->salinity_source) {
    case SALINITY_MEASURED:
        text_puts(text, "from the conductivity");
        if (isfinite(station->salinity)) {
            text_puts(text, "; ");
            summary_add_number(text, QUANTITY_SALINITY, station->salinity);
            text_puts(text, " where that is missing");
        }
        break;
    case SALINITY_STATED:
        summary_add_number(text, QUANTITY_SALINITY, station->salinity);
        text_puts(text, ", stated, not measured");
        break;
    case SALINITY_FRESH: text_puts(text, "fresh water: 0"); break;
    }
}

static void add_degrees(struct text *text, double degrees, const char *positive, const char *negative)
{
    text_number(text, fabs(degrees), 4);
    text_printf(text, "\u00b0\u00a0%s", degrees < 0 ? negative : positive);
}
