/* SPDX-License-Identifier: MIT */
/* index.html: what needs a hand, and every station at a glance. */
#include "archive/page.h"

#include "archive/archive.h"
#include "archive/page_parts.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <stdio.h>
#include <string.h>

/* Quantities that a glance needs, where any station has them. */
static const enum quantity glance[] = {QUANTITY_LEVEL, QUANTITY_OXYGEN, QUANTITY_TEMPERATURE,
                                       QUANTITY_SPECIFIC_CONDUCTANCE};
enum {
    OLDER = 2 * 60 * 60 * 1000, /* ms that a value may be older than the station's last row before its time is said */
    MOST_AT_ONCE = 60,          /* stations in one table */
    LEAST_GROUP = 25,
};

struct group { /* stations [first, end) */
    size_t first, end;
};

static void add_header(struct text *text, const struct page_network *network);
static void add_needs(struct text *text, const struct page_network *network);
static int urgency(const struct page_network *network, const struct alarm *alarm);
static void add_alarm(struct text *text, const struct page_network *network, const struct alarm *alarm);
static void add_stations(struct text *text, const struct page_network *network);
static void add_summary(struct text *text, const struct page_network *network, struct group group);
static void add_table(struct text *text, const struct page_network *network, struct group group, uint32_t columns);
static void add_station(struct text *text, const struct page_network *network, size_t index, uint32_t columns);
static void add_latest(struct text *text, const struct network_station *at, enum quantity quantity);
static void add_state(struct text *text, const struct network_station *at);
static void add_record(struct text *text, const struct network_station *at);
static void add_barometers(struct text *text, const struct page_network *network);
static void add_words(struct text *text);
static uint32_t columns_of(const struct page_network *network);
static int64_t common_offset(const struct page_network *network, bool *ret_is_common);
static const char *short_title(enum quantity quantity);
static const char *station_href(const struct page_network *network, size_t index, char *ret);

void page_network_render(const struct page_network *network, struct text *ret)
{
    const struct config *config = network->view->config;
    part_begin(ret, config, config->network_name, "", false);
    add_header(ret, network);
    text_puts(ret, "<main>\n");
    part_cautions(ret);
    add_needs(ret, network);
    part_visits(ret, network);
    add_stations(ret, network);
    text_puts(ret, "<div class=\"beside\">\n");
    part_map(ret, network);
    text_puts(ret, "<div>\n");
    add_barometers(ret, network);
    add_words(ret);
    text_puts(ret, "</div>\n</div>\n");
    part_end(ret, config, "");
}

static void add_header(struct text *text, const struct page_network *network)
{
    const struct network_view *view = network->view;
    int64_t last = TIME_NONE;
    bool is_common;
    int64_t offset = common_offset(network, &is_common);
    for (size_t i = 0; i < view->station_count; i++)
        last = view->stations[i].last > last ? view->stations[i].last : last;
    text_puts(text, "<header>\n<h1>");
    part_name(text, view->config->network_name);
    text_printf(text, "</h1>\n<p class=\"lead\">%zu station%s, %zu barometer%s; newest data ", view->station_count,
                view->station_count == 1 ? "" : "s", network->barometer_count,
                network->barometer_count == 1 ? "" : "s");
    part_time(text, last, offset);
    text_puts(text, ".<br>\nTimes are each station\u2019s standard time");
    if (is_common && view->station_count > 0) {
        text_puts(text, ", ");
        part_zone(text, offset);
    }
    text_puts(text, ".</p>\n</header>\n");
}

/* ---- what needs a hand ---- */

