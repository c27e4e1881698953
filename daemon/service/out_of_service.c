/* SPDX-License-Identifier: MIT */
#include "service/out_of_service.h"

#include "alarms/lifecycle.h"
#include "base/timestamp.h"
#include "service/answer.h"

static bool put_on_shelf(const struct teller *t, struct alarm *alarm, const char *why, int64_t now,
                         struct error *error);

const char *out_of_service_why(const struct config *config, const char *station)
{
    size_t s = config_find_station(config, station);
    return s < config->station_count ? config->stations[s].out_of_service : NULL;
}

bool out_of_service_apply(const struct teller *t, int64_t now, struct error *error)
{
    struct alarm *list;
    size_t n;
    if (!store_alarms_open(t->store, t->arena, &list, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        const char *why = out_of_service_why(t->config, list[k].station);
        bool is_asked = lifecycle_is_active(list[k].state) && list[k].state != ALARM_SHELVED;
        if (why && is_asked && !put_on_shelf(t, &list[k], why, now, error))
            return false;
    }
    if (!store_alarms_shelved(t->store, t->arena, &list, &n, error))
        return false;
    for (size_t k = 0; k < n; k++)
        if (list[k].shelved_until == TIME_FOREVER && !out_of_service_why(t->config, list[k].station) &&
            !answer_end_shelf(t, &list[k], "rillward", "the station is back in service", now, error))
            return false;
    return true;
}

static bool put_on_shelf(const struct teller *t, struct alarm *alarm, const char *why, int64_t now, struct error *error)
{
    lifecycle_take(alarm, ALARM_EVENT_SHELVED, now);
    alarm->shelved_until = TIME_FOREVER;
    alarm->shelf_reason = arena_printf(t->arena, "out of service: %s", why);
    return tell_change(t, alarm, ANNOUNCE_NOTHING, "rillward",
                       arena_printf(t->arena, "the station is out of service: %s", why), error);
}
