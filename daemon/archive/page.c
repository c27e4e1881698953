/* SPDX-License-Identifier: MIT */
#include "archive/page.h"

#include "archive/about.h"
#include "archive/archive.h"
#include "archive/page_parts.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <assert.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { DIGITS_SHOWN = 12 };

static char *print_path(char *ret, const char *station, const char *name);
static void add_list_item(struct text *text, const char *class, const char *mark, const char *place, const char *href);

char *page_station_path(const char *station, char *ret)
{
    return print_path(ret, station, "index.html");
}

char *page_sheet_path(const char *station, char *ret)
{
    return print_path(ret, station, "field-sheet.html");
}

static char *print_path(char *ret, const char *station, const char *name)
{
    int length = snprintf(ret, ARCHIVE_PATH_SIZE, "stations/%s/%s", station, name);
    assert(length > 0 && length < ARCHIVE_PATH_SIZE);
    (void)length;
    return ret;
}

/* ---- the frame of a page ---- */

void part_begin(struct text *text, const struct config *config, const char *title, const char *root, bool with_script)
{
    text_puts(text, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    /* 'file:' because not every browser counts a file beside the page as 'self'. */
    text_printf(text,
                "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none';%s style-src 'self' file:;"
                " img-src 'self' file:; base-uri 'none'; form-action 'none'\">\n",
                with_script ? " script-src 'self' file:;" : "");
    text_puts(text, "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                    "<meta name=\"color-scheme\" content=\"light dark\">\n<title>");
    say(text, title);
    text_printf(text, "</title>\n<link rel=\"stylesheet\" href=\"%s" PAGE_STYLE_PATH "\">\n", root);
    if (with_script)
        text_printf(text, "<script src=\"%s" PAGE_SCRIPT_PATH "\" defer></script>\n", root);
    text_printf(text, "<link rel=\"alternate\" type=\"application/atom+xml\" href=\"%s" PAGE_FEED_PATH "\" title=\"",
                root);
    say(text, config->network_name);
    text_puts(text, ": new and revised records\">\n</head>\n<body>\n");
}

void part_end(struct text *text, const struct config *config, const char *root)
{
    text_puts(text, "</main>\n<footer>\n<p>");
    part_name(text, config->network_name);
    if (*config->operator_name) {
        text_puts(text, ", kept by ");
        part_name(text, config->operator_name);
    }
    if (*config->contact) {
        text_puts(text, ". Contact: ");
        part_name(text, config->contact);
    }
    text_printf(
        text,
        ".</p>\n<p><a href=\"%sabout.txt\">About these files</a> \u00b7 <a href=\"%snetwork.json\">The network for"
        " machines</a> \u00b7 <a href=\"%s" PAGE_FEED_PATH "\">Feed of new and revised records</a> \u00b7"
        " <a href=\"%smanifest-sha256.txt\">Fingerprints</a></p>\n</footer>\n</body>\n</html>\n",
        root, root, root, root);
}

void part_cautions(struct text *text)
{
    text_puts(text, "<div class=\"caution\" role=\"note\">\n<p><strong>Provisional.</strong> ");
    text_markup(text, about_provisional());
    text_puts(text, "</p>\n<p>");
    text_markup(text, about_caution());
    text_puts(text, "</p>\n</div>\n");
}

void part_table_begin(struct text *text, const char *class, const char *label, const char *const *headings, size_t n)
{
    text_printf(text,
                "<div class=\"frame\" role=\"region\" aria-label=\"%s\" tabindex=\"0\">\n<table class=\"%s\">\n"
                "<caption>%s</caption>\n<thead><tr>",
                label, class, label);
    for (size_t k = 0; k < n; k++)
        if (headings[k][0] == '#')
            text_printf(text, "<th scope=\"col\" class=\"number\">%s</th>", headings[k] + 1);
        else
            text_printf(text, "<th scope=\"col\">%s</th>", headings[k]);
    text_puts(text, "</tr></thead>\n<tbody>\n");
}

void part_table_end(struct text *text)
{
    text_puts(text, "</tbody>\n</table>\n</div>\n");
}

void part_cell(struct text *text, const char *class, const char *heading)
{
    const char *label = heading[0] == '#' ? heading + 1 : heading;
    text_puts(text, "<td");
    if (*class) {
        text_puts(text, " class=\"");
        text_puts(text, class);
        text_putc(text, '"');
    }
    text_puts(text, " data-label=\"");
    text_puts(text, label);
    text_puts(text, "\">");
}

/* ---- words, times, numbers ---- */

void part_name(struct text *text, const char *name)
{
    text_puts(text, "<bdi>");
    say(text, name);
    text_puts(text, "</bdi>");
}

void part_time(struct text *text, int64_t time, int64_t offset)
{
    if (time == TIME_NONE || time == TIME_FOREVER) {
        text_puts(text, "\u2013");
        return;
    }
    char utc[TIMESTAMP_SIZE];
    struct civil local = timestamp_to_civil(time + offset);
    /* By hand: a front page has one for each station. */
    text_puts(text, "<time datetime=\"");
    text_puts(text, timestamp_print(time, utc));
    text_puts(text, "\">");
    text_integer(text, local.day);
    text_puts(text, "\u00a0");
    text_add(text, summary_month_name(local.month), 3);
    text_puts(text, "\u00a0");
    text_integer(text, local.year);
    const char clock[] = {' ', (char)('0' + local.hour / 10),   (char)('0' + local.hour % 10),
                          ':', (char)('0' + local.minute / 10), (char)('0' + local.minute % 10)};
    text_add(text, clock, sizeof clock);
    text_puts(text, "</time>");
}

void part_supply(struct text *text, const struct supply *supply, int64_t offset)
{
    static const char *const words[] = {"memory full about ", "battery empty about "};
    const int64_t times[] = {supply->memory_full, supply->battery_empty};
    size_t first = times[1] < times[0];
    const char *between = "";
    for (size_t k = 0; k < COUNT_OF(times); k++) {
        size_t at = k == 0 ? first : 1 - first;
        if (times[at] == TIME_FOREVER)
            continue;
        struct civil day = timestamp_to_civil(times[at] + offset);
        text_printf(text, "%s%s<time datetime=\"%04d-%02d-%02d\">%d\u00a0%.3s\u00a0%d</time>", between, words[at],
                    day.year, day.month, day.day, day.day, summary_month_name(day.month), day.year);
        between = ", ";
    }
}

void part_zone(struct text *text, int64_t offset)
{
    int64_t minutes = (offset < 0 ? -offset : offset) / MINUTE_MS;
    text_printf(text, "UTC%s%02d:%02d", offset < 0 ? "\u2212" : "+", (int)(minutes / 60), (int)(minutes % 60));
}

void part_value(struct text *text, const struct network_value *value, bool with_unit)
{
    if (with_unit)
        summary_add_value(text, value->quantity, value->value);
    else
        summary_add_number(text, value->quantity, value->value);
    if (value->flag != FLAG_PASS)
        text_printf(text, " <span class=\"flag\">%s</span>", flag_word(value->flag));
}

void part_bytes(struct text *text, int64_t bytes)
{
    if (bytes < 1000)
        text_printf(text, "%" PRId64 "\u00a0B", bytes);
    else if (bytes < 1000000)
        text_printf(text, "%" PRId64 "\u00a0kB", (bytes + 500) / 1000);
    else {
        text_number(text, (double)bytes / 1e6, 1);
        text_puts(text, "\u00a0MB");
    }
}

void part_short_sha256(struct text *text, const char *sha256)
{
    text_printf(text, "<code title=\"SHA-256 %s\">%.*s</code>", sha256, DIGITS_SHOWN, sha256);
}

/* ---- alarms and what waits ---- */

const struct rule *part_rule(const struct config *config, const struct alarm *alarm)
{
    size_t r = config_find_rule(config, alarm->rule);
    return r < config->rule_count ? &config->rules[r] : NULL;
}

void part_alarm_title(struct text *text, const struct config *config, const struct alarm *alarm)
{
    const struct rule *rule = part_rule(config, alarm);
    part_name(text, rule ? rule->title : alarm->rule);
}

void part_alarm_values(struct text *text, const struct config *config, const struct alarm *alarm, int64_t offset)
{
    const struct rule *rule = part_rule(config, alarm);
    const struct episode *e = &alarm->episode;
    if (*e->detail) {
        part_name(text, e->detail);
        return;
    }
    if (!rule || rule->quantity >= QUANTITY_COUNT)
        return;
    bool is_low = rule->kind == RULE_BELOW || (rule->kind == RULE_OUTSIDE && e->worst < rule->low);
    text_puts(text, is_low ? "lowest " : "highest ");
    summary_add_value(text, rule->quantity, e->worst);
    text_puts(text, " at ");
    part_time(text, e->worst_time, offset);
    if (e->end != TIME_NONE)
        return;
    text_puts(text, ", last ");
    summary_add_value(text, rule->quantity, e->last);
    text_puts(text, " at ");
    part_time(text, e->last_time, offset);
}

void part_open_alarm(struct text *text, const struct config *config, const struct alarm *alarm, const char *place,
                     const char *href, int64_t offset)
{
    const struct rule *rule = part_rule(config, alarm);
    bool is_active = alarm->episode.end == TIME_NONE;
    bool is_high = rule && rule->priority == PRIORITY_HIGH;
    add_list_item(text,
                  !is_active ? "call over"
                  : is_high  ? "call high"
                             : "call",
                  is_active ? "\u25b2" : "\u25b3", place, href);
    text_puts(text, "<strong>");
    part_alarm_title(text, config, alarm);
    text_puts(text, "</strong> <span class=\"state\">");
    if (is_active)
        text_puts(text, "still so, ");
    text_puts(text, alarm_state_word(alarm->state));
    text_printf(text, "</span><br>\n%s ", is_active ? "since" : "from");
    part_time(text, alarm->episode.start, offset);
    if (!is_active) {
        text_puts(text, " to ");
        part_time(text, alarm->episode.end, offset);
    }
    size_t before = text->length;
    text_puts(text, "; ");
    size_t behind = text->length;
    part_alarm_values(text, config, alarm, offset);
    if (text->length == behind) /* nothing to say: no separator either */
        text->length = before;
    text_puts(text, "</div></li>\n");
}

void part_waiting(struct text *text, const struct network_waiting *waiting, const char *place, const char *href,
                  int64_t offset)
{
    add_list_item(text, "call waits", waiting->is_held ? "\u25c7" : "\u25cb", place, href);
    text_puts(text, waiting->is_held
                        ? "<strong>Reviewed, and held</strong> <span class=\"state\">later facts would change "
                        : "<strong>Waits</strong> <span class=\"state\">");
    part_name(text, waiting->reason);
    text_puts(text, waiting->is_held
                        ? "</span><br>\nuntil a person says what holds, the record stays as it was reviewed;"
                          " values from "
                        : "</span><br>\nreadings from ");
    part_time(text, waiting->span.from, offset);
    text_puts(text, " to ");
    part_time(text, waiting->span.to, offset);
    text_puts(text, "</div></li>\n");
}

static void add_list_item(struct text *text, const char *class, const char *mark, const char *place, const char *href)
{
    text_printf(text, "<li class=\"%s\"><span class=\"mark\" aria-hidden=\"true\">%s</span><div>", class, mark);
    if (!place)
        return;
    if (href)
        text_printf(text, "<a href=\"%s\">", href);
    part_name(text, place);
    text_puts(text, href ? "</a>: " : ": ");
}
