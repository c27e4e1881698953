/* SPDX-License-Identifier: MIT */
/* What is derived of a barometer: week by week, how far it moved against its neighbours since their first weeks. */
#include "service/pipeline.h"

#include "base/timestamp.h"
#include "derive/pair.h"
#include "science/statistics.h"

#include <math.h>
#include <string.h>

enum { NEIGHBOURS = 2, LOOKED_AT_FIRST = 8 /* weeks, for the first ones that count */ };

/* The barometer and a neighbour of it. */
struct neighbour {
    size_t index;
    int64_t begin;   /* first whole week of both */
    int64_t settled; /* end of the weeks that the rest is compared with; TIME_FOREVER while there are too few */
    double usual;    /* median of the differences in those [Pa] */
};

static bool find_neighbours(struct pipeline *p, size_t barometer, struct neighbour *ret, size_t *ret_count,
                            struct error *error);
static bool tell_stations(struct pipeline *p, size_t barometer, struct span weeks, const struct finding *list, size_t n,
                          struct error *error);
static bool settle(struct pipeline *p, size_t barometer, struct neighbour *neighbour, bool *ret_is_known,
                   struct error *error);
static bool compare(struct pipeline *p, size_t barometer, size_t other, int64_t week, struct pair_week_result *ret,
                    struct error *error);
static bool load(struct pipeline *p, size_t barometer, int64_t week, struct air_source *ret, struct error *error);
static struct finding describe(struct pipeline *p, int64_t week, const struct neighbour *neighbours, size_t count,
                               const double *drift, enum pair_verdict verdict);

bool barometers_derive(struct pipeline *p, size_t barometer, struct span span, struct error *error)
{
    uint32_t place = p->barometer_places[barometer];
    struct place_fact fact;
    struct neighbour neighbours[NEIGHBOURS];
    size_t count, checks = 0, found = 0;
    if (!store_place_find(p->store, p->config->barometers[barometer].id, p->arena, &fact, error) ||
        !find_neighbours(p, barometer, neighbours, &count, error))
        return false;
    if (fact.first_time == TIME_NONE)
        return true;
    int64_t last = span.to > fact.last_time ? fact.last_time : span.to - 1;
    struct span weeks = {pair_week(span.from < fact.first_time ? fact.first_time : span.from),
                         pair_week(last) + PAIR_WEEK};
    if (weeks.from >= weeks.to)
        return true;
    size_t most = (size_t)((weeks.to - weeks.from) / PAIR_WEEK);
    struct check_result *check = arena_array(p->arena, most + 1, sizeof *check);
    struct finding *finding = arena_array(p->arena, most + 1, sizeof *finding);
    for (int64_t week = weeks.from; count > 0 && week < weeks.to; week += PAIR_WEEK) {
        double drift[NEIGHBOURS] = {NAN, NAN}, own = NAN;
        for (size_t k = 0; k < count; k++) {
            struct pair_week_result result;
            if (week < neighbours[k].settled)
                continue;
            if (!compare(p, barometer, neighbours[k].index, week, &result, error))
                return false;
            drift[k] = result.difference - neighbours[k].usual;
            own = k == 0 ? result.own : own;
        }
        if (isnan(drift[0]))
            continue;
        check[checks++] = (struct check_result){.time = week,
                                                .quantity = QUANTITY_AIR_PRESSURE,
                                                .kind = CHECK_BAROMETERS,
                                                .sensor = own,
                                                .reference = own - drift[0],
                                                .difference = drift[0]};
        enum pair_verdict verdict = pair_judge(p->config->barometer_limit, drift[0], drift[1]);
        if (verdict == PAIR_OWN || verdict == PAIR_UNDECIDED)
            finding[found++] = describe(p, week, neighbours, count, drift, verdict);
    }
    return store_checks_replace(p->store, place, weeks, check, checks, error) &&
           tell_stations(p, barometer, weeks, finding, found, error) &&
           store_findings_replace(p->store, place, FINDINGS_OF_A_MOMENT, weeks, finding, found, error);
}

/* Records of stations carry the findings of their barometers: where these change, those are due. */
static bool tell_stations(struct pipeline *p, size_t barometer, struct span weeks, const struct finding *list, size_t n,
                          struct error *error)
{
    struct finding *before;
    size_t count, same = 0;
    if (!store_findings_load(p->store, p->barometer_places[barometer], weeks, p->arena, &before, &count, error))
        return false;
    while (same < n && same < count && before[same].span.from == list[same].span.from &&
           strcmp(before[same].text, list[same].text) == 0)
        same++;
    return (same == n && same == count) || spans_dirty_by_barometer(p, barometer, weeks, error);
}