static void add_needs(struct text *text, const struct page_network *network)
{
    const struct network_view *view = network->view;
    size_t waiting = 0;
    text_puts(text, "<section>\n<h2>What needs a hand</h2>\n<ul class=\"calls\">\n");
    for (int level = 0; level <= 2; level++)
        for (size_t k = 0; k < network->alarm_count; k++)
            if (urgency(network, &network->alarms[k]) == level)
                add_alarm(text, network, &network->alarms[k]);
    for (size_t i = 0; i < view->station_count; i++) {
        const struct network_station *at = &view->stations[i];
        char path[ARCHIVE_PATH_SIZE];
        for (size_t k = 0; k < at->waiting_count; k++)
            part_waiting(text, &at->waiting[k], at->station->name, station_href(network, i, path),
                         at->station->utc_offset);
        waiting += at->waiting_count;
    }
    if (network->alarm_count + waiting == 0)
        text_puts(text,
                  "<li class=\"call fine\"><span class=\"mark\" aria-hidden=\"true\">\u2713</span><div>Nothing: no"
                  " alarm is open, and no readings wait.</div></li>\n");
    text_puts(text,
              "</ul>\n<p class=\"soft\"><a href=\"" PAGE_ALARMS_PATH "\">How many alarms people get</a>, beside what "
              "one person can take in</p>\n</section>\n");
}

/* 0: still so and pressing, 1: still so, 2: over and unanswered. */
static int urgency(const struct page_network *network, const struct alarm *alarm)
{
    const struct rule *rule = part_rule(network->view->config, alarm);
    if (alarm->episode.end != TIME_NONE)
        return 2;
    return rule && rule->priority == PRIORITY_HIGH ? 0 : 1;
}

/* Alarms are about a station, a barometer or a drop. */
static void add_alarm(struct text *text, const struct page_network *network, const struct alarm *alarm)
{
    const struct config *config = network->view->config;
    bool is_common;
    int64_t offset = common_offset(network, &is_common);
    size_t s = config_find_station(config, alarm->station), b = config_find_barometer(config, alarm->station);
    if (s < config->station_count) {
        char path[ARCHIVE_PATH_SIZE];
        part_open_alarm(text, config, alarm, config->stations[s].name, station_href(network, s, path),
                        config->stations[s].utc_offset);
        return;
    }
    bool is_barometer = b < config->barometer_count;
    part_open_alarm(text, config, alarm, is_barometer ? config->barometers[b].name : alarm->station, NULL,
                    is_barometer ? config->barometers[b].utc_offset : offset);
}

/* ---- stations ---- */

/* Of many, in groups to open: a page that nobody can take in tells where to look instead. */
static void add_stations(struct text *text, const struct page_network *network)
{
    size_t n = network->view->station_count, size = n;
    uint32_t columns = columns_of(network);
    text_puts(text, "<section>\n<h2>Stations</h2>\n");
    if (n > MOST_AT_ONCE)
        for (size = LEAST_GROUP; size * size < n;)
            size += LEAST_GROUP;
    if (size == n)
        add_table(text, network, (struct group){0, n}, columns);
    for (size_t first = 0; size < n && first < n; first += size) {
        struct group group = {first, first + size < n ? first + size : n};
        text_puts(text, "<details class=\"group\">\n<summary>");
        add_summary(text, network, group);
        text_puts(text, "</summary>\n");
        add_table(text, network, group, columns);
        text_puts(text, "</details>\n");
    }
    text_puts(text, "</section>\n");
}

/* "Alder Ford to Fern Brook: 50 stations; 2 with an alarm, 1 waits; newest data 20 Apr 2026 16:15" */
static void add_summary(struct text *text, const struct page_network *network, struct group group)
{
    const struct network_station *stations = network->view->stations;
    size_t alarms = 0, waiting = 0, newest = group.first;
    for (size_t i = group.first; i < group.end; i++) {
        bool is_active = false;
        for (size_t k = 0; k < stations[i].alarm_count; k++)
            is_active |= stations[i].alarms[k].episode.end == TIME_NONE;
        alarms += is_active;
        waiting += stations[i].waiting_count > 0;
        if (stations[i].last != TIME_NONE &&
            (stations[newest].last == TIME_NONE || stations[i].last > stations[newest].last))
            newest = i;
    }
    part_name(text, stations[group.first].station->name);
    text_puts(text, " to ");
    part_name(text, stations[group.end - 1].station->name);
    text_printf(text, " <small>%zu stations", group.end - group.first);
    if (alarms > 0)
        text_printf(text, "; <span class=\"mark\" aria-hidden=\"true\">\u25b2</span> %zu with an alarm", alarms);
    if (waiting > 0)
        text_printf(text, "; <span class=\"mark waits\" aria-hidden=\"true\">\u25cb</span> %zu wait%s", waiting,
                    waiting == 1 ? "s" : "");
    text_puts(text, "; newest data ");
    part_time(text, stations[newest].last, stations[newest].station->utc_offset);
    text_puts(text, "</small>");
}

