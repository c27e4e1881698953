/* SPDX-License-Identifier: MIT */
/* Where to go next: the stations where only somebody at the water can help, why, and what to bring. */
#include "archive/archive.h"
#include "archive/page_parts.h"
#include "base/timestamp.h"

#include <stdlib.h>

enum bring {
    BRING_LOGGER = 1 << 0,
    BRING_TAPE = 1 << 1,
    BRING_OXYGEN = 1 << 2,
    BRING_CONDUCTANCE = 1 << 3,
    BRING_THERMOMETER = 1 << 4,
    BRING_BAROMETER = 1 << 5,
    BRING_BATTERIES = 1 << 6,
};

struct visit {
    size_t station;   /* in the view */
    int urgency;      /* 0 presses most */
    int64_t runs_out; /* of memory or battery; TIME_FOREVER */
};

static size_t choose(const struct page_network *network, struct visit *ret);
static int64_t first_out(const struct supply *supply);
static int compare_visits(const void *a, const void *b);
static int urgency_of(const struct config *config, const struct alarm *alarm);
static unsigned things_for(const struct config *config, const struct alarm *alarm);
static unsigned things_of(enum quantity quantity);
static void add_visit(struct text *text, const struct page_network *network, size_t station);
static unsigned add_reasons(struct text *text, const struct config *config, const struct network_station *at);
static void add_things(struct text *text, unsigned things);

static const char *const headings[] = {"Station", "Why", "Bring", "To print"};

void part_visits(struct text *text, const struct page_network *network)
{
    struct visit *visits = x_array(network->view->station_count + 1, sizeof *visits);
    size_t n = choose(network, visits);
    if (n > 0) {
        text_puts(text, "<section>\n<h2>Where to go next</h2>\n");
        part_table_begin(text, "cards visits", "What only a visit can settle, the most pressing first", headings,
                         COUNT_OF(headings));
        for (size_t k = 0; k < n; k++)
            add_visit(text, network, visits[k].station);
        part_table_end(text);
        text_puts(text, "</section>\n");
    }
    free(visits);
}

static size_t choose(const struct page_network *network, struct visit *ret)
{
    const struct network_view *view = network->view;
    size_t n = 0;
    for (size_t i = 0; i < view->station_count; i++) {
        const struct network_station *at = &view->stations[i];
        int least = INT32_MAX;
        for (size_t k = 0; k < at->alarm_count; k++) {
            int urgency = urgency_of(view->config, &at->alarms[k]);
            least = things_for(view->config, &at->alarms[k]) && urgency < least ? urgency : least;
        }
        for (size_t k = 0; k < at->waiting_count; k++)
            least = !at->waiting[k].is_held && least == INT32_MAX ? PRIORITY_COUNT : least;
        if (least < INT32_MAX)
            ret[n++] = (struct visit){i, least, first_out(&at->supply)};
    }
    if (n > 0)
        qsort(ret, n, sizeof *ret, compare_visits);
    return n;
}

static int64_t first_out(const struct supply *supply)
{
    return supply->memory_full < supply->battery_empty ? supply->memory_full : supply->battery_empty;
}

static int compare_visits(const void *a, const void *b)
{
    const struct visit *x = a, *y = b;
    if (x->urgency != y->urgency)
        return x->urgency < y->urgency ? -1 : 1;
    if (x->runs_out != y->runs_out)
        return x->runs_out < y->runs_out ? -1 : 1;
    return x->station < y->station ? -1 : x->station > y->station;
}

static int urgency_of(const struct config *config, const struct alarm *alarm)
{
    const struct rule *rule = part_rule(config, alarm);
    return !rule ? PRIORITY_COUNT : rule->priority == PRIORITY_HIGH ? 0 : rule->priority == PRIORITY_MEDIUM ? 1 : 2;
}

/* 0: nothing that a visit would settle. A reading by hand that disagrees stays true when the next one agrees; all else
 * is over when it is over. */
static unsigned things_for(const struct config *config, const struct alarm *alarm)
{
    const struct rule *rule = part_rule(config, alarm);
    if (!rule || (alarm->episode.end != TIME_NONE && rule->kind != RULE_DRIFT))
        return 0;
    switch (rule->kind) {
    case RULE_SILENCE:
    case RULE_GAP: return BRING_LOGGER;
    case RULE_VISIT_DUE: return BRING_TAPE;
    case RULE_FLAT: return BRING_LOGGER | things_of(rule->quantity);
    case RULE_UNREADABLE_DROP:
    case RULE_UNDELIVERED:
    case RULE_KIND_COUNT: break;
    case RULE_BELOW:
    case RULE_ABOVE:
    case RULE_RISE:
    case RULE_FALL:
    case RULE_OUTSIDE:
    case RULE_CHANGE:
    case RULE_DRIFT: return things_of(rule->quantity);
    }
    return 0;
}