size_t barometers_beside(const struct config *config, size_t barometer, size_t most, size_t *ret)
{
    const struct barometer *own = &config->barometers[barometer];
    double distance[NEIGHBOURS];
    size_t count = 0;
    most = most < NEIGHBOURS ? most : NEIGHBOURS;
    for (size_t k = 0; k < config->barometer_count; k++) {
        const struct barometer *other = &config->barometers[k];
        double d = distance_between(own->latitude, own->longitude, other->latitude, other->longitude);
        if (k == barometer || d > config->pairing_distance || (count == most && d >= distance[count - 1]))
            continue;
        size_t at = count < most ? count++ : count - 1;
        for (; at > 0 && distance[at - 1] > d; at--) { /* equal distances keep the order of the settings */
            distance[at] = distance[at - 1];
            ret[at] = ret[at - 1];
        }
        distance[at] = d;
        ret[at] = k;
    }
    return count;
}

/* Those with data enough to have something usual, the nearest first. */
static bool find_neighbours(struct pipeline *p, size_t barometer, struct neighbour *ret, size_t *ret_count,
                            struct error *error)
{
    size_t beside[NEIGHBOURS], n = barometers_beside(p->config, barometer, NEIGHBOURS, beside);
    *ret_count = 0;
    for (size_t k = 0; k < n; k++) {
        struct neighbour neighbour = {.index = beside[k]};
        bool is_known;
        if (!settle(p, barometer, &neighbour, &is_known, error))
            return false;
        if (is_known)
            ret[(*ret_count)++] = neighbour;
    }
    return true;
}

static bool settle(struct pipeline *p, size_t barometer, struct neighbour *neighbour, bool *ret_is_known,
                   struct error *error)
{
    struct place_fact own, other;
    *ret_is_known = false;
    if (!store_place_find(p->store, p->config->barometers[barometer].id, p->arena, &own, error) ||
        !store_place_find(p->store, p->config->barometers[neighbour->index].id, p->arena, &other, error))
        return false;
    if (own.first_time == TIME_NONE || other.number == 0 || other.first_time == TIME_NONE)
        return true;
    int64_t begin = own.first_time > other.first_time ? own.first_time : other.first_time;
    neighbour->begin = pair_week(begin + PAIR_WEEK - 1);
    double differences[PAIR_FIRST_WEEKS];
    size_t n = 0;
    int64_t week = neighbour->begin;
    for (size_t k = 0; k < LOOKED_AT_FIRST && n < PAIR_FIRST_WEEKS; k++, week += PAIR_WEEK) {
        struct pair_week_result result;
        if (!compare(p, barometer, neighbour->index, week, &result, error))
            return false;
        if (!isnan(result.difference))
            differences[n++] = result.difference;
    }
    *ret_is_known = n > 1; /* one week alone may have had odd weather */
    neighbour->settled = week;
    neighbour->usual = n > 0 ? statistics_median(n, differences) : NAN;
    return true;
}

static bool compare(struct pipeline *p, size_t barometer, size_t other, int64_t week, struct pair_week_result *ret,
                    struct error *error)
{
    struct air_source own, there;
    if (!load(p, barometer, week, &own, error) || !load(p, other, week, &there, error))
        return false;
    *ret = pair_compare(&own, &there, week, p->config->largest_air_gap);
    return true;
}

static bool load(struct pipeline *p, size_t barometer, int64_t week, struct air_source *ret, struct error *error)
{
    int64_t gap = p->config->largest_air_gap;
    *ret =
        (struct air_source){.number = p->barometer_places[barometer], .barometer = &p->config->barometers[barometer]};
    return store_readings_load(p->store, ret->number, (struct span){week - gap, week + PAIR_WEEK + gap}, p->arena,
                               &ret->readings, error);
}

static struct finding describe(struct pipeline *p, int64_t week, const struct neighbour *neighbours, size_t count,
                               const double *drift, enum pair_verdict verdict)
{
    const struct barometer *list = p->config->barometers;
    const char *who = "one of the two drifted";
    if (verdict == PAIR_OWN)
        who = arena_printf(p->arena, "it moved against '%s' as well: this one drifted", list[neighbours[1].index].id);
    else if (count > 1)
        who = arena_printf(p->arena, "'%s' does not settle which of the two drifted", list[neighbours[1].index].id);
    const char *text =
        arena_printf(p->arena,
                     "in the week from then on it reads %.2f hPa %s against '%s' than in their first weeks, limit "
                     "%.2f hPa; %s; compare both with a checked barometer at the next visit",
                     fabs(drift[0]) / 100, drift[0] > 0 ? "more" : "less", list[neighbours[0].index].id,
                     p->config->barometer_limit / 100, who);
    return (struct finding){.kind = FINDING_BAROMETER_DRIFTED,
                            .span = {week, week + 1},
                            .quantity = QUANTITY_AIR_PRESSURE,
                            .value = drift[0],
                            .uncertainty = NAN,
                            .wants_hand = true,
                            .text = text};
}