static void add_table(struct text *text, const struct page_network *network, struct group group, uint32_t columns)
{
    text_puts(
        text,
        "<div class=\"frame\" role=\"region\" aria-label=\"Stations\" tabindex=\"0\">\n"
        "<table class=\"cards\">\n<caption>Last usable values</caption>\n<thead><tr><th scope=\"col\">Station</th>"
        "<th scope=\"col\">Last data</th>");
    for (size_t k = 0; k < COUNT_OF(glance); k++)
        if (columns >> k & 1)
            text_printf(text, "<th scope=\"col\" class=\"number\">%s <span class=\"unit\">%s</span></th>",
                        short_title(glance[k]), summary_unit(glance[k]));
    text_puts(text, "<th scope=\"col\">State</th><th scope=\"col\">Newest record</th></tr></thead>\n<tbody>\n");
    for (size_t i = group.first; i < group.end; i++)
        add_station(text, network, i, columns);
    part_table_end(text);
}

static void add_station(struct text *text, const struct page_network *network, size_t index, uint32_t columns)
{
    const struct network_station *at = &network->view->stations[index];
    char path[ARCHIVE_PATH_SIZE];
    const char *href = station_href(network, index, path);
    text_puts(text, "<tr><th scope=\"row\">");
    if (href)
        text_printf(text, "<a href=\"%s\">", href);
    part_name(text, at->station->name);
    text_puts(text, href ? "</a></th>" : "</th>");
    part_cell(text, "", "Last data");
    part_time(text, at->last, at->station->utc_offset);
    text_puts(text, "</td>");
    for (size_t k = 0; k < COUNT_OF(glance); k++)
        if (columns >> k & 1)
            add_latest(text, at, glance[k]);
    add_state(text, at);
    add_record(text, at);
    text_puts(text, "</tr>\n");
}

static void add_latest(struct text *text, const struct network_station *at, enum quantity quantity)
{
    size_t k = 0;
    while (k < at->value_count && at->values[k].quantity != quantity)
        k++;
    if (k == at->value_count) {
        text_puts(text, "<td class=\"number none\">\u2013</td>");
        return;
    }
    text_printf(text, "<td class=\"number\" data-label=\"%s\" data-unit=\"%s\">", short_title(quantity),
                summary_unit(quantity));
    part_value(text, &at->values[k], false);
    if (at->last - at->values[k].time > OLDER) {
        text_puts(text, " <small>");
        part_time(text, at->values[k].time, at->station->utc_offset);
        text_puts(text, "</small>");
    }
    text_puts(text, "</td>");
}

static void add_state(struct text *text, const struct network_station *at)
{
    size_t active = 0;
    for (size_t k = 0; k < at->alarm_count; k++)
        active += at->alarms[k].episode.end == TIME_NONE;
    size_t over = at->alarm_count - active;
    part_cell(text, "state", "State");
    if (active > 0)
        text_printf(text, "<span class=\"mark\" aria-hidden=\"true\">\u25b2</span> %zu alarm%s", active,
                    active == 1 ? "" : "s");
    if (over > 0)
        text_printf(text, "%s<span class=\"mark over\" aria-hidden=\"true\">\u25b3</span> %zu to answer",
                    active ? "<br>" : "", over);
    if (at->waiting_count > 0)
        text_printf(text, "%s<span class=\"mark waits\" aria-hidden=\"true\">\u25cb</span> waits",
                    active + over ? "<br>" : "");
    if (at->alarm_count + at->waiting_count == 0)
        text_puts(text, at->last == TIME_NONE ? "no data yet" : "fine");
    text_puts(text, "</td>");
}