static unsigned things_of(enum quantity quantity)
{
    switch (quantity) {
    case QUANTITY_OXYGEN:
    case QUANTITY_OXYGEN_SATURATION:
    case QUANTITY_OXYGEN_SATURATION_STANDARD: return BRING_OXYGEN;
    case QUANTITY_CONDUCTIVITY:
    case QUANTITY_SPECIFIC_CONDUCTANCE:
    case QUANTITY_SALINITY: return BRING_CONDUCTANCE;
    case QUANTITY_TEMPERATURE:
    case QUANTITY_SECOND_TEMPERATURE: return BRING_THERMOMETER;
    case QUANTITY_BATTERY: return BRING_LOGGER;
    case QUANTITY_LEVEL:
    case QUANTITY_DEPTH:
    case QUANTITY_WATER_PRESSURE:
    case QUANTITY_AIR_PRESSURE:
    case QUANTITY_AIR_TEMPERATURE:
    case QUANTITY_SENSOR_LATITUDE:
    case QUANTITY_SENSOR_LONGITUDE:
    case QUANTITY_COUNT: break;
    }
    return BRING_TAPE;
}

static void add_visit(struct text *text, const struct page_network *network, size_t station)
{
    const struct network_station *at = &network->view->stations[station];
    char path[ARCHIVE_PATH_SIZE];
    text_puts(text, "<tr><th scope=\"row\">");
    if (network->has_page[station])
        text_printf(text, "<a href=\"%s\">", page_station_path(at->station->id, path));
    part_name(text, at->station->name);
    text_puts(text, network->has_page[station] ? "</a></th>" : "</th>");
    part_cell(text, "", headings[1]);
    unsigned things = add_reasons(text, network->view->config, at);
    text_puts(text, "</td>");
    part_cell(text, "", headings[2]);
    add_things(text, things);
    text_puts(text, "</td>");
    if (network->has_page[station]) {
        part_cell(text, "", headings[3]);
        text_printf(text, "<a href=\"%s\">Field sheet</a></td></tr>\n", page_sheet_path(at->station->id, path));
    } else {
        text_puts(text, "<td class=\"none\">\u2013</td></tr>\n");
    }
}

static unsigned add_reasons(struct text *text, const struct config *config, const struct network_station *at)
{
    unsigned all = 0;
    const char *between = "";
    for (size_t k = 0; k < at->alarm_count; k++) {
        const struct alarm *alarm = &at->alarms[k];
        unsigned things = things_for(config, alarm);
        if (things == 0)
            continue;
        text_puts(text, between);
        part_alarm_title(text, config, alarm);
        text_puts(text, alarm->episode.end == TIME_NONE ? ", still so, since " : ", on ");
        part_time(text, alarm->episode.start, at->station->utc_offset);
        between = "<br>";
        all |= things;
    }
    if (all != 0 && first_out(&at->supply) != TIME_FOREVER) {
        text_puts(text, "<br>Its logger: ");
        part_supply(text, &at->supply, at->station->utc_offset);
        all |= at->supply.battery_empty != TIME_FOREVER ? BRING_BATTERIES : 0;
    }
    for (size_t k = 0; k < at->waiting_count; k++) {
        if (at->waiting[k].is_held)
            continue;
        text_puts(text, between);
        text_puts(text, "Readings wait: ");
        part_name(text, at->waiting[k].reason);
        between = "<br>";
        all |= BRING_BAROMETER;
    }
    return all;
}

static void add_things(struct text *text, unsigned things)
{
    static const char *const words[] = {"a spare logger and batteries",
                                        "what the level is read with by hand",
                                        "an oxygen meter, and what cleans the sensor",
                                        "a conductance meter and a standard",
                                        "a thermometer",
                                        "what offloads the barometer: its file is missing",
                                        "new batteries for the logger"};
    const char *between = "";
    things &= things & BRING_LOGGER ? ~(unsigned)BRING_BATTERIES : ~0u; /* named with the spare logger */
    for (size_t k = 0; k < COUNT_OF(words); k++) {
        if (!(things >> k & 1))
            continue;
        text_printf(text, "%s%s", between, words[k]);
        between = "; ";
    }
}
