/* SPDX-License-Identifier: MIT */
#include "service/heartbeat.h"

#include "base/log.h"
#include "base/timestamp.h"

#include <string.h>

#define SCAN_GRACE MINUTE_MS /* a scan of a large inbox takes its time */
#define LOOK_GRACE (10 * MINUTE_MS)
#define OLDEST_UNDELIVERED HOUR_MS

static const char *undelivered(struct store *store, struct arena *arena, int64_t wall);

const char *heart_trouble(const struct config *config, struct store *store, struct arena *arena,
                          const struct heart_facts *facts)
{
    const struct metrics_run *run = facts->run;
    if (facts->paused_until > facts->monotonic)
        return "something failed, and is tried again";
    if (run->inbox.inbox_missing)
        return "the inbox is missing";
    if (run->inbox.unreadable > 0)
        return "parts of the inbox cannot be read";
    if (run->last_scan == TIME_NONE || facts->disk_wall - run->last_scan > 2 * config->rescan + SCAN_GRACE)
        return "the inbox was not looked through for too long";
    bool looks_late = facts->next_alarm_look != TIME_NONE && facts->next_alarm_look != TIME_FOREVER &&
                      facts->wall - facts->next_alarm_look > LOOK_GRACE;
    if (looks_late)
        return "rules that wait for a time were not looked at";
    return undelivered(store, arena, facts->wall);
}

void heart_beat(struct heart *heart, struct notify *notify, const struct config *config, struct store *store,
                struct arena *arena, const struct heart_facts *facts)
{
    if (!config->heartbeat.url || facts->monotonic < heart->due)
        return;
    if (facts->run->last_scan == TIME_NONE && !facts->run->inbox.inbox_missing) { /* its first moments */
        heart->due = facts->monotonic + SECOND_MS;
        return;
    }
    heart->due = facts->monotonic + config->heartbeat.every;
    const char *trouble = heart_trouble(config, store, arena, facts);
    if (trouble && !heart->is_pausing)
        log_warning("the heartbeat pauses: %s", trouble);
    else if (!trouble && heart->is_pausing)
        log_notice("the heartbeat goes on");
    heart->is_pausing = trouble != NULL;
    if (!trouble && notify_room(notify, "") > 0)
        notify_ping(notify, facts->wall);
}

void heart_hear(struct heart *heart, const struct delivery *delivery)
{
    bool is_refused = delivery->outcome != DELIVERED;
    if (is_refused && !heart->is_refused)
        log_warning("the heartbeat's address did not take a call: %s", delivery->text);
    else if (!is_refused && heart->is_refused)
        log_notice("the heartbeat's address takes calls again");
    heart->is_refused = is_refused;
}

int64_t heart_deadline(const struct heart *heart, const struct config *config)
{
    return config->heartbeat.url ? heart->due : TIME_FOREVER;
}

static const char *undelivered(struct store *store, struct arena *arena, int64_t wall)
{
    struct outbox_line *lines;
    size_t n;
    struct error error = {0};
    if (!store_outbox_summary(store, arena, &lines, &n, &error))
        return arena_printf(arena, "the database cannot be read: %s", error.text);
    for (size_t k = 0; k < n; k++)
        if (lines[k].due > 0 && *lines[k].last_answer && wall - lines[k].oldest_due > OLDEST_UNDELIVERED)
            return arena_printf(arena, "notices to '%s' cannot be delivered", lines[k].recipient);
    return NULL;
}