static void add_record(struct text *text, const struct network_station *at)
{
    if (at->record_count == 0) {
        text_puts(text, "<td class=\"none\">\u2013</td>");
        return;
    }
    const struct network_record *newest = &at->records[at->record_count - 1];
    part_cell(text, "", "Newest record");
    text_printf(text, "<a href=\"%s\">%.3s %d</a></td>", newest->path, summary_month_name(newest->month), newest->year);
}

static void add_barometers(struct text *text, const struct page_network *network)
{
    static const char *const headings[] = {"Barometer", "Last reading", "Elevation"};
    if (network->barometer_count == 0)
        return;
    text_puts(text, "<section>\n<h2>Barometers</h2>\n");
    part_table_begin(text, "plain", "Where air pressure comes from", headings, COUNT_OF(headings));
    for (size_t k = 0; k < network->barometer_count; k++) {
        const struct barometer *barometer = network->barometers[k].barometer;
        text_puts(text, "<tr><th scope=\"row\">");
        part_name(text, barometer->name);
        text_puts(text, "</th><td>");
        part_time(text, network->barometers[k].last, barometer->utc_offset);
        text_puts(text, "</td><td>");
        text_number(text, barometer->elevation, 0);
        text_puts(text, "\u00a0m</td></tr>\n");
    }
    part_table_end(text);
    text_puts(text, "</section>\n");
}

static void add_words(struct text *text)
{
    text_puts(
        text,
        "<section>\n<h2>Words on these pages</h2>\n"
        "<p>A value without a word beside it passed its tests. <b>Suspect</b>: a test spoke up, look twice."
        " <b>Fail</b>: do not use it; such values are not shown as last values. <b>Not evaluated</b>: no test could"
        " judge it. <b>Waits</b>: readings are here, but something they need, such as air pressure, is not.</p>\n"
        "<p><span class=\"mark\" aria-hidden=\"true\">\u25b2</span> an alarm that was still so at the last sample;"
        " <span class=\"mark over\" aria-hidden=\"true\">\u25b3</span> one that is over, and that nobody has answered "
        "yet."
        " Data arrive late: neither says how things are now.</p>\n</section>\n");
}

/* ---- helpers ---- */

/* Bit k: some station has glance[k]. */
static uint32_t columns_of(const struct page_network *network)
{
    uint32_t columns = 0;
    for (size_t i = 0; i < network->view->station_count; i++)
        for (size_t v = 0; v < network->view->stations[i].value_count; v++)
            for (size_t k = 0; k < COUNT_OF(glance); k++)
                if (network->view->stations[i].values[v].quantity == glance[k])
                    columns |= 1u << k;
    return columns;
}

static int64_t common_offset(const struct page_network *network, bool *ret_is_common)
{
    const struct network_view *view = network->view;
    int64_t offset = view->station_count > 0 ? view->stations[0].station->utc_offset : 0;
    *ret_is_common = true;
    for (size_t i = 0; i < view->station_count; i++)
        *ret_is_common &= view->stations[i].station->utc_offset == offset;
    return offset;
}

static const char *short_title(enum quantity quantity)
{
    switch (quantity) {
    case QUANTITY_LEVEL: return "Level";
    case QUANTITY_OXYGEN: return "Oxygen";
    case QUANTITY_TEMPERATURE: return "Temperature";
    default: return "Conductance";
    }
}

static const char *station_href(const struct page_network *network, size_t index, char *ret)
{
    return network->has_page[index] ? page_station_path(network->view->stations[index].station->id, ret) : NULL;
}
