/* SPDX-License-Identifier: MIT */
#include "service/figures.h"

#include "alarms/gather.h"
#include "alarms/lifecycle.h"
#include "base/timestamp.h"

#include <string.h>

static int64_t most_within(const int64_t *times, size_t n, int64_t window);
static bool is_told(const struct rule *rule, const char *recipient);
static bool is_standing(const struct config *config, const struct alarm *alarm, const char *recipient);
static void find_busiest(const int64_t *times, size_t n, int64_t utc_offset, struct page_recipient *ret);

bool figures_load(const struct config *config, struct store *store, struct arena *arena, const char *recipient,
                  const struct alarm *open, size_t open_count, int64_t now, struct figures *ret, struct error *error)
{
    int64_t *times;
    size_t n;
    struct listener_fact listener;
    *ret = (struct figures){0};
    if (!store_raised_times(store, recipient, now - DAY_MS, arena, &times, &n, error) ||
        !store_chattering_count(store, recipient, now - DAY_MS, &ret->chattering, error) ||
        !store_listener_find(store, recipient, &listener, error))
        return false;
    ret->day = (int64_t)n;
    ret->most_in_10_min = most_within(times, n, FLOOD_WINDOW);
    ret->is_flood = listener.flood_since != TIME_NONE;
    for (size_t k = 0; k < open_count; k++)
        ret->standing += is_standing(config, &open[k], recipient) && now - open[k].learnt > DAY_MS;
    return true;
}

bool figures_load_month(const struct config *config, struct store *store, struct arena *arena, const char *recipient,
                        const struct alarm *open, size_t open_count, int64_t utc_offset, struct page_recipient *ret,
                        struct error *error)
{
    int64_t *times;
    size_t n;
    *ret = (struct page_recipient){.id = recipient, .busiest_day = TIME_NONE, .active_since = TIME_NONE};
    if (!store_raised_newest(store, recipient, &ret->newest, error))
        return false;
    for (size_t k = 0; k < open_count; k++) {
        if (!is_standing(config, &open[k], recipient))
            continue;
        ret->active++;
        bool is_older = ret->active_since == TIME_NONE || open[k].learnt < ret->active_since;
        ret->active_since = is_older ? open[k].learnt : ret->active_since;
    }
    if (ret->newest == TIME_NONE)
        return true;
    int64_t since = ret->newest - FIGURES_DAYS * DAY_MS + 1;
    if (!store_raised_times(store, recipient, since, arena, &times, &n, error) ||
        !store_chattering_count(store, recipient, since, &ret->chattering, error))
        return false;
    ret->raised = (int64_t)n;
    ret->most_in_10_min = most_within(times, n, FLOOD_WINDOW);
    find_busiest(times, n, utc_offset, ret);
    return true;
}

/* The first of them, where several are. */
static void find_busiest(const int64_t *times, size_t n, int64_t utc_offset, struct page_recipient *ret)
{
    for (size_t k = 0, next; k < n; k = next) {
        int64_t day = timestamp_floor(times[k] + utc_offset, DAY_MS) - utc_offset;
        for (next = k; next < n && times[next] < day + DAY_MS;)
            next++;
        if ((int64_t)(next - k) <= ret->on_busiest_day)
            continue;
        ret->on_busiest_day = (int64_t)(next - k);
        ret->busiest_day = day;
    }
}

/* Still so, and the recipient is told of its rule. */
static bool is_standing(const struct config *config, const struct alarm *alarm, const char *recipient)
{
    size_t r = config_find_rule(config, alarm->rule);
    return r < config->rule_count && is_told(&config->rules[r], recipient) && lifecycle_is_active(alarm->state) &&
           !alarm->is_old_news;
}

/* Half-open windows [t, t + window). */
static int64_t most_within(const int64_t *times, size_t n, int64_t window)
{
    size_t most = 0, first = 0;
    for (size_t k = 0; k < n; k++) {
        while (times[k] - times[first] >= window)
            first++;
        most = k - first + 1 > most ? k - first + 1 : most;
    }
    return (int64_t)most;
}

static bool is_told(const struct rule *rule, const char *recipient)
{
    for (size_t k = 0; k < rule->tell.count; k++)
        if (strcmp(rule->tell.words[k], recipient) == 0)
            return true;
    return false;
}
