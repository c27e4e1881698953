/* SPDX-License-Identifier: MIT */
#include "service/figures.h"

#include "alarms/gather.h"
#include "alarms/lifecycle.h"
#include "base/timestamp.h"

#include <string.h>

static int64_t most_within(const int64_t *times, size_t n, int64_t window);
static bool is_told(const struct rule *rule, const char *recipient);

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
    for (size_t k = 0; k < open_count; k++) {
        size_t r = config_find_rule(config, open[k].rule);
        ret->standing += r < config->rule_count && is_told(&config->rules[r], recipient) &&
                         lifecycle_is_active(open[k].state) && !open[k].is_old_news && now - open[k].learnt > DAY_MS;
    }
    return true;
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
