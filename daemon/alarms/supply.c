/* SPDX-License-Identifier: MIT */
#include "alarms/supply.h"

#include "base/text.h"
#include "model/quantity.h"
#include "science/statistics.h"

#include <math.h>
#include <string.h>

enum { DAYS_MOST = 32, SAMPLES_OF_A_DAY_MOST = 1440 };

/* Medians of the battery by day, ascending. */
struct battery_days {
    double time[DAYS_MOST], volts[DAYS_MOST];
    size_t n;
};

static int64_t empty_by_line(const struct supply_stock *stock);
static void collect_days(const struct supply_stock *stock, struct battery_days *ret);
static bool is_usable(const struct record *record, size_t row);
static int64_t later(int64_t since, int64_t lasts);
static void put_one(struct text *text, const char *what, int64_t time, int64_t utc_offset);

struct supply supply_reckon(const struct supply_stock *stock)
{
    int64_t by_age = later(stock->battery_since, stock->battery_lasts), by_line = empty_by_line(stock);
    return (struct supply){.memory_full = later(stock->memory_since, stock->memory_lasts),
                           .battery_empty = by_line < by_age ? by_line : by_age};
}

int64_t supply_first(const struct supply *supply)
{
    return supply->memory_full < supply->battery_empty ? supply->memory_full : supply->battery_empty;
}

int64_t supply_interval(struct arena *arena, const struct record *record)
{
    return statistics_usual_step(record->n, record->time, INT64_MAX, arena_room(arena, record->n, sizeof(double)));
}

void supply_describe(const struct supply *supply, int64_t utc_offset, struct text *ret)
{
    bool memory_is_first = supply->memory_full <= supply->battery_empty;
    size_t before = ret->length;
    if (memory_is_first)
        put_one(ret, "memory full", supply->memory_full, utc_offset);
    if (ret->length > before && supply->battery_empty != TIME_FOREVER)
        text_puts(ret, ", ");
    put_one(ret, "battery empty", supply->battery_empty, utc_offset);
    if (!memory_is_first && supply->memory_full != TIME_FOREVER) {
        text_puts(ret, ", ");
        put_one(ret, "memory full", supply->memory_full, utc_offset);
    }
}

static void put_one(struct text *text, const char *what, int64_t time, int64_t utc_offset)
{
    if (time == TIME_FOREVER)
        return;
    struct civil day = timestamp_to_civil(time + utc_offset);
    text_printf(text, "%s about %04d-%02d-%02d", what, day.year, day.month, day.day);
}

static int64_t later(int64_t since, int64_t lasts)
{
    return since == TIME_NONE || lasts <= 0 ? TIME_FOREVER : since + lasts;
}

static int64_t empty_by_line(const struct supply_stock *stock)
{
    struct battery_days days = {.n = 0};
    struct statistics_line line;
    if (stock->battery_limit <= 0 || !stock->record || !stock->record->value[QUANTITY_BATTERY])
        return TIME_FOREVER;
    collect_days(stock, &days);
    if (days.n == 0)
        return TIME_FOREVER;
    double last = days.time[days.n - 1];
    if (days.volts[days.n - 1] <= stock->battery_limit)
        return (int64_t)last;
    if (days.n < SUPPLY_DAYS_LEAST || !statistics_fit_line_robust(days.n, days.time, days.volts, &line) ||
        !(line.slope < 0))
        return TIME_FOREVER;
    double ahead = (stock->battery_limit - statistics_line_at(&line, last)) / line.slope;
    ahead = fmax(ahead, 0);
    return ahead > (double)SUPPLY_LOOKS_AHEAD ? TIME_FOREVER : (int64_t)(last + ahead);
}

/* Of the batteries that are in now. Days are those of UTC: only their distance matters. */
static void collect_days(const struct supply_stock *stock, struct battery_days *ret)
{
    const struct record *r = stock->record;
    double day[SAMPLES_OF_A_DAY_MOST];
    int64_t from = r->n > 0 ? r->time[r->n - 1] - SUPPLY_LOOKS_BACK : 0;
    from = stock->battery_since != TIME_NONE && stock->battery_since > from ? stock->battery_since : from;
    for (size_t i = record_at_or_after(r, from); i < r->n && ret->n < DAYS_MOST;) {
        int64_t begins = r->time[i] - r->time[i] % DAY_MS;
        int64_t last = TIME_NONE;
        size_t n = 0;
        for (; i < r->n && r->time[i] < begins + DAY_MS; i++) {
            if (!is_usable(r, i) || n == COUNT_OF(day))
                continue;
            day[n++] = r->value[QUANTITY_BATTERY][i];
            last = r->time[i];
        }
        if (n == 0)
            continue;
        ret->time[ret->n] = (double)last;
        ret->volts[ret->n++] = statistics_median(n, day);
    }
}

static bool is_usable(const struct record *record, size_t row)
{
    return isfinite(record->value[QUANTITY_BATTERY][row]) && record->flag[QUANTITY_BATTERY][row] != FLAG_FAIL &&
           record->flag[QUANTITY_BATTERY][row] != FLAG_MISSING;
}
